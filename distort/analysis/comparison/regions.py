"""From many bands to few words: neighbouring bands that changed the same way are one region."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from distort.analysis.common.grid import OCTAVE_RATIO
from distort.analysis.common.quantities import Quantity
from distort.analysis.comparison.significance import BROAD_OCTAVES, Difference


@dataclass(frozen=True, kw_only=True)
class Region:
    """A stretch of frequency over which one quantity changed one way."""

    quantity: Quantity
    level_db_spl: float
    low_hz: float
    high_hz: float
    """Outer edges of its bands."""
    peak_hz: float
    """Band of the largest change."""
    difference_db: float
    """There, B less A."""
    uncertainty_db: float
    """Half-width of its 95 % interval."""


def changed_regions(differences: Sequence[Difference]) -> tuple[Region, ...]:
    """Regions of every quantity and level, the largest change first.

    Third octaves say where; a twelfth of an octave counts where no third octave of the same sign covers it.
    """
    found: list[Region] = []
    for broad in (one for one in differences if one.octaves == BROAD_OCTAVES):
        own = _regions(broad)
        for narrow in differences:
            if (narrow.quantity, narrow.level_db_spl) == (broad.quantity, broad.level_db_spl) and narrow is not broad:
                own = _merged(own, _regions(narrow))
        found += own
    return tuple(sorted(found, key=lambda region: -abs(region.difference_db)))


def largest(difference: Difference) -> int | None:
    """Row of the largest difference that is well read; None where none is judged."""
    if not difference.judged.any():
        return None
    return int(np.argmax(np.where(difference.well_read, np.abs(difference.difference_db), -1.0)))


def judged_range_hz(difference: Difference) -> tuple[float, float] | None:
    """From the lowest to the highest frequency that is well read; None where none is judged."""
    rows = np.flatnonzero(difference.well_read)
    if rows.size == 0:
        return None
    return float(difference.frequency_hz[rows[0]]), float(difference.frequency_hz[rows[-1]])


def _regions(difference: Difference) -> list[Region]:
    signs = np.where(difference.significant, np.sign(difference.difference_db), 0.0)
    edges = np.flatnonzero(np.diff(np.concatenate([[0.0], signs, [0.0]])))
    half = OCTAVE_RATIO ** (0.5 * difference.octaves)
    found = []
    for first, end in pairwise(edges):
        if signs[first] == 0.0:
            continue
        peak = first + int(np.argmax(np.abs(difference.difference_db[first:end])))
        found.append(
            Region(
                quantity=difference.quantity,
                level_db_spl=difference.level_db_spl,
                low_hz=float(difference.frequency_hz[first] / half),
                high_hz=float(difference.frequency_hz[end - 1] * half),
                peak_hz=float(difference.frequency_hz[peak]),
                difference_db=float(difference.difference_db[peak]),
                uncertainty_db=float(difference.uncertainty_db[peak]),
            )
        )
    return found


def _merged(broad: list[Region], narrow: list[Region]) -> list[Region]:
    """The broad regions, each with the largest narrow change inside it, and the narrow ones that lie in none."""

    def same(one: Region, other: Region) -> bool:
        overlap = min(one.high_hz, other.high_hz) > max(one.low_hz, other.low_hz)
        return overlap and one.difference_db * other.difference_db > 0

    result = []
    for region in broad:
        inside = [one for one in narrow if same(region, one)]
        top = max([region, *inside], key=lambda one: abs(one.difference_db))
        result.append(
            Region(
                quantity=region.quantity,
                level_db_spl=region.level_db_spl,
                low_hz=min(one.low_hz for one in [region, *inside]),
                high_hz=max(one.high_hz for one in [region, *inside]),
                peak_hz=top.peak_hz,
                difference_db=top.difference_db,
                uncertainty_db=top.uncertainty_db,
            )
        )
    return result + [one for one in narrow if not any(same(region, one) for region in broad)]
