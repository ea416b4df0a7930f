"""Whether two sides differ: no false changes, true ones found, and the statistics against their own sources."""

from dataclasses import replace

import numpy as np
import pytest
import scipy.stats

from distort.analysis.common.grid import grid_hz
from distort.analysis.common.quantities import CHANGE, GAIN, RESPONSE, harmonic
from distort.analysis.comparison.curves import (
    at_output,
    changes,
    combined,
    curves_of_level,
    gains,
    lowest_in_common,
    sweep_values,
)
from distort.analysis.comparison.regions import changed_regions
from distort.analysis.comparison.significance import BROAD_OCTAVES, NARROW_OCTAVES, Curve, compare, holm
from distort.analysis.sweep.sweeps import Reference, Settings, SweepTake, read_sweep
from signals import Sweep
from tests.devices.memoryless import sweep_with_harmonics
from tests.devices.takes import BEFORE, take

SETTINGS = Settings(orders=5)
SWEEPS = {level: Sweep(drive_dbfs=level - 100.0, seconds=2.0) for level in (86.0, 94.0)}
ORDERS = {2: -40.0, 3: -50.0, 4: -62.0, 5: -70.0}
"""dB re the fundamental at the higher level; order n falls by (n - 1) dB for every dB less."""
NOISE_DBFS = -60.0
ROWS = {BROAD_OCTAVES: grid_hz()[::8], NARROW_OCTAVES: grid_hz()}


def answer(level: float, *, gain_db: float = 0.0, order_db: dict[int, float] | None = None) -> np.ndarray:
    """What a curved device with `gain_db` more output, and orders changed by `order_db`, answers to the sweep."""
    fall_db = level - max(SWEEPS)
    amplitudes = {1: 1.0}
    for n, at_top_db in ORDERS.items():
        amplitudes[n] = 10.0 ** ((at_top_db + (n - 1) * fall_db + (order_db or {}).get(n, 0.0)) / 20.0)
    return 10.0 ** (gain_db / 20.0) * sweep_with_harmonics(SWEEPS[level], amplitudes)


ANSWERS = {level: answer(level) for level in SWEEPS}


def values(samples: np.ndarray, level: float, random: np.random.Generator):
    """One take in white noise, read."""
    sigma = 10.0 ** (NOISE_DBFS / 20.0) / np.sqrt(2.0)
    clean = take(samples, after=24000).samples
    noisy = SweepTake(
        samples=clean + sigma * random.standard_normal(clean.size),
        start=float(BEFORE),
        silences=(sigma * random.standard_normal(96000),),
    )
    return sweep_values(read_sweep([noisy], SWEEPS[level], SETTINGS), Reference(), SETTINGS)


def side(answers: dict[float, np.ndarray], random: np.random.Generator, *, takes: int = 1, scatter_db: float = 0.0):
    """All curves of one condition; each take has a gain of its own."""
    found = []
    for level, samples in answers.items():
        alone = [
            values(samples * 10.0 ** (scatter_db * random.standard_normal() / 20.0), level, random)
            for _ in range(takes)
        ]
        found += curves_of_level(level, ROWS, alone)  # each take as a set-up of its own
    gained = gains(found, {level: sweep.drive_dbfs for level, sweep in SWEEPS.items()})
    return (*found, *changes(gained, {GAIN: min(SWEEPS)}))


def trial(seed: int, *, b=ANSWERS, takes: int = 1, scatter_db: float = 0.0):
    """B against A, each with noise of its own."""
    random = np.random.default_rng([2026, seed])
    chosen = {"takes": takes, "scatter_db": scatter_db}
    return compare(side(ANSWERS, random, **chosen), side(b, random, **chosen))


def changed(differences) -> set[str]:
    return {one.quantity.in_comparison for one in differences if one.significant.any()}


def raw_changed(differences) -> bool:
    """Whether Holm's rule alone, without the least change that is named, finds anything."""
    accepted = holm([one.probability for one in differences], 0.05)
    return any(one.any() for one in accepted)


LOUDER = {level: answer(level, gain_db=0.3) for level in SWEEPS}
MORE_THIRD = {level: answer(level, order_db={3: 2.0}) for level in SWEEPS}


@pytest.fixture(scope="module")
def unchanged():
    return [trial(seed) for seed in range(12)]


