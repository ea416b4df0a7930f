"""The cycles of a sixth octave, how far a part of them stands out, and the band of the residual: closed forms."""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.impulsive.cycles import Bands, bands_of, part_powers
from distort.analysis.impulsive.heard import CyclesHeard, standing_out
from distort.analysis.impulsive.residual import Residual, _smoothed, bandwidth_hz
from distort.analysis.sweep.noise import NoiseDensity
from signals import Sweep

RATE = 32000
LOWEST_SHARE = 1.05
"""Of the end of the fade-in: a band is whole from there on."""
SWEEP = Sweep(start_hz=20.0, full_level_hz=25.0, stop_hz=14000.0, seconds=2.0, sample_rate=RATE, drive_dbfs=-20.0)


def left_hz(sweep: Sweep, at_hz: np.ndarray) -> np.ndarray:
    """Of 0.6 kHz to the lower of 16 kHz and the sweep's fade-out, what lies beyond 10.5 times the sweep."""
    return np.maximum(min(16000.0, sweep.fade_out_hz) - np.maximum(600.0, 10.5 * at_hz), 0.0)


@pytest.mark.parametrize(
    "sweep",
    [
        SWEEP,
        replace(SWEEP, seconds=0.7),
        replace(SWEEP, start_hz=40.0, full_level_hz=60.0),
        replace(SWEEP, lowest_hz=100.0),
        replace(SWEEP, lowest_hz=200.0),
        replace(SWEEP, full_level_hz=150.0),
        replace(SWEEP, stop_hz=5000.0),
    ],
)
def test_bands_are_sixth_octaves_of_three_cycles_and_one_value_a_part(sweep):
    """31.6 to 562 Hz, above the fade-in by the band's edge; the phase in cycles is L (f - f1). A part is a 24th of a
    cycle and holds 1.6 independent values a second and hertz."""
    found, shown = bands_of(sweep), []
    turns = round(sweep.start_hz * sweep.seconds / np.log(sweep.stop_hz / sweep.start_hz))
    length = turns / sweep.start_hz  # of a synchronised sweep, f1 L is whole
    for k in range(-30, -4):
        middle = 1000.0 * 10.0 ** (k / 20.0)
        first = np.ceil(length * (middle * 10.0**-0.025 - sweep.start_hz))
        end = np.floor(length * (middle * 10.0**0.025 - sweep.start_hz))
        values = 1.6 * float(left_hz(sweep, np.array(middle))) / (24.0 * middle)
        lowest = max(LOWEST_SHARE * sweep.full_level_hz, sweep.lowest_hz or 0.0)
        if end - first >= 3 and values >= 1.0 and middle > lowest:
            shown.append((middle, first, end, values))
    middles, firsts, ends, values = np.array(shown).T
    np.testing.assert_allclose(found.frequency_hz, middles)
    np.testing.assert_array_equal(found.first, firsts)
    np.testing.assert_array_equal(found.end, ends)
    np.testing.assert_allclose(found.values, values)


def test_the_band_of_the_residual():
    at_hz = np.array([20.0, 57.0, 60.0, 300.0, 2000.0])
    np.testing.assert_allclose(bandwidth_hz(SWEEP, at_hz), left_hz(SWEEP, at_hz))
    high = replace(SWEEP, sample_rate=96000, stop_hz=40000.0)
    np.testing.assert_allclose(bandwidth_hz(high, at_hz), left_hz(high, at_hz))


def test_a_noise_is_never_taken_for_less_than_its_mean_over_a_sixth_of_an_octave():
    """A twelfth to either side: from the bin below to the one above, both counted."""
    density = np.random.default_rng(4).exponential(size=300)
    found = _smoothed(NoiseDensity(frequency_hz=np.arange(300.0), density=density, sample_rate=RATE, seconds=1.0))
    for k in (0, 1, 5, 60, 200, 299):
        low, high = int(np.floor(k / 2.0 ** (1 / 12))), min(int(np.ceil(k * 2.0 ** (1 / 12))), 299)
        assert found[k] == pytest.approx(max(density[k], np.mean(density[low : high + 1])))


def bands(first, end, values: float = 4.0) -> Bands:
    count = len(first)
    return Bands(
        frequency_hz=np.linspace(60.0, 70.0, count),
        first=np.array(first),
        end=np.array(end),
        values=np.full(count, values),
    )


@pytest.mark.parametrize(("cycles", "left_out"), [(3, 1), (9, 1), (19, 1), (20, 2), (29, 2)])
def test_how_far_the_loudest_part_of_a_cycle_stands_out(cycles, left_out):
    """Mean of each part without the loudest tenth of its cycles, one at least, over the median part; z of as many
    independent values."""
    powers = np.random.default_rng(cycles).exponential(size=(cycles + 4, 24))
    residual = Residual(sweep=SWEEP, samples=np.zeros(1), first_s=0.0)
    found = CyclesHeard(residual=residual, bands=bands([7, 9], [9, 9 + cycles]), powers=powers, first=7)
    kept = np.ones(cycles + 4, dtype=np.bool_)
    none, z = standing_out(found, kept)
    assert np.isnan(none)  # two cycles are too few
    mean = np.sort(powers[2 : 2 + cycles], axis=0)[: cycles - left_out].mean(axis=0)
    expected = (mean.max() / np.median(mean) - 1.0) * np.sqrt(4.0 * (cycles - left_out) / 2.0)
    assert z == pytest.approx(expected)
    kept[2] = False
    assert np.isnan(standing_out(found, kept)[1]) == (cycles == 3)


def test_parts_of_cycles_hold_the_power_between_their_edges():
    """Of samples whose square is their time: the mean over a part is that of its middle; the phase tells its edges."""
    first_s = SWEEP.time_s(30.0)
    samples = np.sqrt(np.arange(40000) + 0.5)
    powers, first = part_powers(Residual(sweep=SWEEP, samples=samples, first_s=first_s), bands([9, 12], [12, 15]))
    assert (first, powers.shape) == (9, (6, 24))
    cycle = np.arange(9 * 24, 15 * 24 + 1) / 24.0
    edges_s = SWEEP.rate_s * np.log(1.0 + cycle / (SWEEP.start_hz * SWEEP.rate_s))
    middles = ((edges_s[1:] + edges_s[:-1]) / 2.0 - first_s) * RATE
    inside = middles > 5.0
    np.testing.assert_allclose(powers.ravel()[inside], middles[inside], rtol=1e-3)
    none, first = part_powers(Residual(sweep=SWEEP, samples=samples, first_s=first_s), bands([], []))
    assert (none.shape, first) == ((0, 24), 0)
