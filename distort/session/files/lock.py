"""One process at a time writes a session: a lock that the system lets go of when its holder ends, however it ends.

The file `.lock` is held with the system's own lock, flock(2) or on Windows LockFileEx, and says who holds it. A killed
process leaves the file, but holds nothing. Network drives: NFS and SMB of Linux pass it on to the server, so it holds
between machines. Where a drive knows no locks at all, the file itself is the lock: it is believed while the process
that it names runs, or when it names another machine, which cannot be asked. There is no lock in a folder that may not
be written.
"""

import os
import socket
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from filelock import lock_descriptor

from distort import system
from distort.errors import SessionError
from distort.session.files.atomic import explained, remove_left_over, remove_left_over_of
from distort.session.files.moments import now_utc

LOCK_FILE = ".lock"

MOST_BYTES = 500
"""Of what the file says: a process, a machine and a moment."""


@contextmanager
def locked(root: Path) -> Iterator[None]:
    """Hold the session in `root` while the body runs, and first remove the temporary files that a kill has left.

    Raises SessionError, saying who holds it since when, when another process does, or when the disk is full. In a
    folder that may not be written nothing is held: whatever is written there says so itself.
    """
    with held(root / LOCK_FILE, what=str(root)) as certain:
        if certain is not None:
            remove_left_over(root, alone=certain)
        yield


@contextmanager
def locked_file(path: Path) -> Iterator[None]:
    """The same for one file that is to be written outside every session: the lock stands beside it.

    Raises SessionError as `locked` does, and when there is no folder for it.
    """
    with held(path.with_name(f".{path.name}{LOCK_FILE}"), what=str(path), told=path) as certain:
        if certain is not None:
            remove_left_over_of(path, alone=certain)
        yield


@contextmanager
def held(path: Path, *, what: str, told: Path | None = None) -> Iterator[bool | None]:
    """Hold the lock file `path` while the body runs; `what` it stands for is named to whoever comes second.

    told   the file beside it that cannot be written where the lock cannot; None: the lock itself

    Gives whether the system sees to that; None where the folder may not be written, and nothing is held. Raises
    SessionError as `locked` does.
    """
    try:
        descriptor, certain = _acquired(path, what)
    except OSError as error:
        if system.refusal(error) is not system.Refusal.READ_ONLY:
            raise explained(error, told or path) from error
        descriptor = None
    if descriptor is None:
        yield None
        return
    try:
        yield certain
    finally:
        system.close_and_remove(path, descriptor)


def _acquired(path: Path, what: str) -> tuple[int, bool]:
    """The descriptor of `path`, held by this process, and whether the system sees to that."""
    while True:
        descriptor = system.open_to_hold(path)
        try:
            certain = _hold(path, descriptor, what)
            is_still = system.is_still(path, descriptor)
        except BaseException:
            os.close(descriptor)
            raise
        if is_still:
            break
        os.close(descriptor)  # its holder has just removed it
    try:
        _say_who(descriptor)
    except BaseException:
        system.close_and_remove(path, descriptor)
        raise
    return descriptor, certain


def _hold(path: Path, descriptor: int, what: str) -> bool:
    """Whether the system holds it. Raises SessionError when somebody else does, or it is no file."""
    if not stat.S_ISREG(os.fstat(descriptor).st_mode):
        raise SessionError(f"{path} is no file: remove it, it stands where a lock belongs")
    try:
        if lock_descriptor(descriptor, blocking=False):
            return True
    except OSError as error:
        if not system.lacks_locks(error):
            raise
        said = _said(descriptor)
        if said is not None and _may_run(said):
            raise _in_use(path, what, said, believed=True) from error
        return False
    raise _in_use(path, what, _said(descriptor))


def _say_who(descriptor: int) -> None:
    """It begins with a space: on Windows the first byte is what is held, and no other process can read it."""
    os.ftruncate(descriptor, 0)
    os.lseek(descriptor, 0, os.SEEK_SET)
    os.write(descriptor, f" {os.getpid()} {socket.gethostname()} {now_utc()}\n".encode())


def _said(descriptor: int) -> tuple[int, str, str] | None:
    """Process, machine and moment that the file names; None where it does not, as while it is being written."""
    try:
        content = os.read(descriptor, MOST_BYTES)
    except PermissionError:  # Windows, of the byte that is held
        os.lseek(descriptor, 1, os.SEEK_SET)
        content = os.read(descriptor, MOST_BYTES)
    words = content.decode("utf-8", errors="replace").split()
    if len(words) != 3 or not words[0].isascii() or not words[0].isdigit():
        return None
    return int(words[0]), words[1], words[2]


def _in_use(path: Path, what: str, said: tuple[int, str, str] | None, *, believed: bool = False) -> SessionError:
    who = "another process" if said is None else f"process {said[0]} on {said[1]} since {said[2]}"
    unless = f", or remove {path} if that process has ended" if believed else ""
    return SessionError(f"{what} is in use by {who}: wait until it has ended{unless}")


def _may_run(said: tuple[int, str, str]) -> bool:
    """Whether the process that a lock names may still run: one of another machine may."""
    process, machine, _ = said
    if machine != socket.gethostname():
        return True
    # Its own number was given out anew: this process holds nothing yet.
    return process != os.getpid() and system.process_runs(process)
