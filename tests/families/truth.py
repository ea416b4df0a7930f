"""What is true of a made loudspeaker: written down by the family that drew it, before anything is analysed."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any

import numpy as np

from tests.families.devices import HIGHEST_ORDER, Device
from tests.families.filters import FloatArray

LEVELS = (81.0, 86.0, 91.0, 96.0)
"""dB SPL at which all are played."""

SMOOTHING_OCTAVES = 1.0 / 12.0
"""Of the curves, in power: a narrow place is smaller in them than it is."""

LEAST_DB_SPL = 0.0
"""Added to every order: an order of nothing has no level above which a source could stand."""

VISIBLE_DB = 0.01
"""Sizes below this are left out of the record."""


@dataclass(frozen=True, kw_only=True)
class Cause:
    """One cause, at one place or at all of a comb's.

    explanation   the word for it, of the design's table
    accepted      words that are true of it as well: physics, or what a session can tell, does not part them
    also          a second cause at the same place: naming it besides is true, too
    frequency_hz  where; the first where there are several
    places_hz     all places at which it may rightly be named
    product_hz    where products fall together, n f; None: nowhere
    orders        that the loudspeaker makes more or less of; empty: none, its path alone is another
    levels        that it concerns, dB SPL
    source_db     by what the loudspeaker makes more of an order: `{"h2": {96.0: 7.2}}`
    change_db     by what it changes the level there re the lowest, beyond what the loudspeaker does without it
    response_db   by what it changes the response there, at the lowest level
    of_loudspeaker  None: nobody could know
    numbers       delay, path, Q, difference of rates
    """

    explanation: str
    accepted: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    frequency_hz: float
    places_hz: tuple[float, ...] = ()
    product_hz: float | None = None
    orders: tuple[int, ...] = ()
    levels: tuple[float, ...] = ()
    source_db: Mapping[str, Mapping[float, float]] = field(default_factory=dict)
    change_db: Mapping[float, float] = field(default_factory=dict)
    response_db: float = 0.0
    of_loudspeaker: bool | None = None
    numbers: Mapping[str, float] = field(default_factory=dict)

    @property
    def words(self) -> frozenset[str]:
        """All that may be said of it."""
        return frozenset((self.explanation, *self.accepted, *self.also))

    def largest_source_db(self) -> float:
        """Over orders and levels; 0 where it makes none."""
        return max((abs(one) for of_order in self.source_db.values() for one in of_order.values()), default=0.0)

    def largest_change_db(self) -> float:
        """Over levels, without sign."""
        return max((abs(one) for one in self.change_db.values()), default=0.0)


@dataclass(frozen=True, kw_only=True)
class Truth:
    """All causes of one session. None: whatever is said of it is said of noise and ripple."""

    family: str
    seed: int
    causes: tuple[Cause, ...]
    harmless: tuple[str, ...] = ()
    """Words that are true of anything in such a session, wherever they stand (a room's dips)."""
    note: str = ""

    def record(self) -> dict[str, Any]:
        """For a JSON file."""
        return asdict(self)


def measured(
    cause: Cause, device: Device, without: Device, *, levels: tuple[float, ...] = LEVELS, at_hz: float | None = None
) -> Cause:
    """`cause` with the sizes that the curves would show at its place without noise: with it, less without it.

    Of an order, the source is the rise of its level less the rise of the response at n f.
    """
    place_hz = cause.frequency_hz if at_hz is None else at_hz
    lowest = levels[0]
    rises = {level: smoothed_db(device, place_hz, level) - smoothed_db(without, place_hz, level) for level in levels}
    paths = np.array(
        [
            smoothed_db(device, place_hz * order, lowest)[0] - smoothed_db(without, place_hz * order, lowest)[0]
            for order in range(1, HIGHEST_ORDER + 1)
        ]
    )
    source = {
        f"h{order}": {
            level: round(float(rises[level][order - 1] - paths[order - 1]), 2)
            for level in levels
            if abs(rises[level][order - 1] - paths[order - 1]) >= VISIBLE_DB
        }
        for order in cause.orders
    }
    change = {level: round(float(rises[level][0] - rises[lowest][0]), 3) for level in levels[1:]}
    return replace(
        cause,
        source_db=source,
        change_db={level: one for level, one in change.items() if abs(one) >= VISIBLE_DB},
        response_db=round(float(rises[lowest][0]), 2),
        levels=cause.levels or levels,
    )


def smoothed_db(device: Device, at_hz: float, level_db_spl: float) -> FloatArray:
    """Orders at a frequency, `(orders,)`, their powers averaged over the width of the smoothing."""
    across = np.linspace(-0.5, 0.5, 9) * SMOOTHING_OCTAVES
    powers = 10.0 ** (device.steady_db(at_hz * 2.0**across, level_db_spl) / 10.0)
    powers[1:] += 10.0 ** (LEAST_DB_SPL / 10.0)
    return np.asarray(10.0 * np.log10(np.mean(powers, axis=1)))
