"""Where the verdicts of the recording-quality check turn, on recordings made so that they lie just on either side.

The reel here has no chirps: what the clock does is then as the alignment says, and a check takes milliseconds.
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from distort.errors import CutOffError, RecordingError
from distort.recording.alignment.locating import Alignment
from distort.recording.alignment.silences import Silences
from distort.recording.quality.check import Quality, check_recording
from distort.recording.quality.check_result import CheckResult, worst
from distort.recording.quality.noise import noise_findings
from distort.recording.quality.not_found import why_not_found
from signals import Multitone, Noise, Reel, Silence, Sweep, Tone, framed

RATE = 8000
SILENCE = Silence(seconds=2.0, settle_s=0.5, sample_rate=RATE)
TONE = Tone(seconds=2.0, sample_rate=RATE, drive_dbfs=-20.0)
REEL = Reel((SILENCE, TONE, SILENCE))
FIRST = 2 * RATE
SPANS = ((RATE // 2, FIRST - 40), (FIRST + 5 * RATE // 2, FIRST + 4 * RATE - 40))


def alignment(**changes) -> Alignment:
    found = Alignment(
        stimulus_start=float(FIRST),
        chirp_positions=(),
        clock_difference_ppm=0.0,
        clock_uncertainty_ppm=0.001,
        polarity=1,
        peak_to_background_db=(),
        stimulus_peak_to_background_db=math.nan,
        silences=Silences(SPANS),
    )
    return replace(found, **changes)


def white(level_dbfs: float, seed: int = 1) -> np.ndarray:
    """Gaussian noise of that level (AES17), as long as the reel."""
    return 10.0 ** (level_dbfs / 20.0) * np.sqrt(0.5) * np.random.default_rng(seed).standard_normal(REEL.n_samples)


def heard(level_dbfs: float = -80.0) -> np.ndarray:
    return REEL.samples() + white(level_dbfs)


def check(samples: np.ndarray, **changes) -> Quality:
    return check_recording(samples, reel=REEL, alignment=alignment(**changes))


@pytest.mark.parametrize(
    ("peak_dbfs", "verdict", "threshold"),
    [(-1.05, "good", -1.0), (-0.95, "usable", -1.0), (-49.0, "good", -1.0), (-51.0, "usable", -50.0)],
)
def test_headroom_of_one_decibel_and_a_peak_above_minus_50(peak_dbfs, verdict, threshold):
    samples = heard(-130.0)
    finding = check(samples * 10.0 ** (peak_dbfs / 20.0) / np.max(np.abs(samples))).finding("level")
    assert finding.value == pytest.approx(peak_dbfs)
    assert (finding.verdict, finding.threshold) == (verdict, threshold)


@pytest.mark.parametrize(("moving_dbfs", "verdict"), [(-89.0, "usable"), (-91.0, "refuse")])
def test_less_than_one_step_of_16_bits_is_silence(moving_dbfs, verdict):
    """About its mean: an offset is no signal. One step of 16 bits is -90.3 dBFS."""
    samples = REEL.samples()
    samples *= 10.0 ** (moving_dbfs / 20.0) / np.max(np.abs(samples))
    finding = check(samples + 1e-5).finding("level")
    assert finding.verdict == verdict
    if verdict == "refuse":
        assert finding.value == pytest.approx(moving_dbfs, abs=1e-3)  # the tone's own mean
        assert finding.threshold == -90.0


@pytest.mark.parametrize(
    ("offset", "verdict", "threshold"),
    [(0.95e-3, "good", 0.1), (1.05e-3, "usable", 0.1), (0.095, "usable", 0.1), (0.105, "refuse", 10.0)],
)
def test_an_offset_is_a_share_of_full_scale(offset, verdict, threshold):
    samples = heard()
    finding = check(samples - np.mean(samples) + offset).finding("dc")
    assert finding.value == pytest.approx(100.0 * offset)
    assert (finding.verdict, finding.threshold) == (verdict, pytest.approx(threshold))


@pytest.mark.parametrize(
    ("ppm", "verdict", "threshold"),
    [
        (0.009, "good", 200.0),
        (-199.0, "good", 200.0),
        (201.0, "usable", 200.0),
        (-499.0, "usable", 200.0),
        (501.0, "refuse", 500.0),
        (math.nan, "usable", 200.0),
    ],
)
def test_clocks_of_consumer_equipment_are_good_and_none_differ_by_more_than_500_ppm(ppm, verdict, threshold):
    finding = check(heard(), clock_difference_ppm=ppm).finding("clock")
    assert (finding.verdict, finding.threshold) == (verdict, threshold)
    assert finding.value == pytest.approx(ppm, nan_ok=True)


@pytest.mark.parametrize(
    ("ppm", "uncertainty", "said"),
    [
        (0.0095, 0.001, "agree within 0.01 ppm"),
        (0.0105, 0.001, "0.0105 ppm fast; this is repaired"),
        (0.05, 0.06, "agree within 0.06 ppm"),
        (-0.07, 0.06, "0.07 ppm slow"),
    ],
)
def test_clocks_agree_within_their_uncertainty_or_a_hundredth_of_a_ppm(ppm, uncertainty, said):
    """0.01 ppm turn 20 kHz by 0.7 degrees in ten seconds: 360 * 20e3 * 10 * 1e-8."""
    quality = check(heard(), clock_difference_ppm=ppm, clock_uncertainty_ppm=uncertainty)
    assert said in quality.finding("clock").sentence


def clipped(count: int) -> np.ndarray:
    """`count` samples held at 0.3 in one flat top, far above all others."""
    samples = heard()
    middle = FIRST + RATE
    samples[middle : middle + count] = 0.3
    return samples


@pytest.mark.parametrize(
    ("count", "verdict", "threshold"), [(2, "good", 0.0), (3, "usable", 0.0), (6, "usable", 0.0), (7, "refuse", 6.0)]
)
def test_three_held_samples_are_a_flat_top_and_more_than_six_are_clipping(count, verdict, threshold):
    finding = check(clipped(count)).finding("clipping")
    assert finding.value == (count if count > 2 else 0)
    assert (finding.verdict, finding.threshold) == (verdict, threshold)


def test_without_chirps_nothing_tells_of_the_channel_nor_of_lost_samples():
    quality = check(heard())
    assert "cannot be told without the chirps" in quality.finding("channel").sentence
    assert quality.finding("channel").value == 0.0
    assert quality.finding("channel").verdict == "good"  # and is held against nobody
    with pytest.raises(KeyError):
        quality.finding("continuity")
    assert quality.finding("stimulus").value == 1.0


# --- noise ------------------------------------------------------------------------------------------------------------


def noise_of(samples: np.ndarray, reel: Reel = REEL, **changes) -> dict[str, CheckResult]:
    return {one.name: one for one in noise_findings(samples, reel, alignment(**changes))}


def test_noise_of_each_side_is_that_of_its_silence():
    """White noise of -70 and -64 dBFS; the lower edge, 22 Hz, takes 0.02 dB off; 1.5 s hold 12,000 values: 0.04 dB."""
    samples = REEL.samples()
    samples[:FIRST] += white(-70.0)[:FIRST]
    samples[FIRST:] += white(-64.0)[FIRST:]
    found = noise_of(samples)
    assert found["noise_before"].value == pytest.approx(-70.0, abs=0.2)
    assert found["noise_after"].value == pytest.approx(-64.0, abs=0.2)
    assert found["noise_agreement"].value == pytest.approx(6.0, abs=0.3)
    # an octave of B Hz holds B / (fs / 2) of white noise
    for middle_hz in (251, 1000):
        width_hz = 1000.0 * 10.0 ** (0.3 * round(np.log10(middle_hz / 1000.0) / 0.3)) * (10.0**0.15 - 10.0**-0.15)
        share_db = 10.0 * np.log10(width_hz / (RATE / 2))
        assert found[f"noise_before_{middle_hz}hz"].value == pytest.approx(-70.0 + share_db, abs=0.8)
    assert "noise_before_1995hz" in found  # up to 2818 Hz
    assert "noise_before_3981hz" not in found  # up to 5623 Hz, beyond half the sample rate


@pytest.mark.parametrize(("louder_db", "verdict"), [(2.7, "good"), (3.3, "usable"), (-2.7, "good"), (-3.3, "usable")])
def test_noises_agree_within_three_decibels(louder_db, verdict):
    samples, noise = REEL.samples(), white(-60.0)[:FIRST]
    samples[:FIRST] += noise
    samples[2 * FIRST :] += noise * 10.0 ** (louder_db / 20.0)  # the same noise: exactly so much
    found = noise_of(samples, silences=Silences((SPANS[0], (2 * FIRST + SPANS[0][0], 2 * FIRST + SPANS[0][1]))))
    assert found["noise_agreement"].value == pytest.approx(louder_db, abs=1e-9)
    assert found["noise_agreement"].verdict == verdict
    assert found["noise_agreement"].threshold == 3.0


@pytest.mark.parametrize(("level_dbfs", "verdict"), [(-161.0, "good"), (-159.0, "usable")])
def test_below_any_converter_noise_need_not_agree(level_dbfs, verdict):
    samples = REEL.samples()
    samples[SPANS[0][0] : SPANS[0][1]] = white(level_dbfs - 30.0)[: SPANS[0][1] - SPANS[0][0]]
    quiet = white(level_dbfs)[: SPANS[1][1] - SPANS[1][0]]
    samples[SPANS[1][0] : SPANS[1][1]] = quiet * 10.0 ** (level_dbfs / 20.0) * np.sqrt(0.5) / np.std(quiet)
    assert noise_of(samples)["noise_agreement"].verdict == verdict


def test_without_silence_there_is_one_finding():
    (only,) = noise_findings(heard(), REEL, alignment(silences=Silences()))
    assert (only.name, only.value, only.verdict) == ("silence", 0.0, "usable")
    one = noise_of(heard(), silences=Silences(SPANS[:1]))
    assert (one["silence"].value, one["silence"].verdict) == (1.0, "usable")
    assert "only before" in one["silence"].sentence
    assert "noise_after" not in one
    assert "noise_agreement" not in one
    both = noise_of(heard())
    assert (both["silence"].value, both["silence"].verdict, both["silence"].threshold) == (2.0, "good", 2.0)


def test_of_several_silences_the_longest_before_and_after_count():
    """Loud short ones beside long quiet ones; one that ends where the stimulus starts lies before it."""
    samples = heard(-80.0)
    samples[100:1100] += white(-20.0)[:1000]
    samples[-1100:-100] += white(-20.0)[:1000]
    spans = ((100, 1100), (RATE // 2, FIRST), SPANS[1], (samples.size - 1100, samples.size - 100))
    found = noise_of(samples, silences=Silences(spans))
    assert found["noise_before"].value < -75.0
    assert found["noise_after"].value < -75.0


def with_hum(hum_db: float, hz: float, *, noise_dbfs: float = -100.0) -> np.ndarray:
    """A line so many dB re the tone that is the stimulus."""
    time_s = np.arange(REEL.n_samples) / RATE
    amplitude = 10.0 ** ((TONE.drive_dbfs + hum_db) / 20.0)
    return heard(noise_dbfs) + amplitude * np.sin(2 * np.pi * hz * time_s + 0.3)


@pytest.mark.parametrize(
    ("hum_db", "verdict", "threshold"),
    [(-56.0, "good", -55.0), (-54.0, "usable", -55.0), (-10.5, "usable", -55.0), (-9.5, "refuse", -10.0)],
)
def test_hum_is_good_under_a_fifth_of_a_per_cent_and_refused_near_the_stimulus(hum_db, verdict, threshold):
    """Re the stimulus's own r.m.s., fades of 10 ms at either end of 2 s apart: 0.03 dB."""
    finding = noise_of(with_hum(hum_db, 50.0))["hum"]
    # the hum is in the stimulus's stretch as well: at -10 dB it adds 0.4 dB there
    expected = hum_db - 10.0 * np.log10(1.0 + 10.0 ** (hum_db / 10.0))
    assert finding.value == pytest.approx(expected, abs=0.1)
    assert (finding.verdict, finding.threshold) == (verdict, threshold)


