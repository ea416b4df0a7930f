"""Steady sounds found in silences whose spectra are made to measure, the microphone taken out of spectra, and how many
draws of phases scatter."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from distort.analysis.multitone.blocks import BlockSpectra, statistics
from distort.analysis.multitone.draws import draws_variance
from distort.analysis.multitone.hum_lines import hum_lines
from distort.analysis.multitone.in_air import blocks_in_air, only_covered_bands, only_covered_lines
from distort.analysis.multitone.powers import BandPowers, LinePowers
from signals import Multitone

RATE = 4000
"""Silences of a second: bins of 1 Hz."""

# --- steady sounds ----------------------------------------------------------------------------------------------------


def silence(density: np.ndarray, *, seconds: float = 1.0, seed: int = 1) -> np.ndarray:
    """Of these amplitudes a bin (a sine of amplitude a: a), with phases a quarter of a turn on from bin to bin, so that
    a Hann window's neighbours add in power: `(a_k / 2)^2 + ((a_(k-1) - a_(k+1)) / 4)^2`."""
    count = round(RATE * seconds)
    spectrum = np.zeros(count // 2 + 1, complex)
    spectrum[: density.size] = density * 1j ** (np.arange(density.size) % 4) * count / 2.0
    return np.fft.irfft(spectrum, count)


def flat(level: float) -> np.ndarray:
    return np.full(RATE // 2, level)


def test_a_tone_between_bins_is_read_by_the_parabola_through_its_peak() -> None:
    """Of 100.3 Hz and amplitude 0.01: 5e-5 in power, of which a Hann window of 5 bins keeps all but 0.3 %. A parabola
    through the logarithm of its main lobe is off by a few hundredths of a bin."""
    time_s = np.arange(RATE) / RATE
    tones = 0.01 * np.sin(2.0 * np.pi * 100.3 * time_s) + 0.003 * np.sin(2.0 * np.pi * 399.8 * time_s + 1.0)
    found = hum_lines([silence(flat(1e-6)) + tones], sample_rate=RATE)
    np.testing.assert_allclose(found.frequency_hz, [100.3, 399.8], atol=0.05)
    np.testing.assert_allclose(found.power, [0.5e-4, 0.45e-5], rtol=0.01)


@pytest.mark.parametrize(("stands_out", "told"), [(13.3, False), (14.7, True)])
def test_a_tone_counts_from_fourteen_times_its_surroundings_on(stands_out, told) -> None:
    """On a bin with flat ones beside it its power is that of its own amplitude alone; what is flat about it, of
    amplitude a, is taken off in five bins."""
    density = flat(1e-4)
    density[500] *= math.sqrt(stands_out)
    found = hum_lines([silence(density)], sample_rate=RATE)
    assert (np.abs(found.frequency_hz - 500.0) < 0.5).tolist() == ([True] if told else [])


@pytest.mark.parametrize(("quiet_bins", "told"), [(11, True), (10, False)])
def test_a_tone_is_held_against_the_median_of_eight_hertz_to_either_side(quiet_bins, told) -> None:
    """33 bins of half a hertz, of which the median is the 17th. Quiet are the bins from the second beside the tone to
    the last but one before what is loud, which spills into its neighbour: 18, or 16. Within 9 Hz to either side, 37
    bins, the 18 would not do."""
    density = flat(1e-2)
    density[500 - quiet_bins : 500 + quiet_bins + 1] = 1e-5
    density[500] = 2e-3
    found = hum_lines([silence(density, seconds=2.0)], sample_rate=RATE)
    assert bool(np.any(np.abs(found.frequency_hz - 250.0) < 0.3)) == told


def test_a_silence_of_a_second_is_long_enough_and_the_shortest_of_them_counts() -> None:
    density = flat(1e-6)
    density[300] = 1e-2
    whole, longer = silence(density), np.pad(silence(density), (0, 700))
    assert hum_lines([whole], sample_rate=RATE).frequency_hz == pytest.approx([300.0], abs=1e-3)
    assert hum_lines([whole[:-1]], sample_rate=RATE).frequency_hz.size == 0
    assert hum_lines([], sample_rate=RATE).power.size == 0
    both = hum_lines([longer, 3.0 * whole, whole[:-1]], sample_rate=RATE)
    assert both.frequency_hz == pytest.approx([300.0], abs=1e-3)
    # mean powers of 1 and 9, of the sine's half a square
    assert both.power == pytest.approx([5.0 * 0.5e-4], rel=0.01)


# --- the microphone ---------------------------------------------------------------------------------------------------

TONE = Multitone(low_hz=200.0, high_hz=1500.0, lines_per_decade=6.0, period_s=0.25, sample_rate=4000, periods=12)
MICROPHONE = SimpleNamespace(
    amplitude=lambda hz: 1.0 + np.asarray(hz) / 1000.0,
    complex_amplitude=lambda hz: (1.0 + np.asarray(hz) / 1000.0) * np.exp(0.5j),
    covers=lambda hz: (np.asarray(hz) >= 300.0) & (np.asarray(hz) <= 1000.0),
)


def test_the_microphone_is_taken_out_at_every_bin_and_halfway_between_them() -> None:
    """Of bins 4 Hz apart: amplitudes by `1 + f / 1 kHz` and its phase, powers by the square."""
    bins = TONE.period_samples // 2 + 1
    beside = np.arange(42.0).reshape(3, 2, 7, 1) + 0j
    recorded = BlockSpectra(
        mean=np.full(bins, 2.0 + 1j),
        scatter_noise=np.full(bins, 3.0),
        between_noise=np.full(bins - 1, 5.0),
        beside=beside,
        statistics=statistics(12),
    )
    found = blocks_in_air(recorded, TONE, MICROPHONE)
    hz = 4.0 * np.arange(bins)
    np.testing.assert_allclose(found.mean, (2.0 + 1j) / ((1.0 + hz / 1000.0) * np.exp(0.5j)))
    np.testing.assert_allclose(found.scatter_noise, 3.0 / (1.0 + hz / 1000.0) ** 2)
    np.testing.assert_allclose(found.between_noise, 5.0 / (1.0 + (hz[:-1] + 2.0) / 1000.0) ** 2)
    assert found.beside is beside
    assert found.statistics == recorded.statistics


def test_what_the_microphone_does_not_cover_is_not_known() -> None:
    at_hz = np.array([250.0, 315.0, 1000.0, 1250.0])
    names = [name for name in BandPowers.__dataclass_fields__ if name != "frequency_hz"]
    values = {name: np.arange(4.0) + number for number, name in enumerate(names)}
    bands = only_covered_bands(BandPowers(frequency_hz=at_hz, **values), MICROPHONE)
    np.testing.assert_array_equal(bands.frequency_hz, at_hz)
    for name in names:
        np.testing.assert_array_equal(getattr(bands, name), [np.nan, *values[name][1:3], np.nan])
    count = TONE.line_hz.size
    lines = LinePowers(gain=np.arange(count) + 1j, noise=np.arange(count) + 2.0, odd=np.arange(count) + 3.0)
    kept = only_covered_lines(lines, TONE, MICROPHONE)
    inside = (TONE.line_hz >= 300.0) & (TONE.line_hz <= 1000.0)
    for name in ("gain", "noise", "odd"):
        np.testing.assert_array_equal(getattr(kept, name)[inside], getattr(lines, name)[inside])
        assert np.isnan(getattr(kept, name)[~inside]).all()


# --- draws ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("expected_db", [0.5, 1.3])
def test_draws_scatter_as_expected_and_as_they_are_seen_to(expected_db) -> None:
    """A neper of power is 4.343 dB. The expected scatter counts as three degrees of freedom; of four draws of 0, 1, 2
    and 5 dB the variance is 14 / 3."""
    neper = 10.0 / math.log(10.0)
    alone = draws_variance(np.array([[1.0, 5.0]]), expected_db=expected_db)
    np.testing.assert_allclose(alone, (expected_db / neper) ** 2)
    power = 10.0 ** (np.array([0.0, 1.0, 2.0, 5.0]) / 10.0)
    four = draws_variance(np.stack([power, np.ones(4), np.full(4, np.nan)], axis=1), expected_db=expected_db)
    seen = np.array([14.0 / 3.0, 0.0, 0.0])
    np.testing.assert_allclose(four, (3.0 * expected_db**2 + 3.0 * seen) / 6.0 / neper**2 / 4.0)
