"""A drawn sheet as PNG (ISO/IEC 15948), its rows unfiltered.

A figure is flat: filters, which a general writer tries for every row, take most of its time there and save no room.
"""

import struct
import zlib
from typing import Any

import numpy as np

EFFORT = 3
"""Of zlib's nine: from four on it takes twice the time, for a tenth of the room."""

INCH_M = 0.0254

_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_EIGHT_BITS_RGBA = struct.pack(">BBBBB", 8, 6, 0, 0, 0)
"""Depth, colour type, compression, filter method and interlacing, as IHDR has them after width and height."""

_PER_METRE = 1
"""Unit of pHYs."""

_NO_FILTER = 0


def png_bytes(pixels: Any, *, dots_per_inch: float) -> bytes:
    """`pixels` `(rows, columns, 4)`, red, green, blue and alpha of 8 bits each, the uppermost row first, as a file."""
    values = np.asarray(pixels, dtype=np.uint8)
    height, width, _ = values.shape
    rows = np.full((height, 1 + 4 * width), _NO_FILTER, dtype=np.uint8)
    rows[:, 1:] = values.reshape(height, 4 * width)
    per_metre = round(dots_per_inch / INCH_M)
    return b"".join(
        (
            _SIGNATURE,
            _chunk(b"IHDR", struct.pack(">II", width, height) + _EIGHT_BITS_RGBA),
            _chunk(b"pHYs", struct.pack(">IIB", per_metre, per_metre, _PER_METRE)),
            _chunk(b"IDAT", zlib.compress(rows.data, EFFORT)),
            _chunk(b"IEND", b""),
        )
    )


def _chunk(name: bytes, content: bytes) -> bytes:
    """Length, name, content, and the checksum of the last two."""
    return struct.pack(">I", len(content)) + name + content + struct.pack(">I", zlib.crc32(name + content))
