"""When something at a sweep's arrival is an image of it: how far it must stand out, in how many bands, and where orders
cross; by spectra that are given, so that all of it is known."""

import numpy as np
import pytest

from distort.analysis.sweep.images import ConversionImage, _free, _images, _shifted
from signals import Sweep

SWEEP = Sweep(seconds=5.0, sample_rate=48_000, stop_hz=20_000.0, drive_dbfs=-6.0)
BINS = 9750
"""From 250 Hz to 10 kHz: one a hertz."""
HZ = 250.0 + np.arange(BINS)
OWN = np.full((7, BINS), 1e6)
THIRDS_HZ = tuple(1000.0 * 10.0 ** (k / 10.0) for k in range(-6, 11))
"""Exact midbands of third octaves (IEC 61260-1) in between."""


def found(at: float, *, after: float = 1.0, bands: tuple[int, ...] = tuple(range(5, 13))):
    """Images in stretches of which three before hold 1, three after `after`, and that at the arrival `at` in some third
    octaves; 1 elsewhere. So near to the sweep no order crosses an image above 1 Hz."""
    power = np.ones((7, BINS))
    power[4:] = after
    for band in bands:
        low_hz, high_hz = THIRDS_HZ[band] / 10.0**0.05, THIRDS_HZ[band] * 10.0**0.05
        power[3, (low_hz <= HZ) & (high_hz > HZ)] = at
    return _images(1.0, "above", power, (OWN, SWEEP))


def test_an_image_stands_ten_decibels_over_what_was_before() -> None:
    """Ten times its power. Re the fundamental it has what is more than before."""
    assert found(9.9) == []
    (image,) = found(10.1)
    assert image.relative_db == pytest.approx([10.0 * np.log10(9.1 / 1e6)] * len(image.relative_db))
    np.testing.assert_allclose(image.frequency_hz, THIRDS_HZ[5:13], rtol=1e-6)


def test_an_image_stands_five_decibels_over_what_comes_after() -> None:
    """Half as many decibels: the root of ten."""
    assert found(20.0, after=20.0 / 3.1) == []
    assert len(found(20.0, after=20.0 / 3.3)) == 1


@pytest.mark.parametrize(
    ("bands", "count"),
    [((5, 6, 7), 0), ((5, 6, 7, 8), 1), ((3, 5, 6, 7), 1), ((2, 3, 5, 6), 0), ((5, 6, 8, 9, 3), 0)],
)
def test_four_bands_of_which_three_are_neighbours(bands, count) -> None:
    assert len(found(100.0, bands=bands)) == count


def test_where_an_order_crosses_nothing_is_looked_at() -> None:
    """A tone at F + f is that of order n at f = F / (n - 1), one at |F - f| at F / (n + 1); 170 Hz about it are out."""
    above, below = (_free(12_100.0, side, HZ, highest_hz=20_000.0) for side in ("above", "below"))
    for order in range(2, 12):
        for free, at_hz in ((above, 12_100.0 / (order - 1)), (below, 12_100.0 / (order + 1))):
            near = np.abs(HZ - at_hz) <= 170.0
            assert not np.any(free[near])
    # between the crossings of orders 3 and 4 nothing is in the way
    for free, crossings_hz in ((above, (12_100.0 / 3, 12_100.0 / 2)), (below, (12_100.0 / 5, 12_100.0 / 4))):
        between = (crossings_hz[0] + 170.0 < HZ) & (crossings_hz[1] - 170.0 > HZ)
        assert np.count_nonzero(between) > 200
        assert np.all(free[between])


def test_an_image_beyond_the_band_is_none() -> None:
    """F + f ends at the highest frequency, |F - f| leaves 100 Hz about 0 Hz."""
    above = _free(3900.0, "above", HZ, highest_hz=11_000.0)
    assert np.all(above[(HZ > 3900.0 + 171.0) & (HZ < 7100.0)])
    assert not np.any(above[HZ >= 7100.0])
    below = _free(3900.0, "below", HZ, highest_hz=11_000.0)
    assert not np.any(below[np.abs(HZ - 3900.0) <= 100.0])
    assert np.all(below[(np.abs(HZ - 3900.0) > 100.0) & (HZ > 2500.0)])


def test_at_most_half_of_a_band_may_be_left_out() -> None:
    """At F = 3,900 Hz and above it, the third octave at 3,981 Hz (3,548 to 4,467 Hz) loses 3,730 to 4,070 Hz, 37 %;
    that at 1,995 Hz (1,778 to 2,239 Hz) loses 1,780 to 2,120 Hz, 74 %."""
    power = np.ones((7, BINS))
    power[3] = 1e4
    (image,) = _images(3900.0, "above", power, (OWN, SWEEP))
    in_it = np.array(image.frequency_hz)
    assert np.any(np.isclose(in_it, 3981.07, rtol=1e-3))
    assert not np.any(np.isclose(in_it, 1995.26, rtol=1e-3))


def test_where_the_sweep_is_while_its_image_is_somewhere() -> None:
    """F + f = nu once, |F - f| = nu from either side."""
    image = {"offset_hz": 3900.0, "frequency_hz": (1000.0, 2000.0), "relative_db": (-60.0, -50.0)}
    nu = np.array([5000.0])
    assert [float(one[0]) for one in ConversionImage(side="above", **image).sweep_hz(nu)] == [1100.0]
    assert sorted(float(one[0]) for one in ConversionImage(side="below", **image).sweep_hz(nu)) == [-1100.0, 8900.0]
    assert ConversionImage(side="below", **image).highest_db == -50.0


def test_a_spectrum_is_moved_by_its_own_bins_and_runs_backwards_below() -> None:
    """|F - f| under F is the tone mirrored, so its phase turns the other way; beyond the last bin there is nothing."""
    spectrum = np.arange(10.0) + 1j
    bins = np.arange(2, 7)
    np.testing.assert_array_equal(_shifted(spectrum, 4, "above", bins), [6 + 1j, 7 + 1j, 8 + 1j, 9 + 1j, 0])
    np.testing.assert_array_equal(_shifted(spectrum, 4, "below", bins), [2 - 1j, 1 - 1j, 0 + 1j, 1 + 1j, 2 + 1j])
