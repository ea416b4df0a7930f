"""The lane above a panel: a mark over a bracket for each finding, and its ground within the panel."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from distort.report.figures.labels import spread
from distort.report.figures.style import BLACK, DECADE_INCHES, sheet_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes


@dataclass(frozen=True, kw_only=True)
class Kind:
    """What makes a finding, told three times over: by colour, hatch and letter."""

    letter: str
    words: str
    colour: str
    """Of its brackets."""
    style: dict[str, Any]


KINDS = {
    "loudspeaker": Kind(
        letter="L",
        words="the loudspeaker makes it",
        colour="#D55E00",
        style={"facecolor": "#fbe9dc", "edgecolor": "#e9b08a", "hatch": "\\\\\\\\", "linewidth": 0.0},
    ),
    "response": Kind(
        letter="R",
        words="the response makes it",
        colour="#0072B2",
        style={"facecolor": "#e3eff8", "edgecolor": "#8dbadb", "hatch": "....", "linewidth": 0.0},
    ),
    "open": Kind(
        letter="?",
        words="not decided",
        colour="#595959",
        style={"facecolor": "#f2f2f2", "edgecolor": "#b0b0b0", "hatch": "--", "linewidth": 0.0},
    ),
}
"""Colours of orders 3 and 2 (Okabe and Ito) on pale forms of themselves."""

MARK_POINTS = 9.0
"""Size of the marks."""

LETTER_INCHES = 0.14
"""Width of a character of a mark, and some more: other formats have a narrower box."""

BRACKET_POINTS, ROW_POINTS = 3.0, 3.5
"""Height of the lowest bracket above its panel, and from row to row."""

ROWS = 2
"""Rows of brackets: those that overlap alternate."""


@dataclass(frozen=True, kw_only=True)
class LaneMark:
    """A letter or number, and the band it stands for."""

    text: str
    at_hz: float
    low_hz: float
    high_hz: float
    kind: Kind | None = None
    """None: a dip or peak."""
    shaded: bool = False
    """Whether its band has a ground in the panel."""

    @property
    def words(self) -> str:
        """What stands in the lane: "3 L"."""
        return self.text if self.kind is None else f"{self.text}{self.kind.letter}"


def draw_lane(axes: "Axes", marks: Sequence[LaneMark], *, inches: float) -> None:
    """Draw `marks` above `axes`, `inches` high; marks that would touch are moved apart along the frequency axis."""
    from matplotlib.transforms import offset_copy

    if not marks:
        return
    figure = sheet_of(axes)
    ordered = sorted(marks, key=lambda mark: mark.at_hz)
    low, high = np.log10(axes.get_xlim())
    widest = LETTER_INCHES * max(len(mark.words) for mark in ordered) / DECADE_INCHES
    places = spread(
        [float(np.log10(mark.at_hz)) for mark in ordered],
        gap=widest + 0.02,
        low=float(low) + 0.5 * widest,
        high=float(high) - 0.5 * widest,
    )
    above = axes.get_xaxis_transform()
    for place, (mark, at) in enumerate(zip(ordered, places, strict=True)):
        colour = BLACK if mark.kind is None else mark.kind.colour
        row = offset_copy(above, fig=figure, y=BRACKET_POINTS + ROW_POINTS * (place % ROWS), units="points")
        ends = [max(mark.low_hz, axes.get_xlim()[0]), min(mark.high_hz, axes.get_xlim()[1])]
        axes.plot(ends, [1.0, 1.0], color=colour, linewidth=1.6, transform=row, clip_on=False, gid="bracket")
        lifted = offset_copy(above, fig=figure, y=BRACKET_POINTS + ROW_POINTS * ROWS, units="points")
        axes.text(
            10.0**at,
            1.0,
            mark.words,
            transform=lifted,
            ha="center",
            va="bottom",
            fontsize=min(MARK_POINTS, 72.0 * inches - BRACKET_POINTS - ROW_POINTS * ROWS),
            weight="bold",
            gid="mark",
        )
        if mark.shaded and mark.kind is not None:
            axes.axvspan(mark.low_hz, mark.high_hz, zorder=0.4, **mark.kind.style)
