"""What the levels of a report mean where somebody listens: farther away than 1 m, and for how long."""

import math
from collections.abc import Sequence

from distort.report.text.numbers import level_name
from distort.session.results.condition_results import ConditionResults

LISTENER_M = 3.0
"""Metres from a loudspeaker to a listener at home (common practice, no source)."""

LEAST_LOST_DB = 10.0 * math.log10(LISTENER_M)
"""From 1 m to the listener in a furnished room, where a level falls by 3 dB a doubling of the distance: T. J. Schultz,
ASHRAE Transactions 91(1), 1985 (from memory)."""

MOST_LOST_DB = 20.0 * math.log10(LISTENER_M)
"""The same without a room: the sound pressure of a point source falls as 1/r."""

HAZARD_DB_A = 85
"""dB(A) over 8 hours a day; exposures from there on NIOSH calls hazardous (publication 98-126, 1998)."""


def home_sentence(conditions: Sequence[ConditionResults]) -> str:
    """The loudest nominal level as a listener at home has it; nothing where no sound pressure level is known."""
    levels = [level.level_db_spl for one in conditions for level in one.findings.levels if level.unit == "db_spl"]
    if not levels:
        return ""
    loudest = max(levels)
    low, high = (f"{loudest - lost:.0f}" for lost in (MOST_LOST_DB, LEAST_LOST_DB))
    return (
        f"{level_name(loudest)} dB at 1 m is some {low} to {high} at {LISTENER_M:g} m in a room; {HAZARD_DB_A} dB(A) "
        f"all day endangers hearing."
    )
