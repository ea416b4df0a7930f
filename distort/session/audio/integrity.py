"""Whether a file holds all that its header promises: RIFF's sizes, FLAC's frames and MD5."""

import hashlib
import mmap
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, Literal

import numpy as np
import numpy.typing as npt

from distort.errors import RecordingError
from distort.session.audio.id3 import ID3_HEADER_BYTES, id3_size

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


_MOST_HEADER_BYTES = 16


_CRC_8_POLYNOMIAL = 0x07
"""x^8 + x^2 + x + 1 without its highest power."""

_SYNC_FIXED, _SYNC_VARIABLE = b"\xff\xf8", b"\xff\xf9"


def samples_in_a_row(path: Path, begin: int) -> int:
    """Samples in the frames of `path` from byte `begin` on, as far as they follow one another without a gap.

    A frame that is missing, or stands elsewhere, ends the row. What each frame holds is not looked at.
    """
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as content:
        sync = content[begin : begin + 2]
        if sync not in (_SYNC_FIXED, _SYNC_VARIABLE):
            return 0
        samples = frames = 0
        at = begin
        while at >= 0:
            expected = samples if sync == _SYNC_VARIABLE else frames
            size = _block_size(content[at : at + _MOST_HEADER_BYTES], expected)
            if size is not None:
                frames += 1
                samples += size
            elif at == begin:
                return 0
            at = content.find(sync, at + 2)  # the code may stand in a frame by chance: its number and CRC do not
        return samples


def _block_size(header: bytes, expected: int) -> int | None:
    """Samples of the frame that begins so; None where none begins, or one of another number."""
    number = _coded(expected)
    size_code, rate_code = header[2] >> 4 if len(header) > 2 else 0, header[2] & 0xF if len(header) > 2 else 0
    size_bytes = {6: 1, 7: 2}.get(size_code, 0)
    length = 4 + len(number) + size_bytes + {12: 1, 13: 2, 14: 2}.get(rate_code, 0)
    if len(header) <= length or header[4 : 4 + len(number)] != number or _crc_8(header[:length]) != header[length]:
        return None
    if size_bytes:
        return int.from_bytes(header[4 + len(number) :][:size_bytes], "big") + 1
    if size_code == 0:
        return None
    return 192 if size_code == 1 else 576 << (size_code - 2) if size_code < 6 else 256 << (size_code - 8)


def _coded(number: int) -> bytes:
    """`number` in one to seven bytes, as UTF-8 spells characters, and beyond them (section 9.1.5)."""
    if number < 0x80:
        return bytes([number])
    following = next(count for count in range(1, 7) if number < 1 << (6 * count + 6 - count))
    first = (0xFF00 >> (following + 1) & 0xFF) | number >> (6 * following)
    return bytes([first, *(0x80 | number >> (6 * index) & 0x3F for index in reversed(range(following)))])


def _crc_8(content: bytes) -> int:
    value = 0
    for byte in content:
        value ^= byte
        for _ in range(8):
            value = (value << 1 ^ _CRC_8_POLYNOMIAL) & 0xFF if value & 0x80 else value << 1
    return value


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
        digest.update(_shortened(samples.view(np.uint8).reshape(-1, 4), bytes_each).data)
        n_samples += len(samples)
        yield block * 2.0**-31  # the library puts the highest bit of a sample into the highest of 32
    # where samples are missing without a word, whoever takes the blocks counts them, and says how many
    if any(stated.md5) and n_samples == file.frames and digest.digest() != stated.md5:
        raise RecordingError(
            f"{path} is truncated or damaged: it does not decode to the samples that were encoded; copy it again"
        )


def _shortened(samples: npt.NDArray[np.uint8], size: int) -> npt.NDArray[np.uint8]:
    """The first bytes of each sample, `(n, 4)`, as `(n, size)`: copied byte by byte of all, since a sample is short."""
    if size == samples.shape[1]:
        return samples
    short = np.empty((len(samples), size), dtype=np.uint8)
    for place in range(size):
        short[:, place] = samples[:, place]
    return short


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
