"""What minutes of a multitone change where most changes, with time constants, and what comes back after the end."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from distort.analysis.common.curves import FloatArray
from distort.analysis.heating.following import STOP_DB
from distort.analysis.heating.result import TIMES_S, HeatingBand, HeatingLevel, HeatingResult
from distort.report.figures.axes import draw_grid, scale_of, set_numbers
from distort.report.figures.style import (
    BLACK,
    BOX_BOTTOM_INCHES,
    BOX_LEFT_INCHES,
    DECADE_INCHES,
    GREY,
    ORDER_COLOURS,
    ORDER_DASHES,
    SETTINGS,
    SHEET_INCHES,
    SMALL_POINTS,
    Legend,
    key_beside,
    new_page,
    note,
)
from distort.report.text.heating import is_significant, minutes_words, time_constant_words
from distort.report.text.numbers import hertz_words, level_name

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_BANDS = len(ORDER_COLOURS)
"""Curves that keep apart for every colour vision."""

APART = 2
"""Third octaves from one that is drawn to the next: neighbours lose alike, and would be drawn over one another."""

LOUD_INCHES, GAP_INCHES = 5.0, 0.2
"""Width of the panel of the loud multitone, and from there to that of the recovery."""

HIGHEST_DB, LEAST_DEPTH_DB, MARGIN_DB = 0.5, 1.0, 0.3
"""The level axis shows at least so much, so that nothing looks like much, and so much beyond what is drawn."""

TICKS_S = {3.0: "3 s", 10.0: "10 s", 30.0: "30 s", 60.0: "1 min", 180.0: "3 min", 600.0: "10 min", 1800.0: "30 min"}

NOTE = """Those third octaves where most changed.
Bars: 95 % intervals. Diamonds: the time
constants on the curve; where none can be
told, the change is re the first seconds.
Right: a quiet multitone re the same
before the loud one."""


@dataclass(frozen=True)
class _Drawn:
    """A third octave, and its colour and dashes."""

    at_hz: float
    band: HeatingBand
    style: dict[str, Any]

    @property
    def change_db(self) -> FloatArray:
        """At `TIMES_S`, from the start on where that is told, else from the first seconds on."""
        return self.band.change_at_db - (self.band.course.start_db if self.band.course.terms else 0.0)


def has_heating(level: HeatingLevel) -> bool:
    """Whether there is something to draw: two moments of a third octave."""
    return any(np.count_nonzero(np.isfinite(band.change_at_db)) > 1 for band in level.bands)


def heating_figure(result: HeatingResult, legend: Legend, *, level_db_spl: float) -> "Figure":
    """Draw the third octaves that changed most at one level. Raises ValueError where none can be read."""
    from matplotlib import rc_context

    (level,) = (one for one in result.levels if one.level_db_spl == level_db_spl)
    if not has_heating(level):
        raise ValueError("a figure of heating needs a third octave that can be read")
    colours = [
        {"color": colour, "linestyle": ORDER_DASHES[order], "linewidth": 1.6} for order, colour in ORDER_COLOURS.items()
    ]
    drawn = [
        _Drawn(float(result.frequency_hz[index]), level.bands[index], style)
        for index, style in zip(shown_bands(level), colours, strict=False)
    ]
    with rc_context(SETTINGS):
        heading = f"change of level in {minutes_words(level.loud_s)} of multitone at {level_name(level_db_spl)} dB SPL"
        figure = new_page(legend, heading)
        loud, after = _panels(figure, level, drawn)
        handles = []
        for one in drawn:
            handles.append(_draw_loud(loud, one, level.loud_s))
            _draw_after(after, one, level)
        _mark_end(loud, level)
        key_beside(
            figure, handles, [f"{hertz_words(one.at_hz)}: {time_constant_words(one.band.course)}" for one in drawn]
        )
        note(figure, NOTE, short="Bars: 95 % intervals. Diamonds: time constants.")
    return figure


def shown_bands(level: HeatingLevel) -> list[int]:
    """At most `MOST_BANDS` third octaves, `APART` from one another, by frequency: those that changed significantly, the
    largest change first, and where none did the largest of all."""
    known = [index for index, band in enumerate(level.bands) if np.isfinite(band.change_at_db).sum() > 1]
    moved = [index for index in known if is_significant(level.bands[index].course)]
    found: list[int] = []
    for index in sorted(moved or known, key=lambda one: -_size_db(level.bands[one])):
        if len(found) < MOST_BANDS and all(abs(index - other) >= APART for other in found):
            found.append(index)
    return sorted(found)


def _size_db(band: HeatingBand) -> float:
    change_db = band.course.change_db
    return abs(change_db) if np.isfinite(change_db) else 0.0


def _limits_db(level: HeatingLevel, drawn: list[_Drawn]) -> tuple[float, float]:
    every = [np.zeros(1)]
    for one in drawn:
        every += [one.change_db - one.band.change_at_uncertainty_db, one.change_db + one.band.change_at_uncertainty_db]
        every += [one.band.left_db - one.band.left_uncertainty_db, one.band.left_db + one.band.left_uncertainty_db]
        every.append(np.array([one.band.course.change_db]))
    values = np.concatenate(every)
    low, high = float(np.nanmin(values)) - MARGIN_DB, float(np.nanmax(values)) + MARGIN_DB
    if level.ended_by_change:
        low, high = (min(low, -STOP_DB - MARGIN_DB), high) if -low > high else (low, max(high, STOP_DB + MARGIN_DB))
    return min(low, -LEAST_DEPTH_DB), max(high, HIGHEST_DB)


def _panels(figure: "Figure", level: HeatingLevel, drawn: list[_Drawn]) -> "tuple[Axes, Axes]":
    width, height = SHEET_INCHES
    rest = 3.0 * DECADE_INCHES - LOUD_INCHES - GAP_INCHES
    bottom, tall = BOX_BOTTOM_INCHES / height, 2.0 * DECADE_INCHES / height
    loud = figure.add_axes((BOX_LEFT_INCHES / width, bottom, LOUD_INCHES / width, tall))
    left = (BOX_LEFT_INCHES + LOUD_INCHES + GAP_INCHES) / width
    after = figure.add_axes((left, bottom, rest / width, tall))
    for axes, words in ((loud, "Time since the start of the loud multitone"), (after, "Seconds after its end")):
        axes.set_ylim(*_limits_db(level, drawn))
        axes.axhline(0.0, color=BLACK, linewidth=0.9, zorder=1.5)
        draw_grid(axes)
        axes.set_xlabel(words)
    loud.set_xscale("log")
    loud.minorticks_off()
    quickest_s = min((term.tau_s for one in drawn for term in one.band.course.terms), default=TIMES_S[0])
    loud.set_xlim(0.7 * min(quickest_s, TIMES_S[0]), 1.25 * max(level.loud_s, TIMES_S[1]))
    shown = {at_s: name for at_s, name in TICKS_S.items() if at_s <= level.loud_s * 1.05}
    set_numbers(loud.xaxis, list(shown), list(shown.values()))
    loud.set_ylabel("Change of level in dB")
    after.set_xlim(0.0, 1.08 * float(np.max(level.pilot_at_s, initial=10.0)))
    scale_of(after, "left").is_numbered = False
    if not level.pilot_at_s.size:
        after.text(0.5, 0.5, "broken off:\nnot measured", transform=after.transAxes, ha="center", color=GREY)
    return loud, after


def _draw_loud(axes: "Axes", one: _Drawn, loud_s: float) -> Any:
    """Means with their intervals, the fitted course through them, its time constants; returns what the key shows."""
    course, colour = one.band.course, one.style["color"]
    times_s = np.array(TIMES_S)
    _bars(axes, times_s, one.change_db, one.band.change_at_uncertainty_db, colour=colour)
    if not course.terms:
        known = np.isfinite(one.change_db)
        (line,) = axes.plot(times_s[known], one.change_db[known], **one.style)
        return line

    def fitted(at_s: FloatArray) -> FloatArray:
        return np.asarray(sum(term.change_db * (1.0 - np.exp(-at_s / term.tau_s)) for term in course.terms))

    at_s = np.geomspace(axes.get_xlim()[0], loud_s, 200)
    (line,) = axes.plot(at_s, fitted(at_s), **one.style)
    for term in course.terms:
        place = fitted(np.array([term.tau_s]))
        axes.plot([term.low_s, term.high_s], [place[0], place[0]], color=colour, linewidth=1.0, zorder=2.4)
        axes.plot(
            [term.tau_s],
            place,
            marker="D",
            markersize=7.0,
            markerfacecolor="#ffffff",
            markeredgecolor=colour,
            linestyle="none",
            zorder=2.6,
            gid="time constant",
        )
    return line


def _draw_after(axes: "Axes", one: _Drawn, level: HeatingLevel) -> None:
    known = np.isfinite(one.band.left_db)
    axes.plot(level.pilot_at_s[known], one.band.left_db[known], **one.style)
    _bars(axes, level.pilot_at_s, one.band.left_db, one.band.left_uncertainty_db, colour=one.style["color"])


def _bars(axes: "Axes", at_s: FloatArray, values_db: FloatArray, uncertainty_db: FloatArray, *, colour: str) -> None:
    known = np.isfinite(values_db)
    bars = np.nan_to_num(uncertainty_db[known])
    axes.errorbar(
        at_s[known], values_db[known], yerr=bars, fmt="o", markersize=4.0, color=colour, elinewidth=1.0, capsize=2.0
    )


def _mark_end(axes: "Axes", level: HeatingLevel) -> None:
    """Where it ended, and why if before its time."""
    if level.loud_s >= level.asked_s:
        return
    axes.axvline(level.loud_s, color=BLACK, linewidth=0.9, linestyle=":")
    words = f"ended by itself at {STOP_DB:g} dB" if level.ended_by_change else "broken off"
    if level.ended_by_change:
        low_db, high_db = axes.get_ylim()
        axes.axhline(-STOP_DB if -low_db > high_db else STOP_DB, color=BLACK, linewidth=0.9, linestyle=":")
    axes.annotate(
        f"{words}, {minutes_words(level.loud_s)} of {minutes_words(level.asked_s)}",
        xy=(level.loud_s, 0.02),
        xycoords=axes.get_xaxis_transform(),
        xytext=(-5.0, 0.0),
        textcoords="offset points",
        ha="right",
        va="bottom",
        fontsize=SMALL_POINTS,
        gid="end",
    )
