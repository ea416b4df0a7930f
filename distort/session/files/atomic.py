"""Files that are whole or not there: written under a temporary name, flushed, then renamed.

A kill at any moment leaves the old file or the new one under the real name; at worst a file whose name begins with a
dot and ends in ".tmp" stays behind, which nothing here ever reads, and which goes when the session is next written.
"""

import errno
import os
import re
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from distort.errors import SessionError

TEMPORARY_SUFFIX = ".tmp"
_TEMPORARY = re.compile(r"\..+\.[0-9a-f]{12}\.tmp")

_NO_HARD_LINKS = {errno.EPERM, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS, errno.EMLINK}
_NO_FOLDER_SYNC = {errno.EINVAL, errno.ENOTSUP, errno.EOPNOTSUPP, errno.EBADF}


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


@contextmanager
def staged(path: Path, *, replace: bool) -> Iterator[Path]:
    """Hand out an empty temporary file beside `path`; when the block ends well it becomes `path`, else it goes.

    With `replace` false an existing `path` is refused, before the block and again when it ends. Raises SessionError.
    """
    if not replace:
        _refuse_existing(path)
    temporary = path.with_name(f".{path.name}.{secrets.token_hex(6)}{TEMPORARY_SUFFIX}")
    try:
        # Not tempfile: its files are readable by their owner alone, and would stay so under the real name.
        os.close(os.open(temporary, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
        try:
            yield temporary
            _flush(temporary)
            if replace:
                os.replace(temporary, path)
            else:
                _rename_to_new(temporary, path)
            _flush_folder(path.parent)
        finally:
            temporary.unlink(missing_ok=True)
    except OSError as error:
        raise explained(error, path) from error


def remove_left_over(root: Path) -> None:
    """Remove temporary files and folders below `root` that a kill has left; while nobody else writes there.

    What may not be removed stays: it takes room, and means nothing.
    """
    for place, folders, names in os.walk(root):
        for name in filter(_TEMPORARY.fullmatch, folders):  # of results that were being frozen
            shutil.rmtree(Path(place, name), ignore_errors=True)
        for name in names:
            if _TEMPORARY.fullmatch(name):
                with suppress(PermissionError):
                    Path(place, name).unlink(missing_ok=True)


def _flush(path: Path) -> None:
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def _flush_folder(folder: Path) -> None:
    """Make the rename itself last. Windows cannot open a folder, and some network drives cannot flush one."""
    if os.name == "nt":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    except OSError as error:
        if error.errno not in _NO_FOLDER_SYNC:
            raise
    finally:
        os.close(descriptor)


def _rename_to_new(temporary: Path, path: Path) -> None:
    """Give `temporary` the name `path` unless that name is taken: a hard link refuses by itself, a rename does not."""
    try:
        os.link(temporary, path)
    except FileExistsError:
        _refuse_existing(path)
        raise
    except OSError as error:
        if error.errno not in _NO_HARD_LINKS:
            raise
        _refuse_existing(path)  # memory cards often know no hard links: look, then rename
        os.rename(temporary, path)


def _refuse_existing(path: Path) -> None:
    if os.path.lexists(path):
        raise SessionError(f"{path} exists already and is never overwritten: choose another name or take")


def explained(error: OSError, path: Path) -> SessionError:
    """What an operating system's refusal to write `path` means for whoever asked for it."""
    return SessionError(f"{path} cannot be written: {_why(error, path.parent)}")


def _why(error: OSError, folder: Path) -> str:
    match error.errno:
        case errno.EACCES | errno.EPERM | errno.EROFS:
            return f"the folder {folder} is read-only here; make it writable"
        case errno.ENOSPC | errno.EDQUOT:
            return "the disk is full; free some space and try again"
        case errno.ENOENT:
            return f"the folder {folder} does not exist"
        case errno.ENOTDIR | errno.EEXIST:
            return "a file stands where a folder is needed"
        case errno.EISDIR:
            return "a folder of that name exists"
    return error.strerror or str(error)
