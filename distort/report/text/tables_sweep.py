"""Tables of readings: quantities down, octaves across, 80 columns wide, complete without colour.

A reading that its noise floor or the room spoils carries a mark in front: `?` read with care, `<` below its noise floor
(the floor is printed then).
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from rich.table import Table
from rich.text import Text

from distort.analysis.common.caution import CLEAR_OF_NOISE_DB, caution
from distort.analysis.common.curves import BoolArray, FloatArray, Harmonics, Order, Response
from distort.report.text.numbers import NOT_MEASURABLE, OCTAVE_HZ, OCTAVE_NAMES, decibels, hertz, level_name, percent

DOUBTFUL, BELOW_FLOOR = "?", "<"
LEGEND = {
    DOUBTFUL: "? read with care: near its noise, or spoilt by the room, gate or sweep speed",
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

    def worst_row(self) -> int | None:
        """Grid row of the highest reading that carries no mark; None when every one does."""
        clean = np.isfinite(self.values) & ~self.doubtful & ~self.below
        return int(np.argmax(np.where(clean, self.values, -np.inf))) if clean.any() else None


def level_row(response: Response, label: str) -> TableRow:
    """The response as a row: near its noise, or below the lowest frequency that its window allows, it is doubtful."""
    near = caution(response.level_db, (response.noise_db, CLEAR_OF_NOISE_DB))
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
        write=decibels,
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
        write=percent,
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
    near = caution(harmonics.thd_db, (harmonics.thd_noise_db, CLEAR_OF_NOISE_DB))
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


def harmonics_table(harmonics: Harmonics, response: Response, *, orders: Sequence[int] = PROMINENT_ORDERS) -> Table:
    """Level, THD and `orders` of one recording at the octave midbands, and the worst of each with where it is.

    Raises KeyError when an order was not separated.
    """
    separated = {order.order: order for order in harmonics.orders}
    quantities = [
        level_row(response, UNIT_NAMES[response.unit]),
        thd_row(harmonics),
        *(order_row(separated[order]) for order in orders),
    ]
    table = octave_table("Hz", worst=True)
    for index, quantity in enumerate(quantities):
        table.add_row(
            *cells(quantity, harmonics.frequency_hz), *worst_cells(quantity, harmonics.frequency_hz, index > 0)
        )
    add_legend(table, quantities, harmonics.frequency_hz)
    return table


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
        mark = quantity.mark(row)
        shown = quantity.floor[row] if mark == BELOW_FLOOR else quantity.values[row]
        number = quantity.write(float(shown))
        written.append(Text(f"{mark}{number}", style=STYLES[mark]))
    return written


def worst_cells(quantity: TableRow, frequency_hz: FloatArray, wanted: bool) -> list[Text]:
    """The highest reading without a mark and its frequency; two empty cells where they are not `wanted`."""
    if not wanted:
        return [Text(""), Text("")]
    row = quantity.worst_row()
    if row is None:
        return [Text(NOT_MEASURABLE, style="dim")] * 2
    return [Text(quantity.write(float(quantity.values[row])), style="bold"), Text(hertz(float(frequency_hz[row])))]


def add_legend(
    table: Table,
    quantities: Sequence[TableRow],
    frequency_hz: FloatArray,
    *,
    before: str = "",
    words: Mapping[str, str] = LEGEND,
) -> None:
    """Explain under the table the marks that stand in it, in the `words` for each; `before` comes first."""
    rows = [row for row in midband_rows(frequency_hz) if row is not None]
    shown = {quantity.mark(row) for quantity in quantities for row in rows if np.isfinite(quantity.values[row])}
    lines = [before, *(words[mark] for mark in (DOUBTFUL, BELOW_FLOOR) if mark in shown)]
    table.caption = Text("\n".join(line for line in lines if line), style="dim")
