"""Formats that people publish: the finished figure laid out anew for a screen, a square and an upright picture.

Letters keep their size in points while the sheet gets smaller, so that the smallest are 2.2 % of the picture's height
(own choice: on a phone held upright, 15 cm high, that is 3.3 mm).
"""

import re
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Literal

from distort.report.figures.axes import name_octaves, scale_of, set_numbers
from distort.report.figures.labels import spread
from distort.report.figures.style import SHEET_INCHES, SMALL_POINTS

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.legend import Legend as Key
    from matplotlib.text import Text

FormatName = Literal["wide", "square", "upright"]

SMALLEST_SHARE = 0.022
"""Of the height: the least size of letters."""

TO_PUBLISH = ("response", "thd", "harmonics", "multitone", "compression", "findings")
"""Kinds of figures that are made in these formats. The others are for those who check, and too dense for a phone."""


PANELS_NEED_WIDTH = ("findings",)
"""Kinds with several panels and words beside each: of these there is the wide format alone."""


@dataclass(frozen=True, kw_only=True)
class Format:
    """One format, its places in inches of the sheet."""

    width_px: int
    height_px: int
    box_left: float
    box_right: float
    """From the right edge of the sheet to the box: for the scale in per cent, and the key where it stands beside."""
    title_points: float
    key_columns: int
    octaves: int
    """Every so many octave midbands has a number."""
    levels: int
    """Every so many lines of the level axis has one."""
    level_above: bool = False
    """Whether the name of the level axis stands above it, lying."""
    beside: bool = False
    """Whether key and note stand right of the box; else below it."""

    @property
    def dots_per_inch(self) -> float:
        """So many that `SMALL_POINTS` are the smallest share of the height."""
        return SMALLEST_SHARE * self.height_px * 72.0 / SMALL_POINTS

    @property
    def inches(self) -> tuple[float, float]:
        """Width and height of the sheet."""
        return self.width_px / self.dots_per_inch, self.height_px / self.dots_per_inch

    @property
    def box_inches(self) -> tuple[float, float]:
        """Width and height of the box: three decades and two, as on every sheet."""
        width = self.inches[0] - self.box_left - self.box_right
        return width, 2.0 * width / 3.0


FORMATS: dict[FormatName, Format] = {
    "wide": Format(
        width_px=1920,
        height_px=1080,
        box_left=0.8,
        box_right=3.3,
        title_points=14.0,
        key_columns=1,
        octaves=1,
        levels=1,
        beside=True,
    ),
    "square": Format(
        width_px=1080,
        height_px=1080,
        box_left=0.7,
        box_right=1.15,
        title_points=11.5,
        key_columns=3,
        octaves=2,
        levels=1,
        level_above=True,
    ),
    "upright": Format(
        width_px=1080,
        height_px=1920,
        box_left=0.5,
        box_right=0.7,
        title_points=11.0,
        key_columns=2,
        octaves=3,
        levels=2,
        level_above=True,
    ),
}

MARGIN, LINE, AXIS = 0.14, 1.3, 0.5
"""Inches left empty along the edges; height of a line re its letters; inches for the numbers and name of an axis."""

LANE, MEANINGS = 0.32, 0.25
"""Inches for the lane above the uppermost panel, and for the key of grounds and hatches."""

BETWEEN_WORDS = re.compile(r"(?<!\d)\s+|\s+(?![A-Za-zµ%])")
"""Where a line may end: not between a number and its unit."""

WIDTH_OF_LETTERS = 0.6
"""Of the typeface, re their size, on the safe side."""


def reshape(figure: "Figure", name: FormatName) -> None:
    """Lay `figure`, as a session draws it, out in another format. Words that were shortened before stay so."""
    form = FORMATS[name]
    figure.set_size_inches(*form.inches)
    flow = _Flow(figure, form)
    texts = {str(text.get_gid()): text for text in figure.texts}
    taken = flow.badge(texts["simulated"]) if "simulated" in texts else 0.0
    if "title" in texts:
        flow.put(texts["title"], points=form.title_points, taken=taken)
    flow.put(texts["heading"], points=10.0 if form.beside else 9.0)
    lanes = _has_lanes(figure)
    top = flow.top - (LANE if lanes else _name_above(figure.axes[0], form) if form.level_above else 0.08)
    bottom = _box(figure, form, top=top, less=MEANINGS if lanes else 0.0)
    flow.top = bottom - AXIS
    _key_and_note(figure, form, flow, texts, top=top, bottom=bottom)
    flow.foot(texts)
    figure.set_dpi(form.dots_per_inch)  # last: everything was measured at the sheet's own


