"""Tables of numbers as CSV: comma, one header row, `.` decimal, an empty cell for "not measurable here"."""

import csv
import io
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from distort.errors import SessionError, shown
from distort.session.files.atomic import write_bytes, write_text
from distort.session.files.reading import read_text
from signals.levels import NOTHING_DB

FloatArray = npt.NDArray[np.float64]

Cell = str | float | int | None

FORMULA = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20")
"""What begins a formula, also in full width."""

FREQUENCY = "frequency_hz"
"""The column that every table begins with."""

LARGEST = 1000.0
"""Of decibels, either way: no measurement comes near it, and powers of them stay numbers."""

LARGEST_OTHER = 1e15
"""Of per cent, which 1000 dB would pass, of degrees, of uncertainties, which grow where next to nothing is known, and
of powers re others, as what strikes has them: a buzz 40 dB over a quiet room is 10,000 times its noise."""

RATIOS = ("z_", "unevenness_")
"""How the names of columns of such powers begin."""

HIGHEST_HZ = 1e6

DECIMALS = 4
"""0.0001 dB is far below what any of these readings can state."""

_WORD = "%s"
_NO_NUMBER = re.compile(r"(?<![^,\n])nan(?![^,\n])")
"""A cell of NaN, as `%` writes it, in a table that holds words as well."""

PERCENT_DECIMALS = 6
"""A millionth of a per cent is -160 dB."""


def write_table(path: Path, columns: Mapping[str, npt.ArrayLike]) -> None:
    """Write columns of equal length, `(rows,)` each, in their order: numbers, or texts without a comma. NaN becomes an
    empty cell.

    Nothing at all (minus infinity, or below -300) is written as -300. Raises SessionError when a value is
    larger than any result can be, lengths differ, or the folder does not allow it.
    """
    forms, cells = zip(*(_cells(path, name, np.asarray(values)) for name, values in columns.items()), strict=True)
    if len({len(of_column) for of_column in cells}) != 1:
        raise SessionError(f"{path} is not written: its columns are not equally long")
    row_form = ",".join(forms) + "\n"  # a row at a time: one cell at a time takes thrice as long
    rows = "".join(row_form % row for row in zip(*cells, strict=True))
    rows = _NO_NUMBER.sub("", rows) if _WORD in forms else rows.replace("nan", "")
    write_text(path, ",".join(columns) + "\n" + rows)


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


def read_table(path: Path, *, words: Sequence[str] = ()) -> dict[str, FloatArray]:
    """The columns of a CSV file that `write_table` wrote, `(rows,)` each; an empty cell is NaN.

    words   columns that hold texts: `read_words` reads them, here they are left out

    The first is frequency: at least one row, each above the one before. Raises SessionError, with file and line, when
    the file is missing, not such a table, or holds a number that no result can have.
    """
    try:
        text = read_text(path).removeprefix("\ufeff")
    except FileNotFoundError as error:
        raise SessionError(f"{path} is missing: run `distort analyze`") from error
    except UnicodeDecodeError as error:
        raise SessionError(f"{path} is not UTF-8 text{_AGAIN}") from error
    except OSError as error:
        raise SessionError(f"{path} cannot be read: {error.strerror or error}") from error
    if "\0" in text:  # UTF-16, as some editors save it
        raise SessionError(f"{path} is not UTF-8 text{_AGAIN}")
    lines = text.splitlines()
    if not lines or not lines[0].strip():
        raise SessionError(f"{path} is empty{_AGAIN}")
    names = [name.strip() for name in lines[0].split(",")]
    if len(set(names)) != len(names):
        raise SessionError(f"{path}, line 1: a column stands there twice{_AGAIN}")
    if names[0] != FREQUENCY:
        raise SessionError(f"{path}, line 1: it begins with {shown(names[0])}, not with {FREQUENCY}{_AGAIN}")
    if len(lines) == 1:
        raise SessionError(f"{path} has no rows{_AGAIN}")
    rows = [line.split(",") for line in lines[1:]]
    for number, row in enumerate(rows, start=2):
        if len(row) != len(names):
            raise SessionError(f"{path}, line {number}: {len(row)} cells, where the header has {len(names)}{_AGAIN}")
    columns = zip(names, zip(*rows, strict=True), strict=True)
    table = {name: _column(path, cells, _largest(name)) for name, cells in columns if name not in words}
    _check_frequencies(path, table[FREQUENCY])
    return table


def read_words(path: Path, column: str) -> tuple[str, ...]:
    """A column of texts in a file that `read_table` has read. Raises SessionError when it has no such column."""
    lines = read_text(path).removeprefix("\ufeff").splitlines()
    names = [name.strip() for name in lines[0].split(",")]
    if column not in names:
        raise SessionError(f"{path} has no column {column}{_AGAIN}")
    return tuple(line.split(",")[names.index(column)].strip() for line in lines[1:])


_AGAIN = ": run `distort analyze` again"


def _largest(name: str) -> float:
    """What no value in the column `name` is above, either way."""
    if name == FREQUENCY:
        return HIGHEST_HZ
    other = name.endswith(("_percent", "_deg")) or "uncertainty" in name or name.startswith(RATIOS)
    return LARGEST_OTHER if other else LARGEST


def _check_frequencies(path: Path, frequency_hz: FloatArray) -> None:
    """Raise SessionError where a frequency is missing, or not above 0 and the one before."""
    rises = np.diff(frequency_hz, prepend=0.0) > 0.0  # NaN does not
    if not np.all(rises):
        line = 2 + int(np.argmin(rises))
        raise SessionError(f"{path}, line {line}: its frequency is not above that of the line before{_AGAIN}")


def _cells(path: Path, name: str, values: npt.NDArray[np.generic]) -> tuple[str, list[Any]]:
    """How each cell of a column is written, as `%` takes it, and what."""
    if values.dtype.kind == "U":
        if any("," in str(value) for value in values):
            raise SessionError(f"{path} is not written: a text in {name} holds a comma")
        return _WORD, [as_text(str(value)) for value in values]
    if np.issubdtype(values.dtype, np.integer):
        return "%d", values.tolist()
    decimals = PERCENT_DECIMALS if name.endswith("_percent") else DECIMALS
    numbers = values.astype(np.float64)
    if np.any(numbers > _largest(name)):
        raise SessionError(f"{path} is not written: {name} holds {np.nanmax(numbers):g}, which no result can")
    held = np.round(np.maximum(numbers, NOTHING_DB), decimals) + 0.0  # + 0.0 makes -0.0 plain 0.0
    return f"%.{decimals}f", held.tolist()


def _column(path: Path, cells: Sequence[str], most: float) -> FloatArray:
    """The numbers of one column, none of which is above `most` either way; NaN for an empty cell."""
    try:
        values = np.array([float(cell) if cell else math.nan for cell in cells])
    except ValueError:
        values = np.full(len(cells), math.inf)
    if np.count_nonzero(np.abs(values) <= most) + cells.count("") == len(cells):
        return values
    return np.array([_number(f"{path}, line {line}", cell, most) for line, cell in enumerate(cells, start=2)])


def _number(where: str, cell: str, most: float) -> float:
    if not cell.strip():
        return math.nan
    try:
        value = float(cell)
    except ValueError as error:
        raise SessionError(f"{where}: {shown(cell)} is neither a number nor empty{_AGAIN}") from error
    if not abs(value) <= most:  # nor is NaN
        raise SessionError(f"{where}: {shown(cell)} is no number that a result can have{_AGAIN}")
    return value
