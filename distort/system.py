"""What differs between operating systems: the one module that asks which one this is, or calls what only some have.

Sources: POSIX.1-2017 for Linux and macOS; for Windows its "System Error Codes" (winerror.h), and what Python's manual
says of `os.rename`, `os.kill`, `os.stat` and `concurrent.futures` there.
"""

import errno
import os
import stat
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from enum import Enum, auto
from pathlib import Path

WINDOWS = sys.platform == "win32"
LINUX = sys.platform == "linux"

PATIENCE_S = (0.01, 0.02, 0.05, 0.1, 0.2, 0.3, 0.3)
"""Seconds between tries at a file that another program has open, 1 s together: own choice. What looks at each new file
(a virus scanner, an indexer) lets go of it within that; a table program does not, and its user should not wait long."""

MOST_PROCESSES_ON_WINDOWS = 61
"""Of one ProcessPoolExecutor (Python's manual, concurrent.futures)."""

HIGHEST_PROCESS_ON_WINDOWS = 2**32 - 1
"""A number of 32 bits; a larger one would be cut to another process's."""


class Refusal(Enum):
    """Why a system did not do what it was asked for."""

    IN_USE = auto()
    """Another program has the file open, and this system or drive does not let two."""
    READ_ONLY = auto()
    """This account may not, or nobody may."""
    FULL = auto()
    MISSING = auto()
    EXISTS = auto()
    NO_FOLDER = auto()
    """A file stands where a folder is needed."""
    A_FOLDER = auto()
    """A folder stands where a file is needed."""
    BAD_NAME = auto()
    """The system or the drive takes no such name, or none so long."""
    OTHER = auto()


_ACCESS_DENIED = 5
_BY_WINDOWS_NUMBER = {
    19: Refusal.READ_ONLY,
    32: Refusal.IN_USE,
    33: Refusal.IN_USE,
    39: Refusal.FULL,
    112: Refusal.FULL,
    123: Refusal.BAD_NAME,
    206: Refusal.BAD_NAME,
    1224: Refusal.IN_USE,
}
"""Write-protected, sharing and lock violation, disk full (twice), invalid name, name too long, mapped into memory: more
than `errno` tells apart there."""

_BY_ERRNO = {
    errno.EBUSY: Refusal.IN_USE,
    errno.ETXTBSY: Refusal.IN_USE,
    errno.EACCES: Refusal.READ_ONLY,
    errno.EPERM: Refusal.READ_ONLY,
    errno.EROFS: Refusal.READ_ONLY,
    errno.ENOSPC: Refusal.FULL,
    errno.EDQUOT: Refusal.FULL,
    errno.ENOENT: Refusal.MISSING,
    errno.EEXIST: Refusal.EXISTS,
    errno.ENOTDIR: Refusal.NO_FOLDER,
    errno.EISDIR: Refusal.A_FOLDER,
    errno.ENAMETOOLONG: Refusal.BAD_NAME,
}

_NO_LOCKS = {errno.ENOLCK, errno.ENOSYS, errno.ENOTSUP, errno.EOPNOTSUPP}
_NO_LOCKS_ON_WINDOWS = {1, 50}
"""Invalid function, not supported."""

_NO_FOLDER_SYNC = {errno.EINVAL, errno.ENOTSUP, errno.EOPNOTSUPP, errno.EBADF, errno.ENOSYS, errno.EISDIR}


def refusal(error: OSError) -> Refusal:
    """What `error` means."""
    known = _BY_WINDOWS_NUMBER.get(_windows_number(error)) or _BY_ERRNO.get(error.errno or 0)
    return known or Refusal.OTHER


def lacks_locks(error: OSError) -> bool:
    """Whether `error`, from an attempt to lock a file, says that its drive knows no locks."""
    return error.errno in _NO_LOCKS or _windows_number(error) in _NO_LOCKS_ON_WINDOWS


def is_closed_pipe(error: OSError) -> bool:
    """Whether `error`, from writing to a pipe, says that nobody reads it any more; Windows has no word of its own."""
    return isinstance(error, BrokenPipeError) or (WINDOWS and error.errno == errno.EINVAL)


def patiently(action: Callable[[], None]) -> None:
    """Do `action`, again for a second as long as another program has its file open. Raises the OSError that stays."""
    for wait_s in PATIENCE_S:
        try:
            return action()
        except OSError as error:
            # Windows says access denied, too, of a file that others may read but not rename or remove.
            if refusal(error) is not Refusal.IN_USE and _windows_number(error) != _ACCESS_DENIED:
                raise
        time.sleep(wait_s)
    return action()


