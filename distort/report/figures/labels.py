"""Labels that find their own place: beside a curve where nothing is in the way, or in a column without overlaps."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from distort.analysis.common.curves import FloatArray
from distort.report.figures.contrast import for_letters
from distort.report.figures.style import DECADE_INCHES, GREY, halo, sheet_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.transforms import Bbox

GAPS_POINTS = (2.0, 3.5, 6.0)
"""How far above or below its curve a label may stand, nearest first."""

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
    points = [_pixels(axes, curve) for curve in curves]
    lines = np.concatenate([*points, *(_pixels(axes, curve) for curve in avoid)])
    taken: list[Bbox] = []
    homeless = []
    for index, curve in enumerate(curves):
        others = np.concatenate([np.empty((0, 2)), *points[:index], *points[index + 1 :]])
        box = _place_label(axes, curve, _Field(own=points[index], others=others, lines=lines, taken=tuple(taken)))
        if box is None:
            homeless.append(curve.name)
        else:
            taken.append(box)
    return homeless


@dataclass(frozen=True, kw_only=True)
class _Field:
    """Where a label must find its place, in pixels: `(points, 2)` each."""

    own: FloatArray
    others: FloatArray
    lines: FloatArray
    taken: "tuple[Bbox, ...]"


def _pixels(axes: "Axes", curve: Labelled) -> FloatArray:
    """Points along the drawn curve, in pixels, `(points, 2)`, dense enough that no label slips between two."""
    drawn = np.isfinite(curve.level_db)
    corners = axes.transData.transform(np.column_stack([curve.frequency_hz[drawn], curve.level_db[drawn]]))
    if len(corners) < 2:
        return np.asarray(corners, dtype=np.float64).reshape(-1, 2)
    steps = np.linspace(0.0, 1.0, 4, endpoint=False)[:, np.newaxis, np.newaxis]
    between = corners[np.newaxis, :-1] + steps * np.diff(corners, axis=0)[np.newaxis]
    return np.asarray(between.transpose(1, 0, 2).reshape(-1, 2))


def _place_label(axes: "Axes", curve: Labelled, field: _Field) -> "Bbox | None":
    if not len(field.own):
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
    inside = axes.get_window_extent().padded(-3.0 * pixels_per_point)
    for x, y in _places(field, width=extent.width, height=extent.height, pixels_per_point=pixels_per_point):
        box = type(extent).from_bounds(x - 0.5 * extent.width, y - 0.5 * extent.height, extent.width, extent.height)
        room = box.padded(CLEAR_POINTS * pixels_per_point)
        if _is_free(room, inside, field.taken) and not _covers(room, field.lines) and _belongs(room, field):
            # kept in the axes' own units, so that it stands there at any resolution
            text.set_position(tuple(axes.transData.inverted().transform((x, y))))
            return box
    text.remove()
    return None


def _places(field: _Field, *, width: float, height: float, pixels_per_point: float) -> Iterator[tuple[float, float]]:
    """Middles of a label, best first: above or below the curve where there is most room, then after its end."""
    candidates = field.own[_widest_first(field.own, field.others)]
    for gap in GAPS_POINTS:
        for side in (1.0, -1.0):
            for x, y in candidates:
                yield x, y + side * (0.5 * height + gap * pixels_per_point)
    x, y = field.own[-1]
    yield x + 0.5 * width + 4.0 * pixels_per_point, y


def _widest_first(own: FloatArray, others: FloatArray) -> "list[int]":
    """A few points of the curve, those with the most room to other curves first."""
    candidates = np.linspace(0, len(own) - 1, 100).astype(int)
    if not len(others):
        return list(candidates)
    distance = np.abs(others[np.newaxis, :, :] - own[candidates][:, np.newaxis, :])
    room = np.where(distance[..., 0] < NEIGHBOUR_PIXELS, distance[..., 1], np.inf).min(axis=1)
    return list(candidates[np.argsort(-room, kind="stable")])


def _is_free(box: "Bbox", inside: "Bbox", taken: "Sequence[Bbox]") -> bool:
    if not (inside.x0 <= box.x0 and box.x1 <= inside.x1 and inside.y0 <= box.y0 and box.y1 <= inside.y1):
        return False
    return not any(box.overlaps(other) for other in taken)


def _belongs(box: "Bbox", field: _Field) -> bool:
    """Whether every other curve is clearly farther from the box than its own."""
    return not len(field.others) or _distance(box, field.others) > OWN_SHARE * _distance(box, field.own)


def _covers(box: "Bbox", points: FloatArray) -> bool:
    x, y = points[:, 0], points[:, 1]
    return bool(np.any((x > box.x0) & (x < box.x1) & (y > box.y0) & (y < box.y1)))


def _distance(box: "Bbox", points: FloatArray) -> float:
    """Pixels from the middle of the box to the nearest of `points`."""
    middle = np.array([0.5 * (box.x0 + box.x1), 0.5 * (box.y0 + box.y1)])
    return float(np.min(np.hypot(*(points - middle).T)))
