"""Labels that find their own place: beside a curve where nothing is in the way, or in a column without overlaps."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from distort.analysis.common.curves import BoolArray, FloatArray
from distort.report.figures.contrast import for_letters
from distort.report.figures.style import DECADE_INCHES, GREY, halo, sheet_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.transforms import Bbox

GAPS_POINTS = (2.0, 3.5, 6.0)
"""How far above or below its curve a label may stand, nearest first."""

AFTER_END_POINTS = 4.0
"""From the end of a curve to the label after it."""

CLEAR_POINTS = 1.5
"""Least gap between a label and another curve or label."""

NEIGHBOUR_PIXELS = 40.0
"""Curves this near to the side of a point count when the room above and below it is judged."""

COLUMN_GAP_POINTS = 15.0
"""From one label to the next in a column."""

OWN_SHARE = 1.3
"""Every other curve is at least this many times as far from a label as its own, so that nobody reads it wrong."""


@dataclass(frozen=True, kw_only=True)
class Labelled:
    """A curve that wants a label: `(rows,)` both, NaN where nothing is drawn."""

    name: str
    colour: str
    frequency_hz: FloatArray
    level_db: FloatArray


def spread(wanted: Sequence[float], *, gap: float, low: float, high: float) -> list[float]:
    """Positions as near as can be to `wanted` (any order), `gap` apart, between `low` and `high`; order is kept.

    Neighbours that are too near are pushed apart alike (pooled means). When there is not room for all, they share the
    room evenly.
    """
    count = len(wanted)
    if count == 0:
        return []
    gap = min(gap, (high - low) / max(count - 1, 1))
    order = sorted(range(count), key=lambda index: wanted[index])
    # with the gaps taken out, the positions must only not fall: isotonic regression by pooling
    blocks: list[list[float]] = []
    for rank, index in enumerate(order):
        blocks.append([wanted[index] - rank * gap, 1.0])
        while len(blocks) > 1 and blocks[-2][0] > blocks[-1][0]:
            last, size = blocks.pop()
            before, more = blocks[-1]
            blocks[-1] = [(before * more + last * size) / (more + size), more + size]
    placed = [value for value, size in blocks for _ in range(round(size))]
    top = high - (count - 1) * gap
    positions = [0.0] * count
    for rank, index in enumerate(order):
        positions[index] = min(max(placed[rank], low), top) + rank * gap
    return positions


def label_right(axes: "Axes", curves: Sequence[Labelled]) -> None:
    """Each curve's name right of the box, level with the curve's end, joined to it by a thin line.

    Curves without a reading get no name. The limits of `axes` must be final.
    """
    bottom, top = axes.get_ylim()
    db_per_point = (top - bottom) / (2.0 * DECADE_INCHES * 72.0)
    drawn = [curve for curve in curves if np.isfinite(curve.level_db).any()]
    ends = [int(np.flatnonzero(np.isfinite(curve.level_db))[-1]) for curve in drawn]
    held = [float(np.clip(curve.level_db[end], bottom, top)) for curve, end in zip(drawn, ends, strict=True)]
    places = spread(held, gap=COLUMN_GAP_POINTS * db_per_point, low=bottom + 2 * db_per_point, high=top)
    for curve, end, end_db, place_db in zip(drawn, ends, held, places, strict=True):
        axes.annotate(
            curve.name,
            xy=(float(curve.frequency_hz[end]), end_db),
            xytext=(1.0 + 0.28 / (3.0 * DECADE_INCHES), (place_db - bottom) / (top - bottom)),
            textcoords="axes fraction",
            color=for_letters(curve.colour),
            weight="bold",
            va="center",
            annotation_clip=False,
            gid="right",
            arrowprops={
                "arrowstyle": "-",
                "color": GREY,
                "linewidth": 0.6,
                "shrinkA": 2.0,
                "shrinkB": 0.0,
                "relpos": (0.0, 0.5),
            },
        )


def label_beside_curves(axes: "Axes", curves: Sequence[Labelled], *, avoid: Sequence[Labelled] = ()) -> list[str]:
    """Write each curve's name next to it where it covers no curve and no other label.

    A name stands by its own curve more than by any other of `curves`; those of `avoid` it merely does not cover.
    Returns the names that found no place. The figure's limits must be final, since places are measured in pixels.
    """
    points = [_pixels(axes, curve) for curve in (*curves, *avoid)]
    lines = np.concatenate(points, axis=1)
    order = np.argsort(lines[0], kind="stable")
    lines, whose = lines[:, order], np.repeat(np.arange(len(points)), [one.shape[1] for one in points])[order]
    taken: list[Bbox] = []
    homeless = []
    for index, curve in enumerate(curves):
        others = lines[:, (whose != index) & (whose < len(curves))]
        box = _place_label(axes, curve, _Field(own=points[index], others=others, lines=lines, taken=tuple(taken)))
        if box is None:
            homeless.append(curve.name)
        else:
            taken.append(box)
    return homeless


@dataclass(frozen=True, kw_only=True)
class _Field:
    """Where a label must find its place, in pixels: `(2, points)` each, from left to right."""

    own: FloatArray
    others: FloatArray
    lines: FloatArray
    taken: "tuple[Bbox, ...]"


def _pixels(axes: "Axes", curve: Labelled) -> FloatArray:
    """Points along the drawn curve, in pixels, `(2, points)`, dense enough that no label slips between two."""
    drawn = np.isfinite(curve.level_db)
    corners = axes.transData.transform(np.column_stack([curve.frequency_hz[drawn], curve.level_db[drawn]])).T
    if corners.shape[1] < 2:
        return np.array(corners, dtype=np.float64)
    steps = np.linspace(0.0, 1.0, 4, endpoint=False)
    between = corners[:, :-1, np.newaxis] + steps * np.diff(corners, axis=1)[:, :, np.newaxis]
    return np.asarray(between.reshape(2, -1))


def _place_label(axes: "Axes", curve: Labelled, field: _Field) -> "Bbox | None":
    if not field.own.size:
        return None
    figure = sheet_of(axes)
    pixels_per_point = figure.dpi / 72.0
    style: dict[str, Any] = {
        "color": for_letters(curve.colour),
        "fontsize": 10,
        "weight": "bold",
        "ha": "center",
        "va": "center",
    }
    text = axes.text(curve.frequency_hz[0], 0.0, curve.name, gid="curve", **style)
    halo(text)
    extent = text.get_window_extent()
    half = 0.5 * np.array([extent.width, extent.height])
    room = half + CLEAR_POINTS * pixels_per_point
    inside = axes.get_window_extent().padded(-3.0 * pixels_per_point)
    middles = _middles(field, half, pixels_per_point)
    middles = middles[_is_free(middles, room, inside, field.taken)]
    firsts, ends = (np.searchsorted(field.lines[0], middles[:, 0] + side * room[0]) for side in (-1.0, 1.0))
    for middle, first, end in zip(middles, firsts, ends, strict=True):
        covers = np.any(np.abs(field.lines[1, first:end] - middle[1]) < room[1])
        if not covers and _belongs(middle, field):
            # kept in the axes' own units, so that it stands there at any resolution
            text.set_position(tuple(axes.transData.inverted().transform(middle)))
            return type(extent)([middle - half, middle + half])
    text.remove()
    return None


def _middles(field: _Field, half: FloatArray, pixels_per_point: float) -> FloatArray:
    """Middles of a label, `(places, 2)`, best first: above or below the curve where there is most room, then after its
    end."""
    candidates = field.own[:, _widest_first(field.own, field.others)].T
    away = [side * (half[1] + gap * pixels_per_point) for gap in GAPS_POINTS for side in (1.0, -1.0)]
    after_end = field.own[:, -1:].T + np.array([half[0] + AFTER_END_POINTS * pixels_per_point, 0.0])
    beside = [candidates + np.array([0.0, one]) for one in away]
    return np.concatenate([*beside, after_end])


def _widest_first(own: FloatArray, others: FloatArray) -> "list[int]":
    """A few points of the curve, those with the most room to other curves first."""
    candidates = np.linspace(0, own.shape[1] - 1, 100).astype(int)
    if not others.size:
        return list(candidates)
    x, y = own[:, candidates]
    beside = zip(
        np.searchsorted(others[0], x - NEIGHBOUR_PIXELS, side="right"),
        np.searchsorted(others[0], x + NEIGHBOUR_PIXELS, side="left"),
        y,
        strict=True,
    )
    room = np.array([np.min(np.abs(others[1, first:end] - at), initial=np.inf) for first, end, at in beside])
    return list(candidates[np.argsort(-room, kind="stable")])


def _is_free(middles: FloatArray, room: FloatArray, inside: "Bbox", taken: "Sequence[Bbox]") -> BoolArray:
    """Which places are inside the axes and meet no other label."""
    low, high = middles - room, middles + room
    free = np.all((low >= inside.min) & (high <= inside.max), axis=1)
    for other in taken:
        free &= ~np.all((low <= other.max) & (high >= other.min), axis=1)
    return np.asarray(free)


def _belongs(middle: FloatArray, field: _Field) -> bool:
    """Whether every other curve is clearly farther from a label than its own."""
    reach = OWN_SHARE * float(np.min(np.hypot(*(field.own - middle[:, np.newaxis]))))
    first = np.searchsorted(field.others[0], middle[0] - reach, side="left")
    end = np.searchsorted(field.others[0], middle[0] + reach, side="right")
    near = field.others[:, first:end] - middle[:, np.newaxis]
    return not np.any(np.hypot(*near) <= reach)