@pytest.mark.parametrize(
    ("hz", "mains"), [(100.0, 50), (500.0, 50), (120.0, 60), (600.0, None), (550.0, None), (75.0, None)]
)
def test_hum_is_looked_for_at_ten_multiples_of_both_mains_frequencies(hz, mains):
    """600 Hz is the tenth of 60 Hz; 550 Hz would be the eleventh of 50."""
    finding = noise_of(with_hum(-40.0, hz))["hum"]
    if hz == 600.0:
        mains = 60
    assert (finding.value > -100.0) == (mains is not None)
    if mains:
        assert f"({mains} Hz" in finding.sentence


def test_hum_is_the_power_of_all_lines_that_stand_in_both_silences():
    """-40 and -46 dB together: 10 lg(10^-4 + 10^-4.6) = -39.03 dB; a line in one silence alone is none."""
    time_s = np.arange(REEL.n_samples) / RATE
    both = with_hum(-40.0, 50.0) + 10.0 ** ((TONE.drive_dbfs - 46.0) / 20.0) * np.sin(2 * np.pi * 150.0 * time_s)
    both[:FIRST] += 10.0 ** ((TONE.drive_dbfs - 40.0) / 20.0) * np.sin(2 * np.pi * 250.0 * time_s[:FIRST])
    assert noise_of(both)["hum"].value == pytest.approx(-39.03, abs=0.1)


