"""What the live charts of the page draw: curves, their colours, and the choices that switch them on and off.

A chart has facets, such as condition, level and order; a series stands at one option of each and shows while all of its
options are chosen. Its values come once for each quantity that is no mere rewriting of another, its marks say where to
read with caution, its interval is drawn about it. Where a session is large, every second row is left out.
"""

import base64
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any, Literal

import numpy as np

from distort.analysis.common.curves import BoolArray, FloatArray
from distort.report.page.colours import dark_of
from distort.report.page.marks import Badge
from distort.report.text.numbers import hertz_words

CAREFUL, BELOW, CLEAR = "?", "<", "."
"""A mark a row, as in the tables."""

MOST_VALUES = 400_000
"""In the page, of all charts: at 2.7 characters each about 1 MB. Beyond that every second row is left out: 1/12 octave
is what the usual smoothing leaves to be seen (own choice)."""

STEP_DB = 0.01
"""Values are whole numbers of these in the page: a tenth of what a reader is shown."""

MISSING = -32768


@dataclass(frozen=True, kw_only=True)
class Scale:
    """What the vertical axis shows."""

    name: str
    label: str
    unit: str
    low: float
    high: float
    logarithmic: bool = False
    made: Literal["", "percent", "level"] = ""
    """How it comes from the first quantity: 100 x 10^(dB/20), or plus the series' fundamental; "": its values are
    there."""


@dataclass(frozen=True, kw_only=True)
class Facet:
    """A choice: "one" of its options, or any number of them ("many")."""

    name: str
    choice: Literal["one", "many"]
    options: tuple[str, ...]
    chosen: tuple[int, ...]


@dataclass(frozen=True, kw_only=True)
class Series:
    """One curve of a chart; `values` has one `(rows,)` array a quantity, None for one that is made of the first."""

    at: tuple[int, ...]
    """Its option of each facet."""
    name: str
    colour: str
    dashes: tuple[float, ...] = ()
    width: float = 1.8
    dots: int = 0
    """Which condition, where dashes say which order: 0 has no dots, 1 has round ones, 2 square ones, and so on."""
    ground: bool = False
    """Drawn as a quiet ground, as noise floors are."""
    values: tuple[FloatArray | None, ...]
    careful: BoolArray | None = None
    below: BoolArray | None = None
    interval: FloatArray | None = None
    """Half-width of the 95 % interval of the first quantity, dB."""
    fundamental: int | None = None
    """Which of the chart's fundamentals it is re."""


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
    fundamentals: tuple[FloatArray, ...] = ()
    badges: tuple[tuple[Badge, tuple[int, ...]], ...] = ()
    """Findings, each with the conditions (options of the first facet) that show it."""


def plain_charts(charts: Sequence[Chart]) -> list[dict[str, Any]]:
    """`charts` as the page holds them, thinned where there are very many values."""
    thinned = sum(_values(chart) for chart in charts) > MOST_VALUES
    return [plain_chart(_thin(chart) if thinned else chart, thinned=thinned) for chart in charts]


def _values(chart: Chart) -> int:
    rows = chart.frequency_hz.size
    return rows * sum(sum(each is not None for each in (*one.values, one.interval)) for one in chart.series)


def _thin(chart: Chart) -> Chart:
    """Every second row of a chart of curves; bands and single frequencies stay."""
    if chart.steps or chart.points or chart.frequency_hz.size < 100:
        return chart
    kept = slice(None, None, 2)
    return replace(
        chart,
        frequency_hz=chart.frequency_hz[kept],
        row_names=chart.row_names[kept],
        fundamentals=tuple(each[kept] for each in chart.fundamentals),
        series=tuple(
            replace(
                one,
                values=tuple(None if each is None else each[kept] for each in one.values),
                careful=None if one.careful is None else one.careful[kept],
                below=None if one.below is None else one.below[kept],
                interval=None if one.interval is None else one.interval[kept],
            )
            for one in chart.series
        ),
    )


def plain_chart(chart: Chart, *, thinned: bool = False) -> dict[str, Any]:
    """`chart` as JSON holds it."""
    names = chart.row_names or tuple(hertz_words(float(each)) for each in chart.frequency_hz)
    return {
        "title": chart.title,
        "x": [float(f"{each:.6g}") for each in chart.frequency_hz],
        "rows": names,
        "steps": chart.steps,
        "points": chart.points,
        "thinned": thinned,
        "quantities": [asdict(each) for each in chart.quantities],
        "facets": [asdict(each) for each in chart.facets],
        "fundamentals": [packed(each) for each in chart.fundamentals],
        "series": [_plain_series(each) for each in chart.series],
        "badges": [{**asdict(badge), "conditions": shown} for badge, shown in chart.badges],
    }


def _plain_series(series: Series) -> dict[str, Any]:
    return {
        "at": series.at,
        "name": series.name,
        "colours": [series.colour, dark_of(series.colour)],
        "dashes": series.dashes,
        "width": round(series.width, 2),
        "dots": series.dots,
        "ground": series.ground,
        "values": [None if values is None else packed(values) for values in series.values],
        "marks": _marks(series),
        "interval": None if series.interval is None else packed(series.interval),
        "fundamental": series.fundamental,
    }


def packed(values_db: FloatArray) -> str:
    """Decibels as 16-bit whole numbers of 0.01, low byte first, in base 64; where there is no value, the lowest."""
    steps = np.round(np.asarray(values_db, dtype=np.float64) / STEP_DB)
    held = np.where(np.isfinite(steps), np.clip(steps, MISSING + 1, -(MISSING + 1)), MISSING)
    return base64.b64encode(held.astype("<i2").tobytes()).decode("ascii")


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