def replace(source: Path, target: Path) -> None:
    """Give the file `source` the name `target`, whatever file had it. Raises OSError; IN_USE where that one is open."""
    try:
        patiently(lambda: os.replace(source, target))
    except PermissionError as error:
        # The source was made in that folder a moment ago, so the folder may be written.
        if _windows_number(error) == _ACCESS_DENIED and target.is_file() and os.access(target, os.W_OK):
            raise OSError(errno.EBUSY, os.strerror(errno.EBUSY), str(target)) from error
        raise


def name_new(source: Path, target: Path) -> None:
    """Give the file `source` the name `target` unless that is taken, at the very moment at which it is given.

    Raises FileExistsError when it is taken, OSError when it cannot be done. Where `source` cannot have two names (FAT
    and exFAT, some network drives), a kill in the middle leaves an empty file `target` beside `source`.
    """
    if WINDOWS:  # renaming refuses a name that is taken, on every drive
        patiently(lambda: os.rename(source, target))
        return
    try:
        os.link(source, target)
    except FileExistsError:
        raise
    except (OSError, AttributeError):  # the drive or the system has no second names, each with an error of its own
        os.close(os.open(target, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))  # from here on the name is ours
        try:
            patiently(lambda: os.replace(source, target))
        except BaseException:
            remove_if_empty(target)
            raise


def rename_folder(source: Path, target: Path) -> None:
    """Give the folder `source` the name `target`, which nothing may have. Raises OSError."""
    patiently(lambda: os.rename(source, target))


def remove_if_allowed(path: Path) -> None:
    """Remove the file `path` if it is there; it stays where this account may not, or another program has it open."""
    try:
        patiently(lambda: path.unlink(missing_ok=True))
    except OSError as error:
        if refusal(error) not in {Refusal.READ_ONLY, Refusal.IN_USE}:
            raise


def remove_if_empty(path: Path) -> None:
    """Remove the file `path` if it is there and holds nothing, as `remove_if_allowed` does."""
    try:
        found = path.lstat()
    except FileNotFoundError:
        return
    if stat.S_ISREG(found.st_mode) and found.st_size == 0:
        remove_if_allowed(path)


def flush_folder(folder: Path) -> None:
    """Make the names in `folder` last. Windows cannot open a folder, and some drives cannot flush one: they need not.

    Raises OSError when the disk fails or is full.
    """
    if WINDOWS:
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    except OSError as error:
        if error.errno not in _NO_FOLDER_SYNC:
            raise
    finally:
        os.close(descriptor)


def open_at_once(path: str | Path, flags: int) -> int:
    """A descriptor of `path`, as `os.open` gives it, without waiting until somebody opens the other end of a pipe."""
    return os.open(path, flags | getattr(os, "O_NONBLOCK", 0))


def open_to_hold(path: Path) -> int:
    """A descriptor of `path` to read and write, made if missing; never through a link, and never waiting for a pipe."""
    flags = os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
    if not hasattr(os, "O_NOFOLLOW") and path.is_symlink():
        raise OSError(errno.ELOOP, os.strerror(errno.ELOOP), str(path))
    return open_at_once(path, flags)


def is_still(path: Path, descriptor: int) -> bool:
    """Whether `path` is the file behind `descriptor`, and not one that was put in its place."""
    if WINDOWS:  # a file that is open cannot be removed there, and some drives give their files no numbers
        return True
    try:
        return os.path.samestat(path.lstat(), os.fstat(descriptor))
    except FileNotFoundError:
        return False


def close_and_remove(path: Path, descriptor: int) -> None:
    """Close `descriptor` and remove its file `path`, so that nobody can take that file for theirs in between."""
    if is_still(path, descriptor) and not WINDOWS:
        # Removed while it is still held: whoever opened it meanwhile finds that it is no longer the file of that name.
        remove_if_allowed(path)
    os.close(descriptor)
    if WINDOWS:
        with suppress(OSError):  # an open file cannot be removed there: nobody has it open by now, or it stays theirs
            path.unlink()


if sys.platform == "win32":
    import ctypes

    def process_runs(process: int) -> bool:
        """Whether a process of that number runs on this machine, whoever started it."""
        if not 0 < process <= HIGHEST_PROCESS_ON_WINDOWS:
            return False
        synchronize, wait_timeout = 0x00100000, 0x102
        kernel = ctypes.WinDLL("kernel32", use_last_error=True)
        kernel.OpenProcess.restype = ctypes.c_void_p
        number = kernel.OpenProcess(synchronize, False, process)
        if not number:  # nobody has that number, or it is another user's
            return ctypes.get_last_error() == _ACCESS_DENIED
        handle = ctypes.c_void_p(number)
        try:
            # An ended process can still be opened while somebody holds it; then waiting for it ends at once.
            return bool(kernel.WaitForSingleObject(handle, 0) == wait_timeout)
        finally:
            kernel.CloseHandle(handle)

