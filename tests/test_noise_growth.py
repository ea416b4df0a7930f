"""Noise that grows with level: which stretches surely grow, what is said of them, slopes of few or uncertain levels;
every limit from both sides."""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.level_noise import Growing, HeardAt, NoiseLevel, NoiseResult, _growth, _restless, _told
from distort.analysis.multitone.between import NoiseHeard
from distort.analysis.sweep.sweeps import Reference

NAN = np.nan


def result(growth, uncertainty, loudest=None) -> NoiseResult:
    """Of two levels, whose higher one has these noises; its bands are a third of an octave apart."""
    bands = len(growth)
    own = np.arange(bands, dtype=float) if loudest is None else np.asarray(loudest, dtype=float)
    levels = tuple(
        NoiseLevel(level_db_spl=level, noise_db=noise, floor_db=noise, uncertainty_db=noise)
        for level, noise in ((80.0, own[::-1]), (90.0, own))
    )
    return NoiseResult(
        frequency_hz=1000.0 * 10.0 ** (np.arange(bands) / 10.0),
        unit="db_spl",
        silence_db=np.zeros(bands),
        growth_db_per_db=np.asarray(growth, dtype=float),
        growth_uncertainty_db_per_db=np.asarray(uncertainty, dtype=float),
        levels=levels,
    )


@pytest.mark.parametrize(
    ("growth", "stretches"),
    [
        ([2.0, 2.0, 0.9, 2.0, 2.0, 2.0], [(0, 1), (3, 5)]),
        ([2.0, 0.9, 2.0, 0.9, 2.0, 2.0], [(4, 5)]),  # one alone may be chance
        ([1.0, 1.0, 1.1, 1.1, NAN, 2.0], [(2, 3)]),  # an interval that ends at 0 is not surely above
        ([0.9] * 6, []),
    ],
)
def test_two_neighbours_or_more_that_surely_grow_are_a_stretch(growth, stretches):
    f = 1000.0 * 10.0 ** (np.arange(6) / 10.0)
    found = result(growth, [1.0] * 6).growing
    assert [(one.low_hz, one.high_hz) for one in found] == [(f[low], f[high]) for low, high in stretches]


def test_a_stretch_is_named_by_its_loudest_and_least_certain_band():
    """Weights 1 / u^2: (2 x 4 + 5 x 1 + 3 x 1) / 6 with u = 0.5, 1 and 1; loudest of the highest level, where it is
    told."""
    (one,) = result([2.0, 5.0, 3.0, 0.0], [0.5, 1.0, 1.0, 1.0], loudest=[NAN, 31.0, 30.0, 99.0]).growing
    assert one.growth_db_per_db == pytest.approx(16.0 / 6.0)
    assert one.uncertainty_db_per_db == 1.0
    assert (one.loudest_hz, one.loudest_db) == (pytest.approx(1000.0 * 10.0**0.1), 31.0)


@pytest.mark.parametrize(
    ("low_hz", "high_hz", "growth", "uncertainty", "air"),
    [
        (200.0, 400.0, 2.6, 1.0, True),
        (200.0, 400.0, 2.4, 1.0, False),
        (200.0, 400.0, 1.6, 0.0, True),  # 1.5 dB a dB
        (200.0, 400.0, 1.4, 0.0, False),
        (200.0, 400.0, 1.5, 0.0, False),
        (40.0, 96.0, 3.0, 0.5, False),  # 100 Hz to 8 kHz
        (40.0, 104.0, 3.0, 0.5, True),
        (40.0, 100.0, 3.0, 0.5, False),
        (7600.0, 9000.0, 3.0, 0.5, True),
        (8400.0, 9000.0, 3.0, 0.5, False),
        (8000.0, 9000.0, 3.0, 0.5, False),
    ],
)
def test_what_grows_faster_than_sound_where_ports_sound_is_as_air(low_hz, high_hz, growth, uncertainty, air):
    one = Growing(
        low_hz=low_hz,
        high_hz=high_hz,
        loudest_hz=low_hz,
        loudest_db=30.0,
        growth_db_per_db=growth,
        uncertainty_db_per_db=uncertainty,
    )
    assert one.as_air == air


def by_textbook(x: np.ndarray, y: np.ndarray, u: np.ndarray) -> tuple[float, float]:
    """Weighted straight line: numpy's polyfit with weights 1 / deviation; its interval by sums, wider by the root of
    chi squared per degree of freedom where that is above 1."""
    w = 1.959964 / u
    slope, offset = np.polyfit(x, y, 1, w=w)
    chi_squared = float(np.sum(np.square(w * (y - slope * x - offset))))
    apart = x - np.average(x, weights=w**2)
    misfit = max(chi_squared / max(x.size - 2, 1), 1.0)
    return float(slope), 1.959964 * float(np.sqrt(misfit / np.sum(np.square(w * apart))))


@pytest.mark.parametrize(
    "noise_db",
    [
        [10.0, 14.0],
        [10.0, 14.0, 30.0],
        [10.0, 11.0, 13.2, 17.0],
        [10.0, 30.0, 12.0, 31.0, 33.0],
    ],
)
def test_growth_is_the_weighted_straight_line(noise_db):
    y = np.array(noise_db)
    x, u = 70.0 + 4.0 * np.arange(y.size) + np.array([0.0, 1.0, 0.5, 0.0, 2.0])[: y.size], 1.0 + 0.5 * np.arange(y.size)
    slope, error = _growth(x, y[:, None], u[:, None])
    assert (slope[0], error[0]) == pytest.approx(by_textbook(x, y, u))


