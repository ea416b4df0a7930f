"""What the results of a session rest on, kept in results/analysed.json: so that only what changed is analysed again.

The inputs are those of `session.results.inputs`, each by its SHA-256. A file is not read again for that while
its size and both of its times are what they were: a program can set the time of modification back, but not the time of
change (POSIX.1-2017, sys/stat.h, st_ctim), except with the clock of the machine. Windows, FAT and exFAT keep no such
time.
"""

import json
import os
import re
import time
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path

from distort.errors import SessionError, shown
from distort.session.audio.kinds import begins_as_audio
from distort.session.files.folder import AUDIO_SUFFIXES, SessionFolder
from distort.session.files.hashing import is_file_of, sha256_of_file, sha256_of_text
from distort.session.files.json_fields import later, read_json, write_json
from distort.session.files.names import may_be_condition
from distort.session.plan.keys import Plan, ReportPlan, Safety
from distort.session.results.inputs import input_names, name_in, names_found
from distort.session.results.software import software
from distort.system import changed_ns

JUST_NOW_NS = 2_000_000_000
"""A file that was changed less than 2 s ago may change again with the same times, where a drive counts in seconds."""

NOT_TRUSTED = 0
"""Time of change that no file has: it will be read again."""


_WRITTEN = re.compile(
    r"results/(?P<condition>[^/]+)/(findings\.json|[a-z][a-z0-9-]*(_(sweep|multitone|[0-9.]+dB))?\.csv)"
)
"""Names of result files: findings, and the tables of a level, of a level series and of other kinds of stimuli."""


@dataclass(frozen=True, kw_only=True)
class Input:
    """A file that the results rest on."""

    file: str
    """Relative to the session."""
    sha256: str
    size: int
    modified_ns: int
    changed_ns: int
    """As the system counts, nanoseconds."""


@dataclass(frozen=True, kw_only=True)
class Result:
    """A file that was written. Raises ValueError for a name that no analysis writes: a session may come from anybody,
    and what it names is read and compared."""

    file: str
    sha256: str

    def __post_init__(self) -> None:
        named = _WRITTEN.fullmatch(self.file)
        if named is None or not may_be_condition(named["condition"]):
            raise ValueError(f"{shown(self.file)} is no file that an analysis writes")


@dataclass(frozen=True, kw_only=True)
class Analysed:
    """What results/analysed.json holds."""

    software: str
    """Names all that analysed: another text, another analysis."""
    inputs: tuple[Input, ...]
    results: tuple[Result, ...]
    plan_sha256: str = field(default="", metadata=later())
    """Of what session.toml says, apart from the words of the report and the limits while playing."""


@dataclass(frozen=True, kw_only=True)
class Staleness:
    """Why the results may not be what an analysis of the session as it is now would give; all empty: they are."""

    never_whole: bool = False
    """No analysis of the whole session stands behind them."""
    changed: tuple[str, ...] = ()
    """Inputs that are not what they were, relative to the session."""
    edited: tuple[str, ...] = ()
    """Results that are not as they were written, likewise."""
    gone: tuple[str, ...] = ()
    """Conditions whose recordings are gone, so that their results are all that is left."""


def read_analysed(folder: SessionFolder) -> Analysed | None:
    """What the last whole analysis left; None where there was none, or the file cannot be trusted."""
    try:
        return read_json(_path(folder), Analysed)
    except SessionError:  # missing or damaged, it says the same: analyse again
        return None


def write_analysed(folder: SessionFolder, plan: Plan, inputs: tuple[Input, ...], written: Iterable[Path]) -> None:
    """Say that the results in the files `written` were made by this software and rest on `plan` and `inputs`.

    Raises SessionError when the folder does not allow it.
    """
    results = tuple(Result(file=name_in(folder, path), sha256=sha256_of_file(path)) for path in written)
    note = Analysed(software=software(), inputs=inputs, results=results, plan_sha256=_plan_sha256(plan))
    write_json(_path(folder), note)


def _plan_sha256(plan: Plan) -> str:
    told = replace(plan, report=ReportPlan(), safety=Safety(), root=None)
    return sha256_of_text(json.dumps(asdict(told), sort_keys=True, default=str))


