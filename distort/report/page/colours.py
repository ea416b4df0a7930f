"""Colours that a page asks for a thousand times and more, of which there are a few dozen: each is worked out once."""

from collections.abc import Mapping, Sequence
from functools import cache

from distort.report.figures import dark, style
from distort.session.results.condition_results import ConditionResults

dark_of = cache(dark.dark_of)
level_colour = cache(style.level_colour)


def level_colours(conditions: Sequence[ConditionResults]) -> Mapping[float, str]:
    """Of every nominal level that any of `conditions` was played at: a level has one colour in all of them."""
    levels = sorted(
        {level for results in conditions for level in results.levels_db_spl}
        | {level for results in conditions for curves in results.changes for level in curves.level_db_spl}
    )
    return {level: level_colour(index, len(levels)) for index, level in enumerate(levels)}
