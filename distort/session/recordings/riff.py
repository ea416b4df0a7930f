"""The chunks of a WAV file: where its audio lies, how much of that it promises, and what else it carries.

The library that reads audio silently shortens a WAV file whose end is missing. Chunks as in the RIFF form (Microsoft
and IBM, Multimedia Programming Interface and Data Specifications 1.0, 1991); sizes beyond 4 GiB as in RF64
(EBU Tech 3306).
"""

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Literal

from distort.errors import RecordingError

UNKNOWN_SIZE = 0xFFFFFFFF
"""Written by programs that stream a file and cannot go back; in RF64: the size stands in the ds64 chunk."""

MOST_CHUNKS = 10_000
"""Looked at in a file: recorders write some ten. A header that is damaged, or meant to harm, may promise any number."""

ByteOrder = Literal["<", ">"]

_BIG_ENDIAN_FORM = b"RIFX"


@dataclass(frozen=True, kw_only=True)
class Chunk:
    """One chunk of a file."""

    name: bytes
    """Four bytes."""
    first: int
    """Where its content begins, in bytes from the start of the file."""
    length: int
    """Bytes of content that its header, or for audio the ds64 chunk, states; as held where none is stated."""
    held: int
    """How many of them the file has."""
    order: ByteOrder
    """Of the numbers in it."""

    def content(self, path: Path, most_bytes: int) -> bytes:
        """What `path` holds of it, up to `most_bytes`."""
        with path.open("rb") as file:
            file.seek(self.first)
            return file.read(min(self.held, most_bytes))


def chunks(path: Path) -> Iterator[Chunk]:
    """Up to MOST_CHUNKS chunks of the WAV file `path`, in their order, also those that the file cuts short.

    Raises RecordingError when the sizes before the audio are cut short, OSError when the file cannot be read.
    """
    size = path.stat().st_size
    with path.open("rb") as file:
        order: ByteOrder = ">" if file.read(12)[:4] == _BIG_ENDIAN_FORM else "<"
        audio_64_bit: int | None = None
        audio_passed = False
        for _ in range(MOST_CHUNKS):
            if len(header := file.read(8)) < 8:
                return
            name, length = struct.unpack(f"{order}4sI", header)
            first = file.tell()
            if name == b"ds64" and not audio_passed:
                audio_64_bit = _data_size_of_ds64(file, length, path)
            if name == b"data":
                audio_passed = True
                if length == UNKNOWN_SIZE:
                    length = size - first if audio_64_bit is None else audio_64_bit
            yield Chunk(name=name, first=first, length=length, held=min(size - first, length), order=order)
            if first + length > size:
                return
            file.seek(first + length + length % 2)  # chunks begin at even bytes


def promised_and_held_bytes(path: Path) -> tuple[int, int]:
    """Bytes in the data chunk of the WAV file `path`: as its header states, and as the file can hold.

    Where the header states none, the second is given for both. Raises RecordingError when there is no data chunk.
    """
    for chunk in chunks(path):
        if chunk.name == b"data":
            return chunk.length, chunk.held
    raise RecordingError(f"{path} is a WAV file without audio in it: it is damaged or was never finished")


def _data_size_of_ds64(file: BinaryIO, length: int, path: Path) -> int:
    """The second of the 64-bit sizes in a ds64 chunk: that of the data chunk."""
    content = file.read(min(length, 16))
    if len(content) < 16:
        raise RecordingError(f"{path} is a WAV file whose header is cut short: copy it again")
    return int(struct.unpack("<Q", content[8:16])[0])
