"""Mains hum beside a multitone whose period it fits: it must not be taken for distortion."""

import numpy as np
import pytest

from distort.analysis.multitone.hum_lines import hum_lines
from distort.analysis.multitone.reading import MultitoneTake, multitone_result, read_multitone
from distort.analysis.sweep.sweeps import Reference
from signals import Multitone

RATE = 48000
TONE = Multitone(period_s=1.0, seed=5, drive_dbfs=-20.0)


def noise(seconds, seed, sigma=1e-6):
    return sigma * np.random.default_rng(seed).standard_normal(round(seconds * RATE))


def hum(samples, amplitudes, first=0):
    """Sines of 50 Hz and its multiples, `amplitudes[hz]`, laid on `samples` that begin at sample `first`."""
    time_s = (first + np.arange(samples.size)) / RATE
    return samples + sum(a * np.sin(2 * np.pi * hz * time_s + 0.3 * hz) for hz, a in amplitudes.items())


@pytest.mark.parametrize("hz", [50.0, 59.93, 150.2, 997.3])
def test_a_tone_in_the_silence_has_its_frequency_and_power(hz):
    """Mean square of a sine: a^2 / 2. A parabola through a Hann window's peak errs by up to 0.016 bins (0.008 Hz)."""
    found = hum_lines([hum(noise(2.0, 1), {hz: 1e-4}), hum(noise(2.0, 2), {hz: 1e-4}, 777777)], sample_rate=RATE)
    assert found.frequency_hz == pytest.approx([hz], abs=0.02)
    assert 10 * np.log10(found.power) == pytest.approx([10 * np.log10(0.5e-8)], abs=0.1)  # five bins of its main lobe


@pytest.mark.first(1)
@pytest.mark.parametrize("count", [20, 100])
def test_noise_alone_holds_no_tones(count):
    """Seeded pairs of silences, 24,000 bins each: at one false bin in ten million, none is expected."""
    pairs = ([noise(1.5, 2 * seed), noise(1.5, 2 * seed + 1)] for seed in range(count))
    assert sum(hum_lines(pair, sample_rate=RATE).power.size for pair in pairs) <= 1


def heard(amplitudes, *, silence=True, curve=lambda x: x):
    played = np.pad(curve(TONE.samples()), 4800)
    samples = hum(played + noise(played.size / RATE, 3), amplitudes)
    silences = (hum(noise(2.0, 4), amplitudes, 100), hum(noise(2.0, 5), amplitudes, 7)) if silence else ()
    read = read_multitone(MultitoneTake(samples=samples, start=4800.0, silences=silences), TONE)
    return multitone_result([read], Reference())


def band(result, hz):
    return int(np.argmin(np.abs(result.bands.frequency_hz - hz)))


def test_hum_is_noise_and_floor_and_no_distortion():
    """A wire with 50 Hz (even bin) and 75 Hz (odd bin) at -80 dBFS: each goes into its own floor, within 0.2 dB.

    75 Hz lies beside the line at 79 Hz and fills it too, by a quarter: 10 lg 1.25 = 0.97 dB more.
    """
    result = heard({50.0: 1e-4, 75.0: 1e-4})
    assert 79 in TONE.line_bins
    for hz, floor_db, reading_db, filled_db in (
        (50.0, result.bands.even_floor_db, result.bands.even_db, 0.0),
        (80.0, result.bands.odd_floor_db, result.bands.odd_db, 0.969),
    ):
        row = band(result, hz)
        noise_db = -80.0 - result.bands.level_db[row]  # 1e-4 of full scale, re the lines of the band
        expected_db = noise_db + filled_db
        assert floor_db[row] == pytest.approx(expected_db, abs=0.2)
        assert reading_db[row] < expected_db - 9.0  # at most 10 dB are taken off
        assert result.bands.noise_db[row] == pytest.approx(noise_db, abs=0.2)
        assert result.bands.doubtful[row]
    other = band(result, 1000.0)
    quiet = heard({})
    for name in ("even_floor_db", "odd_floor_db", "noise_db"):
        # the same noise: only the far leakage of the hum differs
        assert getattr(result.bands, name)[other] == pytest.approx(getattr(quiet.bands, name)[other], abs=0.01)


def test_without_silence_hum_cannot_be_told():
    result = heard({50.0: 1e-4}, silence=False)
    row = band(result, 50.0)
    assert result.bands.even_db[row] == pytest.approx(-80.0 - result.bands.level_db[row], abs=0.2)


def test_distortion_beside_hum_stays():
    """y = x + 0.1 x^2: bands without hum keep their even order within 0.01 dB."""
    with_hum, without = (heard(sounds, curve=lambda x: x + 0.1 * x**2) for sounds in ({50.0: 1e-4}, {}))
    rows = with_hum.bands.frequency_hz > 200.0
    assert with_hum.bands.even_db[rows] == pytest.approx(without.bands.even_db[rows], abs=0.01)
