"""Images of a sweep: stretches about its arrival, runs of bands, and what an image puts into an order: closed forms."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from distort.analysis.common.grid import grid_hz
from distort.analysis.sweep import images
from distort.analysis.sweep.images import (
    ConversionImage,
    _free,
    _images,
    _longest_run,
    _stretches,
    added_by,
    touched_by,
)
from distort.analysis.sweep.touched import Touched
from distort.analysis.sweep.windows import order_window
from signals import Sweep

SWEEP = Sweep(seconds=8.0, sample_rate=48_000, stop_hz=20_000.0, drive_dbfs=-6.0)
HZ = grid_hz()
ROWS = HZ.size


# --- stretches --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("row", range(7))
@pytest.mark.parametrize(("off", "bin_hz"), [(0.0, 1.0), (0.5, 1.0), (0.5, 2.0)])
def test_stretches_lie_12_milliseconds_apart_before_at_and_after_the_arrival(row, off, bin_hz):
    """A copy 48, 36 and 24 ms before, at, and 36, 48 and 60 ms after it, in the middle of its stretch, has its power in
    each bin; 6 ms beside that the square of a Kaiser window of 9 has, I0(9 sqrt(1 - 1/4)) / I0(9)."""
    at = (-4, -3, -2, 0, 3, 4, 5)[row]
    bins = np.arange(10_000.0)
    delay_s = 0.012 * (at + off)
    power = _stretches(3.0 * np.exp(-2j * np.pi * bins * bin_hz * delay_s), bin_hz=bin_hz)
    middle = power[:, power.shape[1] // 4 : -power.shape[1] // 4]
    kaiser = float(np.i0(9.0 * math.sqrt(1.0 - off**2)) / np.i0(9.0))
    np.testing.assert_allclose(middle[row], 9.0 * kaiser**2, rtol=0.05 if off else 1e-2)
    others = [(one, abs(at + off - place)) for one, place in enumerate((-4, -3, -2, 0, 3, 4, 5)) if one != row]
    for one, away in others:
        if away >= 1.0:  # half as long to either side
            assert np.max(middle[one]) < 1e-3


@pytest.mark.parametrize(
    ("stands", "longest"),
    [([], 0), ([0, 0], 0), ([1, 1, 0, 1, 1, 1, 0, 1], 3), ([0, 1, 1], 2), ([1, 1, 1, 1, 0, 1], 4)],
)
def test_the_longest_run(stands, longest):
    assert _longest_run(np.array(stands, dtype=bool)) == longest


def test_an_image_is_looked_for_up_to_the_fade_out_of_the_sweep():
    """To 4 kHz: 375 bins of 10 Hz from 250 Hz up; third octaves from 501 to 1585 Hz hold it."""
    sweep = Sweep(stop_hz=8000.0, fade_out_octaves=1.0)
    hz = 250.0 + 10.0 * np.arange(375)
    power, own = np.ones((7, 375)), np.full((7, 375), 1e4)
    own[3, (hz > 445.0) & (hz < 1780.0)] = 1e6
    power[3, (hz > 445.0) & (hz < 1780.0)] = 101.0
    (image,) = _images(1.0, "above", power, (own, sweep))
    np.testing.assert_allclose(image.frequency_hz, 1000.0 * 10.0 ** (0.1 * np.arange(-3, 3)), rtol=1e-6)
    np.testing.assert_allclose(image.relative_db, 10.0 * math.log10(100.0 / 1e6), atol=0.05)
    assert (image.offset_hz, image.side) == (1.0, "above")


def test_the_mean_of_three_stretches_on_either_side_is_what_it_is_held_against():
    """Of 1, 2 and 27 before it, 10 in the mean, 100 is ten times; of 31.6 after it the root of ten."""
    power = np.ones((7, 9750))
    power[:3] = np.array([1.0, 2.0, 27.0])[:, np.newaxis]
    power[4:] = np.array([30.0, 1.0, 3.0])[:, np.newaxis]
    own = np.full((7, 9750), 1e6)
    for at, count in ((98.0, 0), (102.0, 1)):
        power[3] = at
        assert len(_images(1.0, "above", power, (own, SWEEP))) == count
    power[4:] = np.array([60.0, 5.0, 30.0])[:, np.newaxis]
    power[:3] = 1.0
    for at, count in ((98.0, 0), (102.0, 1)):
        power[3] = at
        assert len(_images(1.0, "above", power, (own, SWEEP))) == count


def test_thirty_orders_cross_an_image():
    """The thirtieth at F / 29 above and F / 31 below, with 170 Hz about it."""
    hz = np.arange(250.0, 700.0)
    for side, lowest_hz in (("above", 16_000.0 / 29.0 - 170.0), ("below", 16_000.0 / 31.0 - 170.0)):
        free = _free(16_000.0, side, hz, highest_hz=20_000.0)
        np.testing.assert_array_equal(free, hz < lowest_hz)


# --- what it puts into an order ---------------------------------------------------------------------------------------


def reading(power: np.ndarray) -> SimpleNamespace:
    return SimpleNamespace(power=power)


@pytest.mark.parametrize("order", [2, 3, 5])
@pytest.mark.parametrize("side", ["above", "below"])
def test_an_image_is_in_an_order_while_the_orders_window_is_open(side, order):
    """Its sweep is at f' = nu - F, or F -+ nu, while it is at nu = n f. There it has its level over the fundamental at
    f', straight in dB over log frequency, and passes nu f' / (n f) times as fast; the window is about the time at which
    the sweep is at f. It reaches half a third octave beyond the bands in which it was found."""
    image = ConversionImage(
        offset_hz=3900.0, side=side, frequency_hz=(400.0, 1000.0, 6000.0), relative_db=(-50.0, -40.0, -70.0)
    )
    power = (HZ / 1000.0) ** 2
    power[HZ > 6500.0] = np.nan
    found = added_by(image, reading(power), SWEEP, order)
    window = order_window(SWEEP, order)
    length_s = round(10.0 * 8.0 / math.log(2000.0)) / 10.0
    expected = np.zeros(ROWS)
    for row, hz in enumerate(HZ):
        nu = order * hz
        for at_hz in (nu - 3900.0,) if side == "above" else (3900.0 - nu, 3900.0 + nu):
            if not 400.0 * 2.0 ** (-1 / 6) < at_hz < 6000.0 * 2.0 ** (1 / 6):
                continue
            level_db = np.interp(math.log(at_hz), np.log([400.0, 1000.0, 6000.0]), [-50.0, -40.0, -70.0])
            own = np.interp(at_hz, HZ, np.nan_to_num(power))
            (value,) = window.at(np.array([length_s * math.log(at_hz / hz)]))
            expected[row] += 10.0 ** (level_db / 10.0) * own * value**2 * nu / at_hz
    assert np.any(expected)
    np.testing.assert_allclose(found, expected, rtol=1e-9)


def test_an_image_reaches_half_a_third_octave_beyond_its_bands(monkeypatch):
    """From 3,600 / 2^(1/6) to 5,000 x 2^(1/6) Hz of its sweep, on rows a thousandth apart; there the window is open."""
    dense_hz = 3000.0 * 1.001 ** np.arange(900.0)
    monkeypatch.setattr(images, "grid_hz", lambda: dense_hz)
    image = ConversionImage(offset_hz=3900.0, side="above", frequency_hz=(3600.0, 5000.0), relative_db=(-40.0, -40.0))
    found = added_by(image, reading(np.ones(900)), SWEEP, 2)
    at_hz = 2.0 * dense_hz - 3900.0
    inside = (at_hz > 3600.0 * 2.0 ** (-1 / 6)) & (at_hz < 5000.0 * 2.0 ** (1 / 6))
    np.testing.assert_array_equal(found > 0.0, inside)
    assert not inside[[0, -1]].any()


def test_images_lie_at_the_differences_of_the_usual_rates():
    """48 and 44.1 kHz, once, twice and three times; 44.1 and 48 to 32 kHz."""
    expected = (48_000 - 44_100, 2 * (48_000 - 44_100), 3 * (48_000 - 44_100), 44_100 - 32_000, 48_000 - 32_000)
    assert expected == images.OFFSETS_HZ


def test_touched_rows_are_those_of_each_order_from_the_second_on(monkeypatch):
    """1e-3 in rows 30 to 40 of the order whose number it is: readings of less than ten times that are touched."""
    asked = []

    def added(image, fundamental, sweep, order):
        asked.append((fundamental.power[0], order))
        return np.where((np.arange(ROWS) >= 10 * order) & (np.arange(ROWS) <= 10 * order + 5), 1e-3, 0.0)

    monkeypatch.setattr(images, "added_by", added)
    readings = [reading(np.full(ROWS, power)) for power in (5.0, 0.0095, 0.0105, 1e-4)]
    image = ConversionImage(offset_hz=3900.0, side="above", frequency_hz=(400.0,), relative_db=(-50.0,))
    expected = tuple(Touched(order=n, low_hz=HZ[10 * n], high_hz=HZ[10 * n + 5]) for n in (2, 4))
    assert touched_by(image, readings, SWEEP) == expected
    assert asked == [(5.0, 2), (5.0, 3), (5.0, 4)]
