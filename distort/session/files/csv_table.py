"""Tables of numbers as CSV: comma, one header row, `.` decimal, an empty cell for "not measurable here"."""

import csv
import io
import math
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

import numpy as np
import numpy.typing as npt

from distort.errors import SessionError
from distort.session.files.atomic import write_bytes, write_text
from distort.session.files.json_fields import read_small_text
from signals.levels import NOTHING_DB

FloatArray = npt.NDArray[np.float64]

Cell = str | float | int | None

FORMULA = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20")
"""What begins a formula, also in full width."""

MOST_BYTES = 50_000_000
"""A table of ten orders has 0.2 MB."""

DECIMALS = 4
"""0.0001 dB is far below what any of these readings can state."""

PERCENT_DECIMALS = 6
"""A millionth of a per cent is -160 dB."""


def write_table(path: Path, columns: Mapping[str, npt.ArrayLike]) -> None:
    """Write columns of equal length, `(rows,)` each, in their order. NaN becomes an empty cell.

    Nothing at all (minus infinity, or below -300) is written as -300. Raises SessionError when a value is plus
    infinity, lengths differ, or the folder does not allow it.
    """
    texts = [_cells(path, name, np.asarray(values)) for name, values in columns.items()]
    if len({len(cells) for cells in texts}) != 1:
        raise SessionError(f"{path} is not written: its columns are not equally long")
    rows = [",".join(columns), *(",".join(row) for row in zip(*texts, strict=True))]
    write_text(path, "\n".join(rows) + "\n")


def write_mixed_table(path: Path, names: Sequence[str], rows: Iterable[Sequence[Cell]]) -> None:
    """Write rows of texts, numbers and None (an empty cell) under a header; quoted where it must be (RFC 4180).

    A text that a spreadsheet would take for a formula begins with an apostrophe, and a line break in it is a blank.
    Raises SessionError when a number is not finite or the folder does not allow it.
    """
    file = io.StringIO(newline="")
    table = csv.writer(file, lineterminator="\n")
    table.writerow(names)
    for row in rows:
        if not all(math.isfinite(cell) for cell in row if isinstance(cell, float)):
            raise SessionError(f"{path} is not written: a number in it is not finite")
        table.writerow([as_text(cell) if isinstance(cell, str) else cell for cell in row])
    write_bytes(path, file.getvalue().encode("utf-8", errors="replace"))


def as_text(cell: str) -> str:
    """`cell` in one line, and so that no spreadsheet runs it: OWASP, CSV Injection, names the characters."""
    line = "".join(character if character.isprintable() else " " for character in cell)
    return f"'{line}" if line.lstrip().startswith(FORMULA) else line


def read_table(path: Path) -> dict[str, FloatArray]:
    """The columns of a CSV file that `write_table` wrote; an empty cell is NaN.

    Raises SessionError, with file and line, when it is missing or not such a table.
    """
    try:
        lines = read_small_text(path, MOST_BYTES).removeprefix("\ufeff").splitlines()
    except FileNotFoundError as error:
        raise SessionError(f"{path} is missing: run `distort analyze`") from error
    except (OSError, UnicodeDecodeError) as error:
        raise SessionError(f"{path} cannot be read: {error}") from error
    if not lines or not lines[0].strip():
        raise SessionError(f"{path} is empty: run `distort analyze` again")
    names = [name.strip() for name in lines[0].split(",")]
    if len(set(names)) != len(names):
        raise SessionError(f"{path}, line 1: a column stands there twice")
    rows = [_numbers(path, number, line, len(names)) for number, line in enumerate(lines[1:], start=2)]
    table = np.asarray(rows, dtype=np.float64).reshape(len(rows), len(names))
    return {name: table[:, index].copy() for index, name in enumerate(names)}


def _cells(path: Path, name: str, values: npt.NDArray[np.generic]) -> list[str]:
    if np.issubdtype(values.dtype, np.integer):
        return [str(int(value)) for value in values]
    decimals = PERCENT_DECIMALS if name.endswith("_percent") else DECIMALS
    numbers = values.astype(np.float64)
    if np.any(np.isposinf(numbers)):
        raise SessionError(f"{path} is not written: {name} holds infinity")
    held = np.round(np.maximum(numbers, NOTHING_DB), decimals) + 0.0  # + 0.0 makes -0.0 plain 0.0
    return ["" if np.isnan(value) else f"{value:.{decimals}f}" for value in held]


def _numbers(path: Path, number: int, line: str, width: int) -> list[float]:
    cells = line.split(",")
    if len(cells) != width:
        raise SessionError(f"{path}, line {number}: {len(cells)} cells, where the header has {width}")
    try:
        values = [float(cell) if cell.strip() else float("nan") for cell in cells]
    except ValueError as error:
        raise SessionError(f"{path}, line {number}: {error}; run `distort analyze` again") from error
    if not all(np.isfinite(value) or not cell.strip() for value, cell in zip(values, cells, strict=True)):
        raise SessionError(f"{path}, line {number}: a cell holds what is neither a number nor empty")
    return values
