"""The lines behind curves and the marks at the ends of axes: one artist, where matplotlib draws three for each number.

It also holds the names of axes at one distance, so that no number has to be measured to find it.
"""

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.path import Path
from matplotlib.transforms import IdentityTransform, ScaledTranslation

from distort.analysis.common.curves import FloatArray

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

BEHIND = 0.5
"""Where matplotlib draws a grid that is below everything."""

LINE_POINTS, MARK_POINTS = 0.6, 0.8
"""Widths of lines and marks."""

BELOW_POINTS, LEFT_POINTS = 21.0, 38.0
"""From the box to the name of the axis below it, and to that of the axis on its left: beyond numbers of 10 points with
a sign and three digits."""


class Grid(Artist):
    """A line across the box at every number of the axes that `along` names ("x", "y", "xy"), and a mark outside it.

    rows            where lines and marks of the level axis are instead, for one that has no numbers
    length_points   of the marks, which both axes have
    """

    zorder = BEHIND

    def __init__(
        self, *, along: str, rows: FloatArray | None, colour: str, mark_colour: str, length_points: float
    ) -> None:
        super().__init__()
        self.along, self.rows, self.length_points = along, rows, length_points
        self.colours = {"color": colour, "markcolor": mark_colour}

    def get_color(self) -> Any:
        """Of the lines."""
        return self.colours["color"]

    def set_color(self, color: Any) -> None:
        """Of the lines."""
        self.colours["color"] = color

    def get_markcolor(self) -> Any:
        """Of the marks."""
        return self.colours["markcolor"]

    def set_markcolor(self, color: Any) -> None:
        """Of the marks."""
        self.colours["markcolor"] = color

    def draw(self, renderer: Any) -> None:
        """All lines as one path, and all marks as another."""
        axes: Any = self.axes
        box, length = axes.bbox, renderer.points_to_pixels(self.length_points)
        (left, bottom), (right, top) = box.min, box.max
        x = _pixels(axes.get_xaxis_transform(), _inside(axes.get_xticks(), axes.get_xlim()), column=0)
        rows = axes.get_yticks() if self.rows is None else self.rows
        y = _pixels(axes.get_yaxis_transform(), _inside(rows, axes.get_ylim()), column=1)
        lines = [_segments(x, bottom, top)] if "x" in self.along else []
        lines += [_segments(y, left, right)[..., ::-1]] if "y" in self.along else []
        marks = [_segments(x, bottom - length, bottom), _segments(y, left - length, left)[..., ::-1]]
        _stroke(renderer, np.concatenate(lines), self.get_color(), LINE_POINTS)
        _stroke(renderer, np.concatenate(marks), self.get_markcolor(), MARK_POINTS)


def hold_names(axes: "Axes", figure: "Figure") -> None:
    """Put the names of both axes of `figure` where they have room beside any numbers."""
    inch = figure.dpi_scale_trans
    below = ScaledTranslation(0.0, -BELOW_POINTS / 72.0, inch)
    beside = ScaledTranslation(-LEFT_POINTS / 72.0, 0.0, inch)
    axes.xaxis.set_label_coords(0.5, 0.0, transform=axes.transAxes + below)
    axes.yaxis.set_label_coords(0.0, 0.5, transform=axes.transAxes + beside)


def _inside(values: Any, limits: tuple[float, float]) -> FloatArray:
    """Those of `values` that the axis shows, its ends included."""
    low, high = sorted(limits)
    near = 1e-9 * (high - low)
    found = np.asarray(values, dtype=np.float64)
    return found[(found >= low - near) & (found <= high + near)]


def _pixels(transform: Any, values: FloatArray, *, column: int) -> FloatArray:
    points = np.zeros((values.size, 2))
    points[:, column] = values
    return np.asarray(transform.transform(points)[:, column])


def _segments(places: FloatArray, start: float, end: float) -> FloatArray:
    """From `start` to `end` at each of `places`: `(places, 2, 2)`, the place first."""
    ends = np.broadcast_to([start, end], (places.size, 2))
    return np.stack([np.repeat(places[:, np.newaxis], 2, axis=1), ends], axis=2)


def _stroke(renderer: Any, segments: FloatArray, colour: Any, points: float) -> None:
    gc = renderer.new_gc()
    gc.set_foreground(colour)
    gc.set_linewidth(points)
    gc.set_capstyle("butt")
    codes = np.tile([Path.MOVETO, Path.LINETO], len(segments))
    renderer.draw_path(gc, Path(segments.reshape(-1, 2), codes), IdentityTransform())
    gc.restore()
