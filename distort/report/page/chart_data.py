"""What the live charts of the page draw: curves, their colours, and the choices that switch them on and off.

A chart has facets, such as condition, level and order; a series stands at one option of each and shows while all of its
options are chosen. Its values come once for each quantity (decibels, per cent), its marks say where to read with care.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal

import numpy as np

from distort.analysis.common.curves import BoolArray, FloatArray
from distort.report.figures.dark import dark_of
from distort.report.text.numbers import hertz_words

CAREFUL, BELOW, CLEAR = "?", "<", "."
"""A mark a row, as in the tables."""


@dataclass(frozen=True, kw_only=True)
class Scale:
    """What the vertical axis shows."""

    name: str
    label: str
    unit: str
    low: float
    high: float
    logarithmic: bool = False


@dataclass(frozen=True, kw_only=True)
class Facet:
    """A choice: "one" of its options, or any number of them ("many")."""

    name: str
    choice: Literal["one", "many"]
    options: tuple[str, ...]
    chosen: tuple[int, ...]


@dataclass(frozen=True, kw_only=True)
class Series:
    """One curve of a chart; `values` has one `(rows,)` array a quantity."""

    at: tuple[int, ...]
    """Its option of each facet."""
    name: str
    colour: str
    dashes: tuple[float, ...] = ()
    width: float = 1.8
    ground: bool = False
    """Drawn as a quiet ground, as noise floors are."""
    values: tuple[FloatArray, ...]
    careful: BoolArray | None = None
    below: BoolArray | None = None


@dataclass(frozen=True, kw_only=True)
class Chart:
    """One live chart. `row_names` says what a row is called when it is read; without it, by its frequency."""

    kind: str
    """Stem of the kind of figures that it stands above."""
    title: str
    frequency_hz: FloatArray
    row_names: tuple[str, ...] = ()
    steps: bool = False
    """Each value holds from its frequency up to the next: bands. The last frequency closes the last band."""
    points: bool = False
    """Known at single frequencies alone: each is marked."""
    quantities: tuple[Scale, ...]
    facets: tuple[Facet, ...]
    series: tuple[Series, ...]


def plain_chart(chart: Chart) -> dict[str, Any]:
    """`chart` as JSON holds it: numbers with the digits that a reader can see, None where there is no value."""
    names = chart.row_names or tuple(hertz_words(float(each)) for each in chart.frequency_hz)
    return {
        "title": chart.title,
        "x": [float(f"{each:.6g}") for each in chart.frequency_hz],
        "rows": names,
        "steps": chart.steps,
        "points": chart.points,
        "quantities": [asdict(each) for each in chart.quantities],
        "facets": [asdict(each) for each in chart.facets],
        "series": [_plain_series(each) for each in chart.series],
    }


def _plain_series(series: Series) -> dict[str, Any]:
    return {
        "at": series.at,
        "name": series.name,
        "colours": [series.colour, dark_of(series.colour)],
        "dashes": series.dashes,
        "width": series.width,
        "ground": series.ground,
        "values": [[_plain(float(value)) for value in values] for values in series.values],
        "marks": _marks(series),
    }


def _plain(value: float) -> float | None:
    return float(f"{value:.4g}") if np.isfinite(value) else None


def _marks(series: Series) -> str:
    """One mark a row; empty where every row is clear."""
    careful, below = series.careful, series.below
    if careful is None or below is None:
        return ""
    marks = np.where(below, BELOW, np.where(careful, CAREFUL, CLEAR))
    return "".join(marks.tolist())


def merged(grids: Sequence[FloatArray]) -> FloatArray:
    """All frequencies of `grids`, ascending, each once."""
    return np.unique(np.concatenate([np.asarray(grid, dtype=np.float64) for grid in grids]))


def onto(grid_hz: FloatArray, frequency_hz: FloatArray, values: FloatArray) -> FloatArray:
    """`values` at `frequency_hz` laid onto `grid_hz`, which holds all of these; NaN elsewhere."""
    laid = np.full(grid_hz.size, np.nan)
    laid[np.searchsorted(grid_hz, frequency_hz)] = values
    return laid
