"""Results as files: response and harmonics as CSV.

Where no calibration is known the columns of absolute level end in `_dbfs` instead of `_db_spl`.
"""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from distort.analysis.common.curves import FloatArray, Harmonics, LevelUnit, Order, Response
from distort.analysis.common.grid import grid_hz
from distort.analysis.common.quantities import HARMONICS
from distort.analysis.sweep.harmonics import doubtful_rows
from distort.errors import SessionError
from distort.session.files.csv_table import read_table, write_table

UNITS: tuple[LevelUnit, ...] = ("db_spl", "dbfs")

_ORDER_COLUMNS = {
    "relative_db": "db",
    "noise_db": "noise_db",
    "leak_db": "leak_db",
    "chain_db": "chain_db",
    "bias_db": "bias_db",
    "uncertainty_db": "uncertainty_db",
    "level_db": "{unit}",
    "equivalent_input_db": "equivalent_input_db",
}
"""Field of an order, and what its column is called after `h<n>_`."""


def write_response(path: Path, response: Response) -> None:
    """Write `response_<L>dB.csv`. Raises SessionError when the folder does not allow it."""
    write_table(
        path,
        {
            "frequency_hz": response.frequency_hz,
            f"level_{response.unit}": response.level_db,
            "phase_deg": response.phase_deg,
            f"noise_{response.unit}": response.noise_db,
        },
    )


def read_response(path: Path, *, delay_s: float, lowest_valid_hz: float) -> Response:
    """The response in `path`; the two numbers that no column holds stand in findings.json.

    Raises SessionError when the file is missing or its columns are not those of a response.
    """
    table = read_table(path)
    unit = _unit(path, table, "level")
    _require(path, table, ["frequency_hz", f"level_{unit}", "phase_deg", f"noise_{unit}"])
    return Response(
        frequency_hz=table["frequency_hz"],
        level_db=table[f"level_{unit}"],
        phase_deg=table["phase_deg"],
        noise_db=table[f"noise_{unit}"],
        unit=unit,
        delay_s=delay_s,
        lowest_valid_hz=lowest_valid_hz,
    )


def write_harmonics(path: Path, harmonics: Harmonics) -> None:
    """Write `harmonics_<L>dB.csv`. Raises SessionError when the folder does not allow it."""
    columns: dict[str, Any] = {
        "frequency_hz": harmonics.frequency_hz,
        f"fundamental_{harmonics.unit}": harmonics.fundamental_db,
        "thd_db": harmonics.thd_db,
        "thd_percent": harmonics.thd_percent,
        "thd_total_percent": harmonics.thd_total_percent,
        "thd_orders": harmonics.thd_orders,
        "residual_db": harmonics.residual_db,
    }
    for order in harmonics.orders:
        for field, column in _order_columns(order.order, harmonics.unit).items():
            columns[column] = getattr(order, field)
    columns |= {_noise_uncertainty(order.order): order.noise_uncertainty_db for order in harmonics.orders}
    write_table(path, columns)


def read_harmonics(path: Path, *, lowest_valid_hz: float) -> Harmonics:
    """The harmonics in `path`; the number that no column holds stands in findings.json.

    Raises SessionError when the file is missing or its columns are not those of harmonics.
    """
    table = read_table(path)
    unit = _unit(path, table, "fundamental")
    numbers = [one.order for one in HARMONICS if one.order is not None and one.column in table]
    first = ["frequency_hz", f"fundamental_{unit}", "thd_db", "thd_percent", "thd_total_percent", "thd_orders"]
    expected = [*first, "residual_db", *(c for n in numbers for c in _order_columns(n, unit).values())]
    expected += [_noise_uncertainty(n) for n in numbers if _noise_uncertainty(n) in table]
    _require(path, table, expected)
    thd_orders = table["thd_orders"]
    if not np.array_equal(thd_orders, np.rint(thd_orders)):
        raise SessionError(f"{path}: thd_orders must hold whole numbers")
    return Harmonics(
        frequency_hz=table["frequency_hz"],
        fundamental_db=table[f"fundamental_{unit}"],
        unit=unit,
        thd_db=table["thd_db"],
        thd_percent=table["thd_percent"],
        thd_total_percent=table["thd_total_percent"],
        thd_orders=thd_orders.astype(np.int64),
        residual_db=table["residual_db"],
        orders=tuple(_order(table, number, unit, lowest_valid_hz=lowest_valid_hz) for number in numbers),
    )


def _order_columns(number: int, unit: LevelUnit) -> dict[str, str]:
    return {field: f"h{number}_{column.format(unit=unit)}" for field, column in _ORDER_COLUMNS.items()}


def _noise_uncertainty(number: int) -> str:
    """Column of an order's interval from noise alone; earlier tables lack it, where `uncertainty_db` was just that."""
    return f"h{number}_noise_uncertainty_db"


def _order(table: Mapping[str, FloatArray], number: int, unit: LevelUnit, *, lowest_valid_hz: float) -> Order:
    values = {field: table[column] for field, column in _order_columns(number, unit).items()}
    values["noise_uncertainty_db"] = table.get(_noise_uncertainty(number), values["uncertainty_db"])
    floors = ("noise_db", "leak_db", "chain_db", "bias_db", "noise_uncertainty_db")
    doubtful = doubtful_rows(
        values["relative_db"],
        **{column: values[column] for column in floors},
        invalid=table["frequency_hz"] < lowest_valid_hz,
    )
    return Order(order=number, doubtful=doubtful, **values)


def _unit(path: Path, table: Mapping[str, FloatArray], quantity: str) -> LevelUnit:
    for unit in UNITS:
        if f"{quantity}_{unit}" in table:
            return unit
    raise SessionError(f"{path} has no column {quantity}_db_spl or {quantity}_dbfs: run `distort analyze` again")


def _require(path: Path, table: Mapping[str, FloatArray], expected: list[str]) -> None:
    """Raise SessionError unless the table has these columns, and its rows are those of every such table."""
    if list(table) != expected:
        wrong = sorted(set(table) ^ set(expected))
        raise SessionError(
            f"{path} has not the columns it must have ({', '.join(wrong) or 'their order differs'}): "
            f"run `distort analyze` again"
        )
    rows_hz, written_hz = grid_hz(), table["frequency_hz"]
    # cells have four decimals: other rows are at least 0.6 Hz away
    if written_hz.shape != rows_hz.shape or not np.allclose(written_hz, rows_hz, rtol=0.0, atol=1e-3):
        raise SessionError(
            f"{path} has not the rows it must have ({rows_hz.size}, from {rows_hz[0]:.2f} to {rows_hz[-1]:.0f} Hz): "
            f"run `distort analyze` again"
        )