@pytest.mark.sample
def test_two_takes_of_one_condition_show_no_change(unchanged) -> None:
    """A small sample of the study: 12 seeds. With 5 % false ones at most, 4 or more of 12 have a chance of 0.2 %
    (binomial), and the least changes that are named do not help here."""
    assert sum(raw_changed(one) for one in unchanged) < 4
    assert sum(bool(changed(one)) for one in unchanged) < 4


def test_a_louder_copy_and_a_stronger_order_are_found() -> None:
    """0.3 dB and 2 dB are put in; the orders stay as they were re the fundamental, and the others do not change."""
    louder = trial(1, b=LOUDER)
    assert changed(louder) == {"response"}
    for one in louder:
        if one.quantity == RESPONSE:
            middle = (one.frequency_hz > 50.0) & (one.frequency_hz < 15000.0)
            # the interval of one band is under 0.03 dB here, a tenth of the change
            np.testing.assert_allclose(one.difference_db[middle], 0.3, rtol=0, atol=0.1)
    third = trial(1, b=MORE_THIRD)
    assert "h3" in changed(third)
    assert changed(third) <= {"h3", "thd"}
    regions = [one for one in changed_regions(third) if one.quantity == harmonic(3) and one.level_db_spl == 94.0]
    assert regions[0].difference_db == pytest.approx(2.0, abs=4 * regions[0].uncertainty_db)


@pytest.mark.sample
def test_what_is_excluded_holds_the_truth(unchanged) -> None:
    """Where nothing changed, 0 lies in the interval for a whole curve in 95 % of curves; under 90 % of some 250, the
    half of which hang together, has a chance below 1 % (binomial). No difference plus that interval exceeds
    `excluded_db`."""
    held = []
    for one in (curve for differences in unchanged for curve in differences if curve.judged.any()):
        size_db, wide_db = np.abs(one.difference_db[one.judged]), one.together_db[one.judged]
        held.append(np.all(size_db <= wide_db))
        well = wide_db <= 3.0 * np.median(wide_db)
        assert one.excluded_db == np.max((size_db + wide_db)[well])
        assert np.all(wide_db >= one.uncertainty_db[one.judged])
    assert len(held) > 240  # 247; the third order stands clear of noise in a few rows, or in none that the sweep holds
    assert np.mean(held) > 0.9


@pytest.mark.study
def test_study_of_two_takes_and_of_changes() -> None:
    """200 seeded trials each; run with `pytest -m study -s tests/test_comparison.py` to see the figures.

    False: at most 5 % of trials with any change; 18 of 200 has a chance of 1 % if 5 % is the truth (binomial).
    """
    trials = range(200)
    print("\ncompare: trials of 200           any change  by chance alone  response  third order  another")
    for name, b, takes, scatter_db in (
        ("two takes, nothing changed", ANSWERS, 1, 0.0),
        ("three takes that scatter 0.1 dB", ANSWERS, 3, 0.1),
        ("response + 0.3 dB", LOUDER, 1, 0.0),
        ("third order + 2 dB", MORE_THIRD, 1, 0.0),
    ):
        found = [trial(1000 + seed, b=b, takes=takes, scatter_db=scatter_db) for seed in trials]
        sets = [changed(one) for one in found]
        false = sum(raw_changed(one) for one in found)
        of_response, of_third = sum("response" in one for one in sets), sum("h3" in one for one in sets)
        rest = sum(bool(one - {"response", "h3", "thd"}) for one in sets)
        print(f"{name:33} {sum(map(bool, sets)):9} {false:16} {of_response:9} {of_third:12} {rest:8}")
        if b is ANSWERS:
            assert max(false, sum(map(bool, sets))) < 18
        elif b is LOUDER:
            assert of_response == len(trials)
        else:
            assert of_third == len(trials)


def test_holms_rule_is_that_of_the_published_example() -> None:
    """By hand, after Holm (1979): of 0.01, 0.04, 0.03, 0.005 at 0.05 the limits are 0.05/4, /3, /2, /1 in turn; 0.005
    and 0.01 pass, 0.03 exceeds 0.025 and ends it, so 0.04 fails although it is under 0.05."""
    accepted = holm([np.array([0.01, 0.04, np.nan]), np.array([0.03, 0.005])], 0.05)
    assert [list(one) for one in accepted] == [[True, False, False], [False, True]]
    assert holm([], 0.05) == []


