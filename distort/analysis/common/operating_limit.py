"""Up to which level a loudspeaker may be driven, as one number, and what ends it there."""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class OperatingLimit:
    """The highest level at which all that was asked holds everywhere."""

    stimulus: str
    """Of which it is said: "burst", "multitone", "programme"."""
    level_db_spl: float
    """Nominal, interpolated where a limit was met between two levels. Where `ended_by` is None: it holds at least up
    to here, since nothing louder was played."""
    ended_by: str | None
    """The limit that is met first: "compression", "h2", ...; None: none was met."""
    frequency_hz: float | None = None
    """Where it is met; None: it is of no frequency."""


def lowest_of(limits: Sequence[OperatingLimit]) -> OperatingLimit | None:
    """Of the limits of several stimuli the one that comes first: among those that were met the lowest, as one that was
    not met says only how far was played. None of none; where none was met, the one that went farthest."""
    met = [one for one in limits if one.ended_by is not None]
    if met:
        return min(met, key=lambda one: one.level_db_spl)
    return max(limits, key=lambda one: one.level_db_spl, default=None)
