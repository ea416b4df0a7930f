"""By how much a level is driven above the lowest, and how far the spectrum of a silence is evened out."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from distort.analysis.impulsive.residual import _smoothed
from distort.analysis.sweep.noise import NoiseDensity
from distort.assembly.condition.curves import _driven_db


def level(drive_dbfs: float, turned_db: float | None, unit: str = "db_spl") -> Any:
    """What of a level says how far it was driven."""
    return SimpleNamespace(
        takes=[SimpleNamespace(sidecar=SimpleNamespace(turned_db=turned_db))],
        reference=SimpleNamespace(unit=unit),
        read=SimpleNamespace(sweep=SimpleNamespace(drive_dbfs=drive_dbfs)),
    )


def test_the_drive_is_that_of_the_signal_and_of_the_volume() -> None:
    """10 dB more of the signal and 3 dB more of the volume, which had been turned down by 2 dB: 15 dB."""
    lowest = level(-30.0, -2.0)
    assert _driven_db(level(-20.0, 3.0), lowest) == pytest.approx(15.0)
    assert _driven_db(lowest, lowest) == 0.0


@pytest.mark.parametrize(
    ("one", "lowest"),
    [
        (level(-20.0, None), level(-30.0, 0.0)),
        (level(-20.0, 0.0), level(-30.0, None)),
        (level(-20.0, 0.0), level(-30.0, 0.0, "dbfs")),
    ],
)
def test_a_volume_turned_by_nobody_knows_how_much_leaves_no_drive(one, lowest) -> None:
    assert _driven_db(one, lowest) is None


def test_a_single_line_is_spread_a_twelfth_of_an_octave_to_either_side() -> None:
    """Of a line in bin p the mean is not 0 at the bins b from b r > p - 1 to b / r < p + 1, r = 2^(1/12): whole bins
    outwards. It is one over their number, and the line itself stays."""
    place, size, ratio = 300, 600, 2.0 ** (1.0 / 12.0)
    line = np.zeros(size)
    line[place] = 1.0
    found = _smoothed(NoiseDensity(frequency_hz=np.arange(600.0), density=line, sample_rate=1200, seconds=1.0))
    bins = np.arange(size)
    reached = (bins * ratio > place - 1) & (bins / ratio < place + 1)
    np.testing.assert_array_equal(found > 0.0, reached)
    beside = reached & (bins != place) & (bins * ratio < size - 2)
    number = np.ceil(bins * ratio) - np.floor(bins / ratio) + 1
    np.testing.assert_allclose(found[beside], 1.0 / number[beside])
    assert found[place] == 1.0
