"""The level of a calibrator's tone, against tones whose level is set by their formula."""

import numpy as np
import pytest

from distort.capture.calibration.calibrator import CalibratorReading, calibrator_level
from distort.errors import CalibrationError
from tests.made_recordings import FloatArray, with_noise

RATE = 16000
"""Hz. All that is read lies below 5 kHz, and a third of the usual rate is read in a third of the time."""


def tone(frequency_hz: float, level_dbfs: float, *, seconds: float = 4.0, sample_rate: int = RATE) -> FloatArray:
    """10^(level / 20) sin(2 pi f t): a full-scale sine is 0 dBFS (AES17)."""
    time_s = np.arange(round(seconds * sample_rate)) / sample_rate
    return np.asarray(10.0 ** (level_dbfs / 20.0) * np.sin(2.0 * np.pi * frequency_hz * time_s + 0.4))


def hum(level_dbfs: float, *, seconds: float = 4.0) -> FloatArray:
    """50 Hz and a third as much of 150 Hz."""
    return tone(50.0, level_dbfs, seconds=seconds) + tone(150.0, level_dbfs - 9.54, seconds=seconds)


def read(recording: FloatArray, *, db_spl: float = 94.0, sample_rate: int = RATE) -> CalibratorReading:
    return calibrator_level(recording, sample_rate=sample_rate, db_spl=db_spl)


@pytest.mark.parametrize("frequency_hz", [1000.0, 1003.7, 985.0, 250.0, 251.2])
@pytest.mark.parametrize("sample_rate", [RATE, pytest.param(44100, marks=pytest.mark.sample), 48000])
def test_a_clean_tone_is_read_exactly(frequency_hz: float, sample_rate: int) -> None:
    """Closed form. 1e-6 dB and 1e-6 Hz: rounding, and the Hann weight's sidelobes."""
    reading = read(tone(frequency_hz, -23.4, sample_rate=sample_rate), sample_rate=sample_rate)
    assert reading.calibrator_dbfs == pytest.approx(-23.4, abs=1e-6)
    assert reading.frequency_hz == pytest.approx(frequency_hz, abs=1e-6)
    assert reading.spl_of_full_scale == pytest.approx(94.0 + 23.4, abs=1e-6)
    assert reading.stability_db < 1e-6
    assert reading.harmonic_percent < 1e-4
    assert reading.warnings == ()


@pytest.mark.parametrize("frequency_hz", [1000.0, 250.4])
@pytest.mark.parametrize("seed", range(2))
def test_noise_and_hum_do_not_pull_the_level(frequency_hz: float, seed: int) -> None:
    """Closed form; noise 20 dB and hum 10 dB below the tone. An r.m.s. reading would be 0.45 dB too high.

    0.02 dB is four standard deviations: noise leaves 8.69 sqrt(1.5 / (N snr)) = 0.0049 dB (Cramer-Rao, Hann weight).
    """
    clean = tone(frequency_hz, -23.4) + hum(-33.4)
    reading = read(with_noise(clean, np.random.default_rng(seed), level_dbfs=-43.4))
    assert abs(reading.calibrator_dbfs + 23.4) < 0.02
    assert abs(reading.frequency_hz - frequency_hz) < 0.001
    assert reading.stability_db < 0.05


def test_hum_as_loud_as_the_tone_leaves_no_trace() -> None:
    """Closed form, no noise. 1e-4 dB: under an unweighted fit 50 Hz would leak 1/(200 pi) into 250 Hz, 0.01 dB."""
    for frequency_hz in (251.37, 1000.37):
        assert read(tone(frequency_hz, -23.4) + hum(-23.4)).calibrator_dbfs == pytest.approx(-23.4, abs=1e-4)


@pytest.mark.study
def test_the_level_in_a_hundred_noises() -> None:
    errors = []
    for seed in range(100):
        clean = tone(1000.0, -23.4) + hum(-33.4)
        errors.append(read(with_noise(clean, np.random.default_rng(seed), level_dbfs=-43.4)).calibrator_dbfs + 23.4)
    print(f"calibrator level: mean error {np.mean(errors):.5f} dB, s.d. {np.std(errors):.5f} dB")
    assert max(np.abs(errors)) < 0.02
    assert abs(np.mean(errors)) < 0.0015  # no bias: 0.0049 dB over sqrt(100), three times


def test_a_tone_that_drifts_in_frequency_keeps_its_level() -> None:
    """0.1 Hz over 10 s: one fit over all of it would lose 0.6 dB. 0.002 dB: within a second the phase bends by 0.03."""
    time_s = np.arange(10 * RATE) / RATE
    drifting = 0.1 * np.sin(2.0 * np.pi * (1000.0 * time_s + 0.005 * time_s**2))
    reading = read(drifting)
    assert abs(reading.calibrator_dbfs + 20.0) < 0.002
    assert reading.frequency_hz == pytest.approx(1000.05, abs=0.005)


