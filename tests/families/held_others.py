"""Images, events, what is heard, and what another condition shows, held against the tables."""

import math
import re
from collections.abc import Iterator
from typing import Any

import numpy as np

from tests.families.held_form import decided, for_rows
from tests.families.held_orders import rise_db
from tests.families.tables import Condition, Results, Table

Finding = dict[str, Any]

IN_THE_PATH = frozenset({"delayed-copy", "resonance", "cancellation", "filter-before-source", "room"})
"""Words that make a dip the reason of a rise re the tones."""

IMAGE_OCTAVES = 1.0 / 8.0
"""How far from its crossing an image may be read: a sweep passes it while a window is open."""

SAME_RATIO_DB = 3.0
"""Within which the ratio of an image to the tone stays over levels, beside its intervals: noise and ripple."""

CLEAR_DB = 10.0
"""Above its floor a reading scatters little."""

EVENT_OCTAVES = 1.0 / 3.0
"""How far from the sweep's own frequency at a moment an event may show."""


def image(finding: Finding, condition: Condition) -> Iterator[str]:
    """Images of a conversion lie where n f = |k F +- f|, as far below the tone at every level."""
    if not decided(finding) or finding["explanation"] != "conversion-image":
        return
    differences = [float(value) for key, value in finding["numbers"].items() if "hz" in key and value > 0.0]
    if not differences:
        yield "an image of a conversion, and no difference of rates is stated"
        return
    for row in for_rows(finding):
        order = re.fullmatch(r"h(\d+)", row["quantity"])
        if order is None:
            continue
        number, at_hz = int(order[1]), float(row["frequency_hz"])
        if not any(_crosses(number, at_hz, difference) for difference in differences):
            yield f"an image at {at_hz:.0f} Hz, where {number} f meets no |k F +- f|"
    yield from _grows(finding, condition)


def _crosses(order: int, at_hz: float, difference_hz: float) -> bool:
    where = [k * difference_hz / (order - sign) for k in range(1, 9) for sign in (1, -1) if order != sign]
    return any(abs(math.log2(at_hz / one)) < IMAGE_OCTAVES for one in where)


def _grows(finding: Finding, condition: Condition) -> Iterator[str]:
    """Whether every row of evidence changes its ratio with level, as no image does."""
    spread = []
    for row in for_rows(finding):
        if re.fullmatch(r"h\d+", row["quantity"]):
            ratios = [_clear(table, row["quantity"], row["frequency_hz"]) for table in condition.harmonics.values()]
            known = [ratio for ratio in ratios if ratio is not None]
            if len(known) >= 2:
                spread.append(max(known) - min(known))
    if spread and min(spread) > SAME_RATIO_DB:
        yield f"images whose ratio to the tone changes by {min(spread):.1f} dB or more with level"


def _clear(table: Table, quantity: str, at_hz: float) -> float | None:
    ratio, floor = table.at(f"{quantity}_db", at_hz), table.at(f"{quantity}_noise_db", at_hz)
    return ratio if ratio - floor > CLEAR_DB else None


def audible(finding: Finding, condition: Condition) -> Iterator[str]:
    """Nothing is heard for certain that does not stand above the floor of what was measured."""
    said = finding.get("audible") or {}
    if said.get("verdict") != "yes":
        return
    table = condition.harmonics.get(said.get("at_db_spl"))
    if table is None:
        yield f"audible at {said.get('at_db_spl')} dB SPL, a level that no table holds"
        return
    margins = [
        table.at(f"{row['quantity']}_db", row["frequency_hz"])
        - table.at(f"{row['quantity']}_noise_db", row["frequency_hz"])
        for row in for_rows(finding)
        if re.fullmatch(r"h\d+", row["quantity"])
    ]
    if margins and not any(margin > 0.0 for margin in margins):
        yield f"audible at {said['at_db_spl']:g} dB SPL, where every order named lies below its floor"


def multitone(finding: Finding, condition: Condition, results: Results) -> Iterator[str]:
    """A dip cannot be why multitone distortion rises in its band, where another condition has the rise and no dip."""
    if not decided(finding) or finding["explanation"] not in IN_THE_PATH or finding.get("also"):
        return
    for row in for_rows(finding):
        parity = re.fullmatch(r"(?:multitone_)?(even|odd)", row["quantity"])
        table = condition.multitones.get(row["level_db_spl"])
        if parity is None or table is None or not row["rise_db"] > 1.0:
            continue
        for other in results.conditions.values():
            beside = other.multitones.get(row["level_db_spl"])
            if other.name == condition.name or beside is None:
                continue
            at_hz, column = row["frequency_hz"], f"{parity[1]}_db"
            here, there = (rise_db(one.frequency_hz, one.column(column), at_hz) for one in (table, beside))
            uncertain = table.at(f"{parity[1]}_uncertainty_db", at_hz) + beside.at(f"{parity[1]}_uncertainty_db", at_hz)
            dip, none = (_response_rise_db(one, row["level_db_spl"], at_hz) for one in (condition, other))
            if here > 1.0 and there > here - max(1.0, uncertain) and none > dip + 2.0:
                yield (
                    f"{finding['explanation']} at {at_hz:.0f} Hz explains {parity[1]} multitone distortion, which "
                    f"{other.name} shows as well, without the dip"
                )


def _response_rise_db(condition: Condition, level: float, at_hz: float) -> float:
    """Of the place less its flanks, negative in a dip: the lowest value there, so the curve is turned over twice."""
    table = condition.responses[level]
    return -rise_db(table.frequency_hz, -table.column("level_db_spl"), at_hz)


def event(finding: Finding, condition: Condition, results: Results) -> Iterator[str]:
    """An event at t shows where the sweep was, f1 exp(t/L), in orders or in what is left over."""
    if not decided(finding) or finding["explanation"] != "event-in-time":
        return
    sweep = results.sweep_of(condition.name)
    times = [value for key, value in finding["numbers"].items() if key.endswith("_s")]
    if times and sweep and finding["places"]:
        rate_s = sweep["seconds"] / math.log(sweep["stop_hz"] / sweep["start_hz"])
        reached = [sweep["start_hz"] * math.exp(time / (rate_s * share)) for time in times for share in (1.0, 0.5)]
        places = [place["frequency_hz"] for place in finding["places"]]
        apart = min(abs(math.log2(one / place)) for one in reached for place in places)
        if apart > EVENT_OCTAVES:
            yield f"an event {times[0]:.2f} s into the sweep, which does not pass {places[0]:.0f} Hz then"
    for row in for_rows(finding):
        table = condition.harmonics.get(row["level_db_spl"])
        if table is not None and re.fullmatch(r"h\d+", row["quantity"]):
            at_hz = row["frequency_hz"]
            ratio, floor = table.at(f"{row['quantity']}_db", at_hz), table.at(f"{row['quantity']}_noise_db", at_hz)
            if np.isfinite(ratio) and ratio < floor:
                yield f"an event at {at_hz:.0f} Hz, where {row['quantity']} lies below its floor"
