"""Whether a file can be a recording, by its first bytes: gigabytes of anything else are not hashed to find that out."""

from pathlib import Path

from distort.session.files.reading import opened

BEGINNINGS = (b"RIFF", b"RIFX", b"RF64", b"fLaC", b"ID3")
"""Of WAV files (both orders of bytes, and beyond 4 GiB) and of FLAC files, before which some programs put a tag."""


def begins_as_audio(path: Path) -> bool:
    """Whether the file `path` begins as a WAV or FLAC file does. Raises as `reading.opened` does."""
    with opened(path) as file:
        return file.read(4).startswith(BEGINNINGS)
