"""A rise and its parts on curves whose parts are known: F, X and S with their signs, alpha, and the row of n f."""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.coincidences.causes import cause_of_rise, source_db
from distort.analysis.coincidences.split import (
    DistortionCurve,
    Split,
    all_rises,
    parts_of,
    split_at,
    way_of,
    way_out_db,
)
from distort.analysis.coincidences.way_out import MOST_ODDS_TOGETHER, OWN_WAY, Way
from tests.devices.line_ups import ROWS_HZ, FloatArray, ripple

GAP_OCTAVES = 0.6
EXACT_DB = 1e-9
"""Sums of decibels: nothing but rounding."""


def bump(centre_hz: float, height_db: float) -> FloatArray:
    """A quarter of an octave wide; at the flanks of GAP_OCTAVES nothing is left of it."""
    return np.asarray(height_db * np.exp(-0.5 * (np.log2(ROWS_HZ / centre_hz) / 0.1) ** 2))


def there(response_db: FloatArray, order: int) -> FloatArray:
    """The response at n f; the rows are 80 a decade, so that order 10 is exactly 80 rows on (closed form)."""
    rows = 80.0 * np.log10(order)
    return np.asarray(np.interp(np.arange(ROWS_HZ.size) + rows, np.arange(ROWS_HZ.size), response_db))


def curve(order: int, fundamental_db: FloatArray, product_db: FloatArray) -> DistortionCurve:
    low = np.full(ROWS_HZ.size, -120.0)
    return DistortionCurve(
        quantity=f"h{order}",
        level=96.0,
        order=order,
        frequency_hz=ROWS_HZ,
        relative_db=product_db - fundamental_db,
        noise_db=low,
        floor_db=low,
        uncertainty_db=np.full(ROWS_HZ.size, 0.1),
        fundamental_db=fundamental_db,
    )


def noise(random: np.random.Generator) -> FloatArray:
    """What two readings of one curve differ by."""
    return ripple(random, ROWS_HZ, deviation_db=0.2, octaves=1 / 8)


def answer(split: Split) -> tuple[str, float]:
    """Cause, and the alpha under which it stands."""
    weighed = cause_of_rise(split)
    assert weighed is not None
    return weighed.cause, weighed.alpha


def split_of(order: int, fundamental_db: FloatArray, product_db: FloatArray, centre_hz: float) -> Split:
    of = curve(order, fundamental_db, product_db)
    parts = parts_of(of, ROWS_HZ, fundamental_db)
    way = way_of(of, parts, away_from_hz=centre_hz)
    split = split_at(of, all_rises(of, parts, gap_octaves=GAP_OCTAVES), centre_hz, way=way)
    assert split is not None
    return split


@pytest.mark.parametrize("order", [2, 3, 5, 10])
def test_the_way_out_is_read_at_n_f(order: int) -> None:
    """6 dB an octave: `6 log2(n f / 1000)` (closed form)."""
    slope_db = 6.0 * np.log2(ROWS_HZ / 1000.0)
    found = way_out_db(curve(order, slope_db, slope_db), ROWS_HZ, slope_db)
    inside = order * ROWS_HZ < ROWS_HZ[-1]
    np.testing.assert_allclose(found[inside], 6.0 * np.log2(order * ROWS_HZ[inside] / 1000.0), atol=EXACT_DB)
    assert np.all(np.isnan(found[order * ROWS_HZ > ROWS_HZ[-1] * 1.001]))


def test_the_parts_have_their_signs_and_their_sizes() -> None:
    """A dip of 8 dB at f, a peak of 5 dB at 3 f that the product passes, a source of 3 dB: 16 dB together.

    The core is the mean of three rows about the centre: the bump loses a tenth, the same share of every part.
    """
    at_hz = float(ROWS_HZ[100])
    response_db = bump(at_hz, -8.0) + bump(3.0 * at_hz, 5.0)
    split = split_of(3, response_db, -50.0 + there(response_db, 3) + bump(at_hz, 3.0), at_hz)
    kept = split.fundamental_db / 8.0
    assert 0.85 < kept <= 1.0
    assert split.response_there_db == pytest.approx(5.0 * kept, abs=0.05)  # 3 f lies between two rows
    assert source_db(split, 1.0) == pytest.approx(3.0 * kept, abs=0.05)
    assert split.rise_db == pytest.approx(
        split.fundamental_db + split.response_there_db + source_db(split, 1.0), abs=EXACT_DB
    )
    assert source_db(split, 0.0) == pytest.approx(8.0 * kept, abs=0.05)


@pytest.mark.parametrize("seed", range(4))
def test_a_product_that_follows_the_response_at_n_f_leaves_by_the_same_way(seed: int) -> None:
    """The product rises by 9 dB where the response at 3 f has a peak of 9 dB, and follows it everywhere else."""
    random = np.random.default_rng([17, seed])
    at_hz = float(ROWS_HZ[110])
    response_db = bump(3.0 * at_hz, 9.0) + ripple(random, ROWS_HZ, deviation_db=1.0, octaves=1 / 8)
    split = split_of(3, response_db, there(response_db, 3) - 50.0 + noise(random), at_hz)
    assert split.way.found == pytest.approx(1.0, abs=0.15)
    assert answer(split) == ("response-peak", 1.0)


