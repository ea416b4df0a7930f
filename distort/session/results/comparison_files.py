"""results/compare: each comparison is a document, which names the files that were written with it.

Files that no document names are the user's own. Documents of earlier versions name none: theirs are the table of the
same name, if it holds numbers, and the pictures (PNG) of what they compare.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from distort.errors import SessionError
from distort.session.files.csv_table import read_table
from distort.session.files.folder import SessionFolder
from distort.session.files.hashing import sha256_of_file
from distort.session.files.json_fields import load_json_object
from distort.session.files.names import format_level

FILES = "files"
"""Key of a document that names the files written with it, each with its SHA-256."""

KEYS = {
    *("format", "words", "a", "b", "basis", "unlike", "levels", "uncertainty", "calibration_uncertainty_db"),
    *("quantities", "anomalies", "coincidences", "no_faults"),
}
"""What every document holds beside: another JSON file in the folder is none."""

_NAME = re.compile(r"[A-Za-z0-9_-]+__[A-Za-z0-9_-]+")


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """One comparison, as it was written."""

    document: Path
    said: Mapping[str, Any]
    """What the document holds."""
    files: tuple[Path, ...]
    """Its table and pictures, sorted."""
    left_out: tuple[Path, ...]
    """Those that are there, but not as they were written."""


def comparisons(folder: SessionFolder) -> tuple[Comparison, ...]:
    """Every comparison of the session, by name. Raises SessionError when the folder leads out of the session."""
    there = {path.name: path for path in folder.files_in("results", "compare")}
    return tuple(
        _comparison(path, said, there)
        for path in there.values()
        if path.suffix == ".json" and _NAME.fullmatch(path.stem) and (said := _said(path)) is not None
    )


def named_files(paths: Sequence[Path]) -> list[dict[str, str]]:
    """What a document says of the files written with it. Raises SessionError when one cannot be read."""
    return [{"file": path.name, "sha256": sha256_of_file(path)} for path in paths]


def _said(path: Path) -> dict[str, Any] | None:
    """The document in `path`; None where it is not one that this program wrote."""
    try:
        said = load_json_object(path)
    except SessionError:
        return None
    return said if said.keys() - {FILES} == KEYS else None


def _comparison(path: Path, said: dict[str, Any], there: Mapping[str, Path]) -> Comparison:
    wanted = _named(said[FILES]) if FILES in said else dict.fromkeys(_names_of_old(path.stem, said))
    found = {there[name]: digest for name, digest in wanted.items() if name in there}
    as_written = tuple(sorted(one for one, digest in found.items() if _is_as_written(one, digest)))
    return Comparison(
        document=path, said=said, files=as_written, left_out=tuple(sorted(found.keys() - set(as_written)))
    )


def _named(files: Any) -> dict[str, str]:
    """Names and hashes as the document states them; what is no such pair names nothing."""
    listed = files if isinstance(files, list) else []
    pairs = [(one.get("file"), one.get("sha256")) for one in listed if isinstance(one, dict)]
    return {name: digest for name, digest in pairs if isinstance(name, str) and isinstance(digest, str)}


def _names_of_old(stem: str, said: Mapping[str, Any]) -> Iterator[str]:
    """Names of the files that earlier versions wrote with a document."""
    yield f"{stem}.csv"
    for one in said["quantities"] if isinstance(said["quantities"], list) else ():
        if isinstance(one, dict) and isinstance(one.get("level"), int | float):
            try:
                yield f"{stem}_{one.get('quantity')}_{format_level(one['level'])}dB.png"
            except SessionError:  # no level of ours
                continue


def _is_as_written(path: Path, sha256: str | None) -> bool:
    try:
        if sha256 is not None:
            return sha256_of_file(path) == sha256
        return path.suffix != ".csv" or bool(read_table(path))
    except SessionError:
        return False
