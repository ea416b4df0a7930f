"""One program at a time plays on a machine: two at once would be louder than either has foretold."""

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from distort import system
from distort.errors import SessionError
from distort.session.files.lock import held

FOLDER = "distort-plays"
"""In the system's folder for temporary files, where all accounts of a machine meet (on Windows and macOS, all programs
of one account)."""


@contextmanager
def playing_alone() -> Iterator[None]:
    """Hold the sound of this machine while the body runs. Raises SessionError, saying who plays, when another does."""
    folder = Path(tempfile.gettempdir()) / FOLDER
    folder.mkdir(exist_ok=True)
    if folder.is_symlink():
        raise SessionError(f"{folder} is a link: remove it, the lock of what plays on this machine belongs there")
    system.share_with_everybody(folder, 0o777)
    path = folder / "lock"
    with held(path, what="the sound of this machine") as certain:
        if certain is not None:
            system.share_with_everybody(path, 0o666)
        yield
