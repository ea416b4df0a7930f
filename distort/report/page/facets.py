"""The choices that all live charts have: conditions and levels."""

from collections.abc import Sequence

from distort.report.page.chart_data import Facet
from distort.report.page.chart_styles import CONDITION_DASHES
from distort.report.text.numbers import level_name
from distort.session.results.condition_results import ConditionResults

Conditions = Sequence[ConditionResults]

MOST_LEVELS = 6
"""Levels that are chosen at first."""


def names_of(conditions: Conditions) -> tuple[str, ...]:
    """Of the conditions, in their order."""
    return tuple(results.findings.condition for results in conditions)


def ascending(levels: Sequence[float]) -> tuple[float, ...]:
    """Each level once, the lowest first."""
    return tuple(sorted(set(levels)))


def facets(conditions: Conditions, levels: Sequence[float], *, everything: bool) -> tuple[Facet, Facet]:
    """Condition and level, of which any number can be chosen, so that curves lie over one another.

    everything   True: all are chosen at first, of many the first conditions and some levels; False: the first
                 condition at its loudest level
    """
    names = names_of(conditions)
    some = {round(index * (len(levels) - 1) / (MOST_LEVELS - 1)) for index in range(MOST_LEVELS)}
    return (
        Facet(
            name="Condition",
            choice="many",
            options=names,
            chosen=tuple(range(min(len(names), len(CONDITION_DASHES)))) if everything else (0,),
        ),
        Facet(
            name="Level",
            choice="many",
            options=tuple(f"{level_name(level)} dB" for level in levels),
            chosen=tuple(sorted(some)) if everything else (len(levels) - 1,),
        ),
    )
