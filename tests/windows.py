"""What Windows does otherwise, as far as another system can show it: its errors, and `distort.system` as it is there.

Numbers are those of winerror.h; Python makes an `errno` of each (its manual, `OSError.winerror`; from memory, the table
of PC/errmap.h).
"""

import ctypes
import errno
import importlib.util
import os
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from distort import system

INVALID_FUNCTION, ACCESS_DENIED, SHARING_VIOLATION, LOCK_VIOLATION, NOT_SUPPORTED = 1, 5, 32, 33, 50
ERRNO = {
    INVALID_FUNCTION: errno.EINVAL,
    ACCESS_DENIED: errno.EACCES,
    19: errno.EACCES,
    SHARING_VIOLATION: errno.EACCES,
    LOCK_VIOLATION: errno.EACCES,
    39: errno.EINVAL,
    NOT_SUPPORTED: errno.EINVAL,
    112: errno.ENOSPC,
    123: errno.EINVAL,
    183: errno.EEXIST,
    206: errno.ENOENT,
    1224: errno.EINVAL,
}


def windows_error(number: int, path: object = None) -> OSError:
    """What Python raises there for the system's error `number`."""
    error = OSError(ERRNO[number], f"Windows error {number}", path)
    error.winerror = number  # type: ignore[attr-defined, unused-ignore]  # an attribute that only Windows gives it
    return error


class Kernel:
    """Stands in for kernel32: `running` processes, those of `others`, which may not be opened, and `ended` ones."""

    def __init__(self, *, running: set[int], others: set[int], ended: set[int]) -> None:
        self.running, self.others, self.ended = running, others, ended
        self.last_error = 0
        self.closed: list[int] = []
        self.OpenProcess = _Function(self._open)
        self.WaitForSingleObject = _Function(lambda handle, _: 0x102 if handle.value in self.running else 0)
        self.CloseHandle = _Function(lambda handle: self.closed.append(handle.value))

    def _open(self, access: int, inherited: bool, process: int) -> int | None:
        self.last_error = ACCESS_DENIED if process in self.others else 87
        return process if process in self.running | self.ended else None


class _Function:
    """A function of a library in C, whose types a caller may set."""

    restype: Any = None

    def __init__(self, function: Any) -> None:
        self.function = function

    def __call__(self, *arguments: Any) -> Any:
        return self.function(*arguments)


def system_on_windows(patch: pytest.MonkeyPatch, kernel: Kernel | None = None) -> ModuleType:
    """`distort.system` as Windows runs it, over the files of this system."""
    with patch.context() as inside:
        inside.setattr(sys, "platform", "win32")
        spec = importlib.util.spec_from_file_location("system_on_windows", str(system.__file__))
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
    if kernel is not None:
        patch.setattr(ctypes, "WinDLL", lambda *_, **__: kernel, raising=False)
        patch.setattr(ctypes, "get_last_error", lambda: kernel.last_error, raising=False)
    patch.setattr(os, "rename", rename_on_windows(os.rename))
    return module


def rename_on_windows(rename: Any) -> Any:
    """`os.rename` refuses a name that is taken (Python's manual)."""

    def renamed(source: Path, target: Path) -> None:
        if os.path.lexists(target):
            raise windows_error(183, str(target))
        rename(source, target)

    return renamed
