"""The annotated figure: response, distortion and compression under one another, with the findings shaded and numbered.

Letters are the dips and peaks, numbers the findings, both as in `distort show FOLDER findings`.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from distort.analysis.common.quantities import from_findings
from distort.analysis.findings.finding import Finding, PlaceFound
from distort.report.figures.response import AXIS_LABELS, shown
from distort.report.figures.style import (
    BLACK,
    BOX_BOTTOM_INCHES,
    BOX_LEFT_INCHES,
    DECADE_INCHES,
    FILL,
    GREY,
    ORDER_COLOURS,
    ORDER_DASHES,
    SETTINGS,
    SHEET_INCHES,
    Legend,
    frequency_axis,
    halo,
    key_beside,
    level_colour,
    new_page,
    note,
)
from distort.report.text.findings import letter
from distort.report.text.numbers import level_name
from distort.session.results.condition_results import ConditionResults

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PANEL_GAP_INCHES = 0.22
DIGIT_INCHES = 0.1
"""What a number takes of the width, a digit: 9 points bold, with its halo. It stands wholly inside its panel."""

MOST_SHADED = 12
"""Findings that are drawn, from the first on; more would hide the curves."""

SHADES = {"source": "#f3c9a8", "fundamental": "#bcd7ec", "other": FILL}
"""Pale forms of the colours of orders 3 and 2 (Okabe and Ito)."""

BY_RESPONSE = ("delayed-copy", "resonance", "room", "product-on-peak", "cancellation", "filter-before-source")
"""Explanations that lie in the response and not in what distorts."""

NOTE = """Letters: dips and peaks.
Numbers: findings.
Orange: the loudspeaker makes it.
Blue: the response makes it.
Grey: not decided."""


def findings_figure(results: ConditionResults, legend: Legend) -> "Figure":
    """Draw the panels of one condition. Raises ValueError when it has neither anomaly nor finding."""
    from matplotlib import rc_context

    found = results.findings.findings or ()
    if not results.findings.anomalies and not found:
        raise ValueError("a figure of findings needs at least one dip, peak or finding")
    with rc_context(SETTINGS):
        figure = new_page(legend, "findings")
        response, distortion, compression = _panels(figure)
        _response(response, results)
        level = _level_drawn(results)
        handles = _distortion(distortion, results, level)
        _compression(compression, results)
        for one in found[:MOST_SHADED]:
            _mark(compression if _of_change(one) else distortion, one)
        key_beside(figure, handles, [str(handle.get_label()) for handle in handles])
        of_many = len(found)
        more = f"\nThe first {MOST_SHADED} of {of_many} are marked." if of_many > MOST_SHADED else ""
        note(figure, NOTE + more, top_inches=BOX_BOTTOM_INCHES + 1.6)
    return figure


def _panels(figure: "Figure") -> list["Axes"]:
    width, height = SHEET_INCHES
    each = (2.0 * DECADE_INCHES - 2.0 * PANEL_GAP_INCHES) / 3.0
    axes: list[Axes] = []
    for index in range(3):
        bottom = BOX_BOTTOM_INCHES + (2 - index) * (each + PANEL_GAP_INCHES)
        panel = figure.add_axes(
            (BOX_LEFT_INCHES / width, bottom / height, 3.0 * DECADE_INCHES / width, each / height),
            sharex=axes[0] if axes else None,
        )
        frequency_axis(panel)
        panel.grid(True, which="major", axis="y", color="#d9d9d9", linewidth=0.6)
        if index < 2:
            panel.set_xlabel("")
            panel.tick_params(labelbottom=False)
        axes.append(panel)
    return axes


def _level_drawn(results: ConditionResults) -> float:
    """The level at which most distortion lines up; the highest where none does."""
    levels = [
        row.level_db_spl
        for one in (results.findings.findings or ())[:MOST_SHADED]
        if (row := one.leading_row) is not None
        and from_findings(row.quantity).order is not None
        and row.level_db_spl in results.levels_db_spl
    ]
    return max(sorted(set(levels)), key=levels.count) if levels else max(results.levels_db_spl)


def _response(axes: "Axes", results: ConditionResults) -> None:
    first = results.responses[0]
    level_db = shown(first)
    axes.plot(first.frequency_hz, level_db, color=BLACK, linewidth=1.4)
    top_db = float(np.ceil((np.nanmax(level_db) + 5.0) / 5.0) * 5.0)
    axes.set_ylim(top_db - 30.0, top_db)
    axes.set_ylabel("Level, dB")
    axes.set_title(
        f"Response at {level_name(results.levels_db_spl[0])} dB SPL. {AXIS_LABELS[first.unit]}",
        fontsize=8.5,
        color=GREY,
        loc="left",
        pad=2.0,
    )
    for one in results.findings.anomalies:
        axes.axvspan(one.low_hz, one.high_hz, color=FILL, linewidth=0.0, zorder=0.4)
        _number(axes, one.frequency_hz, letter(one.number))


def _distortion(axes: "Axes", results: ConditionResults, level: float) -> list[Any]:
    """Orders 2 to 5 at one level, where they are clear of noise; the handles of the key."""
    harmonics = results.harmonics[results.levels_db_spl.index(level)]
    handles, highest, lowest = [], -np.inf, np.inf
    for order in harmonics.orders:
        if order.order not in ORDER_COLOURS:
            continue
        reading = np.where(order.doubtful, np.nan, order.relative_db)
        if not np.any(np.isfinite(reading)):
            continue
        (line,) = axes.plot(
            harmonics.frequency_hz,
            reading,
            color=ORDER_COLOURS[order.order],
            linestyle=ORDER_DASHES[order.order],
            linewidth=1.4,
            label=f"H{order.order}, {level_name(level)} dB",
        )
        handles.append(line)
        highest, lowest = max(highest, float(np.nanmax(reading))), min(lowest, float(np.nanmin(reading)))
    if handles:
        top_db = float(np.ceil((highest + 8.0) / 10.0) * 10.0)
        axes.set_ylim(max(top_db - 80.0, np.floor(lowest / 10.0) * 10.0), top_db)
    axes.set_ylabel("dB re fund.")
    return handles


def _compression(axes: "Axes", results: ConditionResults) -> None:
    """Every level of the sweeps, or of the multitones where there are no sweeps."""
    axes.set_ylabel("Change, dB")
    if not results.changes:
        axes.text(0.5, 0.5, "no compression result", transform=axes.transAxes, ha="center", va="center", color=GREY)
        axes.set_ylim(-1.0, 1.0)
        return
    curves = results.changes[0]
    count = len(curves.level_db_spl)
    inside = (curves.frequency_hz >= results.findings.levels[0].lowest_valid_hz) & (curves.frequency_hz <= 20000.0)
    for index in range(1, count):
        axes.plot(
            curves.frequency_hz,
            np.where(inside, curves.change_db[index], np.nan),
            color=level_colour(index, count),
            linewidth=1.4,
            label=f"{level_name(curves.level_db_spl[index])} dB",
        )
    low = float(np.nanmin(curves.change_db[:, inside]))
    high = float(np.nanmax(curves.change_db[:, inside]))
    axes.set_ylim(min(low - 0.5, -1.0), max(high + 0.9, 1.0))
    axes.legend(loc="lower right", fontsize=7.5, frameon=False, ncols=count)


def _of_change(one: Finding) -> bool:
    """Whether it is the change with level that tells it."""
    row = one.leading_row
    return row is not None and from_findings(row.quantity).name == "change"


def _mark(axes: "Axes", one: Finding) -> None:
    for place in one.places:
        _shade(axes, one, place)


def _shade(axes: "Axes", one: Finding, place: PlaceFound) -> None:
    if one.broad:
        bottom, top = axes.get_ylim()
        axes.hlines(bottom + 0.03 * (top - bottom), place.low_hz, place.high_hz, color=GREY, linewidth=2.0, zorder=0.6)
    else:
        axes.axvspan(place.low_hz, place.high_hz, color=SHADES[_kind(one)], linewidth=0.0, zorder=0.4)
    _number(axes, place.frequency_hz, str(one.number))


def _kind(one: Finding) -> str:
    if not one.decided:
        return "other"
    return "fundamental" if one.explanation in BY_RESPONSE else "source"


def _number(axes: "Axes", frequency_hz: float, text: str) -> None:
    """A number or letter at the upper edge; beside one that stands there already, further down."""
    taken: Sequence[float] = [float(old.get_position()[0]) for old in axes.texts if old.get_gid() == "mark"]
    above = sum(abs(np.log2(frequency_hz / other)) < 0.25 for other in taken)
    room = 10.0 ** (0.5 * len(text) * DIGIT_INCHES / DECADE_INCHES)
    low_hz, high_hz = axes.get_xlim()
    label = axes.text(
        min(max(frequency_hz, low_hz * room), high_hz / room),
        0.97 - 0.13 * above,
        text,
        transform=axes.get_xaxis_transform(),
        ha="center",
        va="top",
        fontsize=9,
        weight="bold",
        gid="mark",
        clip_on=True,
    )
    halo(label)
