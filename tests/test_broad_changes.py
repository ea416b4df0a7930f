"""A band that falls short of the drive: where it ends, and by how much it does so at most."""

import numpy as np
import pytest

from distort.analysis.common.grid import grid_hz
from distort.analysis.common.quantities import CHANGE
from distort.analysis.findings.broad_changes import BroadChange, broad_changes
from distort.analysis.findings.evidence import ChangeCurve
from distort.analysis.findings.local_changes import LocalChange

HZ = grid_hz()


def curve(change_db: np.ndarray) -> ChangeCurve:
    nothing = np.full(HZ.size, np.nan)
    return ChangeCurve(
        quantity=CHANGE,
        level_db_spl=101.0,
        frequency_hz=HZ,
        change_db=change_db,
        uncertainty_db=np.full(HZ.size, 0.02),
        bias_db=nothing,
    )


def of(change: ChangeCurve, *local: LocalChange) -> list[BroadChange]:
    return broad_changes([change], local, lowest_valid_hz=20.0)


def test_a_band_ends_where_the_change_does_and_nothing_is_found_elsewhere() -> None:
    inside = (HZ > 100.0) & (HZ < 2000.0)
    (found,) = of(curve(np.where(inside, -1.5, 0.0)))
    assert (found.low_hz, found.high_hz) == (HZ[inside][0], HZ[inside][-1])
    assert found.change_db == -1.5
    assert of(curve(np.where(inside, -0.4, 0.0))) == []


def test_up_to_is_said_of_the_whole_band_places_within_it_as_well() -> None:
    """A place of its own at 300 Hz splits no band, and no reading in the band passes what is said of it."""
    inside = (HZ > 100.0) & (HZ < 2000.0)
    place = (HZ > 250.0) & (HZ < 360.0)
    change = curve(np.where(place, -2.3, np.where(inside, -1.5, 0.0)))
    row = int(np.flatnonzero(place)[2])
    local = LocalChange(curve=change, row=row, excess_db=-0.8, sigma_db=0.05, low_hz=250.0, high_hz=360.0)
    (found,) = of(change, local)
    assert (found.low_hz, found.high_hz) == (HZ[inside][0], HZ[inside][-1])
    assert found.change_db == pytest.approx(np.min(change.change_db)) == -2.3
