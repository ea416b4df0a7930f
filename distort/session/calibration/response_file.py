"""A text file of a microphone's response: rows of frequency, dB and perhaps phase, as laboratories and makers write it.

Cells are parted by commas, semicolons, or blanks and tabs; where commas do not part them, they may be decimal commas.
Lines that begin with `#`, `*`, `;` or `"` are comments, and one header line may stand above the numbers.
"""

import hashlib
import math
import re
import stat
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt

from distort.errors import SessionError, shown
from distort.session.files.reading import read_bytes

FloatArray = npt.NDArray[np.float64]

COMMENT = ("#", "*", ";", '"')

MOST_BYTES = 4_000_000
MOST_ROWS = 100_000
"""Both far beyond what any laboratory writes: a file that is larger is another kind of file."""

FREQUENCY_HZ = (0.01, 1e6)
LEVEL_DB = 200.0
"""Either way: files may state the sensitivity, such as -38 dB re 1 V/Pa, instead of starting from 0."""
MOST_SPAN_DB = 60.0
"""No response that a microphone can be used for spans more (common practice, no source)."""
PHASE_DEG = 36_000.0
"""A hundred turns: more is a delay in another unit."""

Separator = Literal["semicolon", "comma", "blank"]


@dataclass(frozen=True, kw_only=True, eq=False)
class ResponseTable:
    """What such a file holds, `(rows,)` each, as it stands there."""

    frequency_hz: FloatArray
    level_db: FloatArray
    phase_deg: FloatArray | None
    sha256: str
    """Of the file."""


@dataclass(frozen=True)
class _Row:
    line: int
    cells: tuple[float, ...]
    separator: Separator


def read_response_file(
    path: Path, *, named_by: str = "[microphone] response_file", of_microphone: bool = True
) -> ResponseTable:
    """The rows of a response file: Hz (strictly ascending), dB, and degrees where every row has a third number.

    named_by        the key of session.toml that names it, for the message when it is missing or no file
    of_microphone   False: of a loudspeaker, which may span any range of levels

    Raises SessionError in one sentence, with file and line, for what is not such a file.
    """
    raw = _bytes(path, named_by)
    rows = _rows(path, _text(path, raw))
    if len(rows) < 2:
        where = f", line {rows[0].line}" if rows else ""
        raise SessionError(
            f"{path}{where}: a response needs at least two rows of frequency and dB, here are {len(rows)}"
        )
    first = rows[0]
    for before, row in pairwise(rows):
        if len(row.cells) != len(first.cells):
            raise SessionError(
                f"{path}, line {row.line}: {len(row.cells)} numbers, where line {first.line} has {len(first.cells)}"
            )
        if row.separator != first.separator:
            raise SessionError(
                f"{path}, line {row.line}: numbers are parted by {_NAMES[row.separator]}, in line {first.line} by "
                f"{_NAMES[first.separator]}"
            )
        if row.cells[0] <= before.cells[0]:
            raise SessionError(
                f"{path}, line {row.line}: {row.cells[0]:g} Hz does not lie above {before.cells[0]:g} Hz in the row "
                f"before: frequencies must ascend"
            )
    table = np.array([row.cells for row in rows])
    if of_microphone:
        _require_one_microphone(path, rows, table[:, 1])
    return ResponseTable(
        frequency_hz=table[:, 0].copy(),
        level_db=table[:, 1].copy(),
        phase_deg=table[:, 2].copy() if table.shape[1] == 3 else None,
        sha256=hashlib.sha256(raw).hexdigest(),
    )


_NAMES: dict[Separator, str] = {"semicolon": "semicolons", "comma": "commas", "blank": "blanks"}


def _bytes(path: Path, named_by: str) -> bytes:
    try:
        if not stat.S_ISREG((status := path.stat()).st_mode):
            kind = "a folder" if stat.S_ISDIR(status.st_mode) else "no file"
            raise SessionError(f"{path} is {kind}: {named_by} of session.toml must name a text file")
        return read_bytes(path, MOST_BYTES)
    except FileNotFoundError as error:
        raise SessionError(f"{path} is missing: {named_by} of session.toml names it") from error
    except OSError as error:
        raise SessionError(f"{path} cannot be read: {error.strerror or error}") from error


