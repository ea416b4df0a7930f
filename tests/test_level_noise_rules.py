"""Floor, interval and growth of noise with level, held against the formulas of METHODS worked out by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest
import scipy

from distort.analysis.level_noise import HeardAt, noise_with_level
from distort.analysis.multitone.between import NoiseHeard, _apart, mean_heard
from distort.analysis.sweep.sweeps import Reference

SPL = Reference(offset_db=120.0, unit="db_spl")
DB_PER_NEPER_OF_POWER = 10.0 / math.log(10.0)


def heard(sounding, silences, *, freedom: float = 200.0, silence_freedom: float = 100.0, bands: int = 9) -> NoiseHeard:
    """The same in every band unless `silences` says otherwise, `(silences,)` or `(silences, bands)`."""
    silent = np.asarray(silences, dtype=np.float64)
    return NoiseHeard(
        frequency_hz=np.geomspace(100.0, 10000.0, bands),
        sounding=np.full(bands, sounding, dtype=np.float64),
        sounding_freedom=np.full(bands, freedom),
        silences=silent if silent.ndim == 2 else np.outer(silent, np.ones(bands)),
        silence_freedom=np.full(bands, silence_freedom),
    )


def at(level_db: float, one: NoiseHeard) -> HeardAt:
    return HeardAt(level_db_spl=level_db, drive_db=level_db, heard=one, reference=SPL)


def test_the_interval_of_a_net_level_is_that_of_both_powers() -> None:
    """`2 N^2 / n_N + 2 S^2 / (m n_S)` of N = 5 and S = 1, re the net 4 squared, in decibels by 4.343 and 1.96."""
    level = noise_with_level([at(90.0, heard(5.0, (1.0, 1.0)))]).levels[0]
    variance = 2.0 * 25.0 / 200.0 + 2.0 / (2.0 * 100.0)
    expected = 1.959964 * DB_PER_NEPER_OF_POWER * math.sqrt(variance) / 4.0
    np.testing.assert_allclose(level.uncertainty_db, expected, rtol=1e-6)
    np.testing.assert_allclose(level.noise_db, 10.0 * np.log10(2.0 * 4.0) + 120.0)


def test_the_floor_is_what_chance_passes_once_in_two_thousand() -> None:
    """Of silences that are alike: the quantile of the F distribution less 1, as scipy.stats has it."""
    level = noise_with_level([at(90.0, heard(5.0, (1.0, 1.0)))]).levels[0]
    over = scipy.stats.f.isf(1.0 / 2000.0, 200.0, 200.0) - 1.0
    np.testing.assert_allclose(level.floor_db, 10.0 * np.log10(2.0 * over) + 120.0)
    for net, told in ((0.99 * over, False), (1.01 * over, True)):
        found = noise_with_level([at(90.0, heard(1.0 + net, (1.0, 1.0)))]).levels[0]
        assert np.isfinite(found.noise_db).all() == told


def test_restless_silences_raise_floor_and_interval() -> None:
    """0.8, 1.2 and 1.0: their variance is 0.04 with two degrees of freedom, less the 2 / 100 that their length leaves,
    so w^2 = 0.02; a mean of three scatters by a third of it, and so does what sounds by all of it."""
    level = noise_with_level([at(90.0, heard(9.0, (0.8, 1.2, 1.0)))]).levels[0]
    unrest = 0.02 * (1.0 + 1.0 / 3.0)
    over = scipy.stats.f.isf(1.0 / 2000.0, 200.0, 300.0) - 1.0
    floor = math.sqrt(over**2 + 3.3**2 * unrest)
    np.testing.assert_allclose(level.floor_db, 10.0 * np.log10(2.0 * floor) + 120.0, atol=1e-9)
    variance = 2.0 * 81.0 / 200.0 + 2.0 / 300.0 + unrest
    expected = 1.959964 * DB_PER_NEPER_OF_POWER * math.sqrt(variance) / 8.0
    np.testing.assert_allclose(level.uncertainty_db, expected, rtol=1e-6)


def test_unrest_is_pooled_over_levels_and_five_neighbours() -> None:
    """One band of 15 is restless, its w^2 0.5 - 0.02 from two silences: it and two on either side know a fifth of it.
    A second level whose silences are calm halves the variance, before the 0.02 is taken off: 0.23."""
    silences = np.ones((2, 15))
    silences[:, 7] = 0.5, 1.5
    restless = at(90.0, heard(9.0, silences, bands=15))
    calm_over = scipy.stats.f.isf(1.0 / 2000.0, 200.0, 200.0) - 1.0
    # calm bands have less variance than their length leaves: -0.02 each
    for levels, of_band in (([restless], 0.48), ([at(80.0, heard(9.0, (1.0, 1.0), bands=15)), restless], 0.23)):
        unrest = (of_band - 4.0 * 0.02) / 5.0 * 1.5
        floor_db = noise_with_level(levels).levels[-1].floor_db - 120.0
        raised = 10.0 * np.log10(2.0 * math.sqrt(calm_over**2 + 3.3**2 * unrest))
        calm = 10.0 * np.log10(2.0 * calm_over)
        expected = np.where(np.abs(np.arange(15) - 7) <= 2, raised, calm)
        np.testing.assert_allclose(floor_db, expected, atol=1e-9)


def test_one_silence_alone_tells_no_unrest() -> None:
    level = noise_with_level([at(90.0, heard(9.0, (1.0,)))]).levels[0]
    over = scipy.stats.f.isf(1.0 / 2000.0, 200.0, 100.0) - 1.0
    np.testing.assert_allclose(level.floor_db, 10.0 * np.log10(2.0 * over) + 120.0)


def test_the_silence_is_the_mean_power_of_all_levels() -> None:
    """1 and 3: 2, +3 dB re a full-scale sine."""
    found = noise_with_level([at(80.0, heard(9.0, (1.0, 1.0))), at(90.0, heard(9.0, (3.0, 3.0)))])
    np.testing.assert_allclose(found.silence_db, 10.0 * np.log10(2.0 * 2.0) + 120.0)


def test_growth_is_the_weighted_slope_with_the_interval_of_its_closed_form() -> None:
    """Weights `w = (1.96 / u)^2` of levels x with readings y: slope `sum w (x - m) y / sum w (x - m)^2`, which is
    that of numpy's polyfit with weights sqrt(w), and an interval of `1.96 / sqrt(sum w (x - m)^2)` where they lie on
    the line as their intervals let them, wider by the root of chi squared per degree of freedom where they do not."""
    nets = np.array([1.0, 12.0, 110.0])
    found = noise_with_level([at(80.0 + 5.0 * n, heard(1.0 + net, (1.0, 1.0))) for n, net in enumerate(nets)])
    x = np.array([80.0, 85.0, 90.0])
    y = np.array([one.noise_db[0] for one in found.levels])
    u = np.array([one.uncertainty_db[0] for one in found.levels])
    w = (1.959964 / u) ** 2
    assert found.growth_db_per_db[0] == pytest.approx(np.polyfit(x, y, 1, w=np.sqrt(w))[0], rel=1e-6)
    apart = x - np.average(x, weights=w)
    assert found.growth_uncertainty_db_per_db[0] == pytest.approx(1.959964 / math.sqrt(np.sum(w * apart**2)), rel=1e-6)
    bent = noise_with_level(
        [at(80.0 + 5.0 * n, heard(1.0 + net, (1.0, 1.0))) for n, net in enumerate((1.0, 50.0, 110.0))]
    )
    y = np.array([one.noise_db[0] for one in bent.levels])
    w = (1.959964 / np.array([one.uncertainty_db[0] for one in bent.levels])) ** 2
    left = y - np.polyval(np.polyfit(x, y, 1, w=np.sqrt(w)), x)
    chi_squared = float(np.sum(w * left**2))
    assert chi_squared > 4.0
    apart = x - np.average(x, weights=w)
    expected = 1.959964 * math.sqrt(chi_squared / (3 - 2) / np.sum(w * apart**2))
    assert bent.growth_uncertainty_db_per_db[0] == pytest.approx(expected, rel=1e-5)


def test_takes_of_unlike_silences_are_as_sure_as_the_shortest() -> None:
    short = replace(heard(1.0, (1.0,)), silence_freedom=np.full(9, 40.0))
    together = mean_heard([heard(1.0, (1.0,)), short])
    assert together is not None
    assert together.silence_freedom[0] == 40.0


@pytest.mark.parametrize(
    ("tones_hz", "apart"),
    [((), [True] * 3), ((100.0,), [False, True, True]), ((109.0, 400.0), [False, True, True]),
     ((111.0,), [True, True, True]), ((189.0, 211.0), [True, True, True]), ((191.0,), [True, False, True]),
     ((209.0,), [True, False, True]), ((309.0,), [True, True, False])],
)  # fmt: skip
def test_places_that_a_tone_is_near_are_not_read(tones_hz, apart) -> None:
    """Of 100, 200 and 300 Hz, 10 Hz to either side."""
    assert _apart(np.array([100.0, 200.0, 300.0]), np.array(tones_hz), 10.0).tolist() == apart


def test_a_reading_counts_where_no_steady_tone_is_near() -> None:
    """Against the distance to every tone, one by one; without any all count."""
    places_hz, tones_hz = np.arange(0.5, 60.0), np.array([4.6, 20.0, 21.2, 44.5])
    nearest = np.min(np.abs(places_hz[:, None] - tones_hz[None, :]), axis=1)
    for least_hz in (0.4, 0.9, 2.6):
        np.testing.assert_array_equal(_apart(places_hz, tones_hz, least_hz), nearest > least_hz)
    assert np.all(_apart(places_hz, np.array([]), 5.0))
