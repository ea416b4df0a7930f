"""Two other views of the harmonics of one level: as sound pressure levels, and referred to the loudspeaker's input."""

from typing import TYPE_CHECKING, Any

import numpy as np

from distort.analysis.common.curves import FloatArray, Harmonics, Order
from distort.report.figures.axes import frequency_axis, level_axis
from distort.report.figures.harmonics import SPAN_DB, draw_trust, order_style, shown_rows
from distort.report.figures.labels import Labelled, label_beside_curves
from distort.report.figures.response import AXIS_LABELS, HEADROOM_DB
from distort.report.figures.style import (
    FILL,
    GREY,
    ORDER_COLOURS,
    QUIET,
    SETTINGS,
    Legend,
    key_beside,
    new_sheet,
    note,
    sheet_of,
)
from distort.report.text.numbers import level_name

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FUNDAMENTAL_STYLE: dict[str, Any] = {"color": GREY, "linestyle": "-", "linewidth": 1.4, "zorder": 2.4}
LEVELS_NOTE = """Each order stands at the frequency that
was played, not at its own.
Thin, open circles: use with caution.
Dotted: below its own noise floor."""
INPUT_NOTE = """What a linear loudspeaker would have to
be fed with to sound the same: the
response is taken out. Not to be trusted
across a crossover.
Thin, open circles: use with caution.
Dotted: below its own noise floor."""


def harmonic_top_db(sets: "Sequence[Harmonics]") -> float:
    """Top of the level axis in dB, a multiple of ten, the same for all `sets`."""
    highest = max(float(np.nanmax(shown_rows(each, each.fundamental_db))) for each in sets)
    return 10.0 * float(np.ceil((highest + HEADROOM_DB) / 10.0))


def harmonic_levels_figure(
    harmonics: Harmonics, legend: Legend, *, level_db_spl: float, top_db: float | None = None
) -> "Figure":
    """Draw the fundamental and each order as levels of their own; `top_db` as `harmonic_top_db` gives it."""
    from matplotlib import rc_context

    with rc_context(SETTINGS):
        figure, axes = _sheet(legend, f"harmonics in sound pressure level at {level_name(level_db_spl)} dB SPL")
        top = harmonic_top_db([harmonics]) if top_db is None else top_db
        level_axis(axes, AXIS_LABELS[harmonics.unit], top_db=top, span_db=SPAN_DB)
        fundamental_db = shown_rows(harmonics, harmonics.fundamental_db)
        axes.plot(harmonics.frequency_hz, fundamental_db, **FUNDAMENTAL_STYLE)
        first = Labelled(name="fundamental", colour=GREY, frequency_hz=harmonics.frequency_hz, level_db=fundamental_db)
        _draw_orders(axes, harmonics, [(order, order.level_db) for order in harmonics.orders], first=first)
        note(figure, LEVELS_NOTE)
    return figure


def equivalent_input_figure(
    harmonics: Harmonics, legend: Legend, *, level_db_spl: float, top_db: float = 0.0
) -> "Figure":
    """Draw each order as equivalent input; `top_db` as `distortion_top_db` gives it for a session."""
    from matplotlib import rc_context

    with rc_context(SETTINGS):
        figure, axes = _sheet(legend, f"harmonics referred to the input at {level_name(level_db_spl)} dB SPL")
        level_axis(axes, "Equivalent input in dB re the input", top_db=top_db, span_db=SPAN_DB)
        _draw_orders(axes, harmonics, [(order, order.equivalent_input_db) for order in harmonics.orders])
        note(figure, INPUT_NOTE)
    return figure


def _sheet(legend: Legend, heading: str) -> "tuple[Figure, Axes]":
    figure, axes = new_sheet(legend, f"{heading} (1 m, nominal)")
    frequency_axis(axes)
    axes.set_xlabel("Frequency played in Hz")
    return figure, axes


def _draw_orders(
    axes: "Axes",
    harmonics: Harmonics,
    readings: "Sequence[tuple[Order, FloatArray]]",
    *,
    first: Labelled | None = None,
) -> None:
    """Orders over their floor, which is moved as each reading is moved from the one re the fundamental."""
    frequency_hz = harmonics.frequency_hz
    moved = [values - order.relative_db + order.noise_db for order, values in readings if order.order in ORDER_COLOURS]
    floors = np.stack(moved)
    known = np.isfinite(floors).any(axis=0)
    highest = np.where(known, np.where(np.isfinite(floors), floors, -np.inf).max(axis=0), np.nan)
    axes.fill_between(frequency_hz, axes.get_ylim()[0], highest, color=FILL, linewidth=0.0, zorder=0.5)
    curves, quiet = [] if first is None else [first], []
    for order, values in reversed(readings):
        shown = shown_rows(harmonics, values)
        draw_trust(
            axes, (frequency_hz, shown, order.doubtful, order.relative_db < order.noise_db), order_style(order.order)
        )
        if order.order in ORDER_COLOURS:
            clean = np.where(order.doubtful, np.nan, shown)
            colour = ORDER_COLOURS[order.order]
            curves.append(Labelled(name=f"H{order.order}", colour=colour, frequency_hz=frequency_hz, level_db=clean))
            shown = np.where(order.doubtful, shown, np.nan)
        quiet.append(Labelled(name="", colour=QUIET, frequency_hz=frequency_hz, level_db=shown))
    label_beside_curves(axes, curves, avoid=quiet)
    _key(axes, [order.order for order, _ in readings], fundamental=first is not None, floor=bool(known.any()))


def _key(axes: "Axes", numbers: "Sequence[int]", *, fundamental: bool, floor: bool) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    entries: list[tuple[Any, str]] = [(Line2D([], [], **FUNDAMENTAL_STYLE), "fundamental")] if fundamental else []
    prominent = [number for number in numbers if number in ORDER_COLOURS]
    higher = [number for number in numbers if number not in ORDER_COLOURS]
    entries += [(Line2D([], [], **order_style(number)), f"H{number}") for number in prominent]
    if higher:
        name = f"H{min(higher)} to H{max(higher)}" if len(higher) > 1 else f"H{higher[0]}"
        entries.append((Line2D([], [], **order_style(higher[0])), name))
    named = f"noise floor (of H{min(prominent)} to H{max(prominent)})" if floor else "noise floor not known"
    entries.append((Patch(color=FILL if floor else "white"), named))
    figure = sheet_of(axes)
    key_beside(figure, [handle for handle, _ in entries], [name for _, name in entries])
