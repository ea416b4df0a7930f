"""What can be played and what cannot, to the last sample and bin; and waveforms against other libraries' formulas."""

import math

import numpy as np
import pytest
import scipy.signal

from signals import Burst, Chirp, Multitone, Noise, Reel, SignalError, Silence, Sweep, Tone, clock_chirp, framed
from signals.burst import BurstSeries
from signals.checks import (
    MOST_SAMPLES,
    require_below_nyquist,
    require_finite,
    require_length,
    require_positive,
    require_sample_rate,
    require_within_full_scale,
)
from signals.heating import Heating
from signals.levels import amplitude_to_db, db_to_amplitude, db_to_power, power_to_db, rms_dbfs
from signals.phases import crest_factor, schroeder_phases, wave
from signals.sampled_programme import SampledProgramme
from signals.stimulus import KINDS
from signals.sweep import SampledSweep
from signals.tapers import log_rise, rise


def passes(check) -> bool:
    try:
        check()
    except SignalError:
        return False
    return True


@pytest.mark.parametrize(
    ("samples", "may"),
    [(0.5, False), (0.51, True), (1.0, True), (172_800_000, True), (172_800_001, False), (math.nan, False)],
)
def test_between_one_sample_and_an_hour_at_48_khz(samples, may):
    """3600 x 48,000. What rounds to one sample is one."""
    assert passes(lambda: require_length(samples)) == may
    assert MOST_SAMPLES == 172_800_000


@pytest.mark.parametrize(
    ("peak_dbfs", "may"),
    [(0.0, True), (1e-10, True), (1e-8, False), (-300.0, True), (-300.1, False), (math.inf, False)],
)
def test_peaks_between_nothing_and_full_scale(peak_dbfs, may):
    assert passes(lambda: require_within_full_scale(peak_dbfs)) == may


def test_numbers_that_must_be_finite_or_positive():
    assert passes(lambda: require_finite(a=1.0, b=0, c=-2.5, d=None))
    assert passes(lambda: require_positive(a=1e-300, b=None))
    for bad in (math.nan, math.inf, True, "1", 10**400):
        assert not passes(lambda value=bad: require_finite(a=value))
    for bad in (0.0, 0, -1e-9):
        assert not passes(lambda value=bad: require_positive(a=value))


def test_a_sample_rate_is_a_whole_number():
    assert passes(lambda: require_sample_rate(1))
    assert passes(lambda: require_sample_rate(np.int64(48_000)))
    for bad in (48_000.0, 0, -8000, True, "48000", math.nan, None):
        assert not passes(lambda value=bad: require_sample_rate(value))


@pytest.mark.parametrize("made_by", [*(kind for kind in KINDS.values() if kind is not Heating), Chirp, Silence])
def test_every_kind_says_so_of_a_rate_that_is_none(made_by):
    """Heating has the rate of its tone, which says so."""
    sweep = {"n_given": 9, "fitted_rate_s": 1.0, "filed_dbfs": -20.0, "samples_sha256": 64 * "0"}
    piece = {"n_given": 480_000, "given_rate": 48_000, "given_crest_db": 9.0, "given_loudest_db": 3.0}
    piece["samples_sha256"] = 64 * "0"
    given = {SampledSweep: sweep, SampledProgramme: piece, Silence: {"seconds": 1.0}}.get(made_by, {})
    made_by(**given)
    with pytest.raises(SignalError, match=r"sample_rate must be a whole number .*not 48000\.0"):
        made_by(**given, sample_rate=48_000.0)


def test_a_burst_ends_its_lobe_below_half_the_sample_rate():
    """The first zero of a Hann window of n periods lies 2/n of the frequency above it: of 8 periods at 1.25."""
    assert passes(lambda: Burst(frequency_hz=19_199.0, periods=8.0))
    assert not passes(lambda: Burst(frequency_hz=19_200.0, periods=8.0))
    with pytest.raises(SignalError, match="a burst of 4 periods at 16000 Hz sounds up to 24000 Hz, not below half"):
        BurstSeries(bands_hz=(8000.0, 16000.0), periods=4.0)


