"""The input-output figure: one small picture an octave, output against drive, both re the lowest level.

Straight is what was asked for. The points have the colours of their levels, and the space between curve and straight
line is what is missing, or too much.
"""

from typing import TYPE_CHECKING

import numpy as np

from distort.analysis.common.curves import FloatArray, LevelUnit
from distort.analysis.compression.curves import BandRange, OctaveLevels
from distort.report.figures.style import (
    BLACK,
    BOX_LEFT_INCHES,
    FILL,
    GREY,
    SETTINGS,
    SHEET_INCHES,
    SMALL_POINTS,
    Legend,
    draw_grid,
    level_colour,
    new_page,
)
from distort.report.text.compression import onset_words
from distort.report.text.numbers import OCTAVE_HZ, level_name, octave_index, octave_words
from distort.report.text.tables_sweep import UNIT_NAMES
from distort.session.results.ladder_results import CompressionFound

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

COLUMNS = 5
PICTURE_INCHES, GAP_INCHES, ROW_INCHES = 1.95, 0.36, 2.8
"""Side of a picture, gap to the next in its row, from one row to the next."""

LOWER_ROW_INCHES = 1.1
KEY_INCHES = 0.5
"""Height of the key's middle."""
TICKS = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0)


def input_output_figure(found: CompressionFound, legend: Legend, *, unit: LevelUnit) -> "Figure":
    """Draw every octave of `found`, whose outputs are in `unit`. Raises ValueError with fewer than two levels."""
    from matplotlib import rc_context

    if len(found.level_db_spl) < 2:
        raise ValueError("input-output curves need at least two levels")
    drive_db = np.array(found.drive_dbfs) - found.drive_dbfs[0]
    reference = level_name(found.level_db_spl[0])
    bands = {
        octave_index(octave.midband_hz): (octave, band)
        for octave, band in zip(found.octaves, found.ranges, strict=True)
    }
    with rc_context(SETTINGS):
        figure = new_page(legend, f"output against drive per octave, {found.source}, re {reference} dB SPL (nominal)")
        for place in range(len(OCTAVE_HZ)):
            axes = _picture(figure, place, span_db=_span_db(found))
            if place in bands:
                _draw(axes, *bands[place], drive_db=drive_db, unit=unit)
            else:
                _words(axes, OCTAVE_HZ[place], "not measurable\n")
        _colour_key(figure, found)
    return figure


def _span_db(found: CompressionFound) -> float:
    """Both axes run from 0 to this: the drive, and an output that may run ahead of it."""
    drive_db = found.drive_dbfs[-1] - found.drive_dbfs[0]
    ahead = [change_db for octave in found.octaves for change_db in octave.change_db if change_db is not None]
    return 1.08 * drive_db + max(0.0, *ahead, 0.0)


def _picture(figure: "Figure", place: int, *, span_db: float) -> "Axes":
    width, height = SHEET_INCHES
    row, column = divmod(place, COLUMNS)
    left = BOX_LEFT_INCHES + column * (PICTURE_INCHES + GAP_INCHES)
    bottom = LOWER_ROW_INCHES + (1 - row) * ROW_INCHES
    axes = figure.add_axes((left / width, bottom / height, PICTURE_INCHES / width, PICTURE_INCHES / height))
    step = next((tick for tick in TICKS if span_db / tick <= 6.0), 100.0)
    ticks = np.arange(0.0, span_db, step)
    axes.set_xlim(-0.03 * span_db, span_db)
    axes.set_ylim(-0.03 * span_db, span_db)
    axes.set_xticks(ticks)
    axes.set_yticks(ticks if column == 0 else [])
    axes.tick_params(labelsize=SMALL_POINTS)
    draw_grid(axes, rows=ticks, length_points=2.5)
    if column == 0:
        axes.set_ylabel("Output in dB")
    if row == 1:
        axes.set_xlabel("Drive in dB")
    return axes


def _draw(axes: "Axes", octave: OctaveLevels, band: BandRange, *, drive_db: FloatArray, unit: LevelUnit) -> None:
    change_db = np.array([np.nan if value is None else value for value in octave.change_db])
    output_db = drive_db + change_db
    axes.plot([0.0, drive_db[-1]], [0.0, drive_db[-1]], color=GREY, linewidth=0.9, zorder=1.5)
    axes.fill_between(drive_db, drive_db, output_db, color=FILL, linewidth=0.0, zorder=1.2)
    axes.plot(drive_db, output_db, color=BLACK, linewidth=1.2, zorder=2.0)
    colours = [level_colour(index, drive_db.size) for index in range(drive_db.size)]
    axes.scatter(drive_db, output_db, c=colours, s=26.0, zorder=2.5, linewidths=0.0)
    onset = f"begins {onset_words(band.onset)}" if band.onset is not None else ""
    _words(axes, octave.midband_hz, f"{band.word}\n{onset}")
    outputs = [output_db for output_db in octave.output_db if output_db is not None]
    if outputs:
        axes.text(
            0.96,
            0.05,
            f"reaches\n{max(outputs):.1f} {UNIT_NAMES[unit]}",
            transform=axes.transAxes,
            fontsize=SMALL_POINTS,
            ha="right",
            va="bottom",
            linespacing=1.3,
        )


def _words(axes: "Axes", midband_hz: float, text: str) -> None:
    """The octave's name and two lines about it, over its picture."""
    axes.set_title(octave_words(midband_hz), fontsize=10, weight="bold", loc="left", pad=31)
    axes.text(
        0.0, 1.03, text, transform=axes.transAxes, fontsize=SMALL_POINTS, color=GREY, va="bottom", linespacing=1.3
    )


def _colour_key(figure: "Figure", found: CompressionFound) -> None:
    """The levels by colour, in one line under the pictures."""
    from matplotlib.lines import Line2D

    count = len(found.level_db_spl)
    points = [
        Line2D([], [], marker="o", linestyle="none", markersize=5.0, color=level_colour(index, count))
        for index in range(count)
    ]
    width, height = SHEET_INCHES
    figure.legend(
        points,
        [f"{level_name(level)} dB" for level in found.level_db_spl],
        loc="center left",
        bbox_to_anchor=(BOX_LEFT_INCHES / width, KEY_INCHES / height),
        ncols=count,
        frameon=False,
        fontsize=SMALL_POINTS,
        borderpad=0.0,
        borderaxespad=0.0,
        handletextpad=0.2,
        columnspacing=1.2,
    )
