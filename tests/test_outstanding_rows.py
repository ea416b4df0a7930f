"""What stands out of a trend, on rows fine enough to tell a limit from one a tenth further: 240 an octave."""

import math

import numpy as np
import pytest

from distort.analysis.anomalies import outstanding
from distort.analysis.anomalies.outstanding import all_outstanding, half_width
from distort.analysis.anomalies.trend import Detrended

PER_OCTAVE = 240
ROWS_HZ = 20.0 * 2.0 ** (np.arange(5 * PER_OCTAVE + 1) / PER_OCTAVE)


def against(deviation_db: np.ndarray) -> Detrended:
    return Detrended(
        frequency_hz=ROWS_HZ,
        deviation_db=deviation_db,
        trend_db=np.zeros(ROWS_HZ.size),
        scatter_db=np.full(ROWS_HZ.size, 0.5),
    )


def dip(row: int, depth_db: float, half_rows: float) -> np.ndarray:
    """A triangle, of which half is left `half_rows / 2` away."""
    return -depth_db * np.maximum(1.0 - np.abs(np.arange(ROWS_HZ.size) - row) / half_rows, 0.0)


@pytest.mark.parametrize(("rows", "listed"), [(38, False), (42, True)])
def test_a_dip_lies_a_sixth_of_an_octave_from_either_end(rows, listed):
    """40 rows of what can be read."""
    for row in (100 + rows, 1100 - rows):
        deviation_db = dip(row, 6.0, 20.0)
        deviation_db[:100] = deviation_db[1101:] = np.nan
        assert bool(outstanding._outstanding(against(deviation_db))) == listed
    assert outstanding._outstanding(against(np.full(ROWS_HZ.size, np.nan))) == []


@pytest.mark.parametrize(("rows", "count"), [(65, 1), (66, 2), (-65, 1), (-66, 2), (-500, 2), (250, 2)])
def test_a_twenty_fourth_of_an_octave_beside_a_dip_is_free_of_the_others(rows, count, monkeypatch):
    """The first is 40.5 rows wide at half height, and so many on either side are its own; of the second half is left
    15.5 rows away, and 10 rows more must be free: 66 less 25.5 is just that."""
    monkeypatch.setattr(outstanding, "detrended", lambda f, held: against(dip(900 + rows, 9.0, 31.0)))
    assert len(all_outstanding(against(dip(900, 9.0, 40.5)), np.zeros(ROWS_HZ.size))) == count


@pytest.mark.parametrize("half_rows", [15.0, 16.0, 17.0, 40.0])
def test_half_of_the_depth_is_left_between_rows(half_rows):
    low_hz, high_hz = half_width(against(dip(600, 6.0, half_rows)), 600)
    for hz, row in ((low_hz, 600.0 - half_rows / 2.0), (high_hz, 600.0 + half_rows / 2.0)):
        assert PER_OCTAVE * math.log2(hz / 20.0) == pytest.approx(row, abs=1e-6)


def test_a_width_ends_at_the_last_row_where_more_than_half_is_left():
    found = half_width(against(dip(600, 6.0, 2000.0)), 600)
    assert found == pytest.approx((ROWS_HZ[0], ROWS_HZ[-1]), rel=1e-9)
