"""The recording-quality check: each fault is built in by arithmetic and must be found, measured and graded."""

import math

import numpy as np
import pytest
import scipy.signal

from distort.errors import RecordingError
from distort.recording.alignment.locating import Alignment, find_reel
from distort.recording.quality.check import Quality, check_recording
from distort.recording.quality.clipping import clipped_samples
from signals import Noise, Reel, Sweep, Tone, framed
from tests.made_recordings import FloatArray, recorded, stimulus_start, with_noise

RATE = 48000
SWEEP = Sweep(seconds=2.0)
REEL = framed(SWEEP)
NOISE_DBFS = -70.0


def good_recording() -> FloatArray:
    return with_noise(recorded(REEL), np.random.default_rng(1), level_dbfs=NOISE_DBFS)


def check(recording: FloatArray, reel: Reel = REEL, *, as_stored: FloatArray | None = None) -> Quality:
    alignment: Alignment | RecordingError
    try:
        alignment = find_reel(recording, reel)
    except RecordingError as error:
        alignment = error
    # the recordings of these tests are as flat as a wire
    return check_recording(recording, reel=reel, alignment=alignment, as_stored=as_stored, microphone=False)


def test_a_good_recording_is_good_in_every_finding() -> None:
    quality = check(good_recording())
    assert quality.verdict == "good"
    assert quality.troubles() == ()
    assert quality.finding("hum").value == -300.0  # white noise has no lines
    octaves = [
        "32",
        "63",
        "126",
        "251",
        "501",
        "1000",
        "1995",
        "3981",
        "7943",
        "15849",
    ]  # IEC 61260-1, base ten, rounded
    assert [finding.name for finding in quality.findings] == [
        *("samples", "level", "clipping", "dc", "stimulus", "channel", "continuity", "gain", "clock", "silence"),
        *("noise_before", "noise_after"),
        *("noise_agreement", "hum", "signal"),
        *(f"{figure}_{octave}hz" for figure in ("snr", "noise_before", "noise_after") for octave in octaves),
    ]
    assert all(finding.sentence.endswith(".") for finding in quality.findings)


def test_the_noise_level_is_that_put_in() -> None:
    """White noise of -70 dBFS, less the part under 22 Hz. 0.1 dB: 2 s hold 1e5 values, s.d. 0.02 dB."""
    quality = check(good_recording())
    for name in ("noise_before", "noise_after"):
        assert quality.finding(name).value == pytest.approx(NOISE_DBFS, abs=0.1)
    assert abs(quality.finding("noise_agreement").value) < 0.1


def test_signal_to_noise_per_octave_is_that_of_the_formulas() -> None:
    """In each octave the sweep is a sine at its drive, and white noise of power P holds P bandwidth / (fs / 2).

    Octaves of IEC 61260-1: edges f 10^(+-0.15). 1 dB: in the lowest the noise has 60 degrees of freedom a second.
    """
    quality = check(good_recording())
    for middle_hz in 1000.0 * 10.0 ** (0.3 * np.arange(-5, 4)):  # the highest is cut by the sweep's fade
        width_hz = middle_hz * (10.0**0.15 - 10.0**-0.15)
        expected_db = SWEEP.drive_dbfs - (NOISE_DBFS + 10.0 * math.log10(width_hz / (RATE / 2)))
        tolerance_db = 1.0 if middle_hz < 100.0 else 0.4
        measured = quality.finding(f"snr_{middle_hz:.0f}hz").value
        assert measured == pytest.approx(expected_db, abs=tolerance_db), middle_hz


