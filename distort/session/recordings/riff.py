"""How much audio a WAV file's header promises, and how much the file holds.

The library that reads audio silently shortens a WAV file whose end is missing. Chunks as in the RIFF form (Microsoft
and IBM, Multimedia Programming Interface and Data Specifications 1.0, 1991); sizes beyond 4 GiB as in RF64
(EBU Tech 3306).
"""

import struct
from pathlib import Path
from typing import BinaryIO

from distort.errors import RecordingError

_UNKNOWN_SIZE = 0xFFFFFFFF
"""Written by programs that stream a file and cannot go back; in RF64: the size stands in the ds64 chunk."""

_BIG_ENDIAN_FORM = b"RIFX"


def promised_and_held_bytes(path: Path) -> tuple[int, int]:
    """Bytes in the data chunk of the WAV file `path`: as its header states, and as the file can hold.

    Where the header states none, the second is given for both. Raises RecordingError when there is no data chunk.
    """
    size = path.stat().st_size
    with path.open("rb") as file:
        form = file.read(12)[:4]
        order = ">" if form == _BIG_ENDIAN_FORM else "<"
        promised_64_bit: int | None = None
        while len(header := file.read(8)) == 8:
            name, length = struct.unpack(f"{order}4sI", header)
            if name == b"data":
                held = size - file.tell()
                if length == _UNKNOWN_SIZE:
                    length = held if promised_64_bit is None else promised_64_bit
                return length, min(held, length)
            if name == b"ds64":
                promised_64_bit = _data_size_of_ds64(file, length, path)
            else:
                file.seek(length + length % 2, 1)  # chunks begin at even bytes
    raise RecordingError(f"{path} is a WAV file without audio in it: it is damaged or was never finished")


def _data_size_of_ds64(file: BinaryIO, length: int, path: Path) -> int:
    """The second of the 64-bit sizes in a ds64 chunk: that of the data chunk."""
    content = file.read(length + length % 2)
    if len(content) < 16:
        raise RecordingError(f"{path} is a WAV file whose header is cut short: copy it again")
    return int(struct.unpack("<Q", content[8:16])[0])