class _Flow:
    """Words under one another from the upper edge down."""

    def __init__(self, figure: "Figure", form: Format) -> None:
        self.figure, self.form, self.width, self.height = figure, form, *form.inches
        self.top = self.height - MARGIN
        """Upper edge of what comes next, inches from the lower edge of the sheet."""

    def badge(self, text: "Text") -> float:
        """Right of the title where there is room, else above it; returns the inches that it takes of the title's
        lines."""
        text.set_fontsize(SMALL_POINTS)
        if self.form.beside:
            text.set(x=1.0 - 2.0 * MARGIN / self.width, y=(self.top - 0.06) / self.height, ha="right", va="top")
            return float(text.get_window_extent().width / self.figure.dpi) + 2.0 * MARGIN
        text.set_fontweight("normal")  # bold it is wider than an upright sheet
        self.put(text, points=SMALL_POINTS, lead=0.09)
        return 0.0

    def put(self, text: "Text", *, points: float, lead: float = 0.0, taken: float = 0.0) -> None:
        """Set a text below what stands there, in as many lines as it needs; `taken` inches at their ends stay free."""
        text.set_fontsize(points)
        text.set(x=MARGIN / self.width, y=(self.top - lead) / self.height, ha="left", va="top", linespacing=1.15)
        self._wrap(text, taken=taken)
        lines = text.get_text().count("\n") + 1
        self.top -= 2.0 * lead + lines * points * LINE / 72.0

    def foot(self, texts: "dict[str, Text]") -> None:
        """Caption and credit along the lower edge, on one line where there is room."""
        bottom = 0.1
        if self.form.beside:
            for name, x, side in (("caption", MARGIN, "left"), ("credit", self.width - MARGIN, "right")):
                if name in texts:
                    texts[name].set(x=x / self.width, y=bottom / self.height, ha=side, va="bottom")
            return
        for name in ("credit", "caption"):
            if name in texts:
                text = texts[name]
                text.set(x=MARGIN / self.width, y=bottom / self.height, ha="left", va="bottom")
                text.set_fontsize(SMALL_POINTS)
                text.set_linespacing(1.15)
                self._wrap(text)
                bottom += (text.get_text().count("\n") + 1) * SMALL_POINTS * LINE / 72.0

    def _wrap(self, text: "Text", *, taken: float = 0.0) -> None:
        """Break the lines of a text so that none is wider than the sheet without its margins, and what is taken."""
        room = (self.width - 2.0 * MARGIN - taken) * self.figure.dpi
        lines: list[str] = []
        for word in BETWEEN_WORDS.split(text.get_text().strip()):
            longer = f"{lines[-1]} {word}" if lines else word
            text.set_text(longer)
            if lines and text.get_window_extent().width <= room:
                lines[-1] = longer
            else:
                lines.append(word)
        text.set_text("\n".join(lines))


def _has_lanes(figure: "Figure") -> bool:
    return any(text.get_gid() == "mark" for axes in figure.axes for text in axes.texts)


def _box(figure: "Figure", form: Format, *, top: float, less: float) -> float:
    """Move the panels into the new box below `top`, lower than it by `less`, with gaps as high as before; returns the
    lower edge of the box."""
    old_height, (width, height) = SHEET_INCHES[1], form.inches
    across, tall = form.box_inches
    tall -= less
    panels = [(axes, axes.get_position()) for axes in figure.axes]
    panels.sort(key=lambda panel: -panel[1].y1)
    gaps = [max((upper.y0 - lower.y1) * old_height, 0.0) for (_, upper), (_, lower) in pairwise(panels)]
    heights = [place.height * old_height for _, place in panels]
    shrink = (tall - sum(gaps)) / sum(heights)
    y = top
    for (axes, _), old, gap in zip(panels, heights, [*gaps, 0.0], strict=True):
        y -= old * shrink
        axes.set_position((form.box_left / width, y / height, across / width, old * shrink / height))
        _axis_words(axes, form, inches=old * shrink)
        y -= gap
    return top - tall