def _text(path: Path, raw: bytes) -> str:
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        return raw.decode("utf-16", errors="replace")
    if b"\0" in raw:
        line = raw[: raw.index(b"\0")].count(b"\n") + 1
        raise SessionError(f"{path}, line {line}: this is not a text file: export the response as text")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("latin-1")  # degree signs of old programs, in comments; numbers are the same in both


def _rows(path: Path, text: str) -> list[_Row]:
    rows: list[_Row] = []
    header_seen = False
    for line, written in enumerate(re.split(r"\r\n|\r|\n", text), start=1):
        stripped = written.strip()
        if not stripped or stripped.startswith(COMMENT):
            continue
        if not rows and not header_seen and not re.match(r"[-+.,]?\d|[-+]?(nan|inf)", stripped, re.IGNORECASE):
            header_seen = True
            continue
        if len(rows) == MOST_ROWS:
            raise SessionError(f"{path} has more than {MOST_ROWS:,} rows: it is no table of a response")
        rows.append(_row(f"{path}, line {line}", stripped, line))
    return rows


def _row(where: str, text: str, line: int) -> _Row:
    separator, cells = _parted(where, text)
    if not 2 <= len(cells) <= 3:
        raise SessionError(f"{where}: frequency, dB and perhaps phase are needed, here are {len(cells)} cells")
    numbers = tuple(_number(where, cell, decimal_comma=separator != "comma") for cell in cells)
    frequency_hz, level_db = numbers[:2]
    if not FREQUENCY_HZ[0] <= frequency_hz <= FREQUENCY_HZ[1]:
        raise SessionError(f"{where}: {frequency_hz:g} Hz is no frequency of a response")
    if abs(level_db) > LEVEL_DB:
        raise SessionError(f"{where}: {level_db:g} dB is no level of a response")
    if len(numbers) == 3 and abs(numbers[2]) > PHASE_DEG:
        raise SessionError(f"{where}: {numbers[2]:g} degrees is no phase of a response")
    return _Row(line, numbers, separator)


def _parted(where: str, text: str) -> tuple[Separator, list[str]]:
    """Which separator a row has, and its cells; one separator at its end, as spreadsheets leave it, is none."""
    if ";" in text:
        return "semicolon", [cell.strip() for cell in text.removesuffix(";").split(";")]
    apart = re.split(r"[ \t]*,[ \t]*", text.removesuffix(","))
    beside_blank = re.search(r"[ \t],|,[ \t]", text) is not None
    if not re.search(r"\s", text) or (beside_blank and not any(re.search(r"\s", cell) for cell in apart)):
        if not beside_blank and len(apart) == 3 and "." not in text:
            raise SessionError(
                f"{where}: these commas may be decimal commas or part the numbers: write decimal points, or part the "
                f"numbers by semicolons"
            )
        if beside_blank and re.search(r"\d,\d", text):
            raise SessionError(
                f"{where}: commas stand both inside numbers and between them: part the numbers by semicolons"
            )
        return "comma", apart
    return "blank", text.split()


def _number(where: str, cell: str, *, decimal_comma: bool) -> float:
    """A cell as a number. Raises SessionError."""
    written = cell.replace(",", ".") if decimal_comma and cell.count(",") == 1 and "." not in cell else cell
    # float() alone would also take 1_000
    if not re.fullmatch(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?|[-+]?(nan|inf|infinity)", written, re.IGNORECASE):
        raise SessionError(f"{where}: {shown(cell)} is not a number")
    value = float(written)
    if not math.isfinite(value):
        raise SessionError(f"{where}: {shown(cell)} is not a finite number")
    return value


def _require_one_microphone(path: Path, rows: Sequence[_Row], level_db: FloatArray) -> None:
    away_db = np.abs(level_db - np.median(level_db))
    worst = int(np.argmax(away_db))
    if away_db[worst] > MOST_SPAN_DB:
        raise SessionError(
            f"{path}, line {rows[worst].line}: {level_db[worst]:g} dB lies {away_db[worst]:.0f} dB from the middle of "
            f"the other rows: no microphone that measures responds so"
        )
