"""How every figure looks: the sheet, its proportions, its frequency axis, its colours, its words.

Proportions follow IEC 60263 (from memory): a decade of frequency is as long as 25 dB where the level axis spans 50 dB,
and as long as 50 dB where it spans 100 dB. Either way the box is three decades wide and two high, so that every figure
lies over every other. Orders have the colours of Okabe and Ito, "Color Universal Design" (2008), which readers with any
common colour vision tell apart. Levels take a perceptual map, pale for quiet to dark for loud, so that a grey print
keeps their order. matplotlib is loaded when a figure is drawn, by its object interface: no window, no global state.
"""

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any
from unicodedata import category

import numpy as np

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.text import Text
    from matplotlib.transforms import Bbox
from distort.report.text.simulated import SIMULATED_WORDS

TYPEFACE = "DejaVu Sans"
"""Ships with matplotlib, so figures are the same on every machine."""

REPLACEMENT = "\N{REPLACEMENT CHARACTER}"


def drawable(text: str) -> str:
    """`text` in one line, with U+FFFD for every character that the figures' typeface lacks in either weight."""
    return "".join(each if ord(each) in _shapes() else REPLACEMENT for each in " ".join(text.split()))


def lacking(text: str) -> str:
    """The characters of `text` that `drawable` cannot show, each once, in their order."""
    return "".join(dict.fromkeys(each for each in text if not each.isspace() and ord(each) not in _shapes()))


@cache
def _shapes() -> frozenset[int]:
    """Code points that the typeface has, plain and bold."""
    from matplotlib.font_manager import FontProperties, findfont, get_font

    faces = [FontProperties(family=[TYPEFACE], weight=weight) for weight in ("normal", "bold")]
    plain, bold = (frozenset(get_font(findfont(face)).get_charmap()) for face in faces)
    return plain & bold


SHEET_INCHES = (12.8, 7.2)


DOTS_PER_INCH = 150
"""Together 1920 x 1080 pixels."""

DECADE_INCHES = 2.68
"""Length of a decade of frequency; the box is three of these wide and two high."""

BOX_LEFT_INCHES, BOX_BOTTOM_INCHES = 0.85, 0.95


PANEL_LEFT_INCHES = BOX_LEFT_INCHES + 3.0 * DECADE_INCHES + 0.85
"""Where the key to the right of the box begins."""

MARGIN_INCHES = 0.3
"""Left empty along the right edge."""

SAMPLE_INCHES = 0.6
"""From the edge of the key to its names."""

KEY_ENDING = 16
"""Characters at the end of a name in the key that are not left out: which side it is, and a short condition."""

LONGEST = 400
"""Characters that are measured, since that takes as long as a text: a sheet's width holds 300 of the narrowest."""

ENDING = 44
"""Characters at the end of a loudspeaker's name that are not left out: a comma and its condition may stand there."""

LOWEST_HZ, HIGHEST_HZ = 20.0, 20000.0


SMALL_POINTS = 8.5
"""Size of notes, captions and the keys of small panels: the smallest letters of a figure."""

NUMBER_POINTS = 10.0
"""Size of the numbers along axes, and of whatever has no other."""

BLACK, GREY, QUIET, PALE, FILL = "#000000", "#595959", "#8c8c8c", "#d9d9d9", "#e4e4e4"


ORDER_COLOURS = {2: "#0072B2", 3: "#D55E00", 4: "#009E73", 5: "#CC79A7"}


ORDER_DASHES: Mapping[int, Any] = {2: "-", 3: (0, (7, 1.6)), 4: (0, (4, 1.4, 1, 1.4)), 5: (0, (2.2, 1.2))}
"""Dashes tell the orders apart where colour does not print."""

LEVEL_DASHES: Sequence[Any] = ("-", (0, (7, 1.6)))
"""From the loudest level down, in turn."""

SETTINGS: dict[Any, Any] = {
    "font.family": [TYPEFACE],
    "font.size": NUMBER_POINTS,
    "axes.edgecolor": GREY,
    "axes.linewidth": 0.8,
    "axes.labelcolor": BLACK,
    "xtick.color": GREY,
    "ytick.color": GREY,
    "xtick.labelcolor": BLACK,
    "ytick.labelcolor": BLACK,
    "lines.solid_capstyle": "round",
    "path.simplify": False,
    "text.parse_math": False,  # a dollar sign in a title is a dollar sign
    "svg.fonttype": "path",
    "svg.hashsalt": "distort",
}


