"""How the gain of a sine goes while it is loud and after it, a panel a frequency, one curve a level."""

from typing import TYPE_CHECKING, Any

import numpy as np

from distort.analysis.frames.reading import AFTER_S, SHARES, FrameReading, FramesResult
from distort.report.figures.axes import draw_grid, scale_of, set_numbers
from distort.report.figures.style import (
    BLACK,
    BOX_BOTTOM_INCHES,
    BOX_LEFT_INCHES,
    DECADE_INCHES,
    FILL,
    GREY,
    LEVEL_DASHES,
    SETTINGS,
    SHEET_INCHES,
    SMALL_POINTS,
    Legend,
    key_beside,
    level_colour,
    new_page,
    note,
)
from distort.report.text.frames import CAUSE_WORDS
from distort.report.text.numbers import hertz_words, level_name

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D

MOST_PANELS, COLUMNS = 12, 3

GAP_INCHES, WORDS_INCHES = 0.16, 0.26
"""Between panels side by side, and above each for its words."""

HIGHEST_DB, LEAST_DEPTH_DB, STEP_DB = 1.0, 2.0, 1.0

LATER_AT, DECADE_LONG = 1.1, 0.5
"""On the axis the loud stretch is 1 long; the first moment after it is told at this place, and a decade of time from
there on is so long."""

TICKS = {0.0: "loud"} | {after_s: f"{after_s:g} s" for after_s in (0.1, 1.0)}

NOTE = """Shaded: the sine is loud. After it,
seconds since its end, it is as quiet
as before, where the room is silent.
What comes back within tenths of a
second was a limiter's, what stays is
heat, what jumps back acted at once."""


def frames_figure(result: FramesResult, legend: Legend) -> "Figure":
    """Draw g of every frequency, the first 12 of them. Raises ValueError when there is nothing to draw."""
    from matplotlib import rc_context

    count = min(result.frequency_hz.size, MOST_PANELS)
    if not result.levels or not count:
        raise ValueError("a figure of frames needs at least one level and one frequency")
    several = "" if count == result.frequency_hz.size else f", the first {count} of {result.frequency_hz.size}"
    with rc_context(SETTINGS):
        figure = new_page(legend, f"gain while a sine is loud, and after it{several}")
        lowest_db = _lowest_db(result, count)
        lines: list[Line2D] = []
        for panel in range(count):
            axes = _panel(figure, panel, count, lowest_db)
            lines = [
                _curve(
                    axes, level.readings[panel], place=(index, len(result.levels)), name=level_name(level.level_db_spl)
                )
                for index, level in enumerate(result.levels)
            ]
            causes = ", ".join(CAUSE_WORDS[cause] for cause in result.levels[-1].readings[panel].causes)
            axes.set_title(
                f"{hertz_words(float(result.frequency_hz[panel]))}: {causes}",
                fontsize=SMALL_POINTS,
                loc="left",
                pad=3.0,
                color=BLACK,
            )
        key_beside(figure, lines, [str(line.get_label()) for line in lines])
        note(figure, NOTE, short="Shaded: loud. What comes back soon was a limiter's, what stays is heat.")
    return figure


def _lowest_db(result: FramesResult, count: int) -> float:
    """Of the axis: the lowest gain of any loud stretch that is known, in whole steps."""
    known = [
        one.gain_in_test_db for level in result.levels for one in level.readings[:count] if "unknown" not in one.causes
    ]
    lowest = min((float(np.min(one)) for one in known), default=0.0)
    return min(-LEAST_DEPTH_DB, STEP_DB * float(np.floor((lowest - 0.2) / STEP_DB)))


def _panel(figure: "Figure", panel: int, count: int, lowest_db: float) -> "Axes":
    width, height = SHEET_INCHES
    columns = min(count, COLUMNS)
    rows = -(-count // columns)
    across = (3.0 * DECADE_INCHES - (columns - 1) * GAP_INCHES) / columns
    down = 2.0 * DECADE_INCHES / rows - WORDS_INCHES
    row, column = divmod(panel, columns)
    axes = figure.add_axes(
        (
            (BOX_LEFT_INCHES + column * (across + GAP_INCHES)) / width,
            (BOX_BOTTOM_INCHES + (rows - 1 - row) * (down + WORDS_INCHES)) / height,
            across / width,
            down / height,
        )
    )
    axes.set_ylim(lowest_db, HIGHEST_DB)
    axes.set_xlim(0.0, _place(AFTER_S[-1]) + 0.1)
    axes.axvspan(0.0, 1.0, color=FILL, linewidth=0.0, zorder=0.5)
    axes.axhline(0.0, color=BLACK, linewidth=0.9, zorder=1.5)
    draw_grid(axes, "y", points=SMALL_POINTS)
    steps = max(1, round((HIGHEST_DB - lowest_db) / 5.0))
    set_numbers(axes.yaxis, np.arange(np.ceil(lowest_db), HIGHEST_DB + 0.5, steps))
    set_numbers(axes.xaxis, [0.5, *(_place(after_s) for after_s in TICKS if after_s)], list(TICKS.values()))
    scale_of(axes, "left").is_numbered = column == 0
    scale_of(axes, "bottom").is_numbered = panel + columns >= count
    if column == 0 and row == rows // 2:
        axes.set_ylabel("Gain re a linear loudspeaker in dB")
    return axes


def _place(after_s: float) -> float:
    return LATER_AT + DECADE_LONG * float(np.log10(after_s / AFTER_S[0]))


def _curve(axes: "Axes", reading: FrameReading, *, place: tuple[int, int], name: str) -> "Line2D":
    """One level, `place` its index among how many: nothing is drawn across the end of the loud stretch, where the gain
    is not one of either."""
    index, count = place
    colour, dash = level_colour(index, count), LEVEL_DASHES[(count - 1 - index) % len(LEVEL_DASHES)]
    unknown = "unknown" in reading.causes
    drawn: dict[str, Any] = {
        "color": GREY if unknown else colour,
        "linestyle": ":" if unknown else dash,
        "linewidth": 1.6,
    }
    axes.plot([_place(after_s) for after_s in AFTER_S], reading.gain_after_db, **drawn)
    (line,) = axes.plot(SHARES, reading.gain_in_test_db, label=f"{name} dB", **drawn)
    return line
