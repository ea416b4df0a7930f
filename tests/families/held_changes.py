"""Compression, expansion and their kin, held against the tables of change with level."""

from collections.abc import Iterator
from typing import Any

import numpy as np

from tests.families.held_form import NEAR_OCTAVES, decided, is_broad, words_of
from tests.families.tables import Condition, Table

Finding = dict[str, Any]

FALLS = frozenset({"compression", "limiting", "heating"})
RISES = frozenset({"expansion"})
EITHER = frozenset({"level-dependent-resonance"})

LEAST_CHANGE_DB = 0.02
"""What the change of a known curve is read to (README, "How accurate it is"): less is nothing."""


def change(finding: Finding, condition: Condition) -> Iterator[str]:
    """Where it is said to change with level, some row of some level leaves its interval, that way."""
    words = set(words_of(finding)) & (FALLS | RISES | EITHER)
    if not decided(finding) or not words or not condition.changes:
        return
    local = list(finding["places"])
    for word in sorted(words):
        beyond = [_most_beyond_db(condition, place, word) for place in local]
        if word == finding["explanation"]:
            bad = [place for place, one in zip(local, beyond, strict=True) if one <= 0.0]
        else:  # of a comb with something besides, the other cause has one of its places
            bad = local if local and max(beyond) <= 0.0 else []
        for place in bad:
            yield (f"{word} at {place['frequency_hz']:.0f} Hz, where no table of change leaves its interval that way")


def _most_beyond_db(condition: Condition, place: dict[str, float], word: str) -> float:
    """By how much the change exceeds its interval, the way that `word` says, at the best row of any level; dB."""
    return max(
        (
            _beyond_db(table, column, place, word)
            for table in condition.changes.values()
            for column in table.columns
            if column.startswith("change_") and column.endswith("db")
        ),
        default=-np.inf,
    )


def _beyond_db(table: Table, column: str, place: dict[str, float], word: str) -> float:
    at = place["frequency_hz"]
    if is_broad(place):
        rows = (table.frequency_hz >= place["low_hz"]) & (table.frequency_hz <= place["high_hz"])
    else:
        rows = table.near(at, NEAR_OCTAVES)
    value = table.column(column)[rows]
    bias = np.nan_to_num(table.column(f"{column}_bias")[rows])
    interval = np.maximum(np.nan_to_num(table.column(f"{column}_uncertainty")[rows]), LEAST_CHANGE_DB)
    signed = np.abs(value) if word in EITHER else (-value if word in FALLS else value)
    beyond = signed - interval - np.abs(bias)
    return float(np.nanmax(beyond)) if np.isfinite(beyond).any() else -np.inf


def heating(finding: Finding, condition: Condition) -> Iterator[str]:
    """Heat stays when the reference is played again at once; where that shows none, none may be named."""
    if not decided(finding) or "heating" not in words_of(finding):
        return
    seen = []
    for one in condition.document.get("compression", ()):
        for octave in one.get("octaves", ()):
            value, interval = octave.get("heating_db"), octave.get("heating_uncertainty_db")
            if value is not None:
                seen.append((value, max(interval or 0.0, LEAST_CHANGE_DB)))
    warm_up = any(one.get("warm_up") for one in condition.document.get("multitones", ()))
    if seen and not warm_up and all(value >= -interval for value, interval in seen):
        yield "heating, where the reference played again at once shows none and no multitone fell while it played"