def curve(
    value_db: float,
    *,
    level: float = 86.0,
    takes: np.ndarray | None = None,
    noise: float = 1e-4,
    freedom: float = np.inf,
) -> Curve:
    rows = np.geomspace(100.0, 1000.0, 11)
    return Curve(
        quantity=RESPONSE,
        level_db_spl=level,
        octaves=BROAD_OCTAVES,
        frequency_hz=rows,
        value_db=np.full(rows.size, value_db),
        noise_variance=np.full(rows.size, noise),
        noise_freedom=np.full(rows.size, freedom),
        replicates_db=takes,
        clear=np.ones(rows.size, dtype=bool),
    )


def test_takes_bring_students_t() -> None:
    """With takes that scatter and no noise, the interval of a difference of means is Student's of two samples of equal
    variance (scipy.stats.ttest_ind), where every row scatters alike."""
    random = np.random.default_rng(4)
    a, b = random.standard_normal(4), 1.5 + random.standard_normal(3)
    rows = np.ones((1, 11))
    (one,) = compare(
        [curve(a.mean(), takes=a[:, None] * rows, noise=0.0)], [curve(b.mean(), takes=b[:, None] * rows, noise=0.0)]
    )
    expected = scipy.stats.ttest_ind(b, a)
    interval = expected.confidence_interval(0.95)
    np.testing.assert_allclose(one.probability, expected.pvalue, rtol=1e-9)  # rounding
    np.testing.assert_allclose(one.uncertainty_db, 0.5 * (interval.high - interval.low), rtol=1e-9)


def test_a_difference_of_noise_alone_is_normal() -> None:
    """0.3 dB over sqrt(2 x 0.01) dB: 2.1213 standard deviations, two-sided normal probability 0.0339 (tables)."""
    (one,) = compare([curve(90.0, noise=0.01)], [curve(90.3, noise=0.01)])
    np.testing.assert_allclose(one.probability, 0.0339, atol=5e-5)  # the fourth decimal of the table
    assert not one.significant.any()  # eleven bands: 0.0339 is no news


def test_noise_that_is_hardly_known_brings_students_t() -> None:
    """Two noises of equal variance with 5 degrees of freedom each: 10 by Welch and Satterthwaite; 95 % of Student's t
    with 10 lie within 2.228 (tables)."""
    (one,) = compare([curve(90.0, noise=0.01, freedom=5.0)], [curve(90.3, noise=0.01, freedom=5.0)])
    np.testing.assert_allclose(one.uncertainty_db, 2.228 * np.sqrt(0.02), rtol=3e-4)  # the fourth digit of the table


def test_calibration_widens_the_response_alone() -> None:
    known, unknown = (
        compare([curve(90.0)], [curve(90.3)], calibration_db=calibration_db)[0] for calibration_db in (0.0, 0.4)
    )
    assert known.significant.all()
    assert not unknown.significant.any()
    # 0.4 dB and sqrt(2e-4) x 1.96 dB in quadrature
    np.testing.assert_allclose(unknown.uncertainty_db, np.hypot(0.4, 1.959964 * np.sqrt(2e-4)), rtol=1e-6)
    order = [replace(one, quantity=harmonic(2)) for one in (curve(-40.0), curve(-39.0))]
    plain, wide = (compare(order[:1], order[1:], calibration_db=each)[0] for each in (0.0, 0.4))
    np.testing.assert_array_equal(plain.uncertainty_db, wide.uncertainty_db)


def test_small_changes_are_not_named() -> None:
    """0.05 dB is seven standard deviations here, and still less than what air and heat do."""
    (one,) = compare([curve(90.0, noise=2.5e-5)], [curve(90.05, noise=2.5e-5)])
    assert np.all(one.probability < 1e-9)
    assert not one.significant.any()


def test_what_repeats_of_the_reference_show_is_no_change() -> None:
    """The reference came back 0.2 dB louder after a rest: two values with a standard deviation of 0.2 / sqrt(2) dB, so
    a difference of two has 0.2 dB, and a change under 0.6 dB is not named, though it is no noise."""
    repeats = [(curve(80.0, noise=0.0), curve(80.2, noise=0.0))]
    for change_db, named in ((0.58, False), (0.62, True)):
        (one,) = compare([curve(90.0)], [curve(90.0 + change_db)], repeats=repeats)
        assert np.all(one.probability < 1e-9)
        np.testing.assert_allclose(one.least_named_db, 0.6, rtol=1e-9)  # rounding
        assert one.significant.all() == named
        assert one.significant.any() == named


def test_unknown_noise_is_not_taken_for_none() -> None:
    (one,) = compare([curve(90.0, noise=np.nan)], [curve(95.0, noise=np.nan)])
    assert not one.judged.any()
    assert np.isnan(one.excluded_db)


