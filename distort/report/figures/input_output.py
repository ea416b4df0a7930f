"""The input-output figure: one small picture an octave, output against drive, both re the lowest level.

Straight is what was asked for. The points have the colours of their levels, and the space between curve and straight
line is what is missing, or too much.
"""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from distort.analysis.common.curves import FloatArray, LevelUnit
from distort.analysis.compression.curves import BandRange, OctaveLevels
from distort.report.figures.pictures import COLUMNS, ROWS, Pictures
from distort.report.figures.style import (
    BLACK,
    BOX_LEFT_INCHES,
    FILL,
    GREY,
    SETTINGS,
    SHEET_INCHES,
    SMALL_POINTS,
    Legend,
    level_colour,
    new_page,
)
from distort.report.text.compression import onset_words
from distort.report.text.numbers import OCTAVE_HZ, level_name, octave_index, octave_words
from distort.report.text.tables_sweep import UNIT_NAMES
from distort.session.results.ladder_results import CompressionFound

if TYPE_CHECKING:
    from matplotlib.figure import Figure

KEY_INCHES = 0.5
"""Height of the key's middle."""

OCTAVE_POINTS = 31.0
"""From a picture to the name of its octave, over two lines about it."""

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
        pictures = _pictures(figure, found)
        for place, midband_hz in enumerate(OCTAVE_HZ):
            if place in bands:
                _words(pictures, place, *bands[place], unit=unit)
            else:
                _heading(pictures, place, midband_hz, "not measurable\n")
        _curves(pictures, {place: octave for place, (octave, _) in bands.items()}, drive_db)
        _colour_key(figure, found)
    return figure


def _pictures(figure: "Figure", found: CompressionFound) -> Pictures:
    """Both axes run from 0 to the same level: that of the drive, or of an output that runs ahead of it."""
    drive_db = found.drive_dbfs[-1] - found.drive_dbfs[0]
    ahead = [change_db for octave in found.octaves for change_db in octave.change_db if change_db is not None]
    span_db = 1.08 * drive_db + max(0.0, *ahead, 0.0)
    step = next((tick for tick in TICKS if span_db / tick <= 6.0), 100.0)
    pictures = Pictures(figure, low=-0.03 * span_db, high=span_db)
    pictures.draw_scales(np.arange(0.0, span_db, step).tolist(), across="Drive in dB", up="Output in dB")
    return pictures


def _curves(pictures: Pictures, octaves: Mapping[int, OctaveLevels], drive_db: FloatArray) -> None:
    """What was asked for, what came, and the space between, in the picture of each octave: a row of points for each row
    of pictures, with a gap after each octave."""
    axes = pictures.axes
    colours = [level_colour(index, drive_db.size) for index in range(drive_db.size)]
    for row in range(ROWS):
        places = [place for place in octaves if place // COLUMNS == row]
        changes = [[np.nan if one is None else one for one in octaves[place].change_db] for place in places]
        change_db = np.array(changes, dtype=np.float64).reshape(len(places), drive_db.size)
        x, asked = (pictures.origins[places, :, np.newaxis] + np.append(drive_db, np.nan)).swapaxes(0, 1)
        output = asked + np.pad(change_db, ((0, 0), (0, 1)))
        drawn = [
            *axes.plot(x.ravel(), asked.ravel(), color=GREY, linewidth=0.9, zorder=1.5),
            axes.fill_between(x.ravel(), asked.ravel(), output.ravel(), color=FILL, linewidth=0.0, zorder=1.2),
            *axes.plot(x.ravel(), output.ravel(), color=BLACK, linewidth=1.2, zorder=2.0),
            axes.scatter(x[:, :-1], output[:, :-1], c=colours * len(places), s=26.0, zorder=2.5, linewidths=0.0),
        ]
        pictures.keep_inside(row, drawn)


def _words(pictures: Pictures, place: int, octave: OctaveLevels, band: BandRange, *, unit: LevelUnit) -> None:
    onset = f"begins {onset_words(band.onset)}" if band.onset is not None else ""
    _heading(pictures, place, octave.midband_hz, f"{band.word}\n{onset}")
    outputs = [output_db for output_db in octave.output_db if output_db is not None]
    if outputs:
        pictures.write(
            place,
            f"reaches\n{max(outputs):.1f} {UNIT_NAMES[unit]}",
            at=pictures.share(0.96, 0.05),
            ha="right",
            va="bottom",
            linespacing=1.3,
        )


def _heading(pictures: Pictures, place: int, midband_hz: float, text: str) -> None:
    """The octave's name and two lines about it, over its picture."""
    above: dict[str, Any] = {"at": pictures.share(0.0, 1.0), "points": (0.0, OCTAVE_POINTS)}
    pictures.write(place, octave_words(midband_hz), fontsize=10, weight="bold", **above)
    pictures.write(place, text, at=pictures.share(0.0, 1.03), color=GREY, va="bottom", linespacing=1.3)


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
