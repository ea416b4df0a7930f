"""Which commands have a session to themselves while they run: those that write into it, and what packs it whole."""

import argparse
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path

WRITE = frozenset(
    {
        "add",
        "bundle",
        "calibrate",
        "compare",
        "freeze",
        "hear",
        "listeners",
        "measure",
        "reject",
        "relabel",
        "report",
        "residual",
        "stimuli",
    }
)
"""Commands that change the session that their word FOLDER names (`compare`: that of A), or, like `bundle`, must not see
it change."""

OWN_WAY = frozenset({"analyze", "new"})
"""`analyze` may have many sessions and holds one after the other; `new` makes a folder and replaces nothing."""

READ = frozenset(
    {"check", "completion", "devices", "methods", "origin", "player-level", "show", "verify", "wavelength"}
)
"""Commands that write nothing, and so work on a read-only folder and beside another command."""


def alone(arguments: argparse.Namespace) -> AbstractContextManager[None]:
    """What `arguments.command` must run in: the lock of its session, or nothing.

    Where there is no session the command itself says so. Entering raises SessionError when another process has it.
    """
    root: Path | None = arguments.a[0] if arguments.command == "compare" else getattr(arguments, "folder", None)
    if arguments.command not in WRITE or root is None:
        return nullcontext()
    from distort.session.files.folder import SessionFolder
    from distort.session.files.lock import locked

    return locked(root) if SessionFolder(root).plan_path.is_file() else nullcontext()
