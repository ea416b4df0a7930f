"""Whether a FLAC file decodes to what was encoded: its header carries the MD5 of the samples (RFC 9639, section 8.2).

The library that reads audio checks every frame by itself, but where frames are missing it decodes silence without a
word: at a cut, in the middle, and up to whatever length the header promises.
"""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from distort.errors import RecordingError

_ID3_HEADER_BYTES = 10
_STREAMINFO_BYTES = 34


@dataclass(frozen=True, kw_only=True)
class StreamInfo:
    """What is used of a file's first metadata block."""

    shortest_block: int
    """Fewest samples of a frame but the last."""
    bits: int
    """Of a sample."""
    md5: bytes
    """Of all samples, interleaved, little-endian, in as few bytes as hold them; zeros where the encoder stated none."""
    has_first_frame: bool
    """Whether the first frame says that it is number 0 (section 9.1.5)."""


def checked_blocks(path: Path, file: Any, size: int) -> Iterator[npt.NDArray[np.float64]]:
    """The samples of the open FLAC file in blocks `(size, channels)`, full scale 1; then a check of the whole.

    Raises RecordingError at the end when they are not those that were encoded. A file without an MD5 is refused when
    its first frame is missing, or when it holds a frame's length of exact silence, as which other missing ones decode.
    """
    stated = stream_info(path)
    digest = hashlib.md5(usedforsecurity=False)
    bytes_each = (stated.bits + 7) // 8
    if not any(stated.md5) and not stated.has_first_frame:
        raise RecordingError(f"{path} is damaged: its beginning is missing; copy it again")
    silent = n_samples = 0
    for block in file.blocks(size, dtype="int32", always_2d=True):
        samples = np.ascontiguousarray(block >> (32 - stated.bits), dtype="<i4")
        n_samples += len(samples)
        digest.update(samples.view(np.uint8).reshape(-1, 4)[:, :bytes_each].tobytes())
        if not any(stated.md5):
            silent = _silence(path, samples, silent, stated.shortest_block)
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
        first_frame = file.read(5)
    rate_channels_bits_length = int.from_bytes(block[10:18], "big")
    return StreamInfo(
        shortest_block=int.from_bytes(block[0:2], "big"),
        bits=(rate_channels_bits_length >> 36 & 0x1F) + 1,
        md5=block[18:34],
        has_first_frame=first_frame[:1] == b"\xff" and first_frame[4:] == b"\0",
    )


def _silence(path: Path, samples: npt.NDArray[np.int32], before: int, longest: int) -> int:
    """How many samples of silence end at the end of `samples` `(n, channels)`, `before` of which came earlier."""
    sounding = np.flatnonzero(samples.any(axis=1))
    edges = np.concatenate(([-1 - before], sounding, [len(samples)]))
    gaps = np.diff(edges) - 1
    if gaps.max() >= max(longest, 1):
        raise RecordingError(
            f"{path} holds {gaps.max()} samples of exact silence and carries no checksum: parts of it may be "
            f"missing; export it as WAV from where it was recorded"
        )
    return int(gaps[-1])
