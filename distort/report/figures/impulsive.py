"""How far the loudest part of a cycle stands out of the rest, one curve a level, and what the places are."""

from typing import TYPE_CHECKING

import numpy as np

from distort.analysis.impulsive.impulsive import ALONE, CONFIRMED, ImpulsiveResult
from distort.report.figures.axes import frequency_axis, set_numbers
from distort.report.figures.style import (
    FILL,
    LEVEL_DASHES,
    SETTINGS,
    Legend,
    halo,
    key_beside,
    level_colour,
    new_sheet,
    note,
)
from distort.report.text.impulsive import KIND_WORDS
from distort.report.text.numbers import level_name

if TYPE_CHECKING:
    from matplotlib.figure import Figure

LOWEST_Z, LEAST_TOP = 0.5, 30.0
"""Of the axis: noise lies between 1 and 4."""

TICKS = (1, 2, 5, 10, 20, 50, 100, 200, 500)

NOTE = """Grey: noise may do this. Dots: found
in two recordings or more. A rattle,
a rub or air at the frequencies that the
sweep played, not at those it sounds at."""


def impulsive_figure(result: ImpulsiveResult, legend: Legend) -> "Figure":
    """Draw z of every level. Raises ValueError when there is nothing to draw."""
    from matplotlib import rc_context

    if not result.levels or not result.frequency_hz.size:
        raise ValueError("a figure of rattles needs at least one level and one band")
    with rc_context(SETTINGS):
        figure, axes = new_sheet(legend, "rattle, rub and airflow noise")
        frequency_axis(axes)
        axes.set_yscale("log")
        highest = max(float(np.nanmax(level.z)) for level in result.levels)
        axes.minorticks_off()
        top = max(LEAST_TOP, 1.5 * highest)
        ticks = [tick for tick in TICKS if tick < top]
        set_numbers(axes.yaxis, ticks, [f"{tick:g}" for tick in ticks])
        axes.set_ylim(LOWEST_Z, top)
        axes.set_ylabel("Loudest part of a cycle over the rest, in deviations of noise")
        axes.axhspan(LOWEST_Z, ALONE, color=FILL, linewidth=0.0, zorder=0.5)
        count = len(result.levels)
        lines = []
        for index, level in enumerate(result.levels):
            colour = level_colour(index, count)
            lines += axes.plot(
                result.frequency_hz,
                level.z,
                color=colour,
                linestyle=LEVEL_DASHES[(count - 1 - index) % len(LEVEL_DASHES)],
                linewidth=1.8,
                label=f"{level_name(level.level_db_spl)} dB",
            )
            there = level.alarm == CONFIRMED
            axes.plot(result.frequency_hz[there], level.z[there], "o", color=colour, markersize=6.0)
        loudest = result.levels[-1].level_db_spl
        for place in (one for one in result.places if one.level_db_spl == loudest):
            words = axes.annotate(
                KIND_WORDS[place.kind],
                (place.frequency_hz, place.z),
                xytext=(0.0, 8.0),
                textcoords="offset points",
                ha="left",
                fontsize=9.0,
            )
            halo(words)
        key_beside(figure, lines, [str(line.get_label()) for line in lines])
        note(figure, NOTE)
    return figure