else:

    def process_runs(process: int) -> bool:
        """Whether a process of that number runs on this machine, whoever started it."""
        if process < 1:  # to kill, these mean groups of processes
            return False
        try:
            os.kill(process, 0)  # asks and sends nothing (POSIX, kill); on Windows it would end the process
        except (ProcessLookupError, OverflowError):
            return False
        except PermissionError:  # it runs, and is another user's
            return True
        return True


if sys.platform == "win32":

    def clock_with_sleep_s() -> float:
        """Seconds since this computer was switched on, those counted that it slept (GetTickCount64)."""
        tick_count = ctypes.WinDLL("kernel32").GetTickCount64
        tick_count.restype = ctypes.c_uint64
        return float(tick_count()) * 1e-3

    def clock_without_sleep_s() -> float:
        """The same without those (QueryUnbiasedInterruptTime, steps of 100 ns)."""
        passed = ctypes.c_uint64()
        ctypes.WinDLL("kernel32").QueryUnbiasedInterruptTime(ctypes.byref(passed))
        return passed.value * 1e-7

elif sys.platform == "darwin":

    def clock_with_sleep_s() -> float:
        """Seconds since this computer was switched on, those counted that it slept: so `clock_gettime(3)` of macOS."""
        return time.clock_gettime(time.CLOCK_MONOTONIC)

    def clock_without_sleep_s() -> float:
        """The same without those."""
        return time.clock_gettime(time.CLOCK_UPTIME_RAW)

else:

    def clock_with_sleep_s() -> float:
        """Seconds since this computer was switched on, those counted that it slept: so `clock_gettime(2)` of Linux.

        Where there is no such clock, seconds that never step back.
        """
        clock = getattr(time, "CLOCK_BOOTTIME", None)
        return time.monotonic() if clock is None else time.clock_gettime(clock)

    def clock_without_sleep_s() -> float:
        """The same without those."""
        return time.monotonic()


def share_with_everybody(path: Path, mode: int) -> None:
    """Let every account of this machine open `path`, whatever this one's habit is; another's stays as they made it."""
    with suppress(PermissionError):
        path.chmod(mode)


def changed_ns(status: os.stat_result) -> int:
    """When a file last changed, in nanoseconds as the system counts: a time that no program sets back.

    Windows keeps none; there it is the time of modification.
    """
    return status.st_mtime_ns if WINDOWS else status.st_ctime_ns


def may_lead_elsewhere(path: str) -> bool:
    """Whether `path` is a link; on Windows also any other point where a path may go on in another place, such as a
    junction (Microsoft, "Reparse Points").

    Raises OSError where it cannot be seen, FileNotFoundError where nothing is.
    """
    status = os.lstat(path)
    return stat.S_ISLNK(status.st_mode) or getattr(status, "st_reparse_tag", 0) != 0


def spelt_for_libraries(path: Path) -> Path | bytes:
    """`path` as a library in C takes it: a name that is no UTF-8 in bytes, which Windows does not have."""
    return path if WINDOWS else os.fsencode(path)


def most_processes(count: int) -> int:
    """`count`, or as many processes of that as can share work here."""
    return min(count, MOST_PROCESSES_ON_WINDOWS) if WINDOWS else count


def is_marked_read_only(path: Path) -> bool:
    """Whether the file `path` is there and this account may not write it, though it may write its folder."""
    return os.path.isfile(path) and not os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)


_TRIM_THRESHOLD, _TOP_PAD, _MMAP_THRESHOLD = -1, -2, -3
_KEPT = {_MMAP_THRESHOLD: 8 << 20, _TRIM_THRESHOLD: 1 << 30, _TOP_PAD: 16 << 20}
"""Bytes: arrays of a sweep share the memory that grows as one, 1 GB of which may lie unused; what is longer would leave
holes there, and goes back at once."""


def keep_memory() -> None:
    """Let this process keep what it frees, where the system's library has a say (glibc's manual, "Malloc Tunable
    Parameters").

    By itself that library returns what an array of some 0.1 MB and more held as soon as it is freed. Work on arrays
    then takes its memory from the system again and again, and each page of it costs as much as a thousand sums.
    """
    if not LINUX:
        return
    import ctypes

    with suppress(AttributeError):  # other libraries of C have none
        mallopt = ctypes.CDLL(None).mallopt
        for parameter, size in _KEPT.items():
            mallopt(parameter, size)


def _windows_number(error: OSError) -> int:
    """0 where the system is another."""
    return getattr(error, "winerror", None) or 0