@dataclass(frozen=True, kw_only=True)
class Legend:
    """What a figure says about itself in words. Whatever is None is not said.

    title, credit     the user's own words
    loudspeaker       its name and, where there are several, its condition: "Monitor A, desk"
    simulated         no loudspeaker was heard, and the figure must say so
    distance_m        where the microphone stood; levels are stated at 1 m
    near_field        it stood at a cone or port
    smoothing         such as "1/12" (octave)
    gate_ms           length of the time gate
    lowest_valid_hz   below it the window or gate is too short
    stimulus          what was played, where that is no sweep: nothing is smoothed, gated or windowed then
    """

    title: str | None = None
    credit: str | None = None
    loudspeaker: str | None = None
    simulated: bool = False
    distance_m: float | None = None
    near_field: bool = False
    smoothing: str | None = None
    gate_ms: float | None = None
    lowest_valid_hz: float | None = None
    stimulus: str | None = None

    def caption(self) -> str:
        """How the curves came about, in one line."""
        levels = "near field, whose levels say nothing of 1 m" if self.near_field else "levels referred to 1 m"
        place = None if self.distance_m is None else f"microphone at {self.distance_m:g} m, {levels}"
        if self.stimulus is not None:
            parts = [place, self.stimulus]
        else:
            parts = [
                place,
                None if self.smoothing is None else f"{self.smoothing} octave smoothing",
                "no time gate" if self.gate_ms is None else f"time gate {self.gate_ms:g} ms",
                None if self.lowest_valid_hz is None else f"fundamental valid from {self.lowest_valid_hz:.3g} Hz",
            ]
        text = "; ".join(part for part in parts if part)
        return f"{text[0].upper()}{text[1:]}."


def new_sheet(legend: Legend, heading: str) -> "tuple[Figure, Axes]":
    """A sheet with its words around one empty box."""
    figure = new_page(legend, heading)
    width, height = SHEET_INCHES
    box = (
        BOX_LEFT_INCHES / width,
        BOX_BOTTOM_INCHES / height,
        3.0 * DECADE_INCHES / width,
        2.0 * DECADE_INCHES / height,
    )
    return figure, figure.add_axes(box)


def new_page(legend: Legend, heading: str) -> "Figure":
    """A sheet with its words and nothing else yet: title, heading, caption, credit."""
    from matplotlib.figure import Figure

    from distort.report.figures.canvas import Canvas

    width, height = SHEET_INCHES
    figure = Figure(figsize=SHEET_INCHES, dpi=DOTS_PER_INCH, facecolor="white")
    Canvas(figure)
    left = BOX_LEFT_INCHES / width
    right = 1.0 - MARGIN_INCHES / width
    end = mark_simulated(figure) if legend.simulated else right
    title = legend.title or legend.loudspeaker
    if title:
        text = figure.text(
            left, 1.0 - 0.28 / height, drawable(title), fontsize=15, weight="bold", va="center", gid="title"
        )
        fit(text, end - left, kept=0 if legend.title else ENDING)
    named = legend.title and legend.loudspeaker
    subject = drawable(f"{legend.loudspeaker}: {heading}" if named else f"{heading[0].upper()}{heading[1:]}")
    kept = ENDING + len(f": {heading}") if named else 0
    fit(
        figure.text(left, 1.0 - 0.62 / height, subject, fontsize=11, va="center", gid="heading"),
        right - left,
        kept=kept,
    )
    small: dict[str, Any] = {"fontsize": SMALL_POINTS, "color": GREY, "va": "center"}
    caption = figure.text(left, 0.2 / height, legend.caption(), gid="caption", **small)
    if legend.credit:
        credit = figure.text(right, 0.2 / height, drawable(legend.credit), ha="right", gid="credit", **small)
        fit(credit, right - _extent(caption).x1 - MARGIN_INCHES / width)
    return figure


