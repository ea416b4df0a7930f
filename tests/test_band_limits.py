"""Bands that fall short of the drive: just on either side of where each rule turns.

Numbers beside a test are the contract. The rows of a change curve lie as close as a test needs them.
"""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.common.quantities import CHANGE
from distort.analysis.findings.broad_changes import BroadChange, broad_changes
from distort.analysis.findings.evidence import ChangeCurve
from distort.analysis.findings.local_changes import LocalChange

ROWS = np.arange(121)


def curve(change_db: np.ndarray, *, per_octave: float = 24.0, level: float = 96.0) -> ChangeCurve:
    return ChangeCurve(
        quantity=CHANGE,
        level_db_spl=level,
        frequency_hz=100.0 * 2.0 ** (ROWS / per_octave),
        change_db=change_db,
        uncertainty_db=np.full(ROWS.size, 0.02),
        bias_db=np.zeros(ROWS.size),
    )


def falls(*stretches: tuple[int, int], by_db: float = 1.0) -> np.ndarray:
    """By so much from one row to another, both among them."""
    return np.where(np.any([(first <= ROWS) & (last >= ROWS) for first, last in stretches], axis=0), -by_db, 0.0)


def place(of: ChangeCurve, first: int, last: int, excess_db: float = -1.0) -> LocalChange:
    low_hz, high_hz = (float(of.frequency_hz[row]) for row in (first, last))
    return LocalChange(curve=of, row=first + 1, excess_db=excess_db, sigma_db=0.1, low_hz=low_hz, high_hz=high_hz)


def bands(*curves: ChangeCurve, places: tuple[LocalChange, ...] = ()) -> list[BroadChange]:
    return broad_changes(curves, places, lowest_valid_hz=20.0)


def rows_of(one: BroadChange) -> tuple[int, int]:
    first, last = (int(np.argmin(np.abs(one.curve.frequency_hz - hz))) for hz in (one.low_hz, one.high_hz))
    return first, last


@pytest.mark.parametrize(("per_octave", "told"), [(20.0, True), (22.0, False)])
def test_a_band_is_a_third_of_an_octave(per_octave, told):
    """Seven rows: 0.35 octaves, or 0.318."""
    assert bool(bands(curve(falls((40, 47)), per_octave=per_octave))) is told


@pytest.mark.parametrize(("per_octave", "one"), [(25.0, False), (27.0, True)])
def test_stretches_within_half_an_octave_are_one(per_octave, one):
    """Thirteen rows from the end of one to the beginning of the other: 0.52 octaves, or 0.481."""
    found = bands(curve(falls((20, 40), (53, 80)), per_octave=per_octave))
    assert len(found) == (1 if one else 2)


@pytest.mark.parametrize(("first", "last", "one"), [(41, 59, True), (42, 59, False), (41, 58, False)])
def test_stretches_are_one_where_a_place_fills_what_lies_between_them(first, last, one):
    """Every row of it, and a place of their own sign."""
    made = curve(falls((20, 40), (60, 80)))
    assert len(bands(made, places=(place(made, first, last),))) == (1 if one else 2)
    assert len(bands(made, places=(place(made, first, last, excess_db=1.0),))) == 2


def test_the_ends_of_a_place_are_the_places():
    """Eight steps of 1/24 octave on either side of it are a third of an octave by a hair, seven are less."""
    made = curve(falls((20, 60)))
    # rows 20 to 27 and 53 to 60 are left, with only the place between them: one band
    (one,) = bands(made, places=(place(made, 28, 52),))
    assert rows_of(one) == (20, 60)
    assert bands(made, places=(place(made, 28, 60),)) == []
    assert len(bands(made, places=(place(made, 30, 60),))) == 1
    assert bands(made, places=(place(made, 20, 52),)) == []
    assert len(bands(made, places=(place(made, 20, 50),))) == 1


def test_half_a_decibel_is_a_band_and_its_row_is_where_it_falls_most():
    (one,) = bands(curve(falls((20, 60), by_db=0.5)))
    assert one.change_db == -0.5
    change = falls((20, 60))
    change[60] = -1.5
    assert [each.row for each in bands(curve(change))] == [60]
    change[20] = -2.0
    assert [each.row for each in bands(curve(change))] == [20]
    unsure = replace(curve(change), uncertainty_db=np.where(ROWS == 20, np.nan, 0.02))
    assert [(each.row, rows_of(each)[0]) for each in bands(unsure)] == [(60, 21)]


def test_a_band_is_told_once_over_the_levels_and_once_for_each_sign():
    loud = curve(falls((20, 40)))
    for change, count in (
        (falls((20, 40), by_db=0.8), 1),
        (falls((40, 60)), 1),
        (falls((41, 60)), 2),
        (-falls((20, 40)), 2),
    ):
        quiet = curve(change, level=91.0)
        assert len(bands(loud, quiet)) == count
        found = bands(replace(loud, change_db=change), replace(quiet, change_db=loud.change_db))
        assert len(found) == count


@pytest.mark.parametrize(("quiet_db", "from_level"), [(-0.1, 96.0), (-0.105, 91.0), (-0.095, 96.0)])
def test_a_band_begins_at_the_level_that_shows_more_than_a_tenth_of_a_decibel(quiet_db, from_level):
    (one,) = bands(curve(falls((20, 60))), curve(falls((20, 60), by_db=-quiet_db), level=91.0))
    assert one.from_level_db_spl == from_level


def test_the_loudest_level_shows_a_band_and_what_lies_beyond_it_is_another_place():
    """Whichever level comes first; a place that follows on the band falls further, and is none of its rows."""
    loud, quiet = curve(falls((20, 60))), curve(falls((20, 60), by_db=0.8), level=91.0)
    for both in ((loud, quiet), (quiet, loud)):
        assert [one.curve.level_db_spl for one in bands(*both)] == [96.0]
    change = falls((20, 60)) + falls((61, 63), by_db=3.0)
    beside = curve(change)
    (one,) = bands(beside, places=(place(beside, 61, 63, excess_db=-2.0),))
    assert (rows_of(one), one.change_db) == ((20, 60), -1.0)
