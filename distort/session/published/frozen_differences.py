"""How the results of today differ from those that were frozen, and which inputs or programs changed meanwhile."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from distort.errors import PlanError
from distort.session.files.csv_table import read_table
from distort.session.files.folder import AUDIO_SUFFIXES, PLAN_FILE, SessionFolder
from distort.session.files.reading import read_bytes
from distort.session.plan.keys import Plan
from distort.session.plan.reading import toml_of
from distort.session.published.frozen import Frozen, frozen_folder, kept_input
from distort.session.published.written_inputs import written_inputs
from distort.session.results.condition_results import result_paths_of
from distort.session.results.inputs import FileHash, name_in
from distort.session.results.kinds import words_in
from distort.session.results.software import Software

FloatArray = npt.NDArray[np.float64]

BESIDE_THE_READINGS = ("noise", "leak", "bias", "uncertainty", "phase", "equivalent", "residual")
"""Parts of names of columns that accompany a reading: one of them is named only where no reading changed."""


@dataclass(frozen=True, kw_only=True)
class TableDifference:
    """One table of which a number changed: how many, and where by most."""

    file: str
    """Relative to the session: results/desk/harmonics_96dB.csv."""
    numbers: int
    """How many cells there are in both."""
    changed: int
    """How many of them hold another number, or hold one where the other is empty."""
    column: str
    """Where a reading changed most: its column,"""
    frequency_hz: float
    """its row,"""
    then: float
    """what was frozen (NaN: an empty cell),"""
    now: float
    """and what is found today."""


@dataclass(frozen=True, kw_only=True)
class ValueChange:
    """One value that an input states differently now; None: it did not, or does not, state it."""

    key: str
    then: Any
    now: Any


@dataclass(frozen=True, kw_only=True)
class Reason:
    """What changed of plan, recordings, calibration or programs."""

    of: str
    """The file, relative to the session, or the program."""
    how: Literal["gone", "new", "renamed", "another file", "layout alone", "other values", "another version"]
    values: tuple[ValueChange, ...] = ()
    """Those of a file that holds other values; the one version of a program, or name of a file, without a key."""


@dataclass(frozen=True, kw_only=True)
class Differences:
    """Results then and now, and what may be the reason."""

    frozen: Frozen
    tables: tuple[TableDifference, ...]
    missing: tuple[str, ...]
    """Tables that were frozen and are not among today's results."""
    added: tuple[str, ...]
    """Tables of today that were not frozen."""
    reasons: tuple[Reason, ...]

    @property
    def same(self) -> bool:
        """Whether every number is the same to the last digit written."""
        return not (self.tables or self.missing or self.added)


def differences(folder: SessionFolder, plan: Plan, frozen: Frozen, software: Sequence[Software]) -> Differences:
    """Today's results/ against what was frozen. Raises SessionError for tables or inputs that cannot be read."""
    place = frozen_folder(folder, frozen.label)
    then = {one.file for one in frozen.results if one.file.endswith(".csv")}
    conditions = {Path(file).parent.name for file in then}
    now = {
        name_in(folder, path)
        for condition in conditions
        for path in result_paths_of(folder, condition)
        if path.suffix == ".csv"
    }
    found = (_compare(file, place / file, folder.inside(file)) for file in sorted(then & now))
    return Differences(
        frozen=frozen,
        tables=tuple(one for one in found if one is not None),
        missing=tuple(sorted(then - now)),
        added=tuple(sorted(now - then)),
        reasons=(
            *_input_reasons(folder, frozen, written_inputs(folder, plan)),
            *_software_reasons(frozen.software, software),
        ),
    )


