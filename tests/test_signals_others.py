"""Levels, tones, bursts, noise, chirps and the reel."""

import math

import numpy as np
import pytest
import scipy.signal

import signals
from signals import Burst, Chirp, Noise, Reel, SignalError, Silence, Sweep, Tone
from signals.levels import amplitude_to_db, distance_gain_db, power_to_db, rms_dbfs, spl_of_full_scale


def test_full_scale_sine_is_zero_dbfs_and_square_three_more():
    """AES17: 0 dBFS is the r.m.s. of a full-scale sine; a full-scale square wave then reads 10 log10 2 = +3.0103."""
    turns = np.arange(48000) / 48
    assert rms_dbfs(np.sin(2 * np.pi * turns)) == pytest.approx(0.0, abs=1e-9)  # whole periods: rounding only
    assert rms_dbfs(np.sign(np.sin(2 * np.pi * turns + 0.1))) == pytest.approx(3.010300, abs=1e-6)


def test_sound_pressure_level_from_a_calibrator():
    """94 dB read at -30 dBFS puts full scale at 124 dB; 1 Pa is 93.9794 dB re 20 uPa (closed form)."""
    assert spl_of_full_scale(calibrator_dbfs=-30.0, calibrator_db_spl=94.0) == 124.0
    assert amplitude_to_db(1.0 / 20e-6) == pytest.approx(93.9794, abs=5e-5)  # the digits given


def test_distance():
    """Twice the distance, 6.0206 dB less (inverse distance law), so as much is added back."""
    assert distance_gain_db(2.0) == pytest.approx(6.020600, abs=1e-6)
    assert distance_gain_db(1.0) == 0.0
    with pytest.raises(ValueError, match="above 0"):
        distance_gain_db(0.0)


def test_nothing_is_a_number():
    assert power_to_db(0.0) == -300.0
    assert rms_dbfs([]) == -300.0
    assert np.isnan(power_to_db(np.nan))


def test_tone_and_calibration_tone():
    tone = Tone(frequency_hz=1000.0, seconds=1.0, fade_s=0.1, drive_dbfs=-12.0)
    assert rms_dbfs(tone.samples()[4800:-4800]) == pytest.approx(-12.0, abs=1e-9)  # whole periods
    assert signals.calibration_tone(frequency_hz=250.0).n_samples == 480000


def test_burst_spectrum_has_its_first_zeros_where_a_hann_window_has_them():
    """A Hann window of N periods has zeros 2 f0 / N beside the tone (Harris, Proc. IEEE 66, 1978)."""
    burst = Burst(frequency_hz=1000.0, periods=8)
    samples = burst.samples()
    hz = np.array([750.0, 1000.0, 1250.0])
    bins = np.abs(np.exp(-2j * np.pi * np.outer(hz, np.arange(samples.size)) / 48000) @ samples)
    assert bins[0] / bins[1] < 1e-3  # the image at -1 kHz leaves this much
    assert bins[2] / bins[1] < 1e-3
    assert np.max(np.abs(samples)) == pytest.approx(0.1, rel=0.02)  # -20 dBFS; the top falls between samples


def test_noise_has_its_level_band_and_slope():
    noise = Noise(low_hz=100.0, high_hz=5000.0, spectrum="pink", seconds=20.0, drive_dbfs=-30.0)
    samples = noise.samples()
    assert rms_dbfs(samples) == pytest.approx(-30.0, abs=1e-9)  # set exactly
    hz, density = scipy.signal.welch(samples, 48000, nperseg=8192)

    def octave_power(low):
        return np.sum(density[(hz >= low) & (hz < 2 * low)])

    assert 10 * np.log10(octave_power(400.0) / octave_power(1600.0)) == pytest.approx(0.0, abs=0.25)
    # scatter of 20 s x 400 Hz: 4.34 / sqrt(8000) dB = 0.05 dB
    assert np.max(density[hz > 5100.0]) < 1e-6 * np.max(density)
    assert np.array_equal(samples, signals.from_description(signals.describe(noise)).samples())


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: Tone(frequency_hz=24000.0), "not below half the sample rate"),
        (lambda: Tone(seconds=0.01, fade_s=0.02), "do not fit"),
        (lambda: Tone(drive_dbfs=1.0), "above digital full scale"),
        (lambda: Burst(frequency_hz=-1.0), "above 0"),
        (lambda: Noise(low_hz=1010.0, high_hz=1020.0, seconds=0.01), "no frequency"),
        (lambda: Noise(spectrum="brown"), "must be one of"),
        (lambda: Noise(drive_dbfs=-1.0).samples(), "above digital full scale"),
        (lambda: Silence(seconds=0.0), "above 0"),
        (lambda: Chirp(high_hz=30000.0), "not below half"),
        (lambda: Reel(()), "one sample rate"),
        (lambda: Reel((Silence(seconds=1.0), Silence(seconds=1.0, sample_rate=44100))), "one sample rate"),
        (lambda: Reel((Silence(seconds=1.0),)).only_stimulus(), "0 stimuli"),
        (lambda: signals.from_description({"kind": "wobble"}), "unknown kind"),
        (lambda: signals.from_description({"kind": "tone", "pitch": 3}), "missing or unknown: .*pitch"),
        (lambda: signals.describe(Silence(seconds=1.0)), "cannot be written down"),
        (lambda: signals.from_description({**signals.describe(Tone()), "seconds": "long"}), "finite number"),
        (lambda: Tone(seconds=math.nan), "finite"),
    ],
)
def test_what_cannot_be_made_is_refused(make, says):
    with pytest.raises(SignalError, match=says):
        make()


def test_a_framed_stimulus_has_chirps_and_silences_about_it():
    sweep = Sweep(seconds=2.0)
    reel = signals.framed(sweep)
    samples = reel.samples()
    start, stimulus = reel.only_stimulus()
    assert stimulus == sweep
    assert np.array_equal(samples[start : start + sweep.n_samples], sweep.samples())
    assert len(reel.chirp_starts()) == 2
    before, after = reel.quiet_spans()
    assert before[1] == start
    assert after[0] > start + sweep.n_samples
    for first, end in (before, after):
        assert (end - first) / reel.sample_rate >= 2.0
        assert not np.any(samples[first:end])
