"""One process at a time writes a session: a lock that the system lets go of when its holder ends, however it ends.

The file `.lock` is held with flock(2), and says who holds it. A killed process leaves the file, but holds nothing.
Network drives: NFS and SMB of Linux pass flock on to the server, so it holds between machines. Where a drive knows no
locks at all, the file itself is the lock: it is believed while the process that it names runs, or when it names another
machine, which cannot be asked. There is no lock on Windows, nor in a folder that may not be written.
"""

import errno
import os
import socket
import stat
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from distort.errors import SessionError
from distort.session.files.atomic import explained, remove_left_over
from distort.session.recordings.sidecar import now_utc

if sys.platform != "win32":
    import fcntl

LOCK_FILE = ".lock"

MOST_BYTES = 500
"""Of what the file says: a process, a machine and a moment."""

_READ_ONLY = {errno.EACCES, errno.EPERM, errno.EROFS}
_NO_LOCKS = {errno.ENOLCK, errno.ENOSYS, errno.ENOTSUP, errno.EOPNOTSUPP}


@contextmanager
def locked(root: Path) -> Iterator[None]:
    """Hold the session in `root` while the body runs.

    Raises SessionError, saying who holds it since when, when another process does, or when the disk is full. In a
    folder that may not be written nothing is held: whatever is written there says so itself.
    """
    path = root / LOCK_FILE
    try:
        descriptor = None if sys.platform == "win32" else _acquired(path)
    except OSError as error:
        if error.errno not in _READ_ONLY:
            raise explained(error, path) from error
        descriptor = None
    if descriptor is None:
        yield
        return
    try:
        remove_left_over(root)
        yield
    finally:
        # Removed while it is still held: whoever opened it meanwhile finds that it is no longer the file of that name.
        if _is_still(path, descriptor):
            path.unlink(missing_ok=True)
        os.close(descriptor)


def _acquired(path: Path) -> int:
    """The descriptor of `path`, held by this process."""
    while True:
        # Never through a link, and never waiting for a pipe's other end.
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_NONBLOCK, 0o666)
        try:
            _hold(path, descriptor)
        except BaseException:
            os.close(descriptor)
            raise
        if not _is_still(path, descriptor):  # its holder has just removed it
            os.close(descriptor)
            continue
        try:
            os.ftruncate(descriptor, 0)
            os.pwrite(descriptor, f"{os.getpid()} {socket.gethostname()} {now_utc()}\n".encode(), 0)
        except BaseException:
            path.unlink(missing_ok=True)
            os.close(descriptor)
            raise
        return descriptor


def _hold(path: Path, descriptor: int) -> None:
    """Raises SessionError when somebody else holds it, or it is no file."""
    if not stat.S_ISREG(os.fstat(descriptor).st_mode):
        raise SessionError(f"{path} is no file: remove it, it stands where the session's lock belongs")
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        said = _said(descriptor)
        if error.errno in {errno.EWOULDBLOCK, errno.EACCES}:
            raise _held(path, said) from error
        if error.errno not in _NO_LOCKS:
            raise
        if said is not None and _may_run(said):
            raise _held(path, said, believed=True) from error


def _said(descriptor: int) -> tuple[int, str, str] | None:
    """Process, machine and moment that the file names; None where it does not, as while it is being written."""
    words = os.pread(descriptor, MOST_BYTES, 0).decode("utf-8", errors="replace").split()
    if len(words) != 3 or not words[0].isascii() or not words[0].isdigit():
        return None
    return int(words[0]), words[1], words[2]


def _held(path: Path, said: tuple[int, str, str] | None, *, believed: bool = False) -> SessionError:
    who = "another process" if said is None else f"process {said[0]} on {said[1]} since {said[2]}"
    unless = f", or remove {path} if that process has ended" if believed else ""
    return SessionError(f"{path.parent} is in use by {who}: wait until it has ended{unless}")


def _may_run(said: tuple[int, str, str]) -> bool:
    """Whether the process that a lock names may still run: one of another machine may."""
    process, machine, _ = said
    if machine != socket.gethostname():
        return True
    try:
        os.kill(process, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except PermissionError:  # it runs, and is another user's
        return True
    return process != os.getpid()  # a number that was given out anew: this process holds nothing yet


def _is_still(path: Path, descriptor: int) -> bool:
    """Whether `path` is the file behind `descriptor`, and not one that was put in its place."""
    try:
        return os.path.samestat(os.stat(path, follow_symlinks=False), os.fstat(descriptor))
    except FileNotFoundError:
        return False
