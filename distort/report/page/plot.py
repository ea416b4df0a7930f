"""Small pictures of curves as SVG inside the page: its text stays text, and colours follow light and dark.

A picture is made for the width at which it is shown, so that its letters have the size of those around it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from markupsafe import Markup

from distort.analysis.common.curves import BoolArray, FloatArray
from distort.report.page.colours import dark_of
from distort.report.page.marks import Badge
from distort.report.page.rendering import rendered
from distort.report.text.numbers import hertz

LETTER_SHARE = 0.62
"""Width of a digit in shares of the letters' size, with room to spare (0.64 em is the widest of common sans-serifs)."""

BOLD_SHARE = 0.74
"""The same of bold letters."""

TICKS = ((1.0, 2.0, 5.0), (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0))
"""Within a decade: few, and many for a narrow range."""

STEPS_DB = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0)
MOST_TICKS = 5

SPARE = 0.06
"""Left empty above and below the curves, in shares of what they take."""

LEAST_GAP_HZ = 10.0
"""Between two labels of the frequency axis, px."""


@dataclass(frozen=True, kw_only=True)
class Curve:
    """One curve, `(rows,)` both; NaN parts it."""

    frequency_hz: FloatArray
    values: FloatArray
    colour: str
    dashes: tuple[float, ...] = ()
    width: float = 2.0
    name: str = ""
    """In the key, or at its right end where there is room."""
    careful: BoolArray | None = None
    """Rows in which it is drawn thin."""


@dataclass(frozen=True, kw_only=True)
class Size:
    """What a picture is made for, CSS pixels."""

    width: float
    height: float
    """Without the lanes for badges."""
    letters: float


@dataclass(frozen=True, kw_only=True)
class Plot:
    """Curves over one range, with bands and badges."""

    says: str
    """What is to be seen, for those who do not see it."""
    curves: tuple[Curve, ...]
    low_hz: float
    high_hz: float
    low: float
    high: float
    bands: tuple[tuple[float, float], ...] = ()
    """Places, from and to, in hertz."""
    badges: tuple[Badge, ...] = ()
    zero: bool = False
    """With a line at 0."""
    names: bool = False
    """With the curves' names at their right ends."""
    name_characters: int = 0
    """Room for so long names, at least."""
    lanes: int = 0
    """For badges, at least; as many as they take where this is less."""


def limits_of(curves: Sequence[Curve], low_hz: float, high_hz: float, *, least: float = 4.0) -> tuple[float, float]:
    """Bottom and top of an axis that shows `curves` between two frequencies; at least `least` long."""
    inside = [
        curve.values[(curve.frequency_hz >= low_hz) & (curve.frequency_hz <= high_hz) & np.isfinite(curve.values)]
        for curve in curves
    ]
    values = np.concatenate(inside) if inside else np.zeros(0)
    if not values.size:
        return -least / 2.0, least / 2.0
    lowest, highest = float(values.min()), float(values.max())
    missing = max(least - (highest - lowest), 0.0) / 2.0
    spare = SPARE * max(highest - lowest, least)
    return lowest - missing - spare, highest + missing + spare


def drawn(plot: Plot, size: Size) -> Markup:
    """The picture. Text in it is escaped by its template."""
    return Markup(rendered("plot.svg.j2", **_parts(plot, size)))


def _parts(plot: Plot, size: Size) -> dict[str, Any]:
    """Everything with its place in pixels."""
    ticks_db = _ticks_db(plot.low, plot.high)
    letters = size.letters
    left = letters * LETTER_SHARE * max((len(_signed(each)) for each in ticks_db), default=1) + 6.0
    lanes = max(plot.lanes, *(badge.lane + 1 for badge in plot.badges), 0)
    top = lanes * Badge.LANE + 0.5 * letters
    height = size.height + lanes * Badge.LANE
    bottom = height - 1.7 * letters
    named = max((len(curve.name) for curve in plot.curves if plot.names), default=0)
    named = max(named, plot.name_characters)
    half_a_word = 1.5 * LETTER_SHARE * letters  # of the last frequency, which stands under the end of the axis
    right = size.width - max(letters * BOLD_SHARE * named + 8.0, half_a_word)

    def x(frequency_hz: FloatArray | float) -> Any:
        return left + (right - left) * np.log(np.divide(frequency_hz, plot.low_hz)) / np.log(plot.high_hz / plot.low_hz)

    def y(value: FloatArray | float) -> Any:
        return top + (bottom - top) * (plot.high - np.asarray(value)) / (plot.high - plot.low)

    inside = [(max(low, plot.low_hz), min(high, plot.high_hz)) for low, high in plot.bands]
    return {
        "says": plot.says,
        "width": size.width,
        "height": height,
        "letters": letters,
        "box": {"left": left, "right": right, "top": top, "bottom": bottom},
        "bands": [(float(x(low)), float(x(high))) for low, high in inside if high > low],
        "rows": [(float(y(each)), _signed(each)) for each in ticks_db],
        "columns": [(float(x(hz)), words) for hz, words in _ticks_hz(plot, size, right - left)],
        "zero": float(y(0.0)) if plot.zero and plot.low < 0.0 < plot.high else None,
        "curves": [_stroke(part, x, y) for curve in plot.curves for part in _trusted(curve)],
        "names": _names(plot.curves, y, least=1.15 * letters, inside=(top, bottom)) if plot.names else [],
        "badges": [badge.placed(x, plot.low_hz, plot.high_hz) for badge in plot.badges],
        "lane": Badge.LANE,
    }


