"""results/compare: each comparison is a document, which names the files that were written with it, and its own hash.

Files that no document names are the user's own. Documents of earlier versions name none: theirs are the table of the
same name, if it holds numbers, and the pictures (PNG) of what they compare.
"""

import json
import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from distort.errors import SessionError
from distort.session.files.csv_table import read_table
from distort.session.files.folder import SessionFolder
from distort.session.files.hashing import is_file_of, sha256_of_file, sha256_of_text
from distort.session.files.json_fields import load_json_object
from distort.session.files.names import format_level

KEYS = {
    *("format", "words", "a", "b", "basis", "unlike", "levels", "uncertainty", "calibration_uncertainty_db"),
    *("quantities", "anomalies", "findings", "no_faults"),
}
"""What every document holds: another JSON file in the folder is none."""

LATER = {"near_field_hz", "proved"}
"""What it has held since near fields are compared."""

OLDER_KEYS = KEYS - {"findings"} | {"coincidences"}
"""What it held before there were findings."""

FILES, SEAL = "files", "sha256"
"""And what it has held since: the files written with it, each with its SHA-256, and that of all the rest of it."""

_NAME = re.compile(r"[A-Za-z0-9_-]+__[A-Za-z0-9_-]+")
_BESIDE = re.compile(r"(_third)?(_uncertainty|_together|_changed)?$")
"""What columns of a table are called after the difference that they belong to."""


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """One comparison, as it was written."""

    document: Path
    said: Mapping[str, Any]
    """What the document holds."""
    files: tuple[Path, ...]
    """Its table and pictures, sorted."""


@dataclass(frozen=True, kw_only=True)
class Comparisons:
    """All of a session."""

    each: tuple[Comparison, ...]
    """By name."""
    left_out: tuple[Path, ...]
    """Documents, and files that they name, which are not as they were written."""


def read_comparisons(folder: SessionFolder) -> Comparisons:
    """Every comparison of the session. Raises SessionError when the folder leads out of the session."""
    there = {path.name: path for path in folder.files_in("results", "compare")}
    each, left_out = [], []
    for path in there.values():
        if path.suffix != ".json" or not _NAME.fullmatch(path.stem) or (said := _said(path)) is None:
            continue
        if FILES in said and said.get(SEAL) != seal(said):
            left_out.append(path)
            continue
        as_written, found = _files_of(path, said, there)
        left_out += [one for one in found if one not in as_written]
        each.append(Comparison(document=path, said=said, files=tuple(as_written)))
    return Comparisons(each=tuple(each), left_out=tuple(left_out))


def with_files(document: Mapping[str, Any], paths: Sequence[Path]) -> dict[str, Any]:
    """A document with the files that were written with it. Raises SessionError when one cannot be read."""
    said = {**document, FILES: [{"file": path.name, "sha256": sha256_of_file(path)} for path in paths]}
    return {**said, SEAL: seal(said)}


def seal(said: Mapping[str, Any]) -> str:
    """SHA-256 of a document, apart from the seal itself: of its JSON with sorted keys and no blanks but one after each
    comma and colon."""
    rest = {key: value for key, value in said.items() if key != SEAL}
    return sha256_of_text(json.dumps(rest, sort_keys=True))


def _said(path: Path) -> dict[str, Any] | None:
    """The document in `path`; None where it is not one that this program wrote."""
    try:
        said = load_json_object(path)
    except SessionError:
        return None
    return said if said.keys() - {FILES, SEAL, *LATER} in (KEYS, OLDER_KEYS) else None


def _files_of(document: Path, said: Mapping[str, Any], there: Mapping[str, Path]) -> tuple[list[Path], list[Path]]:
    """Of the files `there` those that were written with a document, and all that it names; sorted."""
    if FILES not in said:
        return _files_of_old(document, said, there)
    listed = said[FILES] if isinstance(said[FILES], list) else []
    pairs = [(one.get("file"), one.get("sha256")) for one in listed if isinstance(one, dict)]
    named = {there[name]: str(digest) for name, digest in pairs if isinstance(name, str) and name in there}
    return sorted(path for path, digest in named.items() if is_file_of(path, digest)), sorted(named)


def _files_of_old(document: Path, said: Mapping[str, Any], there: Mapping[str, Path]) -> tuple[list[Path], list[Path]]:
    """The same for earlier versions, which stated neither names nor hashes."""
    compared = dict.fromkeys(_compared(said["quantities"]))
    names = [f"{document.stem}.csv", *(f"{document.stem}_{quantity}_{level}dB.png" for quantity, level in compared)]
    named = [there[name] for name in names if name in there]
    columns = {"frequency_hz", *(f"{quantity.replace('-', '_')}_{level}db" for quantity, level in compared)}
    return [path for path in named if path.suffix != ".csv" or _holds(path, columns)], named


def _compared(quantities: Any) -> Iterator[tuple[str, str]]:
    """Quantities and levels as names spell them; what is no such pair is none."""
    for one in quantities if isinstance(quantities, list) else ():
        with suppress(SessionError, TypeError, KeyError):
            yield str(one["quantity"]), format_level(one["level"])


def _holds(path: Path, columns: Collection[str]) -> bool:
    """Whether a table holds numbers alone, and these columns with what belongs to them."""
    try:
        names = list(read_table(path))
    except SessionError:
        return False
    return {_BESIDE.sub("", name) for name in names} <= set(columns)