def is_unchanged(folder: SessionFolder) -> bool:
    """Whether an analysis of the session as it is now would give the results that are there: the same software, the
    same inputs, and the results as they were written.

    So a note need not be taken away before new results are written: a kill in between leaves other results than it
    names. False, too, where that cannot be told: the analysis says why.
    """
    last = read_analysed(folder)
    if last is None or last.software != software() or not last.results:
        return False
    try:
        found = inputs_seen(folder, names_found(folder), last.inputs)
        # What session.toml names besides is what it named last time, as long as that file is the same.
        named = {one.file for one in last.inputs} - {one.file for one in found}
        same = same_contents(last.inputs, (*found, *inputs_seen(folder, named, last.inputs)))
        return same and all(is_file_of(_written(folder, one), one.sha256) for one in last.results)
    except SessionError:
        return False


def staleness(folder: SessionFolder, plan: Plan) -> Staleness:
    """In what the session as it is now differs from the one that the last whole analysis saw.

    Raises SessionError when a file cannot be read or leads out of the session.
    """
    last = read_analysed(folder)
    if last is None:
        return Staleness(never_whole=True)
    written = [(one, _written(folder, one)) for one in last.results]
    edited = [one.file for one, path in written if path.exists() and not is_file_of(path, one.sha256)]
    seen = inputs_seen(folder, input_names(folder, plan), last.inputs)
    before, now = ({one.file: one.sha256 for one in inputs} for inputs in (last.inputs, seen))
    changed = sorted(name for name in before.keys() | now.keys() if before.get(name) != now.get(name))
    plan_name = folder.plan_path.name
    if plan_name in changed and last.plan_sha256 == _plan_sha256(plan):
        changed.remove(plan_name)
    gone = [name for name in folder.conditions_analysed() if not folder.recordings(name)]
    return Staleness(changed=tuple(changed), edited=tuple(edited), gone=tuple(gone))


def inputs_seen(folder: SessionFolder, names: Iterable[str], known: tuple[Input, ...] = ()) -> tuple[Input, ...]:
    """The inputs `names` as they are now; hashes are those of `known` where a file has not been touched since.

    What is missing, no file, or cannot be read is noted as that: the analysis says what it thinks of it. Raises
    SessionError when one leads out of the session.
    """
    by_name = {one.file: one for one in known}
    try:
        return tuple(_input(folder, name, by_name) for name in names)
    except OSError as error:
        raise SessionError(f"{error.filename or folder.root} cannot be read: {error.strerror or error}") from error


def _input(folder: SessionFolder, name: str, known: Mapping[str, Input]) -> Input:
    path = folder.inside(name)
    # a name that no UTF-8 can spell is spelled by its bytes
    file = os.fsencode(name).decode("utf-8", errors="backslashreplace")
    try:
        seen = path.stat()
    except FileNotFoundError:
        return Input(file=file, sha256=sha256_of_text("missing"), size=0, modified_ns=0, changed_ns=NOT_TRUSTED)
    changed = changed_ns(seen)
    now = Input(
        file=file,
        sha256="",
        size=seen.st_size,
        modified_ns=seen.st_mtime_ns,
        changed_ns=changed if changed < time.time_ns() - JUST_NOW_NS else NOT_TRUSTED,
    )
    before = known.get(file)
    if before is not None and now.changed_ns != NOT_TRUSTED and _touch(before) == _touch(now):
        return replace(now, sha256=before.sha256)
    return replace(now, sha256=_digest(path))


def _digest(path: Path) -> str:
    try:
        if path.suffix in AUDIO_SUFFIXES and not begins_as_audio(path):
            return sha256_of_text("no audio")
        return sha256_of_file(path)
    except SessionError as error:
        return sha256_of_text(str(error))


def _touch(one: Input) -> tuple[int, int, int]:
    return one.size, one.modified_ns, one.changed_ns


def same_contents(inputs: tuple[Input, ...], others: tuple[Input, ...]) -> bool:
    """Whether both are the same files with the same contents, touched or not."""
    return {one.file: one.sha256 for one in inputs} == {one.file: one.sha256 for one in others}


def _written(folder: SessionFolder, one: Result) -> Path:
    return folder.inside(*one.file.split("/"))


def _path(folder: SessionFolder) -> Path:
    return folder.inside("results", "analysed.json")