def test_levels_that_are_not_told_or_of_no_known_drive_do_not_count():
    """Bands in columns: all levels, the second without noise, one left alone, none."""
    x = np.array([80.0, 84.0, 90.0, 95.0])
    y = np.array([[10.0, 10.0, 10.0, NAN], [12.0, NAN, NAN, NAN], [19.0, 19.0, NAN, NAN], [29.0, 29.0, NAN, NAN]])
    u = np.where(np.isfinite(y), np.array([1.0, 2.0, 0.5, 1.5])[:, None], NAN)
    slope, error = _growth(x, y, u)
    rows = np.array([True, False, True, True])
    assert (slope[0], error[0]) == pytest.approx(by_textbook(x, y[:, 0], u[:, 0]))
    assert (slope[1], error[1]) == pytest.approx(by_textbook(x[rows], y[rows, 1], u[rows, 1]))
    assert np.isnan([slope[2:], error[2:]]).all()
    unknown = np.where(rows, x, NAN)
    slope, error = _growth(unknown, y, u)
    assert (slope[0], error[0]) == pytest.approx(by_textbook(x[rows], y[rows, 0], u[rows, 0]))


def test_two_levels_of_the_same_drive_tell_no_growth():
    slope, error = _growth(np.array([80.0, 80.0]), np.array([[10.0], [12.0]]), np.array([[1.0], [1.0]]))
    assert np.isnan([slope, error]).all()
    slope, _ = _growth(np.array([80.0, 80.5]), np.array([[10.0], [12.0]]), np.array([[1.0], [1.0]]))
    assert slope[0] == pytest.approx(4.0)


def heard(sounding: float, silences: object) -> HeardAt:
    silent = np.asarray(silences, dtype=float)
    bands = silent.shape[1]
    one = NoiseHeard(
        frequency_hz=np.geomspace(100.0, 1000.0, bands),
        sounding=np.full(bands, sounding),
        sounding_freedom=np.full(bands, 200.0),
        silences=silent,
        silence_freedom=np.full(bands, 50.0),
    )
    return HeardAt(level_db_spl=90.0, drive_db=90.0, heard=one, reference=Reference(offset_db=100.0))


def test_powers_count_by_their_squares():
    """N = 3, S = 0.5 of two silences, w^2 = 0.01: `N^2 2 / 200 + S^2 (2 / 100 + 0.01 x 1.5)`; the net is 2.5."""
    found = _told(heard(3.0, [[0.5], [0.5]]), np.array([0.01]))
    variance = 9.0 * 2.0 / 200.0 + 0.25 * (2.0 / 100.0 + 0.015)
    expected = 1.959964 * 10.0 / np.log(10.0) * np.sqrt(variance) / 2.5
    assert found.uncertainty_db[0] == pytest.approx(expected)
    assert found.noise_db[0] == pytest.approx(100.0 + 10.0 * np.log10(2.0 * 2.5))
    large = _told(heard(100.0, [[30.0], [30.0]]), np.array([0.2]))
    variance = 1e4 * 0.01 + 900.0 * (0.02 + 0.3)
    assert large.uncertainty_db[0] == pytest.approx(1.959964 * 10.0 / np.log(10.0) * np.sqrt(variance) / 70.0)
    assert large.level_db_spl == 90.0


def test_a_net_on_its_floor_is_not_told(monkeypatch):
    """With F - 1 = 1 exactly the floor is S itself, and 2 less 1 is no more than it."""
    monkeypatch.setattr("scipy.special.fdtri", lambda *_: np.array([2.0]))
    on, above = (_told(heard(sounding, [[1.0], [1.0]]), np.zeros(1)) for sounding in (2.0, 2.0001))
    assert np.isnan(on.noise_db[0])
    assert np.isfinite(above.noise_db[0])
    assert on.floor_db[0] == pytest.approx(100.0 + 10.0 * np.log10(2.0))


def test_unrest_is_that_of_the_bands_that_were_read():
    """Two silences of seven bands, 1.4 and 0.6 of the mean in the third: 0.32 less 2 / 50; its neighbours have -0.04
    each. A band that was not read counts for nothing, and one past the end is none."""
    silences = np.ones((2, 7))
    silences[:, 2] = 1.4, 0.6
    found = _restless([heard(3.0, silences)])
    np.testing.assert_allclose(found[:5], [(0.28 - 2 * 0.04) / 3, (0.28 - 3 * 0.04) / 4, *[(0.28 - 4 * 0.04) / 5] * 3])
    np.testing.assert_allclose(found[5:], 0.0)
    silences[:, 1] = NAN
    found = _restless([heard(3.0, silences)])
    np.testing.assert_allclose(found[:3], [(0.28 - 0.04) / 2, (0.28 - 2 * 0.04) / 3, (0.28 - 3 * 0.04) / 4])
    silences[:, [0, 3, 4, 5, 6]] = NAN
    np.testing.assert_allclose(_restless([heard(3.0, silences)]), [*[0.28] * 5, 0.0, 0.0])
    only = replace(heard(3.0, silences).heard, silences=silences[:1])
    np.testing.assert_array_equal(_restless([replace(heard(3.0, silences), heard=only)]), np.zeros(7))
