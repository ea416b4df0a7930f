"""The marks and numbers along a side of a box: texts alone, where matplotlib makes five artists for each number.

Where numbers stand and what they are is still asked of matplotlib's axis, its locator and its formatter. The names of
axes stand at one distance, so that no number has to be measured to find it.
"""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from matplotlib.font_manager import FontProperties
from matplotlib.text import Text
from matplotlib.transforms import ScaledTranslation

from distort.analysis.common.curves import FloatArray
from distort.report.figures.strokes import Strokes, lying, upright, within

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis

Side = Literal["bottom", "left", "right"]

MARK_POINTS, LENGTH_POINTS = 0.8, 3.5
"""Width and length of the marks."""

SMALL_MARK_POINTS, SMALL_LENGTH_POINTS = 0.6, 2.0
"""Of those without numbers."""

GAP_POINTS = 3.5
"""From a mark to its number."""

BELOW_POINTS, LEFT_POINTS = 21.0, 38.0
"""From the box to the name of the axis below it, and to that of the axis on its left: beyond numbers of 10 points with
a sign and three digits."""


class Scale(Strokes):
    """One side of a box; its colour is that of the marks.

    points    size of the numbers' letters
    second    a second scale on the same axis, its numbers by their places; None: the axis's own numbers, and its name
    """

    zorder = 1.5
    """Where matplotlib draws an axis."""

    def __init__(
        self, side: Side, *, colour: str, number_colour: str, points: float, second: Mapping[float, str] | None = None
    ) -> None:
        super().__init__(colour)
        self.side, self.second = side, second
        self.number_colour: Any = number_colour
        self.font = FontProperties(size=points)
        self.small_marks: FloatArray = np.empty(0)
        """Where there are marks without numbers."""
        self.is_numbered = True
        """Else there are marks alone."""
        self.last_goes_on = False
        """Whether the last number begins at its place instead of standing across it."""

    def get_numbercolor(self) -> Any:
        """Of the numbers."""
        return self.number_colour

    def set_numbercolor(self, color: Any) -> None:
        """Of the numbers."""
        self.number_colour = color

    def numbers(self) -> list[Text]:
        """What is written with the axis as it is now, from the first of its places on; they are made each time."""
        return self._written(*self._told())

    def get_children(self) -> list[Any]:
        """Whoever looks for words in a figure finds the numbers."""
        return [*self.numbers()]

    def draw(self, renderer: Any) -> None:
        """All marks of a length as one path, then each number, and the name of the axis."""
        places, names = self._told()
        length, small = renderer.points_to_pixels(LENGTH_POINTS), renderer.points_to_pixels(SMALL_LENGTH_POINTS)
        self.stroke(renderer, self._marks(places, length), points=MARK_POINTS)
        self.stroke(renderer, self._marks(self.small_marks, small), points=SMALL_MARK_POINTS)
        for number in self._written(places, names):
            number.draw(renderer)
        if self.second is None:
            self._axis().label.draw(renderer)

    def _axis(self) -> "Axis":
        axes: Any = self.axes
        axis: Axis = axes.xaxis if self.side == "bottom" else axes.yaxis
        return axis

    def _told(self) -> tuple[FloatArray, list[str]]:
        """Every place within the limits of the axis, and its number."""
        axis = self._axis()
        if self.second is None:
            places = np.asarray(axis.get_majorticklocs(), dtype=np.float64)
            names: Sequence[str] = axis.get_major_formatter().format_ticks(places.tolist())
        else:
            places, names = np.array(list(self.second)), list(self.second.values())
        inside = within(axis, places)
        return places[inside], [name for name, there in zip(names, inside, strict=True) if there]

    def _marks(self, places: FloatArray, length: float) -> FloatArray:
        axes: Any = self.axes
        (left, bottom), (right, _) = axes.bbox.min, axes.bbox.max
        if self.side == "bottom":
            return upright(axes, places, bottom - length, bottom)
        start = left - length if self.side == "left" else right
        return lying(axes, places, start, start + length)

    def _written(self, places: FloatArray, names: Sequence[str]) -> list[Text]:
        axes: Any = self.axes
        placing, edge = {
            "bottom": (axes.get_xaxis_text1_transform, 0.0),
            "left": (axes.get_yaxis_text1_transform, 0.0),
            "right": (axes.get_yaxis_text2_transform, 1.0),
        }[self.side]
        transform, vertical, horizontal = placing(LENGTH_POINTS + GAP_POINTS)
        style = {"transform": transform, "va": vertical, "ha": horizontal, "color": self.number_colour}
        made = []
        for place, name in zip(places.tolist(), names, strict=True):
            if name and self.is_numbered:
                x, y = (place, edge) if self.side == "bottom" else (edge, place)
                made.append(Text(x, y, name, fontproperties=self.font, parse_math=False, **style))
                made[-1].set_figure(axes.figure)
        if made and self.last_goes_on:
            made[-1].set_horizontalalignment("left")
        return made


def hold_names(axes: "Axes") -> None:
    """Put the names of both axes where they have room beside any numbers."""
    figure: Any = axes.figure
    below = ScaledTranslation(0.0, -BELOW_POINTS / 72.0, figure.dpi_scale_trans)
    beside = ScaledTranslation(-LEFT_POINTS / 72.0, 0.0, figure.dpi_scale_trans)
    axes.xaxis.set_label_coords(0.5, 0.0, transform=axes.transAxes + below)
    axes.yaxis.set_label_coords(0.0, 0.5, transform=axes.transAxes + beside)
