"""What kinds of audio files there are: how they begin, and the samples of those that this program writes."""

from pathlib import Path
from typing import Literal

from distort.session.files.reading import opened

Subtype = Literal["PCM_24", "FLOAT"]
"""Samples as they are written: 24 bits in WAV or FLAC, or 32-bit floating point in WAV."""

BEGINNINGS = (b"RIFF", b"RIFX", b"RF64", b"fLaC", b"ID3")
"""Of WAV files (both orders of bytes, and beyond 4 GiB) and of FLAC files, before which some programs put a tag."""


def begins_as_audio(path: Path) -> bool:
    """Whether `path` begins as a WAV or FLAC file does. Raises as `reading.opened` does.

    Gigabytes of anything else need not be hashed to find that out.
    """
    with opened(path) as file:
        return file.read(4).startswith(BEGINNINGS)
