"""The annotated figure: response, harmonics, multitone and compression under one another, with the findings above each.

Letters are the dips and peaks, numbers the findings, both as in `distort show FOLDER findings`. They stand in a lane
above the panel that shows them, each over a bracket as wide as its band, so that nothing is written on a curve. What
makes a finding is told by ground, hatch and the letter beside its number.
"""

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from distort.analysis.common.grid import band_edges_hz
from distort.analysis.common.quantities import from_findings
from distort.analysis.findings.finding import Finding, response_shows
from distort.report.figures.axes import frequency_axis, scale_of
from distort.report.figures.compression import change_limits, draw_changes
from distort.report.figures.dips import HATCH
from distort.report.figures.harmonics import order_style
from distort.report.figures.lanes import KINDS, Kind, LaneMark, draw_lane
from distort.report.figures.multitone import EVEN_STYLE, ODD_STYLE
from distort.report.figures.response import AXIS_LABELS, shown
from distort.report.figures.style import (
    BLACK,
    BOX_BOTTOM_INCHES,
    BOX_LEFT_INCHES,
    DECADE_INCHES,
    GREY,
    ORDER_COLOURS,
    PANEL_LEFT_INCHES,
    SETTINGS,
    SHEET_INCHES,
    SMALL_POINTS,
    Legend,
    new_page,
    sheet_of,
)
from distort.report.text.findings import letter
from distort.report.text.multitone_bands import third_octaves
from distort.report.text.numbers import level_name
from distort.session.results.condition_results import ConditionResults

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LANE_INCHES = 0.32
"""Above every panel."""

MOST_SHADED = 12
"""Findings that are drawn, from the first on; more would hide the curves."""

MARKS_NOTE = """Letters: dips and peaks.
Numbers: findings.
Brackets: how far each reaches."""

BY_RESPONSE = ("delayed-copy", "resonance", "room", "product-on-peak", "cancellation", "filter-before-source")
"""Explanations that lie in the response and not in what distorts."""


def findings_figure(results: ConditionResults, legend: Legend) -> "Figure":
    """Draw the panels of one condition. Raises ValueError when it has neither anomaly nor finding."""
    from matplotlib import rc_context

    found = results.findings.findings or ()
    if not results.findings.anomalies and not found:
        raise ValueError("a figure of findings needs at least one dip, peak or finding")
    drawn = found[:MOST_SHADED]
    several = f", the first {MOST_SHADED} of {len(found)}" if len(found) > MOST_SHADED else ""
    with rc_context(SETTINGS):
        figure = new_page(legend, f"findings{several}")
        named = ("response", "harmonics", *(["multitone"] if results.multitones else []), "compression")
        panels = dict(zip(named, _panels(figure, len(named)), strict=True))
        _response(panels["response"], results)
        _harmonics(panels["harmonics"], results, _level_drawn(results))
        if results.multitones:
            _multitone(panels["multitone"], results, _level_drawn(results))
        _compression(panels["compression"], results)
        for name, axes in panels.items():
            marks = list(_letters(results)) if name == "response" else list(_numbers(drawn, name, panels))
            draw_lane(axes, marks, inches=LANE_INCHES)
        _key(figure, drawn, dips=any(one.kind == "dip" for one in results.findings.anomalies))
    return figure


def _panels(figure: "Figure", count: int) -> list["Axes"]:
    width, height = SHEET_INCHES
    each = (2.0 * DECADE_INCHES + 0.1 - count * LANE_INCHES) / count
    axes: list[Axes] = []
    for index in range(count):
        bottom = BOX_BOTTOM_INCHES + 0.1 + (count - 1 - index) * (each + LANE_INCHES)
        panel = figure.add_axes(
            (BOX_LEFT_INCHES / width, bottom / height, 3.0 * DECADE_INCHES / width, each / height),
            sharex=axes[0] if axes else None,
        )
        frequency_axis(panel)
        if index < count - 1:
            panel.set_xlabel("")
            scale_of(panel, "bottom").is_numbered = False
        axes.append(panel)
    return axes


