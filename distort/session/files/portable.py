"""Names that every system takes, because a session travels: from Linux to Windows, to a memory card, to a server.

Source: Microsoft, "Naming Files, Paths, and Namespaces" (from memory; held against Python's own list of the names that
Windows keeps in tests/test_portable_names.py).
"""

import re
import unicodedata
from collections.abc import Iterable
from pathlib import Path, PurePosixPath, PureWindowsPath

DEVICES = frozenset(
    ["con", "prn", "aux", "nul", "conin$", "conout$"]
    + [f"{port}{number}" for port in ("com", "lpt") for number in "0123456789¹²³"]
)
"""What Windows takes for a device, in small letters, whatever follows the first dot."""

_NEVER = re.compile(r'[<>:"/\\|?*\x00-\x1f\x7f]')

_MAY_LEAD = re.compile(r"[/\\:]|\.\.")
"""A path without any of these is one step down; most are."""


def fault_of(name: str) -> str | None:
    """Why not every system has files or folders called `name`, as a clause; None where every one may."""
    found = _NEVER.search(name)
    if found is not None:
        return f"Windows allows no {found[0]!r} in names"
    if name.endswith((".", " ")):
        return "Windows drops dots and spaces at the end of names"
    stem = name.partition(".")[0].rstrip(" ")
    if stem.lower() in DEVICES:
        return f"Windows keeps the name {stem.upper()} for itself, whatever follows a dot"
    return None


def fault_of_path(path: str) -> str | None:
    """The same for a path with `/` between its steps."""
    if "\\" in path:
        return "folders are separated by / on every system"
    faults = (fault_of(step) for step in PurePosixPath(path).parts)
    return next((fault for fault in faults if fault is not None), None)


def leads_out(path: str) -> bool:
    """Whether `path`, taken from some folder, may lead out of it: on this system or on another."""
    if _MAY_LEAD.search(path) is None:
        return False
    return any(pure.anchor or ".." in pure.parts for pure in (PurePosixPath(path), PureWindowsPath(path)))


def alike(name: str) -> str:
    """The same for names that one file has on systems that do not tell capitals apart, nor ways to spell an accent."""
    return unicodedata.normalize("NFC", name).casefold()


def twin_of(name: str, names: Iterable[str]) -> str | None:
    """One of `names` that is another than `name` here, and the same on other systems."""
    return next((other for other in names if other != name and alike(other) == alike(name)), None)


def twin_beside(path: Path) -> str | None:
    """What lies beside `path`, which need not exist, and would be the same file on another system."""
    try:
        return twin_of(path.name, (other.name for other in path.parent.iterdir()))
    except OSError:  # nothing can be seen there; whatever comes next says why
        return None
