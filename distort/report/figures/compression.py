"""The compression figure: change of the response against the reference level, one curve a level.

A pale band about each curve is its 95 % interval; the drift of the reference is a thin line of its own.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from distort.analysis.common.curves import BoolArray, FloatArray
from distort.report.figures.axes import frequency_axis, level_axis
from distort.report.figures.labels import Labelled, label_beside_curves
from distort.report.figures.style import (
    BLACK,
    GREY,
    HIGHEST_HZ,
    LEVEL_DASHES,
    LOWEST_HZ,
    SETTINGS,
    Legend,
    key_beside,
    level_colour,
    new_sheet,
    note,
)
from distort.report.text.numbers import level_name
from distort.session.results.ladder_results import ChangeCurves

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SPANS_DB = (5.0, 10.0, 20.0, 50.0, 100.0)
"""Lengths of the axis; each has ten labelled lines."""

CERTAIN_DB = 1.0
"""Readings less certain than this do not stretch the axis: noise would."""

LEAST_CHANGE_DB = 0.5
"""The axis shows at least so much either way, so that nothing looks like much."""

DRIFT_STYLE: dict[str, Any] = {"color": GREY, "linewidth": 0.9, "linestyle": ":", "zorder": 2.1}
INTERVAL_ALPHA = 0.18

CHANGE_NOTE = """Below 0 the output falls short of
linear, above it exceeds it. Labels are
nominal levels. Pale: 95 % interval.
{reference} dB is the reference.
{heating}"""
HEATING_WORDS = "Heating while playing is included."


def change_limits(ladders: Sequence[ChangeCurves]) -> tuple[float, float]:
    """Top and span of the axis in dB, the same for all `ladders`: the shortest that shows every certain reading."""
    lowest, highest = -LEAST_CHANGE_DB, LEAST_CHANGE_DB
    for curves in ladders:
        inside = _inside(curves, None)
        certain = np.isfinite(curves.change_db) & inside & ~(curves.uncertainty_db > CERTAIN_DB)
        if certain.any():
            lowest = min(lowest, float(curves.change_db[certain].min()))
            highest = max(highest, float(curves.change_db[certain].max()))
    for span in SPANS_DB:
        step = span / 10.0
        top = float(np.ceil((highest + 0.25 * step) / step) * step)
        if lowest >= top - span + 0.25 * step:
            return top, span
    return float(np.ceil(highest / 10.0) * 10.0), SPANS_DB[-1]


def compression_figure(
    curves: ChangeCurves,
    legend: Legend,
    *,
    includes_heating: bool = False,
    limits: tuple[float, float] | None = None,
) -> "Figure":
    """Draw the change of every level; `limits` as `change_limits` gives them for all figures of a session.

    Raises ValueError when there is no level above the reference.
    """
    from matplotlib import rc_context

    if len(curves.level_db_spl) < 2:
        raise ValueError("a compression figure needs at least one level above the reference")
    reference = level_name(curves.level_db_spl[0])
    top_db, span_db = limits or change_limits([curves])
    with rc_context(SETTINGS):
        figure, axes = new_sheet(
            legend, f"change of the response with level, {curves.source}, re {reference} dB SPL (1 m, nominal)"
        )
        frequency_axis(axes)
        level_axis(axes, "Change of the response in dB", top_db=top_db, span_db=span_db)
        axes.axhline(0.0, color=BLACK, linewidth=0.9, zorder=1.5)
        inside = _inside(curves, legend.lowest_valid_hz)
        labelled = draw_changes(axes, curves, legend.lowest_valid_hz)
        drift_db = np.where(inside, curves.drift_db, np.nan)
        if np.isfinite(drift_db).any():
            axes.plot(curves.frequency_hz, drift_db, label="drift of the reference", **DRIFT_STYLE)
            labelled.append(Labelled(name="drift", colour=GREY, frequency_hz=curves.frequency_hz, level_db=drift_db))
        zero_hz = np.geomspace(LOWEST_HZ, HIGHEST_HZ, 200)  # close, because a label keeps clear of points
        zero = Labelled(name="", colour=BLACK, frequency_hz=zero_hz, level_db=np.zeros_like(zero_hz))
        label_beside_curves(axes, labelled, avoid=[zero])
        key_beside(figure, *axes.get_legend_handles_labels())
        heating = HEATING_WORDS if includes_heating else ""
        note(
            figure,
            CHANGE_NOTE.format(reference=reference, heating=heating),
            short="Below 0 the output falls short of linear. Pale: 95 % interval.",
        )
    return figure


def draw_changes(axes: "Axes", curves: ChangeCurves, lowest_valid_hz: float | None) -> list[Labelled]:
    """Every level above the reference, as all figures draw it; what is drawn, for labels beside it."""
    inside, count = _inside(curves, lowest_valid_hz), len(curves.level_db_spl)
    labelled = []
    for level in range(1, count):
        change_db = np.where(inside, curves.change_db[level], np.nan)
        _draw(axes, curves, change_db, level=level)
        name, colour = f"{level_name(curves.level_db_spl[level])} dB", level_colour(level, count)
        labelled.append(Labelled(name=name, colour=colour, frequency_hz=curves.frequency_hz, level_db=change_db))
    return labelled


def _draw(axes: "Axes", curves: ChangeCurves, change_db: FloatArray, *, level: int) -> None:
    """One level: its curve over its interval; lines of a multitone are marked, since nothing is known between them."""
    count = len(curves.level_db_spl)
    colour, uncertainty_db = level_colour(level, count), curves.uncertainty_db[level]
    axes.fill_between(
        curves.frequency_hz,
        change_db - uncertainty_db,
        change_db + uncertainty_db,
        color=colour,
        alpha=INTERVAL_ALPHA,
        linewidth=0.0,
        zorder=1.8,
    )
    axes.plot(
        curves.frequency_hz,
        change_db,
        color=colour,
        linestyle=LEVEL_DASHES[(count - 1 - level) % len(LEVEL_DASHES)],
        linewidth=1.8,
        marker="o" if curves.source == "multitone" else None,
        markersize=3.0,
        label=f"{level_name(curves.level_db_spl[level])} dB",
        zorder=2.3,
    )


def _inside(curves: ChangeCurves, lowest_valid_hz: float | None) -> BoolArray:
    """Rows that are drawn: of sweeps those where the fundamental is valid."""
    valid_hz = lowest_valid_hz if curves.source == "sweep" and lowest_valid_hz is not None else 0.0
    lowest_hz = max(LOWEST_HZ * 0.997, valid_hz)
    return np.asarray((curves.frequency_hz >= lowest_hz) & (curves.frequency_hz <= HIGHEST_HZ))