def _beside(axes: "Axes", heading: str, *, words: str = "") -> None:
    """What the panel shows, and the key to its curves or some words, right of it."""
    from matplotlib.transforms import offset_copy

    width = 3.0 * DECADE_INCHES
    at = (PANEL_LEFT_INCHES - BOX_LEFT_INCHES - 0.45) / width
    small: dict[str, Any] = {"fontsize": SMALL_POINTS}
    handles, names = axes.get_legend_handles_labels()
    below = offset_copy(axes.transAxes, fig=sheet_of(axes), y=-1.5 * SMALL_POINTS, units="points")
    axes.text(at, 1.0, heading, transform=axes.transAxes, va="top", weight="bold", gid="panel", **small)
    if words:
        axes.text(at, 1.0, words, transform=below, va="top", color=GREY, linespacing=1.4, gid="note", **small)
    if handles:
        axes.legend(
            handles,
            names,
            loc="upper left",
            bbox_to_anchor=(at, 1.0),
            bbox_transform=below,
            frameon=False,
            borderpad=0.0,
            borderaxespad=0.0,
            handlelength=3.4,
            labelspacing=0.25,
            columnspacing=1.2,
            ncols=1 if len(handles) < 5 else 2,
            **small,
        )


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
    top_db = float(np.ceil((np.nanmax(level_db) + 1.0) / 5.0) * 5.0)
    axes.set_ylim(top_db - 25.0, top_db)
    axes.set_ylabel(AXIS_LABELS[first.unit].split(" in ")[1].split(" ")[0])
    for one in results.findings.anomalies:
        if one.kind == "dip":
            axes.axvspan(one.low_hz, one.high_hz, gid="dip", **HATCH)
    _beside(axes, f"Response, {level_name(results.levels_db_spl[0])} dB SPL", words=MARKS_NOTE)


def _harmonics(axes: "Axes", results: ConditionResults, level: float) -> None:
    """Orders 2 to 5 at one level, where they are clear of noise."""
    harmonics = results.harmonics[results.levels_db_spl.index(level)]
    drawn = []
    for order in harmonics.orders:
        reading = np.where(order.doubtful, np.nan, order.relative_db)
        if order.order not in ORDER_COLOURS or not np.any(np.isfinite(reading)):
            continue
        style = {**order_style(order.order), "linewidth": 1.4}
        axes.plot(harmonics.frequency_hz, reading, label=f"H{order.order}", **style)
        drawn.append(reading)
    _ratio_axis(axes, drawn)
    _beside(axes, f"Harmonics, {level_name(level)} dB SPL")


def _ratio_axis(axes: "Axes", drawn: Sequence[np.ndarray]) -> None:
    """Whole tens of dB about what is drawn, 80 at most."""
    axes.set_ylabel("dB re fund.")
    if not drawn:
        axes.set_ylim(-80.0, 0.0)
        return
    highest, lowest = (float(pick(np.concatenate(drawn))) for pick in (np.nanmax, np.nanmin))
    top_db = float(np.ceil((highest + 2.0) / 10.0) * 10.0)
    axes.set_ylim(max(top_db - 80.0, np.floor(lowest / 10.0) * 10.0), top_db)


def _multitone(axes: "Axes", results: ConditionResults, wanted: float) -> None:
    """Even and odd distortion re the tones, of the level of the harmonics where it was played, else of the highest."""
    levels = [one.level_db_spl for one in results.findings.multitones]
    level = wanted if wanted in levels else max(levels)
    bands = results.multitones[levels.index(level)]
    parts = third_octaves(bands)
    edges_hz = np.column_stack(band_edges_hz(bands.frequency_hz, bands_per_octave=3)).ravel()
    drawn = []
    for name, part, style in (("even orders", parts.even, EVEN_STYLE), ("odd orders", parts.odd, ODD_STYLE)):
        reading = np.repeat(np.where(part.doubtful, np.nan, part.values_db), 2)
        if np.any(np.isfinite(reading)):
            axes.plot(edges_hz, reading, label=name, **{**style, "linewidth": 1.4})
            drawn.append(reading)
    _ratio_axis(axes, drawn)
    axes.set_ylabel("dB re tones")
    _beside(axes, f"Multitone, {level_name(level)} dB SPL")


