"""Results that were published, kept with all that they rest on: frozen/<label>/ in the session, never written again."""

import os
import re
import shutil
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from pathlib import Path

from distort.errors import SessionError, UsageError, shown
from distort.session.files.atomic import explained, make_folder, temporary_beside
from distort.session.files.folder import SessionFolder
from distort.session.files.json_fields import read_json, write_json
from distort.session.files.moments import now_utc
from distort.session.files.portable import fault_of, twin_beside
from distort.session.files.reading import read_bytes
from distort.session.plan.keys import Plan
from distort.session.published.written_inputs import written_inputs
from distort.session.results.inputs import FileHash, hashes_of
from distort.session.results.software import Software
from distort.system import rename_folder

KEPT_INPUTS = (".json", ".toml")
"""Inputs that are kept themselves, and not by their hash alone: small, and they say what changed."""

RECORD, INPUTS = "frozen.json", "inputs"
"""In the folder of a label: what was kept, and where the inputs are that were kept themselves."""

_LABEL = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,59}")


@dataclass(frozen=True, kw_only=True)
class Frozen:
    """What frozen.json holds: when and with what the results beside it were made, and from which files."""

    label: str
    date: str
    """ISO 8601, UTC."""
    software: tuple[Software, ...]
    inputs: tuple[FileHash, ...]
    """Relative to the session."""
    results: tuple[FileHash, ...]
    """Relative to the folder of frozen.json."""


def frozen_labels(folder: SessionFolder) -> tuple[str, ...]:
    """Labels under which results were kept, in alphabetical order; a folder of another name is none of ours."""
    place = folder.inside("frozen")
    if not place.is_dir():
        return ()
    found = sorted(path.parent.name for path in place.glob(f"*/{RECORD}"))
    return tuple(name for name in found if _LABEL.fullmatch(name))


def frozen_folder(folder: SessionFolder, label: str) -> Path:
    """frozen/<label>. Raises UsageError for what no folder can be called."""
    if not _LABEL.fullmatch(label):
        raise UsageError(
            f"{shown(label)} cannot be a label: use 1 to 60 letters (a to z), digits, - _ and ., beginning with a "
            f"letter or digit"
        )
    return folder.inside("frozen", label)


def read_frozen(folder: SessionFolder, label: str) -> Frozen:
    """What was kept under `label`. Raises SessionError when it cannot be read, or a result in it was changed since."""
    place = frozen_folder(folder, label)
    frozen = read_json(folder.inside("frozen", label, RECORD), Frozen)
    found = hashes_of(SessionFolder(place), [one.file for one in frozen.results])
    changed = [kept.file for kept, now in zip(frozen.results, found, strict=True) if kept != now]
    if changed:
        raise SessionError(f"{place / changed[0]} was changed since it was frozen: what was published is lost there")
    return frozen


def frozen_with(folder: SessionFolder, files: Collection[str]) -> tuple[str, ...]:
    """Labels of what was frozen resting on any of the inputs `files`, relative to the session, as they were then."""
    records = {label: read_json(folder.inside("frozen", label, RECORD), Frozen) for label in frozen_labels(folder)}
    return tuple(label for label, record in records.items() if any(one.file in files for one in record.inputs))


def freeze(
    folder: SessionFolder,
    plan: Plan,
    label: str,
    *,
    software: Sequence[Software],
    write: Callable[[SessionFolder], object],
) -> Frozen:
    """Keep under `label` what `write` puts into results/ of the session that it is given, with its inputs.

    The folder gets its name when all is in it. Raises UsageError for an impossible label, SessionError when there is
    one of that name, an input changed meanwhile, or the folder does not allow it.
    """
    place = frozen_folder(folder, label)
    if (fault := fault_of(label)) is not None:
        raise UsageError(f"{label!r} cannot be a label: {fault}; choose another")
    if (twin := twin_beside(place)) is not None:
        raise UsageError(
            f"{label!r} and {twin!r}, which is there, are one folder on other systems: choose another label"
        )
    if os.path.lexists(place):
        raise SessionError(f"{place} exists already and is never overwritten: choose another label")
    make_folder(place.parent)
    before = written_inputs(folder, plan)
    staging = SessionFolder(temporary_beside(place, new=True))
    try:
        write(staging)
        _keep_inputs(folder, staging, before)
        results = sorted(path.relative_to(staging.root).as_posix() for path in staging.root.glob("results/*/*"))
        if written_inputs(folder, plan) != before:
            raise SessionError(f"{folder.root} changed while its results were frozen: freeze them again")
        frozen = Frozen(
            label=label,
            date=now_utc(),
            software=tuple(software),
            inputs=before,
            results=hashes_of(staging, results),
        )
        write_json(staging.root / RECORD, frozen)
        _name(staging.root, place)
    finally:
        shutil.rmtree(staging.root, ignore_errors=True)
        if not any(place.parent.iterdir()):
            place.parent.rmdir()
    return frozen


def _keep_inputs(folder: SessionFolder, staging: SessionFolder, inputs: Sequence[FileHash]) -> None:
    for one in inputs:
        if one.file.endswith(KEPT_INPUTS):
            kept = staging.inside(INPUTS, one.file)
            make_folder(kept.parent)
            kept.write_bytes(read_bytes(folder.inside(one.file)))


def kept_input(folder: SessionFolder, label: str, file: str) -> bytes | None:
    """An input as it was when frozen; None for one that was kept by its hash alone."""
    path = folder.inside("frozen", label, INPUTS, file)
    return read_bytes(path) if path.is_file() else None


def _name(staging: Path, place: Path) -> None:
    try:
        rename_folder(staging, place)
    except OSError as error:
        raise explained(error, place) from error
