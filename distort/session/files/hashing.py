"""SHA-256 of files: what ties a sidecar to the recording and the stimulus it speaks of."""

import hashlib
import string
from pathlib import Path

from distort.errors import SessionError
from distort.session.files.reading import opened

CHUNK_BYTES = 1 << 20
"""Read at a time: a long recording is never held in memory for its hash alone."""


def sha256_of_file(path: Path) -> str:
    """SHA-256 of the bytes of the file `path` as 64 hexadecimal digits. Raises SessionError when it cannot be read."""
    digest = hashlib.sha256()
    try:
        with opened(path) as file:
            while chunk := file.read(CHUNK_BYTES):
                digest.update(chunk)
    except OSError as error:
        raise SessionError(f"{path} cannot be read: {error.strerror or error}") from error
    return digest.hexdigest()


def is_file_of(path: Path, sha256: str) -> bool:
    """Whether `path` is a file with this hash; not one that is missing, a link, something else, or may not be read."""
    try:
        return not path.is_symlink() and sha256_of_file(path) == sha256
    except SessionError:
        return False


def sha256_of_text(text: str) -> str:
    """SHA-256 of `text` as UTF-8; names that no UTF-8 can spell have one too."""
    return hashlib.sha256(text.encode("utf-8", errors="surrogateescape")).hexdigest()


def is_sha256(text: str) -> bool:
    """Whether `text` can be a SHA-256: 64 lower-case hexadecimal digits."""
    return len(text) == 64 and set(text) <= set(string.digits + "abcdef")
