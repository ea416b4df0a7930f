"""The comparison figure: one quantity of both sides above, their difference with its 95 % interval below.

The upper box keeps the proportions of the other figures (IEC 60263, from memory: a decade as long as 25 or 50 dB), so
that curves can be laid over one another. Side A is blue and whole, side B vermilion and dashed (Okabe and Ito, 2008).
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from distort.analysis.common.curves import BoolArray, FloatArray
from distort.analysis.common.quantities import HARMONICS, RESPONSE, THD, Quantity
from distort.analysis.comparison.significance import NARROW_OCTAVES, Curve, Difference
from distort.assembly.comparison.comparing import Compared
from distort.report.figures.axes import frequency_axis, level_axis, scale_of, set_numbers
from distort.report.figures.labels import Labelled, label_beside_curves
from distort.report.figures.response import AXIS_LABELS
from distort.report.figures.style import (
    BLACK,
    BOX_BOTTOM_INCHES,
    BOX_LEFT_INCHES,
    DECADE_INCHES,
    FILL,
    HIGHEST_HZ,
    LOWEST_HZ,
    ORDER_COLOURS,
    ORDER_DASHES,
    SETTINGS,
    SHEET_INCHES,
    Legend,
    drawable,
    key_beside,
    new_page,
    note,
)
from distort.report.text.numbers import level_name
from distort.report.text.quantities import heading

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Kind = TypeVar("Kind", Curve, Difference)

DRAWN = (RESPONSE, THD, *HARMONICS[:2])
UPPER_DECADES = 1.4
"""Height of the upper box in decades of frequency: 35 dB of a response, 70 dB of distortion."""
GAP_INCHES = 0.22
SPANS_DB = (2.0, 5.0, 10.0, 20.0, 40.0)
"""Lengths of the axis of the difference."""
A_COLOUR, B_COLOUR = ORDER_COLOURS[2], ORDER_COLOURS[3]
INTERVAL_ALPHA = 0.25

DIFFERENCE_NOTE = """Below: B less A with its 95 % interval,
twelfths of an octave. Grey: where the
change is no chance (95 % for the whole
comparison). Nothing is drawn where one
of both cannot be read."""


def drawn_quantities(compared: Compared) -> tuple[tuple[Quantity, float], ...]:
    """Quantities that have a figure, each at the highest level at which both sides can be read."""
    found = []
    for quantity in DRAWN:
        levels = [
            one.level_db_spl
            for one in compared.differences
            if (one.quantity, one.octaves) == (quantity, NARROW_OCTAVES) and one.judged.any()
        ]
        if levels:
            found.append((quantity, max(levels)))
    return tuple(found)


def comparison_figure(compared: Compared, quantity: Quantity, level_db_spl: float) -> "Figure":
    """Draw one quantity at one nominal level of A. Raises ValueError when that was not compared."""
    from matplotlib import rc_context

    key = (quantity, level_db_spl, NARROW_OCTAVES)
    curves = [_of(side, key) for side in (compared.curves_a, compared.curves_b)]
    difference = _of(compared.differences, key)
    with rc_context(SETTINGS):
        figure = new_page(_legend(compared), _heading(compared, quantity, level_db_spl))
        upper, lower = _boxes(figure)
        _draw_both(upper, compared, quantity, curves)
        _draw_difference(lower, difference)
        key_beside(figure, *upper.get_legend_handles_labels())
        note(figure, DIFFERENCE_NOTE)
    return figure


def _heading(compared: Compared, quantity: Quantity, level_db_spl: float) -> str:
    words = heading(quantity)
    words = words if words.isupper() else words.lower()
    at = "equal drive" if compared.basis == "drive" else "equal output"
    return (
        f"{words} of {compared.a.name} and {compared.b.name} at {at}, {level_name(level_db_spl)} dB SPL (1 m, nominal)"
    )


def _of(among: Sequence[Kind], key: tuple[Quantity, float, float]) -> Kind:
    for one in among:
        if (one.quantity, one.level_db_spl, one.octaves) == key:
            return one
    raise ValueError(f"{key[0].in_comparison} at {key[1]:g} dB was not compared")


def _legend(compared: Compared) -> Legend:
    sidecars = [side.sweeps[0].sidecar for side in (compared.a, compared.b)]
    names = list(dict.fromkeys(one.loudspeaker.name for one in sidecars))
    distances = {one.setup.distance_m for one in sidecars}
    words = compared.a.plan.report
    return Legend(
        title=words.title or None,
        credit=words.credit or None,
        loudspeaker=" and ".join(names),
        simulated=any(one.simulated for one in sidecars),
        distance_m=distances.pop() if len(distances) == 1 else None,
        near_field=compared.near_field_hz is not None,
        smoothing="1/12",
        gate_ms=compared.a.plan.analysis.gate_ms,
    )


def _boxes(figure: "Figure") -> "tuple[Axes, Axes]":
    width, height = SHEET_INCHES
    left, across = BOX_LEFT_INCHES / width, 3.0 * DECADE_INCHES / width
    tall = UPPER_DECADES * DECADE_INCHES
    low = 2.0 * DECADE_INCHES - tall - GAP_INCHES
    upper = figure.add_axes((left, (BOX_BOTTOM_INCHES + low + GAP_INCHES) / height, across, tall / height))
    lower = figure.add_axes((left, BOX_BOTTOM_INCHES / height, across, low / height))
    return upper, lower


def _draw_both(axes: "Axes", compared: Compared, quantity: Quantity, curves: list[Curve]) -> None:
    response = quantity == RESPONSE
    span_db = UPPER_DECADES * (25.0 if response else 50.0)
    shown = [np.where(_inside(one.frequency_hz) & one.clear, one.value_db, np.nan) for one in curves]
    step = span_db / 7.0
    top_db = float(np.ceil((np.nanmax(np.concatenate(shown)) + 0.05 * span_db) / step) * step)
    frequency_axis(axes)
    axes.set_xlabel("")
    scale_of(axes, "bottom").is_numbered = False
    calibrated = compared.a.sweeps[0].sidecar.calibration is not None
    label = AXIS_LABELS["db_spl" if calibrated else "dbfs"] if response else quantity.unit
    level_axis(axes, label, top_db=top_db, span_db=span_db)
    set_numbers(axes.yaxis, np.arange(top_db - span_db, top_db + 0.5 * step, step))
    labelled = []
    for letter, name, curve, values, colour, dashes in (
        ("A", drawable(compared.a.name), curves[0], shown[0], A_COLOUR, ORDER_DASHES[2]),
        ("B", drawable(compared.b.name), curves[1], shown[1], B_COLOUR, ORDER_DASHES[3]),
    ):
        axes.plot(curve.frequency_hz, values, color=colour, linestyle=dashes, linewidth=1.8, label=f"{name} ({letter})")
        labelled.append(Labelled(name=name, colour=colour, frequency_hz=curve.frequency_hz, level_db=values))
    label_beside_curves(axes, labelled)


def _draw_difference(axes: "Axes", difference: Difference) -> None:
    inside = _inside(difference.frequency_hz)
    values = np.where(inside, difference.difference_db, np.nan)
    width = difference.uncertainty_db
    reach = np.nanmax(np.abs(values), initial=0.0)
    half = next((span / 2.0 for span in SPANS_DB if span / 2.0 >= 1.05 * reach), SPANS_DB[-1] / 2.0)
    frequency_axis(axes)
    axes.set_ylim(-half, half)
    set_numbers(axes.yaxis, np.linspace(-half, half, 5))
    axes.set_ylabel("B less A in dB")
    axes.fill_between(
        difference.frequency_hz,
        0.0,
        1.0,
        where=difference.significant & inside,
        transform=axes.get_xaxis_transform(),
        step="mid",
        color=FILL,
        linewidth=0.0,
        zorder=0.4,
    )
    axes.axhline(0.0, color=BLACK, linewidth=0.9, zorder=1.5)
    axes.fill_between(
        difference.frequency_hz,
        values - width,
        values + width,
        color=BLACK,
        alpha=INTERVAL_ALPHA,
        linewidth=0.0,
        zorder=1.8,
    )
    axes.plot(difference.frequency_hz, values, color=BLACK, linewidth=1.6, zorder=2.2)


def _inside(frequency_hz: FloatArray) -> BoolArray:
    return np.asarray((frequency_hz >= LOWEST_HZ * 0.997) & (frequency_hz <= HIGHEST_HZ))