def test_half_the_sample_rate_is_not_below_itself():
    assert passes(lambda: require_below_nyquist(23_999.999, 48_000, "f"))
    assert not passes(lambda: require_below_nyquist(24_000.0, 48_000, "f"))


def test_decibels_of_powers_and_amplitudes():
    """By definition: 20 dB are a factor of ten in amplitude and a hundred in power."""
    assert db_to_amplitude([20.0, -6.0206]) == pytest.approx([10.0, 0.5], rel=1e-5)
    assert db_to_power([20.0, -3.0103]) == pytest.approx([100.0, 0.5], rel=1e-5)
    assert amplitude_to_db([-10.0, 0.5, 0.0]) == pytest.approx([20.0, -6.0206, -300.0], abs=1e-4)
    assert power_to_db([100.0, 0.5]) == pytest.approx([20.0, -3.0103], abs=1e-4)
    assert power_to_db(1e-29) == pytest.approx(-290.0)
    assert power_to_db(1e-31) == -300.0
    assert rms_dbfs(np.full((2, 3), 0.1)) == pytest.approx(-20.0 + 3.0103, abs=1e-4)


def test_a_raised_cosine_by_hand():
    np.testing.assert_allclose(
        rise([-1.0, 0.0, 0.25, 0.5, 0.75, 1.0, 2.0]), [0, 0, 0.1464466, 0.5, 0.8535534, 1, 1], atol=1e-7
    )
    up = log_rise([0.0, 10.0, 20.0, 40.0, 80.0], from_hz=10.0, to_hz=40.0)
    np.testing.assert_allclose(up, [0.0, 0.0, 0.5, 1.0, 1.0], atol=1e-12)
    np.testing.assert_allclose(log_rise([20.0, 5.0], from_hz=40.0, to_hz=10.0), [0.5, 1.0], atol=1e-12)


# --- chirp ------------------------------------------------------------------------------------------------------------


def test_a_chirp_is_the_linear_one_of_scipy_between_its_fades():
    """scipy.signal.chirp(method="linear", phi=-90) is sin of the same phase; fades take a tenth of the length each."""
    chirp = Chirp(low_hz=700.0, high_hz=9000.0, seconds=0.05, sample_rate=44100, drive_dbfs=-6.0)
    assert chirp.n_samples == 2205
    time_s = np.arange(2205) / 44100
    theirs = 10.0**-0.3 * scipy.signal.chirp(time_s, 700.0, 0.05, 9000.0, method="linear", phi=-90)
    middle = slice(221, 1984)
    np.testing.assert_allclose(chirp.samples()[middle], theirs[middle], atol=1e-9)
    share = np.array([0.025, 0.05, 0.075])
    for place, faded in zip(np.round(share * 2205).astype(int), 0.5 - 0.5 * np.cos(10 * np.pi * share), strict=True):
        assert chirp.samples()[place] == pytest.approx(theirs[place] * faded, abs=0.01)
        assert chirp.samples()[2205 - place] == pytest.approx(theirs[2205 - place] * faded, abs=0.01)


def test_the_clock_chirp_as_the_methods_state_it():
    """0.1 s from 0.5 to 12 kHz, 10 dB below its stimulus; to 0.45 of a low sample rate."""
    for rate, high_hz in ((48000, 12000.0), (16000, 7200.0)):
        chirp = clock_chirp(-33.0, rate)
        assert (chirp.low_hz, chirp.high_hz, chirp.seconds, chirp.drive_dbfs) == (500.0, high_hz, 0.1, -33.0)
    reel = framed(Sweep(drive_dbfs=-21.0))
    assert [item.drive_dbfs for item in reel.items if isinstance(item, Chirp)] == [-31.0, -31.0]
    assert framed(Sweep(), chirp_drive_dbfs=-7.0).items[1].drive_dbfs == -7.0


