"""How many samples of a FLAC file its frames hold, counted without decoding: each says which of them it is.

Frame headers as in RFC 9639, section 9.1: a sync code, codes of block size and sample rate, the number of the
frame (or of its first sample, where blocks differ in size), and a CRC-8 of all that.
"""

import mmap
from pathlib import Path

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
