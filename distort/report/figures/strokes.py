"""Straight lines at the numbers of an axis that are drawn as one path, in one colour."""

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.path import Path
from matplotlib.transforms import IdentityTransform

from distort.analysis.common.curves import FloatArray

if TYPE_CHECKING:
    from matplotlib.axis import Axis


class Strokes(Artist):
    """Whatever draws such lines; its colour is that of the lines."""

    def __init__(self, colour: str) -> None:
        super().__init__()
        self.colour: Any = colour

    def get_color(self) -> Any:
        """As lines of matplotlib tell it."""
        return self.colour

    def set_color(self, color: Any) -> None:
        """As lines of matplotlib take it."""
        self.colour = color

    def stroke(self, renderer: Any, segments: FloatArray, *, points: float) -> None:
        """Draw `segments` `(lines, 2, 2)`, both ends of each in pixels, `points` wide."""
        if not len(segments):
            return
        gc = renderer.new_gc()
        gc.set_foreground(self.colour)
        gc.set_linewidth(points)
        gc.set_capstyle("butt")
        codes = np.tile([Path.MOVETO, Path.LINETO], len(segments))
        renderer.draw_path(gc, Path(segments.reshape(-1, 2), codes), IdentityTransform())
        gc.restore()


def within(axis: "Axis", values: Any) -> Any:
    """Which of `values` an axis shows, its ends included: `(values,)` truths."""
    low, high = sorted(axis.get_view_interval())
    near = 1e-9 * (high - low)
    return (values >= low - near) & (values <= high + near)


def shown(axis: "Axis") -> FloatArray:
    """Where an axis has its numbers, those outside its limits left out."""
    places = np.asarray(axis.get_majorticklocs(), dtype=np.float64)
    return np.asarray(places[within(axis, places)])


def upright(axes: Any, places: FloatArray, start: float, end: float) -> FloatArray:
    """A line at each of `places` of the x axis, from `start` to `end` in pixels: `(places, 2, 2)`, pixels."""
    x = axes.get_xaxis_transform().transform(np.column_stack([places, np.zeros(places.size)]))[:, 0]
    return np.array([[(one, start), (one, end)] for one in x]).reshape(-1, 2, 2)


def lying(axes: Any, places: FloatArray, start: float, end: float) -> FloatArray:
    """A line at each of `places` of the y axis, from `start` to `end` in pixels: `(places, 2, 2)`, pixels."""
    y = axes.get_yaxis_transform().transform(np.column_stack([np.zeros(places.size), places]))[:, 1]
    return np.array([[(start, one), (end, one)] for one in y]).reshape(-1, 2, 2)