def fit(text: "Text", share: float, *, kept: int = 0) -> None:
    """Make `text` smaller, down to 70 %, until it takes at most `share` of the sheet's width; then shorten it.

    kept    how many of its last characters stay; what goes is before them
    """
    largest = float(text.get_fontsize())
    sizes = np.arange(largest, 0.7 * largest, -0.5)
    words = text.get_text()
    head, tail = words[: max(len(words) - kept, 0)][:LONGEST], words[max(len(words) - kept, 0) :]
    text.set_text(head + tail)
    width = _extent(text).width / largest  # as many times the size at every size, since nothing is moved to pixels
    size = next((float(one) for one in sizes if one * width <= share), float(sizes[-1]))
    text.set_fontsize(size)
    if size * width <= share:
        return

    def is_too_wide(characters: int) -> bool:
        text.set_text(f"{_whole(head, characters)}...{tail}")
        return bool(_extent(text).width > share)

    is_too_wide(max(bisect_left(range(len(head) + 1), True, key=is_too_wide) - 1, 0))


def _whole(text: str, characters: int) -> str:
    """The first `characters` of `text` or some fewer: no letter loses its marks (Unicode general category M)."""
    while 0 < characters < len(text) and category(text[characters]).startswith("M"):
        characters -= 1
    return text[:characters].rstrip()


def sheet_of(artist: "Artist") -> "Figure":
    """The figure that `artist` is drawn in; nothing here is a figure within a figure."""
    from matplotlib.figure import Figure

    figure = artist.get_figure()  # its argument `root` came with matplotlib 3.10
    assert isinstance(figure, Figure)
    return figure


def _extent(text: "Text") -> "Bbox":
    """The box around `text` in shares of the sheet."""
    figure = sheet_of(text)
    return text.get_window_extent().transformed(figure.transFigure.inverted())


def mark_simulated(figure: "Figure") -> float:
    """Say in the upper right corner that nothing was measured; returns where the title must end, share of the width."""
    width, height = SHEET_INCHES
    text = figure.text(
        1.0 - MARGIN_INCHES / width,
        1.0 - 0.28 / height,
        SIMULATED_WORDS,
        fontsize=10.5,
        weight="bold",
        ha="right",
        va="center",
        color=BLACK,
        gid="simulated",
        bbox={"boxstyle": "square,pad=0.35", "facecolor": "#fff3c4", "edgecolor": BLACK, "linewidth": 0.8},
    )
    return float(_extent(text).x0) - MARGIN_INCHES / width


def level_colour(index: int, count: int) -> str:
    """Colour of the `index`-th of `count` levels, quietest first, from matplotlib's perceptual map viridis."""
    from matplotlib import colormaps
    from matplotlib.colors import to_hex

    quietness = 1.0 - (index + 1) / count
    return to_hex(colormaps["viridis"](0.8 * quietness))  # beyond that it is too pale on white


def halo(text: "Text") -> None:
    """A white rim that keeps a label readable on a line."""
    from matplotlib import patheffects

    text.set_path_effects([patheffects.withStroke(linewidth=2.5, foreground="white")])


def key_beside(figure: "Figure", handles: Sequence[Any], names: Sequence[str]) -> None:
    """Line samples and their names right of the box, from its upper edge down."""
    width, height = SHEET_INCHES
    key = figure.legend(
        handles,
        names,
        loc="upper left",
        bbox_to_anchor=(PANEL_LEFT_INCHES / width, (BOX_BOTTOM_INCHES + 2.0 * DECADE_INCHES) / height),
        frameon=False,
        borderpad=0.0,
        borderaxespad=0.0,
        handlelength=3.4,
        labelspacing=0.9,
        labelcolor=BLACK,
        edgecolor=GREY,
    )
    for text in key.get_texts():
        fit(text, 1.0 - (PANEL_LEFT_INCHES + SAMPLE_INCHES + MARGIN_INCHES) / width, kept=KEY_ENDING)


def note(figure: "Figure", text: str, *, short: str = "") -> None:
    """A note to the reader right of the box, its last line level with the lower edge of the box.

    short   what of it is said where there is little room; unseen here
    """
    width, height = SHEET_INCHES
    figure.text(
        PANEL_LEFT_INCHES / width,
        BOX_BOTTOM_INCHES / height,
        text,
        fontsize=SMALL_POINTS,
        color=GREY,
        va="bottom",
        linespacing=1.4,
        gid="note",
    )
    figure.text(0.0, 0.0, short, fontsize=SMALL_POINTS, color=GREY, visible=False, gid="short note")