def test_the_steady_part_is_found() -> None:
    """Put on after 3.5 s, taken off with a knock after 9.5 s: only what lies between counts."""
    random = np.random.default_rng(3)
    rising = np.linspace(0.0, 1.0, RATE // 2) * tone(1000.0, -20.0, seconds=0.5)
    knock = 0.3 * random.standard_normal(RATE // 4)
    quiet = 1e-4 * random.standard_normal(3 * RATE)
    reading = read(np.concatenate([quiet, rising, tone(1000.0, -20.0, seconds=6.0), knock, quiet]))
    assert reading.calibrator_dbfs == pytest.approx(-20.0, abs=1e-3)  # 1e-3: the trimmed looks hold no edge
    assert 3.4 <= reading.steady_s[0] <= 3.8
    assert 9.2 <= reading.steady_s[1] <= 9.5


@pytest.mark.parametrize("percent", [0.5, 2.0])
def test_harmonics_are_read(percent: float) -> None:
    """Second and third harmonic of equal size, r.m.s. sum by arithmetic. 0.001: rounding and sidelobes."""
    each_db = 20.0 * np.log10(percent / 100.0 / np.sqrt(2.0))
    reading = read(tone(1000.0, -20.0) + tone(2000.0, -20.0 + each_db) + tone(3000.0, -20.0 + each_db))
    assert reading.harmonic_percent == pytest.approx(percent, abs=0.001)
    assert reading.calibrator_dbfs == pytest.approx(-20.0, abs=1e-6)


def test_stability_is_the_spread_of_its_seconds() -> None:
    """A ramp of 0.1 dB over ten seconds: means of the first and the last whole second are 0.09 apart at most."""
    ramp = 10.0 ** (np.linspace(0.0, 0.1, 10 * RATE) / 20.0)
    assert read(ramp * tone(1000.0, -20.0, seconds=10.0)).stability_db == pytest.approx(0.08, abs=0.001)


@pytest.mark.parametrize(
    ("level_dbfs", "db_spl", "warned"), [(-60.0, 94.0, True), (-30.0, 94.0, False), (-1.0, 94.0, True)]
)
def test_an_implausible_full_scale_is_asked_about(level_dbfs: float, db_spl: float, warned: bool) -> None:
    """100 to 145 dB are plausible: 154 and 95 dB are not, 124 dB is."""
    reading = read(tone(1000.0, level_dbfs), db_spl=db_spl)
    assert bool(reading.warnings) is warned
    if warned:
        assert f"{db_spl - level_dbfs:.1f} dB SPL" in reading.warnings[0]


def test_what_is_refused_says_why() -> None:
    random = np.random.default_rng(5)
    refused = {
        "holds no steady tone": 0.1 * random.standard_normal(4 * RATE),
        r"has 900\.0 Hz": tone(900.0, -20.0),
        r"has 1025\.0 Hz": tone(1025.0, -20.0),
        r"moved by 0\.\d\d dB": np.linspace(1.0, 1.05, 4 * RATE) * tone(1000.0, -20.0),
        "is clipped": np.clip(tone(1000.0, 2.0), -1.0, 1.0),
        "clipped .*first at": np.clip(tone(250.0, -10.0), -0.3, 0.3),
        r"has 4\.0 % of harmonics": tone(1000.0, -20.0) + tone(2000.0, -20.0 + 20.0 * np.log10(0.04)),
        r"2\.0 s long": tone(1000.0, -20.0, seconds=2.0),
        r"steady for \d\.\d s only": np.concatenate([tone(1000.0, -20.0, seconds=2.5), np.zeros(3 * RATE)]),
        "is silent": np.zeros(4 * RATE),
        "no numbers": np.full(4 * RATE, np.nan),
    }
    for sentence, recording in refused.items():
        with pytest.raises(CalibrationError, match=sentence):
            read(recording)
    with pytest.raises(CalibrationError, match="must be a number"):
        read(tone(1000.0, -20.0), db_spl=float("nan"))


def test_a_frequency_within_two_percent_passes() -> None:
    """IEC 60942, from memory: 2 % for class 2."""
    for frequency_hz in (981.0, 1019.0, 245.5, 254.5):
        assert read(tone(frequency_hz, -20.0)).frequency_hz == pytest.approx(frequency_hz, abs=1e-4)


@pytest.mark.parametrize("frequency_hz", [1000.0, 250.0])
@pytest.mark.parametrize("bits", [16, 24])
def test_rounding_to_bits_is_not_taken_for_clipping(bits: int, frequency_hz: float) -> None:
    """Without dither the crests of a quiet tone are flat by rounding. 0.005 dB: half a step of 16 bits at -40 dBFS."""
    for level_dbfs in (-40.0, -20.0, -1.0):
        stored = np.round(tone(frequency_hz, level_dbfs) * 2 ** (bits - 1)) / 2 ** (bits - 1)
        assert read(stored).calibrator_dbfs == pytest.approx(level_dbfs, abs=0.005)
