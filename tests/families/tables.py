"""What a session's results say, read from its files alone: findings.json as it stands, and the tables.

Nothing of the program is used: whoever checks what it says must not ask it.
"""

import csv
import json
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from tests.families.filters import FloatArray

ROW_OCTAVES = math.log2(10.0) / 80.0
"""Between rows of the tables of a level, f = 1000 x 10^(x/80) Hz."""


@dataclass(frozen=True)
class Table:
    """A CSV file: its columns by name, `(rows,)` each; NaN where a cell is empty."""

    columns: dict[str, FloatArray]

    @property
    def frequency_hz(self) -> FloatArray:
        """Of its rows."""
        return self.columns["frequency_hz"]

    def column(self, name: str) -> FloatArray:
        """NaN throughout where the table has no such column."""
        return self.columns.get(name, np.full(self.frequency_hz.shape, np.nan))

    def near(self, hz: float, octaves: float) -> FloatArray:
        """Which rows lie within `octaves` of `hz`, the nearest one always, `(rows,)` of bool."""
        distance = np.abs(np.log2(self.frequency_hz / hz))
        return np.asarray((distance <= octaves) | (distance == distance.min()))

    def at(self, name: str, hz: float) -> float:
        """The value of the nearest row; NaN beyond the ends of the table."""
        if not self.frequency_hz[0] * 0.98 <= hz <= self.frequency_hz[-1] * 1.02:
            return math.nan
        return float(self.column(name)[np.abs(np.log(self.frequency_hz / hz)).argmin()])


def read_table(path: Path) -> Table:
    """The table in a CSV file."""
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    names = list(rows[0]) if rows else []
    return Table({name: np.array([_number(row[name]) for row in rows]) for name in names})


def _number(cell: str) -> float:
    try:
        return float(cell)
    except ValueError:
        return math.nan


@dataclass(frozen=True)
class Condition:
    """The results of one condition."""

    folder: Path
    """results/<condition> of the session."""

    @property
    def name(self) -> str:
        """As the session calls it."""
        return self.folder.name

    @cached_property
    def document(self) -> dict[str, Any]:
        """findings.json."""
        return dict(json.loads((self.folder / "findings.json").read_text(encoding="utf-8")))

    @property
    def findings(self) -> list[dict[str, Any]]:
        """Its list of findings; empty where it has none."""
        return list(self.document.get("findings", []))

    @cached_property
    def harmonics(self) -> dict[float, Table]:
        """By nominal level, from the lowest up."""
        return self._of_levels("harmonics")

    @cached_property
    def responses(self) -> dict[float, Table]:
        """By nominal level, from the lowest up."""
        return self._of_levels("response")

    @cached_property
    def multitones(self) -> dict[float, Table]:
        """By nominal level, from the lowest up."""
        return self._of_levels("multitone")

    @cached_property
    def changes(self) -> dict[str, Table]:
        """By source, "sweep" and "multitone", as far as they are there."""
        paths = {source: self.folder / f"compression_{source}.csv" for source in ("sweep", "multitone")}
        return {source: read_table(path) for source, path in paths.items() if path.exists()}

    @property
    def levels(self) -> list[float]:
        """Nominal, from the lowest up."""
        return list(self.harmonics)

    def _of_levels(self, kind: str) -> dict[float, Table]:
        return dict(sorted((level, read_table(path)) for level, path in _level_files(self.folder, kind)))


def _level_files(folder: Path, kind: str) -> Iterator[tuple[float, Path]]:
    for path in folder.glob(f"{kind}_*dB.csv"):
        found = re.fullmatch(rf"{kind}_([0-9.]+)dB\.csv", path.name)
        if found:
            yield float(found[1]), path


@dataclass(frozen=True)
class Results:
    """All results of a session."""

    root: Path

    @cached_property
    def conditions(self) -> dict[str, Condition]:
        """By name, those that were analysed."""
        paths = sorted((self.root / "results").glob("*/findings.json"))
        return {path.parent.name: Condition(path.parent) for path in paths}

    def sweep_of(self, condition: str) -> dict[str, float]:
        """start_hz, stop_hz, seconds of the sweep as it was played; empty where no sidecar tells."""
        for path in sorted((self.root / "recordings" / condition).glob("sweep_*.json")):
            stimulus = json.loads(path.read_text(encoding="utf-8"))["stimulus"]
            return {key: float(stimulus[key]) for key in ("start_hz", "stop_hz", "seconds")}
        return {}
