"""Whether a FLAC file decodes to what was encoded: its header carries the MD5 of the samples (RFC 9639, section 8.2).

The library that reads audio checks every frame by itself, but where frames are missing some versions of it go on
without a word, with silence or with a frame twice, up to whatever length the header promises.
"""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from distort.errors import RecordingError
from distort.session.recordings.flac_frames import samples_in_a_row

_ID3_HEADER_BYTES = 10
_STREAMINFO_BYTES = 34


@dataclass(frozen=True, kw_only=True)
class StreamInfo:
    """What is used of a file's first metadata block."""

    bits: int
    """Of a sample."""
    md5: bytes
    """Of all samples, interleaved, little-endian, in as few bytes as hold them; zeros where the encoder stated none."""
    first_frame: int
    """Where the first frame begins, in bytes."""


def checked_blocks(path: Path, file: Any, size: int) -> Iterator[npt.NDArray[np.float64]]:
    """The samples of the open FLAC file in blocks `(size, channels)`, full scale 1; then a check of the whole.

    Raises RecordingError when they are not those that were encoded; where the encoder stated no MD5, when frames are
    missing.
    """
    stated = stream_info(path)
    if not any(stated.md5):
        _check_frames(path, stated, file.frames)
    digest = hashlib.md5(usedforsecurity=False)
    bytes_each = (stated.bits + 7) // 8
    n_samples = 0
    for block in file.blocks(size, dtype="int32", always_2d=True):
        samples = np.ascontiguousarray(block >> (32 - stated.bits), dtype="<i4")
        digest.update(samples.view(np.uint8).reshape(-1, 4)[:, :bytes_each].tobytes())
        n_samples += len(samples)
        yield block * 2.0**-31  # the library puts the highest bit of a sample into the highest of 32
    # where samples are missing without a word, whoever takes the blocks counts them, and says how many
    if any(stated.md5) and n_samples == file.frames and digest.digest() != stated.md5:
        raise RecordingError(
            f"{path} is truncated or damaged: it does not decode to the samples that were encoded; copy it again"
        )


def stream_info(path: Path) -> StreamInfo:
    """What the header of the FLAC file `path` says (RFC 9639, section 8.2). Raises RecordingError when it has none."""
    with path.open("rb") as file:
        begin = file.read(_ID3_HEADER_BYTES)
        if begin[:3] == b"ID3":  # a tag that some programs put before: its size is in four times seven bits
            size = sum(byte << (7 * (3 - index)) for index, byte in enumerate(begin[6:10]))
            file.seek(_ID3_HEADER_BYTES + size)
        else:
            file.seek(0)
        head = file.read(4 + 4 + _STREAMINFO_BYTES)
        block = head[8:]
        if head[:4] != b"fLaC" or head[4] & 0x7F != 0 or len(block) < _STREAMINFO_BYTES:
            raise RecordingError(f"{path} is a FLAC file without its header: copy it again")
        last = bool(head[4] & 0x80)
        while not last and len(header := file.read(4)) == 4:
            last = bool(header[0] & 0x80)
            file.seek(int.from_bytes(header[1:], "big"), 1)
        first_frame = file.tell()
    rate_channels_bits_length = int.from_bytes(block[10:18], "big")
    return StreamInfo(
        bits=(rate_channels_bits_length >> 36 & 0x1F) + 1,
        md5=block[18:34],
        first_frame=first_frame,
    )


def _check_frames(path: Path, stated: StreamInfo, promised: int) -> None:
    held = samples_in_a_row(path, stated.first_frame)
    if held < promised:
        raise RecordingError(
            f"{path} is truncated or damaged: of {promised} samples the first {held} are there without a gap; "
            f"copy it again"
        )