def test_between_rungs_and_never_beyond() -> None:
    """Straight lines in dB: at 90 dB half way between 80 and 100 dB, values and variances by hand."""
    ladder = [(80.0, curve(-60.0, level=76.0, noise=0.04)), (100.0, curve(-40.0, level=96.0, noise=0.08))]
    at_90 = at_output(ladder, 90.0, 86.0)
    assert at_90 is not None
    assert at_90.level_db_spl == 86.0
    np.testing.assert_allclose(at_90.value_db, -50.0)
    np.testing.assert_allclose(at_90.noise_variance, 0.25 * 0.04 + 0.25 * 0.08)
    assert at_output(ladder, 79.9, 86.0) is None
    assert at_output(ladder, 100.1, 86.0) is None
    np.testing.assert_array_equal(at_output(ladder, 100.0, 86.0).value_db, -40.0)


def test_compression_is_the_rise_less_that_of_the_drive() -> None:
    takes = np.array([[0.0], [1.0]]) * np.ones(11)
    rungs = [curve(80.0, level=76.0, takes=80.0 + takes), curve(89.0, level=86.0, takes=89.0 + 2 * takes)]
    (change,) = changes(gains(rungs, {76.0: -40.0, 86.0: -30.0}), {GAIN: 76.0})
    assert (change.quantity, change.level_db_spl) == (CHANGE, 86.0)
    np.testing.assert_allclose(change.value_db, -1.0)
    np.testing.assert_allclose(change.noise_variance, 2e-4)
    assert change.replicates_db is not None
    np.testing.assert_allclose(np.ptp(change.replicates_db, axis=0), 1.0)  # take by take, 2 less 1
    assert combined([(1.0, rungs[0]), (1.0, curve(1.0))], CHANGE, 86.0).replicates_db is None  # no partners


def test_compression_of_other_levels_is_restated_against_the_lowest_that_both_have() -> None:
    """A loudspeaker whose output is `x - 0.01 (x - 70)^2` dB at a level of x, in closed form: two ladders of it give
    one change wherever both were played, though each has another lowest level."""

    def output_db(level: float) -> float:
        return level - 0.01 * (level - 70.0) ** 2

    def gained(levels: tuple[float, ...]) -> tuple[Curve, ...]:
        rungs = [curve(output_db(level), level=level) for level in levels]
        return gains(rungs, {level: level - 120.0 for level in levels})

    sides = gained((81.0, 86.0, 91.0, 96.0, 101.0)), gained((76.0, 86.0, 96.0))
    references = lowest_in_common(*sides)
    assert references == {GAIN: 86.0}
    a, b = ({one.level_db_spl: one for one in changes(side, references)} for side in sides)
    assert (list(a), list(b)) == ([91.0, 96.0, 101.0], [96.0])
    for level, one in (a | b).items():
        expected_db = (output_db(level) - level) - (output_db(86.0) - 86.0)
        np.testing.assert_allclose(one.value_db, expected_db, rtol=0, atol=1e-12)  # rounding
    np.testing.assert_allclose(a[96.0].value_db, -4.2, rtol=0, atol=1e-12)  # 0.01 (26^2 - 16^2)
    (difference,) = compare(list(a.values()), list(b.values()))
    np.testing.assert_allclose(difference.difference_db, 0.0, rtol=0, atol=1e-12)
    assert lowest_in_common(sides[0], gained((76.0, 86.0))) == {}  # one level shows no change


def test_neighbours_that_changed_alike_are_one_region() -> None:
    a = curve(0.0)
    rise = np.array([0, 0, 3, 5, 4, 0, 0, -2, -2, 0, 0], dtype=float)
    regions = changed_regions(compare([a], [replace(a, value_db=rise)]))
    assert [(round(one.peak_hz), one.difference_db) for one in regions] == [
        (round(a.frequency_hz[3]), 5.0),
        (round(a.frequency_hz[7]), -2.0),
    ]
    half = 10.0**0.05
    assert regions[0].low_hz == pytest.approx(a.frequency_hz[2] / half)
    assert regions[0].high_hz == pytest.approx(a.frequency_hz[4] * half)


def test_sides_that_do_not_fit_are_refused() -> None:
    with pytest.raises(ValueError, match="twice"):
        compare([curve(1.0), curve(1.0)], [curve(1.0)])
    with pytest.raises(ValueError, match="different rows"):
        compare([curve(1.0)], [replace(curve(1.0), frequency_hz=np.arange(11.0) + 1.0)])
