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
from distort.session.recordings.id3 import ID3_HEADER_BYTES, id3_size

STREAMINFO, PADDING, SEEK_TABLE, COMMENTS = 0, 1, 3, 4
"""Kinds of metadata blocks (RFC 9639, section 8.1)."""

MOST_BLOCKS = 10_000
"""Looked at in a file: programs write some five, and more only for pictures."""

MOST_TAG_BYTES = 1 << 24
"""Read of a tag: 16 MB, as much as a metadata block can hold."""

_STREAMINFO_BYTES = 34


@dataclass(frozen=True, kw_only=True)
class MetadataBlock:
    """One block before the frames."""

    kind: int
    first: int
    """Where its content begins, in bytes from the start of the file."""
    size: int
    """Of its content, in bytes; under 16 MB."""

    def content(self, path: Path) -> bytes:
        """What `path` holds of it."""
        with path.open("rb") as file:
            file.seek(self.first)
            return file.read(self.size)


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
    blocks = list(metadata_blocks(path))
    stated = blocks[0].content(path) if blocks else b""
    if not blocks or blocks[0].kind != STREAMINFO or len(stated) < _STREAMINFO_BYTES:
        raise RecordingError(f"{path} is a FLAC file without its header: copy it again")
    rate_channels_bits_length = int.from_bytes(stated[10:18], "big")
    return StreamInfo(
        bits=(rate_channels_bits_length >> 36 & 0x1F) + 1,
        md5=stated[18:34],
        first_frame=blocks[-1].first + blocks[-1].size,
    )


def tag_before(path: Path) -> bytes:
    """The ID3v2 tag that some programs put before the FLAC file `path`, with its header; empty where there is none.

    Raises OSError when the file cannot be read.
    """
    with path.open("rb") as file:
        header = file.read(ID3_HEADER_BYTES)
        if header[:3] != b"ID3":
            return b""
        return header + file.read(min(id3_size(header), MOST_TAG_BYTES))


def metadata_blocks(path: Path) -> Iterator[MetadataBlock]:
    """The metadata blocks of the FLAC file `path` in their order (RFC 9639, section 8.1); none of what is no FLAC file.

    Raises RecordingError when there are more than MOST_BLOCKS, OSError when the file cannot be read.
    """
    with path.open("rb") as file:
        begin = file.read(ID3_HEADER_BYTES)
        at = ID3_HEADER_BYTES + id3_size(begin) if begin[:3] == b"ID3" else 0
        file.seek(at)
        if file.read(4) != b"fLaC":
            return
        for _ in range(MOST_BLOCKS):
            header = file.read(4)
            if len(header) < 4:
                return
            block = MetadataBlock(kind=header[0] & 0x7F, first=file.tell(), size=int.from_bytes(header[1:], "big"))
            yield block
            if header[0] & 0x80:  # the last of them
                return
            file.seek(block.size, 1)
    raise RecordingError(f"{path} has more than {MOST_BLOCKS} blocks before its sound: it is damaged, export it again")


def _check_frames(path: Path, stated: StreamInfo, promised: int) -> None:
    held = samples_in_a_row(path, stated.first_frame)
    if held < promised:
        raise RecordingError(
            f"{path} is truncated or damaged: of {promised} samples the first {held} are there without a gap; "
            f"copy it again"
        )
