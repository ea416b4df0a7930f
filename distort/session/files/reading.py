"""The one way to open a file of a session: a regular file of a size that it can have, or a sentence about what it is.

A session may come from a stranger: a pipe is not waited for, no device is read, and a disk's worth of zeros is not held
in memory. That a name does not lead out of the session is the part of `SessionFolder.inside`.
"""

import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from distort import system
from distort.errors import SessionError

LARGEST = 2**32
"""Bytes that the sizes in a WAV header can count: no file of a session is larger. Hashing as many takes seconds."""

MOST_BYTES = {
    ".toml": 1_000_000,  # a hundred times the longest plan that anybody would write
    ".csv": 10_000_000,  # a table of ten orders has 0.2 MB, and one of all hundred 2 MB
    ".json": 20_000_000,  # a hundred times the largest that this program writes
    ".png": 50_000_000,  # uncompressed, a figure of 1920 x 1080 has 8 MB
    ".svg": 50_000_000,  # a figure of ten orders has 0.3 MB
    ".pdf": 50_000_000,
    ".html": 200_000_000,  # a report page of two conditions has 3 MB
}
"""By the end of a file's name: the most that is read of it. Larger ones are none of this program's."""

_KINDS = (
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
)


@contextmanager
def opened(path: Path, most_bytes: int | None = None) -> Iterator[BinaryIO]:
    """The file `path`, open for reading.

    most_bytes   its largest size; None: that of files with such an ending

    Raises SessionError when something else than a file stands there, or it is larger, OSError when it is missing or may
    not be read.
    """
    most = most_bytes if most_bytes is not None else MOST_BYTES.get(path.suffix.lower(), LARGEST)
    _require_file(path, path.stat(), most)  # before it is opened: some devices act when they are
    with open(path, "rb", opener=system.open_at_once) as file:
        _require_file(path, os.fstat(file.fileno()), most)  # something else may stand there by now
        yield file


def read_bytes(path: Path, most_bytes: int | None = None) -> bytes:
    """All bytes of the file `path`. Raises as `opened` does."""
    with opened(path, most_bytes) as file:
        return file.read(os.fstat(file.fileno()).st_size)  # no more, should it grow meanwhile


def read_text(path: Path, most_bytes: int | None = None) -> str:
    """The UTF-8 text of the file `path`. Raises as `opened` does, and UnicodeDecodeError."""
    return read_bytes(path, most_bytes).decode("utf-8")


def _require_file(path: Path, status: os.stat_result, most_bytes: int) -> None:
    if not stat.S_ISREG(status.st_mode):
        kind = next((name for is_kind, name in _KINDS if is_kind(status.st_mode)), "something else")
        raise SessionError(f"{path} is {kind}, where a file belongs: move it away, or name the file that is meant")
    if status.st_size > most_bytes:
        raise SessionError(
            f"{path} is larger than {most_bytes / 1e6:g} MB, the most that such a file may have: look what it is"
        )