def test_signal_to_noise_does_not_count_the_noise_as_signal() -> None:
    """As above, with noise only 5 dB under the sweep: in the sweep's two seconds it is as strong as the sweep's pass.

    0.5 dB: counting it would read 1 to 3 dB high.
    """
    quality = check(with_noise(recorded(REEL), np.random.default_rng(7), level_dbfs=-25.0))
    for middle_hz in 1000.0 * 10.0 ** (0.3 * np.arange(4)):
        width_hz = middle_hz * (10.0**0.15 - 10.0**-0.15)
        expected_db = SWEEP.drive_dbfs + 25.0 - 10.0 * math.log10(width_hz / (RATE / 2))
        assert quality.finding(f"snr_{middle_hz:.0f}hz").value == pytest.approx(expected_db, abs=0.5), middle_hz


def test_noise_that_hides_the_top_octaves_is_usable_and_noise_that_hides_all_is_not() -> None:
    random = np.random.default_rng(2)
    some = check(with_noise(recorded(REEL), random, level_dbfs=-45.0))
    assert some.verdict == "usable"
    assert some.finding("snr_63hz").verdict == "good"
    assert some.finding("snr_7943hz").verdict == "usable"
    assert "7943 Hz" in some.finding("snr_7943hz").sentence
    drowned = check(with_noise(recorded(REEL), random, level_dbfs=-3.0))
    assert drowned.verdict == "refuse"
    assert drowned.finding("signal").verdict == "refuse"