def test_the_times_of_a_reel():
    """Half a second, chirp, 2.75 s, stimulus, 3 s, chirp, half a second; noise is read from 0.7 s after a chirp and
    0.95 s after the stimulus on: 2.05 s each."""
    sweep = Sweep(seconds=2.0)
    reel = framed(sweep)
    rate = 48000
    lengths = [0.5, 0.1, 2.75, sweep.n_samples / rate, 3.0, 0.1, 0.5]
    np.testing.assert_allclose(np.diff([*reel.starts, reel.n_samples]) / rate, lengths, atol=1e-9)
    assert reel.chirp_starts() == (24000, 24000 + 4800 + 132000 + sweep.n_samples + 144000)
    start, _ = reel.only_stimulus()
    assert reel.quiet_spans() == (
        (28800 + round(0.7 * rate), start),
        (start + sweep.n_samples + round(0.95 * rate), start + sweep.n_samples + 144000),
    )
    assert reel.samples().size == reel.n_samples
    assert Reel((Silence(seconds=1.0, settle_s=1.0), sweep)).quiet_spans() == ()
    with pytest.raises(SignalError, match="2 stimuli"):
        Reel((sweep, sweep)).only_stimulus()
    long = Silence(seconds=3600.0)
    assert Reel((long,)).n_samples == MOST_SAMPLES
    with pytest.raises(SignalError, match="not played"):
        Reel((long, Silence(seconds=1e-4)))


# --- tones ------------------------------------------------------------------------------------------------------------


def test_a_tone_begins_with_its_phase_and_fades_at_both_ends():
    tone = Tone(frequency_hz=100.0, seconds=0.2, fade_s=0.05, sample_rate=8000, drive_dbfs=-6.0, phase_deg=90.0)
    place = np.array([0, 100, 200, 400, 800, 1400, 1500])
    fades = [0.0, rise(0.25), 0.5, 1.0, 1.0, 0.5, rise(0.25)]
    expected = 10.0**-0.3 * np.cos(2 * np.pi * 100.0 * place / 8000) * np.array(fades, dtype=float)
    np.testing.assert_allclose(tone.samples()[place], expected, atol=1e-12)
    whole = Tone(
        frequency_hz=100.0, seconds=0.1, fade_s=0.0, sample_rate=8000, drive_dbfs=0.0, phase_deg=90.0
    ).samples()
    assert (whole[0], whole.size) == (1.0, 800)
    assert passes(lambda: Tone(seconds=0.1, fade_s=0.05))
    assert not passes(lambda: Tone(seconds=0.1, fade_s=0.0501))
    assert not passes(lambda: Tone(fade_s=-0.01))


def test_a_burst_is_its_sine_under_a_hann_window():
    burst = Burst(frequency_hz=1000.0, periods=4, sample_rate=48000, drive_dbfs=-6.0)
    window = scipy.signal.windows.hann(192, sym=False)
    np.testing.assert_allclose(
        burst.samples(), 10.0**-0.3 * window * np.sin(2 * np.pi * np.arange(192) / 48), atol=1e-12
    )


def test_what_is_played_unless_told_otherwise():
    """As the plan's template states it: sweep from 10 Hz, full from 15.9, to 22 kHz over 10 s; multitone of 10 lines a
    decade from 20 Hz to 20 kHz, 2 + 16 periods of 2 s; -20 dBFS."""
    sweep, tone = Sweep(), Multitone()
    assert (sweep.start_hz, sweep.full_level_hz, sweep.stop_hz, sweep.seconds) == (10.0, 15.9, 22000.0, 10.0)
    assert (tone.lines_per_decade, tone.low_hz, tone.high_hz, tone.period_s) == (10.0, 20.0, 20000.0, 2.0)
    assert (tone.settling_periods, tone.periods) == (2, 16)
    assert {one.drive_dbfs for one in (sweep, tone, Tone(), Burst(), Chirp())} == {-20.0}
    assert (Noise().low_hz, Noise().high_hz) == (20.0, 20000.0)  # what people hear
    # 31 lines from 20 Hz to 20 kHz; a third octave of fade at the top would be 0.1 of an octave
    assert tone.line_bins.size == 31
    assert sweep.fade_out_hz == pytest.approx(22000.0 * 2.0**-0.1)


# --- noise ------------------------------------------------------------------------------------------------------------


