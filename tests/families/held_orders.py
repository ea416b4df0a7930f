"""What the loudspeaker is said to make, held against the tables of the orders."""

import math
import re
from collections.abc import Iterator
from typing import Any

import numpy as np

from tests.families.filters import FloatArray
from tests.families.held_form import NEAR_OCTAVES, decided, for_rows, is_broad, words_of
from tests.families.tables import Condition, Table

Finding = dict[str, Any]

GENERATED = "loudspeaker-generated"

FLANKS_OCTAVES = (0.25, 1.0)
"""Where a place's surroundings are read, on either side."""

LEAST_RISE_DB = 0.5
"""A rise below this is ripple, whatever the noise leaves."""

COMMON_OCTAVES = 1.0 / 24.0
"""How near two n f must lie to be one: half the smoothing."""

SHARE_OF_RISE = 0.7
"""A shift between the sweeps that is this much of a rise has made it."""


def generated(finding: Finding, condition: Condition) -> Iterator[str]:
    """What the loudspeaker makes rises above its flanks, in some order, level or band that is named as evidence.

    It may rise in its own level, or in its level less the response at n f, where the path takes it away.
    """
    if not decided(finding) or GENERATED not in words_of(finding):
        return
    places = [place for place in finding["places"] if not is_broad(place)]
    bad = [place for place in places if not _rises(finding, condition, place["frequency_hz"])]
    if bad and (finding["explanation"] == GENERATED or len(bad) == len(places)):
        yield f"made by the loudspeaker at {bad[0]['frequency_hz']:.0f} Hz, where no order rises over its flanks"


def _rises(finding: Finding, condition: Condition, at_hz: float) -> bool:
    orders, multitone = _named(finding)
    for level, table in condition.harmonics.items():
        for order in orders or range(2, 11):
            for curve in _source_curves(condition, level, table, order):
                rise = rise_db(table.frequency_hz, curve, at_hz)
                if rise > max(LEAST_RISE_DB, table.at(f"h{order}_uncertainty_db", at_hz)):
                    return True
    if not multitone and orders:
        return False
    for table in condition.multitones.values():
        for parity in ("even", "odd"):
            level_db = table.column(f"{parity}_db") + table.column("level_db_spl")
            rise = rise_db(table.frequency_hz, level_db, at_hz)
            if rise > max(LEAST_RISE_DB, table.at(f"{parity}_uncertainty_db", at_hz)):
                return True
    return False


def _named(finding: Finding) -> tuple[list[int], bool]:
    """Orders that speak for it, and whether a multitone does."""
    found = [re.fullmatch(r"h(\d+)", row["quantity"]) for row in for_rows(finding)]
    orders = sorted({int(one[1]) for one in found if one})
    return orders, any(row.get("stimulus") == "multitone" for row in for_rows(finding))


def _source_curves(condition: Condition, level: float, table: Table, order: int) -> Iterator[FloatArray]:
    """Level of an order, and the same less the response at n f; where it stands above its floor alone."""
    level_db = table.column(f"h{order}_db_spl")
    clear = table.column(f"h{order}_db") > table.column(f"h{order}_noise_db")
    level_db = np.where(clear, level_db, np.nan)
    yield level_db
    response = condition.responses[level]
    known = np.isfinite(response.column("level_db_spl"))
    if known.any():
        at_product = np.interp(
            np.log(order * table.frequency_hz),
            np.log(response.frequency_hz[known]),
            response.column("level_db_spl")[known],
            right=np.nan,
        )
        yield level_db - at_product


def rise_db(frequency_hz: FloatArray, curve: FloatArray, at_hz: float) -> float:
    """The highest value within a 12th octave of a place, less the line through the medians of its flanks; dB.

    -inf where nothing can be read there; where one flank is missing, the other counts.
    """
    octaves = np.log2(frequency_hz / at_hz)
    here = curve[np.abs(octaves) <= max(NEAR_OCTAVES, float(np.min(np.abs(octaves))) + 1e-9)]
    if not np.isfinite(here).any():
        return -math.inf
    near, far = FLANKS_OCTAVES
    flanks = [curve[(side * octaves >= near) & (side * octaves <= far)] for side in (-1.0, 1.0)]
    levels = [float(np.nanmedian(one)) for one in flanks if np.isfinite(one).any()]
    if not levels:
        return math.inf  # nothing beside it can be read: an order that stands out of its noise here alone
    return float(np.nanmax(here)) - sum(levels) / len(levels)


def sweep_lengths(finding: Finding, condition: Condition) -> Iterator[str]:
    """What the loudspeaker makes is there in both sweeps alike: a leak or an event is not."""
    if not decided(finding) or finding["explanation"] != GENERATED:
        return
    shifts = []
    for row in for_rows(finding):
        order = re.fullmatch(r"h(\d+)", row["quantity"])
        table = condition.harmonics.get(row["level_db_spl"])
        if order is None or table is None or row.get("stimulus") != "sweep":
            continue
        bias = table.at(f"h{order[1]}_bias_db", row["frequency_hz"])
        interval = max(table.at(f"h{order[1]}_uncertainty_db", row["frequency_hz"]), row.get("interval_db") or 0.0)
        # Not measurable (NaN) is not larger than anything, so it never speaks against a finding.
        shifts.append(abs(bias) - interval > SHARE_OF_RISE * max(row["rise_db"], 3.0))
    if shifts and all(shifts):
        yield f"made by the loudspeaker at {finding['places'][0]['frequency_hz']:.0f} Hz, but not in the short sweep"


def common_product(finding: Finding, other: Finding) -> Iterator[str]:
    """Two findings that are called local, of different orders, whose every row meets one n f: it is one cause there."""
    if any(one["explanation"] != GENERATED or not decided(one) for one in (finding, other)):
        return
    first, second = _products(finding), _products(other)
    if not first or not second or {order for order, _ in first} & {order for order, _ in second}:
        return
    middle = first[0][1]
    if all(abs(math.log2(product / middle)) < COMMON_OCTAVES for _, product in (*first, *second)):
        yield f"finding {finding['number']} and this one are called local, and share n f = {middle:.0f} Hz"


def _products(finding: Finding) -> list[tuple[int, float]]:
    found = [(re.fullmatch(r"h(\d+)", row["quantity"]), row) for row in for_rows(finding)]
    return [(int(order[1]), int(order[1]) * row["frequency_hz"]) for order, row in found if order]