def test_noise_that_begins_during_the_sweep_is_seen() -> None:
    """From -70 to -60 dBFS: 10 dB. 0.2 dB: both estimates scatter by 0.02 dB, and half of it is judgement."""
    samples = good_recording()
    samples[len(samples) // 2 :] += math.sqrt(9.0) * (good_recording() - recorded(REEL))[: len(samples) // 2][::-1]
    finding = check(samples).finding("noise_agreement")
    assert finding.value == pytest.approx(10.0, abs=0.2)
    assert finding.verdict == "usable"
    assert "louder after" in finding.sentence


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_mains_hum_is_measured_and_told_from_noise(mains_hz: float) -> None:
    """Fundamental at -50 and third at -56 dBFS, r.m.s. sum by arithmetic, re the sweep's own r.m.s.

    0.5 dB: a line half a bin off reads up to 1.4 dB low under a Hann window; 0.05 % off at 150 Hz is a sixth of a bin.
    """
    time_s = np.arange(good_recording().size) / RATE
    lines = [(1.0005 * mains_hz, -50.0), (3.0015 * mains_hz, -56.0)]
    added = sum(10.0 ** (level / 20.0) * np.sin(2.0 * np.pi * hz * time_s) for hz, level in lines)
    finding = check(good_recording() + added).finding("hum")
    hum_dbfs = 10.0 * math.log10(sum(10.0 ** (level / 10.0) for _, level in lines))
    assert finding.value == pytest.approx(hum_dbfs - SWEEP.drive_dbfs, abs=0.5)
    assert finding.verdict == "usable"
    assert f"{mains_hz:.0f} Hz" in finding.sentence
    assert check(good_recording() + 30.0 * added).finding("hum").verdict == "refuse"


@pytest.mark.parametrize("ceiling", [1.0, 0.095])
def test_clipping_is_found_at_and_below_full_scale(ceiling: float) -> None:
    """Every sample beyond the ceiling is held there: the count is that of the formula, but for tops of one or two."""
    clean = good_recording() * ceiling / 0.095
    finding = check(np.clip(clean, -ceiling, ceiling)).finding("clipping")
    held = np.count_nonzero(np.abs(clean) >= ceiling)
    assert 0.5 * held < finding.value <= held * 1.05  # tops of under three samples (above 4 kHz) are not counted
    assert finding.verdict == "refuse"
    assert f"{20.0 * math.log10(ceiling):.1f} dBFS" in finding.sentence


def test_clipping_on_one_side_only_and_with_noise_after_it_is_found() -> None:
    random = np.random.default_rng(4)
    quiet = 2e-6 * random.standard_normal(good_recording().size)
    assert clipped_samples(np.maximum(good_recording(), -0.09) + quiet).size > 100
    assert clipped_samples(np.minimum(good_recording(), 0.09) + quiet).size > 100


def test_clipping_is_found_under_the_noise_of_16_bits() -> None:
    """760 steps high, and noise of half a step after it: of thousands of held samples the highest stand two out."""
    clean = good_recording() * 0.23
    clipped = np.clip(clean, -0.02, 0.02) + 2.0**-16 * np.random.default_rng(8).standard_normal(clean.size)
    held = np.count_nonzero(np.abs(clean) >= 0.02)
    assert clipped_samples(np.round(clipped * 2**15) / 2**15).size > 0.5 * held > 1000
    assert clipped_samples(np.round(clean * 2**15) / 2**15, whole_sweep=True).size == 0


@pytest.mark.parametrize(("turned_db", "verdict"), [(0.0, "good"), (0.5, "usable"), (-2.0, "refuse")])
def test_a_gain_that_is_turned_while_the_sweep_plays_is_graded(turned_db: float, verdict: str) -> None:
    samples = good_recording()
    samples[round(stimulus_start(REEL)) + SWEEP.n_samples // 2 :] *= 10.0 ** (turned_db / 20.0)
    finding = check(samples).finding("gain")
    assert finding.verdict == verdict
    assert finding.value == pytest.approx(turned_db, abs=0.02)  # noise 50 dB below the chirps, over 3000 bins


def test_a_noisy_loopback_is_still_told_from_a_loudspeaker() -> None:
    """Noise of -50 dBFS makes each chirp's path uneven by 14 %, where a loopback may be by 3; what both share is 2."""
    samples = with_noise(recorded(REEL), np.random.default_rng(9), level_dbfs=-50.0)
    quality = check_recording(samples, reel=REEL, alignment=find_reel(samples, REEL))
    assert quality.finding("channel").verdict == "usable"
    echoed = scipy.signal.lfilter([1.0, *np.zeros(40), 0.1], [1.0], samples)  # 20 dB below the direct sound
    quality = check_recording(echoed, reel=REEL, alignment=find_reel(echoed, REEL))
    assert quality.finding("channel").verdict == "good"


def test_one_flat_crest_is_usable() -> None:
    samples = good_recording()
    middle = round(stimulus_start(REEL)) + RATE // 2
    crest = middle + int(np.argmax(samples[middle : middle + 2000]))
    samples[crest - 2 : crest + 2] = 0.12
    finding = check(samples).finding("clipping")
    assert finding.value == 4
    assert finding.verdict == "usable"


@pytest.mark.parametrize("bits", [16, 24])
def test_what_is_smooth_is_not_clipped(bits: int) -> None:
    """Slow, noiseless crests rounded to bits are flat without being clipped; a tone's too."""
    for level in (0.9, 0.1, 0.003):
        for samples in (level / 0.1 * recorded(REEL), level * np.sin(2.0 * np.pi * 1000.0 / RATE * np.arange(RATE))):
            stored = np.round(samples * 2 ** (bits - 1)) / 2 ** (bits - 1)
            assert clipped_samples(stored).size == 0
            assert clipped_samples(samples).size == 0
    assert clipped_samples(np.zeros(0)).size == 0
    assert clipped_samples(np.zeros(100)).size == 0


def test_clipping_is_looked_for_in_the_samples_as_stored() -> None:
    """Resampling turns flat tops round: they are seen in what was stored only."""
    stored = np.clip(good_recording(), -0.09, 0.09)
    resampled = scipy.signal.resample_poly(scipy.signal.resample_poly(stored, 147, 160), 160, 147)[: stored.size]
    quality = check(np.asarray(resampled), as_stored=stored)
    assert quality.finding("clipping").verdict == "refuse"
    assert quality.finding("stimulus").verdict == "good"


def test_levels_and_offsets() -> None:
    samples = good_recording()
    assert check(samples).finding("level").value == pytest.approx(20.0 * math.log10(np.max(np.abs(samples))), abs=1e-9)
    assert check(samples / np.max(np.abs(samples)) * 0.95).finding("level").verdict == "usable"
    low = check(samples * 0.01).finding("level")
    assert (low.verdict, "gain up" in low.sentence) == ("usable", True)
    offset = check(samples + 0.02).finding("dc")
    assert offset.verdict == "usable"
    assert offset.value == pytest.approx(2.0, abs=0.01)
    assert check(samples + 0.3).finding("dc").verdict == "refuse"


def test_silence_is_refused_also_with_an_offset() -> None:
    for offset in (0.0, 0.01):
        quality = check(np.full(10 * RATE, offset))
        assert quality.verdict == "refuse"
        assert "silent" in quality.finding("level").sentence


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_what_is_no_number_is_refused_at_once(bad: float) -> None:
    samples = good_recording()
    samples[[1234, 5678]] = bad
    quality = check(samples)
    assert quality.verdict == "refuse"
    assert [finding.name for finding in quality.findings] == ["samples"]
    assert quality.finding("samples").value == 2
    assert "sample 1234" in quality.finding("samples").sentence
    with pytest.raises(KeyError):
        quality.finding("level")


def test_an_empty_recording_is_refused() -> None:
    error = RecordingError("The recording is 0.00 s long.")
    assert check_recording(np.zeros(0), reel=REEL, alignment=error).verdict == "refuse"


def test_missing_silence_means_no_noise_floor() -> None:
    start = round(stimulus_start(REEL))
    bare = check(good_recording()[start - 20 : start + SWEEP.n_samples + 20])
    assert bare.verdict == "usable"
    assert "the noise floor is not known" in bare.finding("silence").sentence
    with pytest.raises(KeyError):
        bare.finding("signal")
    one = check(good_recording()[start - 20 :])
    assert one.finding("silence").value == 1
    assert "only after" in one.finding("silence").sentence
    assert one.finding("noise_after").value == pytest.approx(NOISE_DBFS, abs=0.1)


@pytest.mark.parametrize(("ppm", "verdict"), [(0.0, "good"), (50.0, "good"), (-300.0, "usable"), (900.0, "refuse")])
def test_the_clock_is_graded(ppm: float, verdict: str) -> None:
    finding = check(with_noise(recorded(REEL, ppm=ppm), np.random.default_rng(5), level_dbfs=NOISE_DBFS)).finding(
        "clock"
    )
    assert finding.value == pytest.approx(ppm, abs=0.01)  # five standard deviations of noise at 50 dB
    assert finding.verdict == verdict


def test_an_unknown_clock_is_usable() -> None:
    finding = check(good_recording()[2 * RATE :]).finding("clock")
    assert math.isnan(finding.value)
    assert finding.verdict == "usable"


def test_a_wrong_stimulus_and_a_cut_are_findings() -> None:
    other = check(framed(Noise(seconds=2.0)).samples())
    assert other.verdict == "refuse"
    assert "another stimulus" in other.finding("stimulus").sentence
    cut = check(good_recording()[: round(stimulus_start(REEL)) + SWEEP.n_samples - 4800])
    assert cut.verdict == "refuse"
    assert "cut off at its end" in cut.finding("cut_off").sentence


def test_a_tone_has_a_signal_to_noise_ratio_in_its_own_octave_only() -> None:
    reel = framed(Tone(seconds=2.0))
    samples = with_noise(reel.samples(), np.random.default_rng(6), level_dbfs=NOISE_DBFS)
    names = [finding.name for finding in check(samples, reel).findings if finding.name.startswith("snr")]
    assert names == ["snr_1000hz"]


def test_the_recording_is_left_as_it_was_and_has_one_channel() -> None:
    given = good_recording()
    before = given.copy()
    check(given)
    np.testing.assert_array_equal(given, before)
    with pytest.raises(ValueError, match="one channel"):
        check_recording(np.zeros((2, 100)), reel=REEL, alignment=RecordingError("none"))