@pytest.mark.parametrize(("over_db", "seen"), [(11.0, False), (15.5, True)])
def test_a_line_stands_out_of_the_median_of_its_neighbours(over_db, seen):
    """13 dB: of noise with an exponential distribution a bin lies so far above the median once in 1e6:
    exp(-10^1.3 ln 2) = 9.8e-7. The mean is 10 lg(1 / ln 2) = 1.6 dB above the median; noise moves a line by 1 dB."""
    assert math.exp(-(10.0**1.3) * math.log(2.0)) == pytest.approx(1e-6, rel=0.05)
    found = []
    for seed in range(8):
        noise = white(-60.0, seed)
        span = SPANS[0][1] - SPANS[0][0]
        fast = span // (RATE // 10) * (RATE // 10)
        # a Hann window's noise bandwidth is 1.5 bins: the mean power that noise puts into a bin of a line spectrum
        bin_power = 1.5 * np.var(noise) / (fast / 2)
        amplitude = np.sqrt(2.0 * bin_power * np.log(2.0) * 10.0 ** (over_db / 10.0))
        time_s = np.arange(REEL.n_samples) / RATE
        samples = REEL.samples() + noise + amplitude * np.sin(2 * np.pi * 250.0 * time_s)
        found.append(noise_of(samples)["hum"].value > -200.0)
    assert np.mean(found) == pytest.approx(float(seen), abs=0.3)