def _trusted(curve: Curve) -> list[Curve]:
    """A curve, or what of it is plain and what is thin."""
    if curve.careful is None or not curve.careful.any():
        return [curve]
    doubtful = curve.careful
    touching = doubtful.copy()
    touching[1:] |= doubtful[:-1]
    touching[:-1] |= doubtful[1:]
    plain = np.where(doubtful, np.nan, curve.values)
    thin = np.where(touching, curve.values, np.nan)
    return [
        Curve(
            frequency_hz=curve.frequency_hz,
            values=values,
            colour=curve.colour,
            dashes=curve.dashes,
            width=width,
            name=name,
        )
        for values, width, name in ((plain, curve.width, curve.name), (thin, 0.5 * curve.width, ""))
    ]


def _stroke(curve: Curve, x: Any, y: Any) -> dict[str, Any]:
    """A path with one decimal of a pixel; one line from each point to the next."""
    with np.errstate(invalid="ignore"):
        points = np.stack([x(curve.frequency_hz), y(curve.values)], axis=1)
    pieces, pen_down = [], False
    for across, down in points:
        if not np.isfinite(down):
            pen_down = False
            continue
        pieces.append(f"{'L' if pen_down else 'M'}{across:.1f} {down:.1f}")
        pen_down = True
    return {
        "path": "".join(pieces),
        "light": curve.colour,
        "dark": dark_of(curve.colour),
        "dashes": " ".join(f"{each:g}" for each in curve.dashes),
        "width": curve.width,
    }


def _names(curves: Sequence[Curve], y: Any, *, least: float, inside: tuple[float, float]) -> list[dict[str, Any]]:
    """Names at the right ends of their curves, those of the outermost first; one without room is left out."""
    ends = []
    for curve in curves:
        known = np.flatnonzero(np.isfinite(curve.values))
        if curve.name and known.size:
            down = float(np.clip(y(curve.values[known[-1]]), inside[0] + 0.5 * least, inside[1]))
            ends.append({"y": down, "name": curve.name})
    placed: list[dict[str, Any]] = []
    for one in [*ends[:1], *ends[:0:-1]]:
        if all(abs(one["y"] - other["y"]) >= least for other in placed):
            placed.append(one)
    return placed


def _ticks_db(low: float, high: float) -> list[float]:
    step = next((one for one in STEPS_DB if (high - low) / one <= MOST_TICKS), STEPS_DB[-1])
    first, last = int(np.ceil(low / step)), int(np.floor(high / step))
    return [round(step * number, 6) for number in range(first, last + 1)]


def _signed(value: float) -> str:
    """With a real minus, and no more digits than there are."""
    return f"{value:g}".replace("-", "\N{MINUS SIGN}")


def _ticks_hz(plot: Plot, size: Size, length: float) -> list[tuple[float, str]]:
    """Frequencies with their words, all of which have room."""
    for within in TICKS:
        found = [
            decade * one
            for decade in (10.0, 100.0, 1000.0, 10000.0)
            for one in within
            if 0.999 * plot.low_hz <= decade * one <= 1.001 * plot.high_hz
        ]
        if len(found) >= 3:
            break
    per_octave = length / np.log2(plot.high_hz / plot.low_hz)
    kept: list[tuple[float, str]] = []
    for each in found:
        words = hertz(each)
        if kept:
            before, its_words = kept[-1]
            need = 0.5 * (len(words) + len(its_words)) * LETTER_SHARE * size.letters + LEAST_GAP_HZ
            if per_octave * np.log2(each / before) < need:
                continue
        kept.append((each, words))
    return kept
