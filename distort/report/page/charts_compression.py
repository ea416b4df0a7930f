"""The live chart of compression: how the response changes as the level rises."""

import numpy as np

from distort.report.figures.compression import change_limits
from distort.report.figures.style import LOWEST_HZ
from distort.report.page.chart_data import Chart, Scale, Series, merged, onto
from distort.report.page.chart_styles import CONDITION_DASHES
from distort.report.page.colours import level_colour
from distort.report.page.facets import Conditions, ascending, facets, names_of
from distort.report.text.numbers import level_name


def compression_chart(conditions: Conditions, source: str) -> Chart:
    """Of one source; each curve with its interval, from the frequency on from which the printed figure has it."""
    ladders = [
        (place, curves, _lowest_hz(conditions, place, source))
        for place, results in enumerate(conditions)
        for curves in results.changes
        if curves.source == source and len(curves.level_db_spl) > 1
    ]
    top_db, span_db = change_limits([curves for results in conditions for curves in results.changes])
    levels = ascending([level for _, curves, _ in ladders for level in curves.level_db_spl[1:]])
    grid_hz = merged([curves.frequency_hz for _, curves, _ in ladders])
    count = len(levels) + 1  # the reference, which is no curve, has a colour too
    names = names_of(conditions)
    return Chart(
        kind="compression",
        title=f"Change of the response with level, from the {source}",
        frequency_hz=grid_hz,
        points=source == "multitone",
        quantities=(
            Scale(name="Change", label="Change of the response in dB", unit="dB", low=top_db - span_db, high=top_db),
        ),
        facets=facets(conditions, levels, everything=True),
        series=tuple(
            Series(
                at=(place, levels.index(level)),
                name=f"{names[place]}, {level_name(level)} dB",
                colour=level_colour(levels.index(level) + 1, count),
                dashes=CONDITION_DASHES[place % len(CONDITION_DASHES)],
                values=(np.where(grid_hz >= lowest_hz, onto(grid_hz, curves.frequency_hz, change_db), np.nan),),
                interval=onto(grid_hz, curves.frequency_hz, uncertainty_db),
            )
            for place, curves, lowest_hz in ladders
            for level, change_db, uncertainty_db in zip(
                curves.level_db_spl[1:], curves.change_db[1:], curves.uncertainty_db[1:], strict=True
            )
        ),
    )


def _lowest_hz(conditions: Conditions, place: int, source: str) -> float:
    """Below it the sweep's window is too short; a multitone has none."""
    if source != "sweep":
        return LOWEST_HZ * 0.997
    return max((level.lowest_valid_hz for level in conditions[place].findings.levels), default=LOWEST_HZ)