def _name_above(axes: "Axes", form: Format) -> float:
    """Set the name of the level axis above it, in as many lines as it needs; returns the inches that it takes."""
    characters = int((form.inches[0] - form.box_left - MARGIN) * 72.0 / (WIDTH_OF_LETTERS * SMALL_POINTS))
    lines = textwrap.wrap(axes.get_ylabel(), characters)
    axes.set_title("\n".join(lines), fontsize=SMALL_POINTS, loc="left", pad=3.0)
    axes.set_ylabel("")
    return 0.06 + len(lines) * LINE * SMALL_POINTS / 72.0


def _axis_words(axes: "Axes", form: Format, *, inches: float) -> None:
    """Fewer numbers along short axes, and the names on their right apart."""
    if scale_of(axes, "bottom").is_numbered:
        name_octaves(axes, every=form.octaves)
    if form.levels > 1:
        ticks = axes.get_yticks()
        names = [f"{tick + 0.0:g}".replace("-", "\N{MINUS SIGN}") for tick in ticks]
        set_numbers(axes.yaxis, ticks, [name if place % form.levels == 0 else "" for place, name in enumerate(names)])
    names_right = [text for text in axes.texts if text.get_gid() == "right"]
    gap = 1.1 * SMALL_POINTS / 72.0 / inches
    for text, y in zip(
        names_right, spread([text.get_position()[1] for text in names_right], gap=gap, low=0.0, high=1.0), strict=True
    ):
        text.set_fontsize(SMALL_POINTS)
        text.set_position((text.get_position()[0], y))


def _key_and_note(
    figure: "Figure", form: Format, flow: _Flow, texts: "dict[str, Text]", *, top: float, bottom: float
) -> None:
    """Key and note right of the box, or below it; names on the curves go where there is a key."""
    keys = [key for key in figure.legends if key.get_gid() != "meanings"]
    for axes in figure.axes if keys else ():
        for text in [text for text in axes.texts if text.get_gid() == "curve"]:
            text.remove()
    for key in keys:
        _move(key, form, flow, top=top)
    place = form.box_left / flow.width, (bottom - AXIS - MEANINGS) / flow.height
    for meanings in (key for key in figure.legends if key.get_gid() == "meanings"):
        meanings.set_bbox_to_anchor(place, figure.transFigure)
    if "note" in texts:
        texts["note"].set_visible(form.beside)
        x = form.inches[0] - form.box_right + 0.75
        texts["note"].set(x=x / flow.width, y=bottom / flow.height)
    if "short note" in texts and not form.beside and texts["short note"].get_text():
        texts["short note"].set_visible(True)
        flow.put(texts["short note"], points=SMALL_POINTS)


def _move(key: "Key", form: Format, flow: _Flow, *, top: float) -> None:
    """Set a key anew, since its columns cannot be changed."""
    figure = flow.figure
    handles = [handle for handle in key.legend_handles if handle is not None]
    names = [text.get_text() for text in key.get_texts()]
    sample = 2.6 if form.key_columns < 2 else 1.8
    if form.key_columns > 1:
        room = (form.inches[0] - 2.0 * MARGIN) / form.key_columns - (sample + 1.5) * SMALL_POINTS / 72.0
        characters = int(room * 72.0 / (WIDTH_OF_LETTERS * SMALL_POINTS))
        names = [textwrap.fill(name, characters) for name in names]
    key.remove()
    x, y = (form.inches[0] - form.box_right + 0.75, top) if form.beside else (MARGIN, flow.top)
    made = figure.legend(
        handles,
        names,
        loc="upper left",
        bbox_to_anchor=(x / flow.width, y / flow.height),
        frameon=False,
        borderpad=0.0,
        borderaxespad=0.0,
        handlelength=sample,
        handletextpad=0.5,
        labelspacing=0.45,
        columnspacing=1.0,
        ncols=form.key_columns,
        fontsize=9.0 if form.beside else SMALL_POINTS,
    )
    if not form.beside:
        flow.top -= made.get_window_extent().height / figure.dpi + 0.08


def formats_of(stem: str, wanted: Sequence[FormatName]) -> tuple[FormatName, ...]:
    """In which of the wanted formats a figure is made, by the name of its file."""
    kind = stem.partition("_")[0]
    if kind not in TO_PUBLISH:
        return ()
    return tuple(name for name in wanted if name == "wide" or kind not in PANELS_NEED_WIDTH)
