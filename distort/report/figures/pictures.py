"""Small square pictures in two rows on one scale, in one axes: an axes each takes longer to make than what is in it."""

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from distort.analysis.common.curves import FloatArray
from distort.report.figures.style import BOX_LEFT_INCHES, GREY, NUMBER_POINTS, PALE, SHEET_INCHES, SMALL_POINTS

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.figure import Figure

COLUMNS, ROWS = 5, 2

SIDE_INCHES, GAP_INCHES, ROW_INCHES = 1.95, 0.36, 2.8
"""Side of a picture, gap to the next in its row, from one row to the next."""

LOWER_ROW_INCHES = 1.1

MARK_POINTS = 2.5
"""Length of the marks."""

NUMBER_BELOW: dict[str, Any] = {"points": (0.0, -7.0), "ha": "center", "va": "top"}
NUMBER_LEFT: dict[str, Any] = {"points": (-7.0, 0.0), "ha": "right", "va": "center_baseline"}
NAME_BELOW: dict[str, Any] = {**NUMBER_BELOW, "points": (0.0, -21.0), "fontsize": NUMBER_POINTS}
NAME_LEFT: dict[str, Any] = {
    "points": (-38.0, 0.0),
    "ha": "center",
    "va": "bottom",
    "rotation": "vertical",
    "rotation_mode": "anchor",
    "fontsize": NUMBER_POINTS,
}
"""How numbers and names of axes stand by a picture, so many points from it."""


class Pictures:
    """The pictures in the order of reading; both axes of each run from `low` to `high`.

    axes       what all of them are drawn in, in their units
    origins    where 0, 0 of each picture lies in it: `(COLUMNS * ROWS, 2)`
    """

    def __init__(self, figure: "Figure", *, low: float, high: float) -> None:
        width, height = SHEET_INCHES
        across = COLUMNS * SIDE_INCHES + (COLUMNS - 1) * GAP_INCHES
        up = SIDE_INCHES + (ROWS - 1) * ROW_INCHES
        place = (BOX_LEFT_INCHES / width, LOWER_ROW_INCHES / height, across / width, up / height)
        self.figure, self.axes, self.low, self.side = figure, figure.add_axes(place), low, high - low
        self.per_inch = self.side / SIDE_INCHES
        self.axes.set_axis_off()
        self.axes.set(xlim=(low, low + self.per_inch * across), ylim=(low, low + self.per_inch * up))
        rows, columns = np.divmod(np.arange(COLUMNS * ROWS), COLUMNS)
        inches = np.column_stack([columns * (SIDE_INCHES + GAP_INCHES), (ROWS - 1 - rows) * ROW_INCHES])
        self.origins: FloatArray = self.per_inch * inches

    def share(self, across: float, up: float) -> tuple[float, float]:
        """The place at such shares of a picture's sides, in its units."""
        return self.low + across * self.side, self.low + up * self.side

    def keep_inside(self, row: int, artists: Iterable["Artist"]) -> None:
        """Cut what was drawn in a row of pictures off at their edges: below and above are other pictures."""
        from matplotlib.transforms import Bbox, TransformedBbox

        left, right = self.axes.get_xlim()
        low = float(self.origins[row * COLUMNS, 1]) + self.low
        box = TransformedBbox(Bbox.from_extents(left, low, right, low + self.side), self.axes.transData)
        for artist in artists:
            artist.set_clip_box(box)

    def write(
        self,
        picture: int,
        words: str,
        *,
        at: tuple[float, float],
        points: tuple[float, float] = (0.0, 0.0),
        **style: Any,
    ) -> None:
        """Words at a place in the units of a picture, moved by so many `points` to the right and up; small unless
        `style` says otherwise."""
        from matplotlib.transforms import offset_copy

        x, y = self.origins[picture] + at
        moved = offset_copy(self.axes.transData, fig=self.figure, x=points[0], y=points[1], units="points")
        self.axes.text(x, y, words, transform=moved, **{"fontsize": SMALL_POINTS, **style})

    def draw_scales(self, numbers: Sequence[float], *, across: str, up: str) -> None:
        """Frames, with marks and lines at `numbers`; these below each picture and left of each row, with the names of
        what goes across and up."""
        low, high = self.share(0.0, 1.0)
        out = low - MARK_POINTS / 72.0 * self.per_inch
        frame = [(low, low), (high, low), (high, high), (low, high), (low, low)]
        lines = [[(at, low), (at, high)] for at in numbers] + [[(low, at), (high, at)] for at in numbers]
        marks = [[(at, out), (at, low)] for at in numbers] + [[(out, at), (low, at)] for at in numbers]
        self._outline(lines, color=PALE, linewidth=0.6, zorder=0.5)
        self._outline([frame, *marks], color=GREY, linewidth=0.8, zorder=2.5)
        for picture in range(COLUMNS * ROWS):
            row, column = divmod(picture, COLUMNS)
            for at in numbers:
                self.write(picture, f"{at:g}", at=(at, low), **NUMBER_BELOW)
            if row == ROWS - 1:
                self.write(picture, across, at=self.share(0.5, 0.0), **NAME_BELOW)
            if column == 0:
                self.write(picture, up, at=self.share(0.0, 0.5), **NAME_LEFT)
                for at in numbers:
                    self.write(picture, f"{at:g}", at=(low, at), **NUMBER_LEFT)

    def _outline(self, lines: Sequence[Sequence[tuple[float, float]]], *, color: str, **style: Any) -> None:
        """The same lines in every picture, as one artist."""
        from matplotlib.patches import PathPatch
        from matplotlib.path import Path

        paths = [Path(origin + line, closed=len(line) > 2) for origin in self.origins for line in lines]
        path = Path.make_compound_path(*paths)
        self.axes.add_patch(
            PathPatch(
                path, edgecolor=color, facecolor="none", capstyle="butt", joinstyle="miter", clip_on=False, **style
            )
        )