@pytest.mark.parametrize("seed", range(4))
def test_a_product_with_a_way_of_its_own_meets_no_dip_at_n_f(seed: int) -> None:
    """The fundamental falls by 9 dB at f, the response by 9 dB at 3 f, the product not at all: alpha is 0, and X with
    it; if X counted, the source would have to make 9 dB."""
    random = np.random.default_rng([19, seed])
    at_hz = float(ROWS_HZ[110])
    ripple_db = ripple(random, ROWS_HZ, deviation_db=1.0, octaves=1 / 8)
    response_db = bump(at_hz, -9.0) + bump(3.0 * at_hz, -9.0) + ripple_db
    split = split_of(3, response_db, noise(random) - 50.0, at_hz)
    assert split.way.found == pytest.approx(0.0, abs=0.15)
    assert answer(split) == ("weak-fundamental", 0.0)


@pytest.mark.parametrize(("ripple_db", "noise_db"), [(1.0, 0.5), (0.5, 0.2)])
def test_a_source_with_an_equal_peak_at_n_f_is_not_put_down_to_that_peak(ripple_db: float, noise_db: float) -> None:
    """The product rises by 9 dB at f where the response has a peak of 9 dB at 3 f, but follows the response nowhere
    else: it has a way of its own, the rise is the source's, and that both are equal is chance. What is made of the peak
    itself must not count for the way out, or it would explain itself. 0 of 16 may say so, and most find the source."""
    at_hz = float(ROWS_HZ[110])
    found = []
    for seed in range(16):
        random = np.random.default_rng([23, seed])
        response_db = bump(3.0 * at_hz, 9.0) + ripple(random, ROWS_HZ, deviation_db=ripple_db, octaves=1 / 8)
        product_db = bump(at_hz, 9.0) - 50.0 + ripple(random, ROWS_HZ, deviation_db=noise_db, octaves=1 / 8)
        weighed = cause_of_rise(split_of(3, response_db, product_db, at_hz))
        assert weighed is not None
        found.append(weighed.cause)
    assert set(found) <= {"made-here", "undecided"}
    assert found.count("made-here") >= 8


@pytest.mark.parametrize("seed", range(4))
def test_where_nothing_tells_the_way_an_equal_peak_is_no_proof(seed: int) -> None:
    """Without ripple the odds of the way out stay even: the peak is its own only witness, and does not count as one."""
    random = np.random.default_rng([29, seed])
    at_hz = float(ROWS_HZ[110])
    response_db = bump(3.0 * at_hz, 9.0) + ripple(random, ROWS_HZ, deviation_db=0.05, octaves=1 / 8)
    product_db = bump(at_hz, 9.0) - 50.0 + ripple(random, ROWS_HZ, deviation_db=0.3, octaves=1 / 8)
    split = split_of(3, response_db, product_db, at_hz)
    assert split.way.odds == pytest.approx(0.0, abs=1.0)


def test_orders_tell_the_way_out_together() -> None:
    """Odds multiply, so their logarithms add, up to a bound; of a sum of orders the way stays its own."""
    assert Way(found=0.6, odds=1.0).together(2.0).odds == pytest.approx(3.0)
    assert Way(found=0.6, odds=4.0).together(4.0).odds == MOST_ODDS_TOGETHER
    assert Way(found=0.6, odds=np.log(3.0)).shared_probability == pytest.approx(0.75)
    assert OWN_WAY.together(6.0).shared_probability == 0.0


def test_what_rises_with_the_fundamental_is_not_the_floor() -> None:
    """A product near its floor that rises by 9 dB although the fundamental rises by 3 is no floor: undecided; where the
    fundamental falls by 9 dB over a flat floor it is."""
    at_hz = float(ROWS_HZ[110])
    flat_db = np.full(ROWS_HZ.size, -50.0)

    def near_its_floor(fundamental_db: FloatArray, product_db: FloatArray) -> str:
        of = curve(2, fundamental_db, product_db)
        of = replace(of, floor_db=of.relative_db - 5.0)
        parts = parts_of(of, ROWS_HZ, fundamental_db)
        split = split_at(of, all_rises(of, parts, gap_octaves=GAP_OCTAVES), at_hz)
        assert split is not None
        weighed = cause_of_rise(split)
        assert weighed is not None
        return weighed.cause

    assert near_its_floor(bump(at_hz, 3.0), flat_db + bump(at_hz, 9.0)) == "undecided"
    assert near_its_floor(bump(at_hz, -9.0), flat_db) == "noise"


@pytest.mark.parametrize(("depth_db", "cause"), [(3.5, "undecided"), (8.0, "weak-fundamental")])
def test_what_ripple_reaches_names_nothing(depth_db: float, cause: str) -> None:
    """A dip of 3.5 dB is no more than ripple of 1.5 dB has here and there; its rise is told, and no cause."""
    at_hz = float(ROWS_HZ[110])
    random = np.random.default_rng(33)
    response_db = bump(at_hz, -depth_db) + ripple(random, ROWS_HZ, deviation_db=0.3, octaves=1 / 8)
    product_db = -50.0 + ripple(random, ROWS_HZ, deviation_db=0.3, octaves=1 / 8)
    assert answer(split_of(2, response_db, product_db, at_hz))[0] == cause


def test_a_dip_of_the_fundamental_alone_is_no_source() -> None:
    """And a dip of the product is no rise."""
    random = np.random.default_rng(18)
    at_hz = float(ROWS_HZ[110])
    response_db = bump(at_hz, -9.0) + ripple(random, ROWS_HZ, deviation_db=0.5, octaves=1 / 8)
    flat_db = -50.0 + ripple(random, ROWS_HZ, deviation_db=0.5, octaves=1 / 8)
    weighed = cause_of_rise(split_of(2, response_db, flat_db, at_hz))
    assert weighed is not None
    assert weighed.cause == "weak-fundamental"
    upright_db = ripple(random, ROWS_HZ, deviation_db=0.5, octaves=1 / 8)
    assert cause_of_rise(split_of(2, upright_db, flat_db + bump(at_hz, -9.0), at_hz)) is None
