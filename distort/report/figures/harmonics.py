"""The harmonics figure: every order and their sum at one level, re the fundamental, against the excitation frequency.

A curve is bold where it can be trusted, thin with open circles where it is to be used with caution, dotted where it is
below its own noise floor. Its dashes say which order it is, whether it can be trusted or not.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from distort.analysis.anomalies.anomaly import Anomaly
from distort.analysis.common.curves import BoolArray, FloatArray, Harmonics, Order
from distort.report.figures.axes import frequency_axis, level_axis, second_scale
from distort.report.figures.dips import mark_dips, note_with_dips
from distort.report.figures.labels import Labelled, label_beside_curves
from distort.report.figures.style import (
    BLACK,
    FILL,
    HIGHEST_HZ,
    LOWEST_HZ,
    ORDER_COLOURS,
    ORDER_DASHES,
    QUIET,
    SETTINGS,
    Legend,
    key_beside,
    new_sheet,
    sheet_of,
)
from distort.report.text.numbers import level_name
from distort.report.text.tables_sweep import thd_marks

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SPAN_DB = 100.0
THD_STYLE: dict[str, Any] = {"color": BLACK, "linestyle": "-", "linewidth": 3.6, "zorder": 2.2}
"""Broad and underneath, so that an order that is all of THD shows on top of it."""
HIGHER_STYLE: dict[str, Any] = {"color": QUIET, "linestyle": "-", "linewidth": 0.7, "zorder": 2.1}
DOUBTFUL_WIDTH = 0.45
"""Of the width of a curve where it can be trusted. Its dashes are as many points long, so they stay what they are."""
OPEN_CIRCLES: dict[str, Any] = {
    "marker": "o",
    "markersize": 3.6,
    "markerfacecolor": "#ffffff",
    "markeredgewidth": 0.8,
    "markevery": (2, 6),
}
"""One every quarter of an octave."""
CARE_NOTE = """Thin, open circles: use with caution
(near its noise floor, or spoilt by
reverberation, a time gate or the speed
of the sweep). Dotted: below its floor.
Each order stands at the frequency that
was played, not at its own."""


def distortion_top_db(sets: Sequence[Harmonics]) -> float:
    """Top of the distortion axis, dB re the fundamental, for all of `sets` alike: 0, or as many tens as are needed."""
    highest = [float(np.nanmax(shown_rows(each, each.thd_db))) for each in sets if np.isfinite(each.thd_db).any()]
    return max(0.0, 10.0 * float(np.ceil(max(highest, default=0.0) / 10.0)))


def harmonics_figure(
    harmonics: Harmonics,
    legend: Legend,
    *,
    level_db_spl: float | None,
    top_db: float = 0.0,
    dips: Sequence[Anomaly] = (),
) -> "Figure":
    """Draw the orders and THD of the recording at nominal level `level_db_spl` (None: at a level nobody stated).

    `top_db` is what `distortion_top_db` gives for all levels of a session, so that they share one scale. The bands of
    `dips` are hatched.
    """
    from matplotlib import rc_context

    level = "" if level_db_spl is None else f" at {level_name(level_db_spl)} dB SPL (1 m, nominal)"
    with rc_context(SETTINGS):
        figure, axes = new_sheet(legend, f"harmonic distortion{level}")
        frequency_axis(axes)
        axes.set_xlabel("Frequency played in Hz")
        level_axis(axes, "Level re the fundamental in dB", top_db=top_db, span_db=SPAN_DB)
        percent_scale(axes)
        _noise(axes, harmonics)
        for order in reversed(harmonics.orders):
            draw_trust(axes, _trust(harmonics, order), order_style(order.order))
        draw_trust(axes, thd_trust(harmonics), THD_STYLE)
        _label(axes, harmonics)
        _key(axes, harmonics)
        mark_dips(axes, dips)
        note_with_dips(figure, CARE_NOTE, dips)
    return figure


def order_style(order: int) -> dict[str, Any]:
    """How order `order` is drawn, for matplotlib."""
    if order not in ORDER_COLOURS:
        return HIGHER_STYLE
    return {"color": ORDER_COLOURS[order], "linestyle": ORDER_DASHES[order], "linewidth": 1.8, "zorder": 2.3}


def shown_rows(harmonics: Harmonics, values_db: FloatArray) -> FloatArray:
    """`values_db`, `(rows,)`, with NaN outside the frequency axis."""
    frequency = harmonics.frequency_hz
    return np.where((frequency >= LOWEST_HZ * 0.997) & (frequency <= HIGHEST_HZ), values_db, np.nan)


Trust = tuple[FloatArray, FloatArray, BoolArray, BoolArray]
"""Frequency, readings, where to read with care, where below the floor: `(rows,)` each."""


def _trust(harmonics: Harmonics, order: Order) -> Trust:
    readings = shown_rows(harmonics, order.relative_db)
    return harmonics.frequency_hz, readings, order.doubtful, readings < order.noise_db


def thd_trust(harmonics: Harmonics) -> Trust:
    """THD re the fundamental, and how far it can be trusted."""
    readings = shown_rows(harmonics, harmonics.thd_db)
    return harmonics.frequency_hz, readings, *thd_marks(harmonics)


def draw_trust(axes: "Axes", trust: Trust, style: dict[str, Any]) -> None:
    """Draw one curve bold, thin or dotted as far as it can be trusted; a curve that is thin anyway has no circles."""
    frequency_hz, readings, doubtful, below = trust
    width = style["linewidth"]
    marked = width > HIGHER_STYLE["linewidth"]
    parts: tuple[tuple[BoolArray, dict[str, Any]], ...] = (
        (~doubtful & ~below, {}),
        (doubtful & ~below, {"linewidth": DOUBTFUL_WIDTH * width, **(OPEN_CIRCLES if marked else {})}),
        (below, {"linewidth": 0.4 * width, "linestyle": ":", "alpha": 0.6}),
    )
    for where, changes in parts:
        # a stretch reaches to its neighbours' first point, so that the curve has no gaps where its trust changes
        reach = where | np.append(where[1:], False)
        axes.plot(frequency_hz, np.where(reach, readings, np.nan), **{**style, **changes})


def _noise(axes: "Axes", harmonics: Harmonics) -> None:
    """The highest floor of the orders that are drawn in colour."""
    floors = np.stack([order.noise_db for order in harmonics.orders if order.order in ORDER_COLOURS])
    known = np.isfinite(floors).any(axis=0)
    highest = np.where(known, np.where(np.isfinite(floors), floors, -np.inf).max(axis=0), np.nan)
    bottom = axes.get_ylim()[0]
    axes.fill_between(harmonics.frequency_hz, bottom, highest, color=FILL, linewidth=0.0, zorder=0.5)


def percent_scale(axes: "Axes") -> None:
    """The same scale in per cent on the right, at the whole powers of ten."""
    bottom, top = axes.get_ylim()
    marks_db = np.arange(20.0 * np.floor(top / 20.0), bottom - 1e-9, -20.0)
    second_scale(axes, {float(mark): f"{100.0 * 10.0 ** (mark / 20.0):g} %" for mark in marks_db})


def _label(axes: "Axes", harmonics: Harmonics) -> None:
    curves = [Labelled(name="THD", colour=BLACK, frequency_hz=harmonics.frequency_hz, level_db=thd_trust(harmonics)[1])]
    quiet = []
    for order in harmonics.orders:
        frequency_hz, readings, doubtful, _ = _trust(harmonics, order)
        if order.order in ORDER_COLOURS:
            clean = np.where(doubtful, np.nan, readings)
            colour = ORDER_COLOURS[order.order]
            name = f"H{order.order}"
            curves.append(Labelled(name=name, colour=colour, frequency_hz=frequency_hz, level_db=clean))
            readings = np.where(doubtful, readings, np.nan)
        quiet.append(Labelled(name="", colour=QUIET, frequency_hz=frequency_hz, level_db=readings))
    label_beside_curves(axes, curves, avoid=quiet)


def _key(axes: "Axes", harmonics: Harmonics) -> None:
    """Line samples right of the box, in the order of importance."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    numbers = [order.order for order in harmonics.orders]
    prominent = [number for number in numbers if number in ORDER_COLOURS]
    higher = [number for number in numbers if number not in ORDER_COLOURS]
    entries: list[tuple[Any, str]] = [(Line2D([], [], **THD_STYLE), f"THD (H2 to H{max(numbers)})")]
    entries += [(Line2D([], [], **order_style(number)), f"H{number}") for number in prominent]
    if higher:
        name = f"H{min(higher)} to H{max(higher)}" if len(higher) > 1 else f"H{higher[0]}"
        entries.append((Line2D([], [], **HIGHER_STYLE), name))
    if any(np.isfinite(order.noise_db).any() for order in harmonics.orders):
        entries.append((Patch(color=FILL), f"noise floor (of H{min(prominent)} to H{max(prominent)})"))
    else:
        entries.append((Patch(color="white"), "noise floor not known"))
    figure = sheet_of(axes)
    key_beside(figure, [handle for handle, _ in entries], [name for _, name in entries])
