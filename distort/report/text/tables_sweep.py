"""Tables of readings: quantities down, octaves across, 80 columns wide, complete without colour.

A reading that its noise floor or the room spoils carries a mark in front: `?` read with care, `<` below its noise floor
(the floor is printed then).
"""

from collections.abc import Callable, Mapping, Sequence, Set
from dataclasses import dataclass

import numpy as np
from rich.table import Table
from rich.text import Text

from distort.analysis.common.caution import near_noise
from distort.analysis.common.curves import BoolArray, FloatArray, Harmonics, Order, Response
from distort.report.text.numbers import (
    NOT_MEASURABLE,
    OCTAVE_HZ,
    OCTAVE_NAMES,
    decibels,
    hertz,
    hertz_words,
    level_name,
    short_percent,
    whole_decibels,
)

DOUBTFUL, BELOW_FLOOR = "?", "<"
LEGEND = {
    DOUBTFUL: "? use with caution: near its noise, or spoilt by room, gate or sweep speed",
    BELOW_FLOOR: "< below its noise floor, which is printed instead",
}
STYLES = {DOUBTFUL: "yellow", BELOW_FLOOR: "dim", "": ""}
LABEL_COLUMNS, CELL_COLUMNS, WORST_COLUMNS = 6, 6, 7
"""6 + 10 x 6 + 2 x 7 = 80. A cell is a mark and at most five characters."""

UNIT_NAMES = {"db_spl": "dB SPL", "dbfs": "dBFS"}
PROMINENT_ORDERS = (2, 3, 4, 5)


@dataclass(frozen=True, kw_only=True)
class TableRow:
    """One row before it is written: readings over the grid, `(rows,)` each, and what to think of them."""

    label: str
    values: FloatArray
    floor: FloatArray
    """In the unit of `values`; NaN where none is known."""
    doubtful: BoolArray
    below: BoolArray
    """Under the noise floor."""
    write: Callable[[float], str]

    def mark(self, row: int) -> str:
        """What stands before the reading in grid row `row`."""
        if self.below[row]:
            return BELOW_FLOOR
        return DOUBTFUL if self.doubtful[row] else ""

    def worst_row(self, inside: BoolArray | None = None) -> int | None:
        """Grid row of the highest reading above its noise floor, whatever mark it carries besides; None when there is
        none.

        inside   rows that are looked at, `(rows,)`; None: all
        """
        read = np.isfinite(self.values) & ~self.below
        return _highest(self.values, read if inside is None else read & inside)

    def worst_clear_row(self) -> int | None:
        """The same among the readings that carry no mark."""
        return _highest(self.values, np.isfinite(self.values) & ~self.doubtful & ~self.below)

    def written(self, row: int) -> str:
        """The reading in a grid row with its mark."""
        mark = self.mark(row)
        return f"{mark}{self.write(float(self.floor[row] if mark == BELOW_FLOOR else self.values[row]))}"


def _highest(values: FloatArray, rows: BoolArray) -> int | None:
    return int(np.argmax(np.where(rows, values, -np.inf))) if rows.any() else None


def level_row(response: Response, label: str) -> TableRow:
    """The response as a row: near its noise, or below the lowest frequency that its window allows, it is doubtful."""
    near = near_noise(response.level_db, response.noise_db)
    return TableRow(
        label=label,
        values=response.level_db,
        floor=response.noise_db,
        doubtful=near | (response.frequency_hz < response.lowest_valid_hz),
        below=response.level_db < response.noise_db,
        write=decibels,
    )


def order_row(order: Order) -> TableRow:
    """One order re the fundamental as a row."""
    return TableRow(
        label=f"H{order.order} dB",
        values=order.relative_db,
        floor=order.noise_db,
        doubtful=order.doubtful,
        below=order.relative_db < order.noise_db,
        write=whole_decibels,
    )


def thd_row(harmonics: Harmonics) -> TableRow:
    """THD re the fundamental in per cent as a row, marked as `thd_marks` says."""
    doubtful, below = thd_marks(harmonics)
    return TableRow(
        label="THD %",
        values=harmonics.thd_percent,
        floor=100.0 * 10.0 ** (harmonics.thd_noise_db / 20.0),
        doubtful=doubtful,
        below=below,
        write=short_percent,
    )


def thd_marks(harmonics: Harmonics) -> tuple[BoolArray, BoolArray]:
    """Where THD is doubtful, and where it is below its floor, `(rows,)` each.

    It is below the floor where its strongest order is; doubtful where that order is, or where it stands less than 10 dB
    above all the floors together.
    """
    readings = np.stack([order.relative_db for order in harmonics.orders])
    strongest = np.argmax(np.where(np.isfinite(readings), readings, -np.inf), axis=0)[np.newaxis]
    below = np.stack([order.relative_db < order.noise_db for order in harmonics.orders])
    doubtful = np.stack([order.doubtful for order in harmonics.orders])
    near = near_noise(harmonics.thd_db, harmonics.thd_noise_db)
    return (
        np.take_along_axis(doubtful, strongest, axis=0)[0] | near,
        np.take_along_axis(below, strongest, axis=0)[0],
    )