def _compression(axes: "Axes", results: ConditionResults) -> None:
    """Every level of the sweeps, or of the multitones where there are no sweeps, as in the compression figure."""
    axes.set_ylabel("dB")
    if not results.changes:
        axes.text(0.5, 0.5, "no compression result", transform=axes.transAxes, ha="center", va="center", color=GREY)
        axes.set_ylim(-1.0, 1.0)
        _beside(axes, "Compression")
        return
    curves = results.changes[0]
    lowest_hz = results.findings.levels[0].lowest_valid_hz if results.findings.levels else None
    top_db, span_db = change_limits([curves])
    axes.set_ylim(top_db - span_db, top_db)
    axes.axhline(0.0, color=BLACK, linewidth=0.9, zorder=1.5)
    draw_changes(axes, curves, lowest_hz)
    _beside(axes, f"Change re {level_name(curves.level_db_spl[0])} dB SPL")


def _letters(results: ConditionResults) -> Iterator[LaneMark]:
    """The dips and peaks of the response."""
    for one in results.findings.anomalies:
        yield LaneMark(text=letter(one.number), at_hz=one.frequency_hz, low_hz=one.low_hz, high_hz=one.high_hz)


def _numbers(found: Sequence[Finding], panel: str, panels: "dict[str, Axes]") -> Iterator[LaneMark]:
    """The findings that belong to one panel, each place of theirs."""
    for one in found:
        if _panel_of(one, panels) != panel:
            continue
        for place in one.places:
            yield LaneMark(
                text=str(one.number),
                at_hz=place.frequency_hz,
                low_hz=place.low_hz,
                high_hz=place.high_hz,
                kind=kind_of(one),
                shaded=not one.broad,
            )


def _panel_of(one: Finding, panels: "dict[str, Axes]") -> str:
    """Which curve tells it."""
    row = one.leading_row
    if row is None:
        return "harmonics"
    if from_findings(row.quantity).name == "change":
        return "compression"
    return "multitone" if row.stimulus == "multitone" and "multitone" in panels else "harmonics"


def kind_of(one: Finding) -> Kind:
    """What makes it, as far as it is decided."""
    if not one.decided:
        return KINDS["open"]
    if one.explanation == "product-on-peak" and not response_shows(one.evidence):
        return KINDS["open"]
    return KINDS["response" if one.explanation in BY_RESPONSE else "loudspeaker"]


def _key(figure: "Figure", found: Sequence[Finding], *, dips: bool) -> None:
    """What grounds and hatches mean, in a line below the frequency axis."""
    from matplotlib.patches import Patch

    width, height = SHEET_INCHES
    kinds = [kind for kind in KINDS.values() if any(kind_of(one) == kind for one in found)]
    entries: list[tuple[Any, str]] = [(Patch(**HATCH), "dip of the response")] if dips else []
    entries += [(Patch(**kind.style), f"{kind.letter}: {kind.words}") for kind in kinds]
    figure.legend(
        [handle for handle, _ in entries],
        [name for _, name in entries],
        loc="lower left",
        bbox_to_anchor=(BOX_LEFT_INCHES / width, 0.36 / height),
        fontsize=SMALL_POINTS,
        ncols=max(len(entries), 1),
        frameon=False,
        borderpad=0.0,
        borderaxespad=0.0,
        columnspacing=1.6,
    ).set_gid("meanings")