def _compare(file: str, then_path: Path, now_path: Path) -> TableDifference | None:
    """None where all numbers are the same. Columns that only one of both has count as changed."""
    if read_bytes(then_path) == read_bytes(now_path):
        return None
    then, now = (read_table(path, words=words_in(path)) for path in (then_path, now_path))
    rows_hz = then["frequency_hz"]
    names = list(dict.fromkeys([*then, *now]))
    old = np.array([_on(rows_hz, then, name) for name in names])
    new = np.array([_on(rows_hz, now, name) for name in names])
    both_empty = np.isnan(old) & np.isnan(new)
    differs = ~((old == new) | both_empty)
    size = np.where(differs, np.nan_to_num(np.abs(new - old), nan=np.inf), -1.0)
    beside = np.array([any(word in name for word in BESIDE_THE_READINGS) for name in names])
    if np.any(differs[~beside]):
        size[beside] = -1.0
    column, row = np.unravel_index(int(np.argmax(size)), size.shape)
    return TableDifference(
        file=file,
        numbers=int(np.count_nonzero(~both_empty)),
        changed=int(np.count_nonzero(differs)),
        column=names[column],
        frequency_hz=float(rows_hz[row]),
        then=float(old[column, row]),
        now=float(new[column, row]),
    )


def _on(rows_hz: FloatArray, table: Mapping[str, FloatArray], name: str) -> FloatArray:
    """Column `name` at the rows `rows_hz`; empty where the table has no such column or row."""
    if name not in table:
        return np.full(rows_hz.shape, np.nan)
    return np.interp(rows_hz, table["frequency_hz"], table[name], left=np.nan, right=np.nan)


def _input_reasons(folder: SessionFolder, frozen: Frozen, inputs: Sequence[FileHash]) -> Iterator[Reason]:
    then = {one.file: one.sha256 for one in frozen.inputs}
    now = {one.file: one.sha256 for one in inputs}
    renamed = _renamed(then, now)
    beside = {_sidecar(name) for names in renamed.items() for name in names}
    for file in sorted((then.keys() | now.keys()) - set(renamed.values()) - beside):
        if file in renamed:
            yield Reason(of=file, how="renamed", values=(ValueChange(key="", then=file, now=renamed[file]),))
        elif file not in now:
            yield Reason(of=file, how="gone")
        elif file not in then:
            yield Reason(of=file, how="new")
        elif then[file] != now[file]:
            yield _what_changed(file, kept_input(folder, frozen.label, file), folder.inside(file))


def _renamed(then: Mapping[str, str], now: Mapping[str, str]) -> dict[str, str]:
    """Recordings that have another name now, by the one that they had: `distort relabel` gives another."""
    new = {sha256: file for file, sha256 in now.items() if file not in then}
    gone = {file: sha256 for file, sha256 in then.items() if file not in now and file.endswith(AUDIO_SUFFIXES)}
    return {file: new[sha256] for file, sha256 in gone.items() if sha256 in new}


def _sidecar(recording: str) -> str:
    return Path(recording).with_suffix(".json").as_posix()


def _what_changed(file: str, kept: bytes | None, path: Path) -> Reason:
    then = None if kept is None else _values(file, kept)
    now = None if then is None else _values(file, read_bytes(path))
    if then is None or now is None:
        return Reason(of=file, how="another file")
    keys = [key for key in dict.fromkeys([*then, *now]) if then.get(key) != now.get(key)]
    if not keys:
        return Reason(of=file, how="layout alone")
    changes = tuple(ValueChange(key=key, then=then.get(key), now=now.get(key)) for key in keys)
    return Reason(of=file, how="other values", values=changes)


def _values(file: str, content: bytes) -> dict[str, Any] | None:
    """What an input says, by key; None where it says nothing, as a .json file that is none of this program's may."""
    try:
        document = toml_of(content, source=file) if file == PLAN_FILE else json.loads(content)
        return dict(_flat(document)) if isinstance(document, dict) else None
    except (PlanError, ValueError, RecursionError):
        return None


def _flat(document: Any, prefix: str = "") -> Iterator[tuple[str, Any]]:
    """Every value of nested objects under its keys joined by dots."""
    for key, value in document.items():
        if isinstance(value, dict):
            yield from _flat(value, f"{prefix}{key}.")
        else:
            yield f"{prefix}{key}", value


def _software_reasons(then: Sequence[Software], now: Sequence[Software]) -> Iterator[Reason]:
    versions = {one.name: one.version for one in then}
    for one in now:
        if versions.get(one.name) != one.version:
            change = ValueChange(key="", then=versions.get(one.name), now=one.version)
            yield Reason(of=one.name, how="another version", values=(change,))