SWEEP = Sweep(seconds=2.0, sample_rate=RATE, start_hz=20.0, full_level_hz=30.0, stop_hz=3700.0, drive_dbfs=-20.0)
SWEPT = Reel((SILENCE, SWEEP, SILENCE))


def swept(noise_dbfs: float) -> tuple[np.ndarray, dict[str, CheckResult]]:
    samples = SWEPT.samples()
    sigma = 10.0 ** (noise_dbfs / 20.0) * np.sqrt(0.5)
    samples += sigma * np.random.default_rng(3).standard_normal(samples.size)
    after = FIRST + SWEEP.n_samples
    spans = ((RATE // 2, FIRST), (after + RATE // 2, samples.size))
    return samples, noise_of(samples, SWEPT, silences=Silences(spans))


def octave_snr_db(noise_dbfs: float, index: int) -> float:
    """The sweep at its drive over white noise in the octave: `P B / (fs / 2)`."""
    width_hz = 1000.0 * 10.0 ** (0.3 * index) * (10.0**0.15 - 10.0**-0.15)
    return SWEEP.drive_dbfs - (noise_dbfs + 10.0 * np.log10(width_hz / (RATE / 2)))


@pytest.mark.parametrize("off_db", [-1.0, 1.0])
def test_signal_to_noise_is_good_from_40_db_and_hopeless_under_20_in_the_best_octave(off_db):
    """An octave of 0.7 s holds 350 readings at 500 Hz: its noise is known to 0.3 dB, the verdict a decibel off
    turns."""
    noise_dbfs = octave_snr_db(0.0, -1) - 40.0 - off_db
    finding = swept(noise_dbfs)[1]["snr_501hz"]
    assert finding.value == pytest.approx(40.0 + off_db, abs=0.7)
    assert finding.verdict == ("good" if off_db > 0 else "usable")
    best_dbfs = octave_snr_db(0.0, -4) - 20.0 - 1.5 * off_db
    found = swept(best_dbfs)[1]
    octaves = [one.value for name, one in found.items() if name.startswith("snr_")]
    assert found["signal"].value == max(octaves)
    assert (found["signal"].verdict == "refuse") == (max(octaves) < 20.0)
    assert found["signal"].threshold == 20.0


def test_octaves_are_those_in_which_the_stimulus_sounds():
    """A sweep from 30 Hz at full level to its fade-out at 3450: 63 Hz to 2 kHz whole, 32 Hz and 4 kHz cut to what is
    covered if that passes their middle."""
    names = [name for name in swept(-80.0)[1] if name.startswith("snr_")]
    assert names == [f"snr_{hz}hz" for hz in (32, 63, 126, 251, 501, 1000, 1995)]
    for name, index in (("snr_63hz", -4), ("snr_1995hz", 1)):
        assert swept(-80.0)[1][name].value == pytest.approx(octave_snr_db(-80.0, index), abs=1.2)
    hiss = Noise(low_hz=200.0, high_hz=1500.0, seconds=2.0, sample_rate=RATE)
    reel = Reel((SILENCE, hiss, SILENCE))
    samples = reel.samples() + white(-80.0)
    names = [name for name in noise_of(samples, reel) if name.startswith("snr_")]
    assert names == ["snr_251hz", "snr_501hz", "snr_1000hz"]


@pytest.mark.parametrize(("weak_db", "counted"), [(-39.0, True), (-41.0, False)])
def test_an_octave_counts_from_a_ten_thousandth_of_the_energy(weak_db, counted):
    """Two tones, 63 Hz and 1 kHz, of which one is 40 dB weaker."""
    tone = Multitone(low_hz=64.0, high_hz=1024.0, lines_per_decade=1 / np.log10(16.0), period_s=0.25, sample_rate=RATE)
    tone.__dict__["line_amplitudes"] = np.array([0.05 * 10.0 ** (weak_db / 20.0), 0.05])  # no spectrum falls so steeply
    reel = Reel((SILENCE, tone, SILENCE))
    samples = reel.samples() + 1e-5 * np.random.default_rng(1).standard_normal(reel.n_samples)
    after = FIRST + tone.n_samples
    found = noise_of(samples, reel, silences=Silences(((RATE // 2, FIRST), (after + RATE // 2, samples.size))))
    assert ("snr_63hz" in found) == counted


# --- why it was not found ---------------------------------------------------------------------------------------------


def test_a_channel_with_steady_noise_alone_is_another_one():
    error = RecordingError("Nothing matches.")
    samples = white(-40.0)
    assert why_not_found(samples, REEL, error).name == "channel"
    for louder_db, name in ((8.0, "channel"), (10.0, "stimulus")):  # 9 dB over the median for a tenth of a second
        bumped = samples / np.std(samples) * 0.01
        bumped[8000:8800] *= 10.0 ** (louder_db / 20.0)
        assert why_not_found(bumped, REEL, error).name == name
    assert why_not_found(samples[:7999], REEL, error).name == "stimulus"  # under a second nothing is steady
    assert why_not_found(samples[:8000], REEL, error).name == "channel"
    finding = why_not_found(samples, REEL, CutOffError("It is cut off."))
    assert (finding.name, finding.value, finding.threshold, finding.verdict) == ("cut_off", 0.0, 1.0, "refuse")


def test_how_much_of_a_sweep_is_missing():
    """The reel of a 3 s sweep that stops 0.8 s before the sweep does; found by its chirp or, without one, by its
    head."""
    sweep = Sweep(seconds=3.0, sample_rate=RATE, start_hz=20.0, full_level_hz=30.0, stop_hz=3700.0)
    error = RecordingError("Nothing matches.")
    for reel in (framed(sweep), Reel((SILENCE, sweep, SILENCE))):
        end = reel.only_stimulus()[0] + sweep.n_samples - round(0.8 * RATE)
        samples = reel.samples()[:end]
        samples = samples + 1e-5 * np.random.default_rng(2).standard_normal(samples.size)
        found = why_not_found(samples, reel, error)
        assert found.name == "cut_off"
        assert "stops 0.8 s before" in found.sentence
    head_only = samples[: reel.only_stimulus()[0] + round(0.3 * RATE)]
    assert why_not_found(head_only, reel, error).name == "stimulus"  # too little of it to be told


def test_the_worst_finding_is_the_verdict():
    found = [
        CheckResult(name=verdict, value=0.0, unit="", threshold=0.0, verdict=verdict, sentence=".")
        for verdict in ("good", "refuse", "usable")
    ]
    assert worst(tuple(found)) == "refuse"
    assert worst((found[0], found[2])) == "usable"
    assert worst(()) == "good"
