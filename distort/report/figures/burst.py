"""Two figures of tone bursts: how loud each band goes and what ended it, and compression at each level."""

from typing import TYPE_CHECKING, Any

import numpy as np

from distort.analysis.burst import ORDERS
from distort.analysis.burst_series.result import BurstResult
from distort.analysis.burst_series.steps import CEILING, DRIVE, INPUT, MICROPHONE, NO_LIMIT, NOISE
from distort.analysis.common.burst_limits import COMPRESSION, order_name
from distort.analysis.common.curves import FloatArray
from distort.report.figures.axes import frequency_axis, level_axis
from distort.report.figures.labels import Labelled, label_beside_curves
from distort.report.figures.style import (
    BLACK,
    LEVEL_DASHES,
    SETTINGS,
    Legend,
    halo,
    key_beside,
    level_colour,
    new_sheet,
    note,
)
from distort.report.text.burst import ENDED_WORDS, UNIT_WORDS
from distort.report.text.numbers import level_name

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SPAN_DB = 50.0
"""Of the axis of peaks."""

LEAST_TOP_DB = 3.0
"""The axis of compression shows at least so much, so that nothing looks like much."""

MOST_LEVELS = 7
"""Curves that can be told from one another."""

MARKERS: dict[str, dict[str, Any]] = {
    COMPRESSION: {"marker": "o"},
    "order": {"marker": "s"},
    CEILING: {"marker": "^"},
    DRIVE: {"marker": "D"},
    MICROPHONE: {"marker": "v"},
    INPUT: {"marker": "P"},
    NO_LIMIT: {"marker": "o", "markerfacecolor": "none"},
    NOISE: {"marker": "x"},
}
"""By what ended a band; orders have one in common, and their name beside it."""

MARKER_WORDS = {
    COMPRESSION: "compression",
    "order": "distortion (which order)",
    CEILING: "ceiling of the plan",
    DRIVE: "highest drive",
    MICROPHONE: "microphone's limit",
    INPUT: "limit of the microphone's input",
    NO_LIMIT: "not ended: may go higher",
    NOISE: "noise at the lowest level",
}

PEAK_NOTE = """Highest peak of a burst in each third
octave. Circles and squares: there the
loudspeaker met a limit. Others: it may
go louder, the measurement did not."""

COMPRESSION_NOTE = """What the output of a burst lacks re
the lowest level. Labels are nominal
levels, between steps interpolated;
a curve lacks the bands that ended
below. Too short to heat a coil."""


def burst_figure(result: BurstResult, legend: Legend) -> "Figure":
    """Draw the highest peak of every band. Raises ValueError where none is known."""
    from matplotlib import rc_context

    if not np.isfinite(result.peak_db).any():
        raise ValueError("a figure of bursts needs a band whose highest peak is known")
    with rc_context(SETTINGS):
        figure, axes = new_sheet(legend, "highest peak of a burst, and what ended it")
        frequency_axis(axes)
        top_db = 5.0 * float(np.ceil((np.nanmax(result.peak_db) + 3.0) / 5.0))
        unit = UNIT_WORDS[result.unit]
        level_axis(
            axes, f"Peak in {unit}{' at 1 m' if result.unit == 'db_spl' else ''}", top_db=top_db, span_db=SPAN_DB
        )
        axes.plot(result.frequency_hz, result.peak_db, color=BLACK, linewidth=1.2, zorder=2.0)
        handles, names = [], []
        kinds = np.array([_kind(one) for one in result.ended_by])
        for kind in (one for one in MARKERS if one in kinds):
            style = {"color": BLACK, "linestyle": "none", "markersize": 7.0, "zorder": 2.5, **MARKERS[kind]}
            handles += axes.plot(result.frequency_hz[kinds == kind], result.peak_db[kinds == kind], **style)
            names.append(MARKER_WORDS[kind])
        _name_orders(axes, result)
        key_beside(figure, handles, names)
        note(figure, PEAK_NOTE, short="Circles and squares: the loudspeaker met a limit there.")
    return figure


def _kind(ended_by: str) -> str:
    return "order" if ended_by in {order_name(order) for order in ORDERS} else ended_by


def _name_orders(axes: "Axes", result: BurstResult) -> None:
    """H2, H3, ... over the bands that they ended."""
    for band, ended_by in enumerate(result.ended_by):
        if _kind(ended_by) == "order" and np.isfinite(result.peak_db[band]):
            words = axes.annotate(
                ENDED_WORDS[ended_by],
                (result.frequency_hz[band], result.peak_db[band]),
                xytext=(0.0, 8.0),
                textcoords="offset points",
                ha="center",
                fontsize=9.0,
            )
            halo(words)


def burst_compression_figure(result: BurstResult, legend: Legend) -> "Figure":
    """Draw compression over frequency, one curve a level; of many levels the highest and some evenly below.

    Raises ValueError where there is no level above the lowest.
    """
    from matplotlib import rc_context

    levels = shown_levels(result)
    if not levels:
        raise ValueError("a figure of the compression of bursts needs a level above the lowest")
    curves = [compression_at(result, level) for level in levels]
    with rc_context(SETTINGS):
        figure, axes = new_sheet(legend, f"compression of bursts re {level_name(result.levels[0].level_db_spl)} dB SPL")
        frequency_axis(axes)
        top_db = float(np.ceil(max(LEAST_TOP_DB, *(float(np.nanmax(curve)) for curve in curves)) + 0.5))
        level_axis(axes, "Compression in dB", top_db=top_db, span_db=max(5.0, top_db + 1.0))
        axes.axhline(0.0, color=BLACK, linewidth=0.9, zorder=1.5)
        drawn = []
        for index, (level, curve) in enumerate(zip(levels, curves, strict=True)):
            colour, name = level_colour(index, len(levels)), f"{level_name(level)} dB"
            dash = LEVEL_DASHES[(len(levels) - 1 - index) % len(LEVEL_DASHES)]
            style: dict[str, Any] = {"color": colour, "linestyle": dash, "linewidth": 1.8, "markersize": 3.0}
            axes.plot(result.frequency_hz, curve, label=name, marker="o", **style)
            drawn.append(Labelled(name=name, colour=colour, frequency_hz=result.frequency_hz, level_db=curve))
        label_beside_curves(axes, drawn)
        handles, names = axes.get_legend_handles_labels()
        key_beside(figure, handles[::-1], names[::-1])
        note(figure, COMPRESSION_NOTE, short="What the output lacks.")
    return figure


def shown_levels(result: BurstResult) -> list[float]:
    """Levels at which some compression is known: at most `MOST_LEVELS`, the highest and others evenly below."""
    known = [level.level_db_spl for level in result.levels if np.isfinite(level.compression_db).any()]
    if len(known) <= MOST_LEVELS:
        return known
    places = np.linspace(0.0, len(known) - 1.0, MOST_LEVELS).round().astype(int)
    return [known[place] for place in places.tolist()]


def compression_at(result: BurstResult, level_db_spl: float) -> FloatArray:
    """Compression of every band at a level, between the nearest that were played in it; NaN above the highest."""
    levels = np.array([level.level_db_spl for level in result.levels])
    played = np.array([level.compression_db for level in result.levels])
    known = np.isfinite(played)
    return np.array(
        [
            np.interp(level_db_spl, levels[known[:, band]], played[known[:, band], band], left=np.nan, right=np.nan)
            if known[:, band].any()
            else np.nan
            for band in range(result.frequency_hz.size)
        ]
    )
