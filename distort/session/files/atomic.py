"""Files that are whole or not there: written under a temporary name, flushed, then renamed.

A kill at any moment leaves the old file or the new one under the real name; at worst a file whose name begins with a
dot and ends in ".tmp" stays behind, which nothing here ever reads, and which goes when the session, or that file, is
next written.
"""

import os
import re
import secrets
import shutil
import socket
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from distort import system
from distort.errors import SessionError
from distort.system import Refusal

TEMPORARY_SUFFIX = ".tmp"

_NEW = "-new"
"""Marks a temporary file that becomes a file of which there was none."""

_TEMPORARY = re.compile(
    r"\.(?P<name>.+)\.(?:(?P<machine>[0-9a-f]{8})-(?P<process>[0-9]+)-[0-9a-f]{6}(?P<new>-new)?|[0-9a-f]{12})\.tmp"
)
"""Those of 12 digits were left by an older version."""


def write_bytes(path: Path, content: bytes) -> None:
    """Write `content` to `path`, replacing what was there. Raises SessionError when the folder does not allow it."""
    with staged(path, replace=True) as temporary, temporary.open("wb") as file:
        file.write(content)


def write_text(path: Path, text: str) -> None:
    """Write `text` to `path` as UTF-8, line ends as they are, replacing what was there. Raises SessionError."""
    write_bytes(path, text.encode("utf-8"))


def write_new(path: Path, content: bytes) -> None:
    """Write `content` to `path`, which must not exist yet. Raises SessionError when it does, or cannot be written."""
    with staged(path, replace=False) as temporary, temporary.open("wb") as file:
        file.write(content)


def make_folder(path: Path) -> None:
    """Make the folder `path` and those above it, as far as they are missing. Raises SessionError."""
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise explained(error, path) from error


def temporary_beside(path: Path, *, new: bool) -> Path:
    """A name for what shall become `path`, which nothing has: it says which process of which machine writes it.

    new   there is no `path` yet, and what others make of that name meanwhile must stay
    """
    token = f"{_machine()}-{os.getpid()}-{secrets.token_hex(3)}{_NEW if new else ''}"
    return path.with_name(f".{path.name}.{token}{TEMPORARY_SUFFIX}")


@contextmanager
def staged(path: Path, *, replace: bool) -> Iterator[Path]:
    """Hand out an empty temporary file beside `path`; when the block ends well it becomes `path`, else it goes.

    With `replace` false an existing `path` is refused, before the block and again when it ends. Raises SessionError.
    """
    if not replace:
        _refuse_existing(path)
    temporary = temporary_beside(path, new=not replace)
    try:
        # Not tempfile: its files are readable by their owner alone, and would stay so under the real name.
        temporary.touch(exist_ok=False)
        try:
            yield temporary
            _flush(temporary)
            if replace:
                system.replace(temporary, path)
            else:
                _name_new(temporary, path)
            system.flush_folder(path.parent)
        finally:
            system.remove_if_allowed(temporary)
    except OSError as error:
        raise explained(error, path) from error


def remove_left_over(root: Path, *, alone: bool) -> None:
    """Remove temporary files and folders below `root` that a kill has left.

    alone   nobody else writes there: all of them go; else those whose process has certainly ended, as it was one of
            this machine and runs no more

    What may not be removed stays: it takes room, and means nothing.
    """
    for place, folders, names in os.walk(root):
        for name in folders:  # of results that were being frozen
            if _is_left_over(name, alone=alone):
                shutil.rmtree(Path(place, name), ignore_errors=True)
        for name in names:
            if _is_left_over(name, alone=alone):
                _remove(Path(place, name))


def _is_left_over(name: str, *, alone: bool) -> bool:
    found = _TEMPORARY.fullmatch(name)
    if found is None:
        return False
    return alone or (found["machine"] == _machine() and not system.process_runs(int(found["process"])))


def _remove(temporary: Path) -> None:
    """And the empty file whose name it was about to take, where a kill came between the two: `system.name_new`."""
    found = _TEMPORARY.fullmatch(temporary.name)
    if found is not None and found["new"]:
        system.remove_if_empty(temporary.with_name(found["name"]))
    system.remove_if_allowed(temporary)


def _machine() -> str:
    """8 hexadecimal digits that two machines hardly share."""
    return f"{zlib.crc32(socket.gethostname().encode()):08x}"


def remove_left_over_of(path: Path, *, alone: bool) -> None:
    """Remove the temporary files of `path` alone that a kill has left beside it; `alone` as in `remove_left_over`."""
    for left in path.parent.iterdir():
        found = _TEMPORARY.fullmatch(left.name)
        if found is not None and found["name"] == path.name and _is_left_over(left.name, alone=alone):
            _remove(left)


def _flush(path: Path) -> None:
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def _name_new(temporary: Path, path: Path) -> None:
    try:
        system.name_new(temporary, path)
    except FileExistsError:
        _refuse_existing(path)
        raise


def _refuse_existing(path: Path) -> None:
    if os.path.lexists(path):
        raise SessionError(f"{path} exists already and is never overwritten: choose another name or take")


def explained(error: OSError, path: Path) -> SessionError:
    """What an operating system's refusal to write `path` means for whoever asked for it."""
    return SessionError(f"{path} cannot be written: {_why(error, path)}")


def _why(error: OSError, path: Path) -> str:
    folder, why = path.parent, system.refusal(error)
    if why is Refusal.MISSING and folder.is_dir():  # some drives and systems say so of a name that they cannot take
        why = Refusal.BAD_NAME
    may_not = f"the folder {folder} is read-only here; make it writable"
    if system.is_marked_read_only(path):
        may_not = "this account may not write it; change its permissions"
    words = {
        Refusal.IN_USE: "another program has it open; close it there and try again",
        Refusal.READ_ONLY: may_not,
        Refusal.FULL: "the disk is full; free some space and try again",
        Refusal.MISSING: f"the folder {folder} does not exist",
        Refusal.EXISTS: "a file stands where a folder is needed",
        Refusal.NO_FOLDER: "a file stands where a folder is needed",
        Refusal.A_FOLDER: "a folder of that name exists",
        Refusal.BAD_NAME: "its drive takes no such name, or none so long; choose another",
    }
    return words.get(why) or error.strerror or str(error)
