"""The lines behind curves: one artist, where matplotlib draws one for each number."""

from typing import Any

import numpy as np

from distort.report.figures.strokes import Strokes, lying, shown, upright

BEHIND = 0.5
"""Where matplotlib draws a grid that is below everything."""

LINE_POINTS = 0.6


class Grid(Strokes):
    """A line across the box at every number of the axes that `along` names ("x", "y", "xy")."""

    zorder = BEHIND

    def __init__(self, *, along: str, colour: str) -> None:
        super().__init__(colour)
        self.along = along

    def draw(self, renderer: Any) -> None:
        """All lines as one path."""
        axes: Any = self.axes
        (left, bottom), (right, top) = axes.bbox.min, axes.bbox.max
        lines = [upright(axes, shown(axes.xaxis), bottom, top)] if "x" in self.along else []
        lines += [lying(axes, shown(axes.yaxis), left, right)] if "y" in self.along else []
        self.stroke(renderer, np.concatenate(lines), points=LINE_POINTS)