def midband_rows(frequency_hz: FloatArray) -> tuple[int | None, ...]:
    """For each octave midband the grid row that is nearest, or None where the grid does not reach it.

    `frequency_hz` is `(rows,)`, ascending. Nearest means within 1/48 octave, half a step of the usual grid.
    """
    rows: list[int | None] = []
    for centre_hz in OCTAVE_HZ:
        octaves = np.abs(np.log2(frequency_hz / centre_hz))
        row = int(np.argmin(octaves))
        rows.append(row if octaves[row] <= 1.0 / 48.0 else None)
    return tuple(rows)


def harmonics_table(
    harmonics: Harmonics, response: Response, *, orders: Sequence[int] = PROMINENT_ORDERS, from_hz: float | None = None
) -> Table:
    """Level, THD and `orders` of one recording at the octave midbands, and the worst of each with where it is.

    from_hz   where the loudspeaker itself begins; the worst is sought from there on. None: it is not known

    Raises KeyError when an order was not separated.
    """
    separated = {order.order: order for order in harmonics.orders}
    quantities = [
        level_row(response, UNIT_NAMES[response.unit]),
        thd_row(harmonics),
        *(order_row(separated[order]) for order in orders),
    ]
    table, frequency_hz = octave_table("Hz", worst=True), harmonics.frequency_hz
    inside = valid_rows(response, from_hz)
    table.add_row(*cells(quantities[0], frequency_hz), *NO_CELLS)
    worst = [quantity.worst_row(inside) for quantity in quantities[1:]]
    for quantity, row in zip(quantities[1:], worst, strict=True):
        table.add_row(*cells(quantity, frequency_hz), *worst_cells(quantity, frequency_hz, row))
    before = "" if from_hz is None else f"worst: from {hertz_words(from_hz)} on, where the response is 10 dB down"
    marks = {quantity.mark(row) for quantity, row in zip(quantities[1:], worst, strict=True) if row is not None}
    add_legend(table, quantities, frequency_hz, before=before, marks=marks)
    return table


def valid_rows(response: Response, from_hz: float | None) -> BoolArray:
    """Rows in which the loudspeaker plays and the fundamental holds, `(rows,)`; `from_hz` as `harmonics_table`."""
    lowest_hz = max(response.lowest_valid_hz, from_hz or 0.0)
    return np.asarray(response.frequency_hz >= lowest_hz)


def response_table(responses: Mapping[float, Response]) -> Table:
    """The response of each nominal level (the keys, dB SPL) at the octave midbands."""
    quantities = [level_row(response, f"{level_name(level)} dB") for level, response in responses.items()]
    table = octave_table("Hz", worst=False)
    for quantity, response in zip(quantities, responses.values(), strict=True):
        table.add_row(*cells(quantity, response.frequency_hz))
    first = next(iter(responses.values()))
    add_legend(table, quantities, first.frequency_hz, before=f"{UNIT_NAMES[first.unit]}, one row a nominal level")
    return table


def octave_table(corner: str, *, worst: bool) -> Table:
    """An empty table with a column an octave and, if wanted, two for the worst reading and where it is."""
    table = Table(box=None, padding=0, pad_edge=False, show_edge=False, header_style="bold", caption_justify="left")
    table.add_column(corner, width=LABEL_COLUMNS, no_wrap=True)
    for name in OCTAVE_NAMES:
        table.add_column(name, width=CELL_COLUMNS, justify="right", no_wrap=True)
    if worst:
        table.add_column("worst", width=WORST_COLUMNS, justify="right", no_wrap=True)
        table.add_column("at Hz", width=WORST_COLUMNS, justify="right", no_wrap=True)
    return table


def cells(quantity: TableRow, frequency_hz: FloatArray) -> list[Text]:
    """The label of a quantity, and its reading at each octave midband; `frequency_hz` is its grid, `(rows,)`."""
    written = [Text(quantity.label, style="bold")]
    for row in midband_rows(frequency_hz):
        if row is None or not np.isfinite(quantity.values[row]):
            written.append(Text(NOT_MEASURABLE, style="dim"))
            continue
        written.append(Text(quantity.written(row), style=STYLES[quantity.mark(row)]))
    return written


def worst_cells(quantity: TableRow, frequency_hz: FloatArray, row: int | None) -> list[Text]:
    """The reading of grid row `row` with its mark, and its frequency; dashes for None."""
    if row is None:
        return [Text(NOT_MEASURABLE, style="dim")] * 2
    return [Text(quantity.written(row), style="bold"), Text(hertz(float(frequency_hz[row])))]


NO_CELLS = (Text(""), Text(""))
"""Of a quantity that has no worst reading."""


def add_legend(
    table: Table,
    quantities: Sequence[TableRow],
    frequency_hz: FloatArray,
    *,
    before: str = "",
    marks: Set[str] = frozenset(),
    words: Mapping[str, str] = LEGEND,
) -> None:
    """Explain below the table the marks that stand in it, and `marks`, in the `words` for each, after `before`."""
    rows = [row for row in midband_rows(frequency_hz) if row is not None]
    shown = marks | {quantity.mark(row) for quantity in quantities for row in rows if np.isfinite(quantity.values[row])}
    lines = [before, *(words[mark] for mark in (DOUBTFUL, BELOW_FLOOR) if mark in shown)]
    table.caption = Text("\n".join(line for line in lines if line), style="dim")
