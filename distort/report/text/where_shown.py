"""Where a finding is: the conditions that show it, those that may have it all the same, and those that lack it."""

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from distort.analysis.findings.across import same_finding
from distort.analysis.findings.elsewhere import elsewhere, overlap
from distort.analysis.findings.finding import Finding
from distort.analysis.findings.measured import Measured, order_place
from distort.assembly.condition.across import curves_measured
from distort.session.plan.keys import NEAR_FIELD
from distort.session.results.condition_results import ConditionResults

OF_ONE_RECORDING = frozenset({"event-in-time"})
"""Explanations of what happened once: that it did not happen in another condition says nothing of either."""

OF_PARTS = frozenset({"rattle", "rub", "airflow-noise"})
"""Explanations of what sounds besides the orders: without the part that makes it, it is not there."""

MADE_BY_SOMETHING = OF_PARTS | {"loudspeaker-generated"}
"""Explanations of what the loudspeaker, or what it stands on, makes."""


@dataclass(frozen=True, kw_only=True)
class Where:
    """Of the conditions that were measured at a distance and as loud, in the order of the plan."""

    not_in: tuple[str, ...]
    """That lack it: as far as its reading tells, it is 3 dB less there at least."""
    as_strong_in: tuple[str, ...] = ()
    """Whose findings do not have it, and where as much of it is read."""
    hidden_in: tuple[str, ...] = ()
    """Where as much of it may be, and cannot be read."""


def where_shown(
    finding: Finding, shown: Collection[str], far: Sequence[ConditionResults], curves: Mapping[str, Measured]
) -> Where:
    """Where a finding is besides the conditions that show it.

    shown    the conditions that list it; what is read is held against the first of them
    far      those that were heard at a distance
    curves   of all conditions, by name
    """
    here = curves[next(iter(shown))]
    others = [one.findings.condition for one in far if one.findings.condition not in shown and _as_loud(one, finding)]
    if finding.explanation in OF_ONE_RECORDING:
        others = []
    read = {name: elsewhere(finding, here, curves[name]) for name in others}
    # what the way to the microphone does is the dip or peak itself, and that none is listed says that there is none
    of_the_way = finding.decided and finding.part_of_loudspeaker is not True
    missing = ("less", "unknown") if of_the_way else ("less",)
    return Where(
        not_in=tuple(name for name, found in read.items() if found in missing),
        as_strong_in=tuple(name for name, found in read.items() if found == "as-strong"),
        hidden_in=tuple(
            name for name, found in read.items() if found in ("hidden", "unknown") and found not in missing
        ),
    )


def striking(
    finding: Finding, shown: Collection[str], among: Sequence[tuple[Finding, Mapping[str, int]]]
) -> int | None:
    """Place in `among` of what strikes or blows in the band in which an order rises, in every condition that shows
    the order and as loud: part of it falls on the order. None: nothing does."""
    at = order_place(finding)
    if at is None or "standing_out" in finding.numbers:
        return None
    return next(
        (
            place
            for place, (other, there) in enumerate(among)
            if set(shown) <= set(there)
            and other.numbers.get("lowest_level_db_spl", math.inf) <= at.level_db_spl
            and any(one.low_hz <= at.frequency_hz <= one.high_hz for one in other.places)
        ),
        None,
    )


def of_what_strikes(own: Where, its: Where) -> Where:
    """Where an order is that strikes fall on: it lacks in no condition that may have the strikes, since of uneven
    strikes every recording has as much on an order as chance gives."""
    return Where(
        not_in=tuple(name for name in own.not_in if name in its.not_in),
        as_strong_in=own.as_strong_in,
        hidden_in=tuple(dict.fromkeys((*own.hidden_in, *(name for name in own.not_in if name in its.hidden_in)))),
    )


def strikes_there(finding: Finding, among: Sequence[tuple[Finding, Mapping[str, int]]]) -> bool:
    """Whether an event lies where, in another recording, something strikes or blows: an event has its time, a loose
    part its frequency, and uneven strikes are hard to tell from an event where one recording alone holds them."""
    return finding.explanation in OF_ONE_RECORDING and any(
        "standing_out" in other.numbers and overlap(finding, other) for other, _ in among
    )


def merged(conditions: Sequence[ConditionResults]) -> list[tuple[Finding, dict[str, int]]]:
    """Every finding once, as the first condition has it that decides it, with its number in each that shows it."""
    found: list[tuple[Finding, dict[str, int]]] = []
    for results in conditions:
        condition = results.findings.condition
        for finding in results.findings.findings or ():
            # two of one condition are two, however alike
            known = [
                place
                for place, (one, shown) in enumerate(found)
                if condition not in shown and same_finding(one, finding)
            ]
            if not known:
                found.append((finding, {condition: finding.number}))
                continue
            first, shown = found[known[0]]
            if finding.decided and not first.decided:  # pictures and sounds are those of the first
                found[known[0]] = (finding, {condition: finding.number, **shown})
            else:
                shown[condition] = finding.number
    return found


def curves_by_name(conditions: Sequence[ConditionResults]) -> dict[str, Measured]:
    """What each condition reads."""
    return {one.findings.condition: curves_measured(one) for one in conditions}


def at_a_distance(conditions: Sequence[ConditionResults]) -> list[ConditionResults]:
    """Those that were not heard in the near field, which says nothing of the room; all, where there is nothing else."""
    far = [results for results in conditions if results.findings.setup.radiation != NEAR_FIELD]
    return far or list(conditions)


def _as_loud(results: ConditionResults, finding: Finding) -> bool:
    """Whether a condition was played at the level at which a finding is clearest, or above it: a limiter that comes in
    at 101 dB is missing in none that was only played at 96."""
    row = finding.leading_row
    level = row.level_db_spl if row is not None else finding.numbers.get("level_db_spl")
    if level is None:
        return True
    tones = row is not None and row.stimulus == "multitone"
    played = [one.level_db_spl for one in results.findings.multitones] if tones else results.levels_db_spl
    return any(one >= level for one in played)