def test_noise_lies_between_its_edges_and_falls_by_three_decibels_an_octave():
    """On the bins of its own length: exactly nothing outside; pink: power falls as 1 / f, to 5 % over 8,000 bins."""
    for spectrum, slope in (("flat", 0.0), ("pink", 1.0)):
        noise = Noise(low_hz=500.0, high_hz=3000.0, spectrum=spectrum, seconds=4.0, sample_rate=8000, seed=3)
        power = np.abs(np.fft.rfft(noise.samples())) ** 2
        hz = np.arange(power.size) / 4.0
        inside = (hz >= 500.0) & (hz <= 3000.0)
        assert np.max(power[~inside]) < 1e-20 * np.max(power)
        assert np.min(power[inside]) > 1e-9 * np.max(power)
        low, high = (hz >= 500.0) & (hz < 1000.0), (hz >= 1500.0) & (hz <= 3000.0)
        flattened = power * hz**slope
        assert np.mean(flattened[low]) == pytest.approx(np.mean(flattened[high]), rel=0.06)
        assert rms_dbfs(noise.samples()) == pytest.approx(-30.0)
        assert noise.samples().size == 32000
    assert np.mean(np.fft.rfft(noise.samples()).real[inside] ** 2) == pytest.approx(
        np.mean(np.fft.rfft(noise.samples()).imag[inside] ** 2), rel=0.1
    )  # phases anywhere


def test_noise_whose_peak_passes_full_scale_is_not_made():
    """Some four standard deviations: a crest of 12 dB, so -12 + 3 dBFS just fits and 3 dB more does not."""
    noise = Noise(seconds=1.0, drive_dbfs=-20.0)
    headroom_db = -20.0 * math.log10(np.max(np.abs(noise.samples())))
    Noise(seconds=1.0, drive_dbfs=-20.0 + headroom_db - 0.01).samples()
    with pytest.raises(SignalError, match="above digital full scale"):
        Noise(seconds=1.0, drive_dbfs=-20.0 + headroom_db + 0.01).samples()


# --- sums of tones ----------------------------------------------------------------------------------------------------


def test_a_wave_is_its_sum_of_cosines():
    bins, amplitudes, phases = np.array([1, 4, 7]), np.array([1.0, 0.5, 0.25]), np.array([0.3, -1.0, 2.0])
    turns = np.arange(30) / 30
    expected = sum(a * np.cos(2 * np.pi * b * turns + p) for b, a, p in zip(bins, amplitudes, phases, strict=True))
    np.testing.assert_allclose(wave(bins, amplitudes, phases, points=30), expected, atol=1e-12)
    fine = np.arange(100000) / 100000
    peak = np.max(
        np.abs(sum(a * np.cos(2 * np.pi * b * fine + p) for b, a, p in zip(bins, amplitudes, phases, strict=True)))
    )
    # 16 points a turn of the highest tone miss at most 2 % of its own part
    assert crest_factor(bins, amplitudes, phases) == pytest.approx(peak / math.sqrt(0.5 * 1.3125), rel=0.005)


def test_schroeders_phases_of_unequal_tones():
    """`phi_n = -2 pi sum over l < n of (b_n - b_l) p_l`, term by term."""
    bins, amplitudes = np.array([3, 5, 11, 13]), np.array([1.0, 2.0, 1.0, 0.5])
    power = amplitudes**2 / np.sum(amplitudes**2)
    expected = [-2 * np.pi * sum((bins[n] - bins[k]) * power[k] for k in range(n)) for n in range(4)]
    np.testing.assert_allclose(schroeder_phases(bins, amplitudes), expected, atol=1e-9)


# --- the multitone ----------------------------------------------------------------------------------------------------


def multitone(**fields) -> bool:
    given = {
        "low_hz": 500.0,
        "high_hz": 3000.0,
        "period_s": 0.5,
        "sample_rate": 8000,
        "lines_per_decade": 5.0,
        "periods": 2,
    }
    return passes(lambda: Multitone(**(given | fields)))


# --- the sweep --------------------------------------------------------------------------------------------------------
