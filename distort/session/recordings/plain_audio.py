"""The sound of an audio file alone, bit for bit, without anything else that stands in the file.

WAV files are written here, because the library that reads them knows no valid bits below those of the container and
adds the time of writing to floating point: `fmt ` and `fact` as in WAVE_FORMAT_PCM, WAVE_FORMAT_IEEE_FLOAT and
WAVE_FORMAT_EXTENSIBLE (Microsoft, Multiple Channel Audio Data and WAVE Files, 2001), RF64 beyond 4 GiB (EBU Tech 3306).
The same sound so always gives the same bytes.
"""

import shutil
import struct
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import soundfile

from distort.errors import RecordingError, SessionError
from distort.session.recordings.audio import blocks, opened
from distort.session.recordings.riff import UNKNOWN_SIZE, chunks
from distort.system import spelt_for_libraries

FloatArray = npt.NDArray[np.float64]

BYTES_OF = {"PCM_16": 2, "PCM_24": 3, "PCM_32": 4, "FLOAT": 4, "DOUBLE": 8}
"""Of one sample, by the name that the library gives its kind."""

_PCM, _FLOAT, _EXTENSIBLE = 0x0001, 0x0003, 0xFFFE
_KIND_ENDS = bytes.fromhex("0000 0000 1000 8000 00aa 0038 9b71")
"""What follows the format in the identifier of a kind of samples in WAVE_FORMAT_EXTENSIBLE."""


@dataclass(frozen=True)
class _Extensible:
    """What WAVE_FORMAT_EXTENSIBLE says beside the rest."""

    valid_bits: int
    speakers: int


def copier(source: Path, *, keep_metadata: bool) -> tuple[str, Callable[[Path], None]]:
    """How the audio file `source` comes into a session: the ending of its copy, and what writes that where it is told.

    The copy is the sound alone, with `keep_metadata` the whole file as it is. Raises RecordingError as `opened` does.
    """
    if keep_metadata:
        return source.suffix.lower(), lambda place: _copy(source, place)
    with opened(source) as file:
        suffix = ".flac" if _as_flac(file) else ".wav"
    return suffix, lambda place: write_plain(source, place)


def _copy(source: Path, place: Path) -> None:
    with source.open("rb") as original, place.open("wb") as copy:
        shutil.copyfileobj(original, copy)


def write_plain(source: Path, place: Path) -> None:
    """Write the sound of the WAV or FLAC file `source` to `place`: same rate, channels, kind of samples, same bits.

    Raises RecordingError when `source` is not whole, SessionError or OSError when `place` cannot be written.
    """
    with opened(source) as file:
        if _as_flac(file):
            _write_flac(source, file, place)
        else:
            _write_wav(source, file, place)


def _as_flac(file: Any) -> bool:
    """Whether it is FLAC of a rate that a frame can state, as the encoder demands (RFC 9639, section 9.1.2)."""
    rate = int(file.samplerate)
    return bool(file.format == "FLAC") and (rate < 1 << 16 or (rate % 10 == 0 and rate // 10 < 1 << 16))


def _write_flac(source: Path, file: Any, place: Path) -> None:
    try:
        with soundfile.SoundFile(
            spelt_for_libraries(place), "w", file.samplerate, file.channels, subtype=file.subtype, format="FLAC"
        ) as copy:
            for block in _whole_blocks(source, file):
                copy.write(_whole_numbers(block))
    except soundfile.SoundFileError as error:
        raise SessionError(f"the sound of {source} cannot be written: is the disk full?") from error


def _write_wav(source: Path, file: Any, place: Path) -> None:
    width = BYTES_OF[file.subtype]
    floating = {"FLOAT": "<f4", "DOUBLE": "<f8"}.get(file.subtype)
    with place.open("wb") as copy:
        copy.write(_header(file, None if file.format == "FLAC" else _extensible(source)))
        for block in _whole_blocks(source, file):
            values = _whole_numbers(block) if floating is None else block.astype(floating)
            copy.write(values.view(np.uint8).reshape(-1, values.itemsize)[:, -width:].tobytes())
        if file.frames * file.channels * width % 2:
            copy.write(b"\0")


def _whole_blocks(source: Path, file: Any) -> Iterator[FloatArray]:
    """All samples `(n, channels)`, full scale 1: 64-bit floats hold each kind exactly. Raises RecordingError."""
    n_samples = 0
    for block in blocks(source, file):
        n_samples += len(block)
        yield block
    if n_samples < file.frames:  # some versions of the library stop without a word
        raise RecordingError(f"{source} is truncated: it promises {file.frames} samples and holds {n_samples}")


def _whole_numbers(block: FloatArray) -> npt.NDArray[np.int32]:
    """As the library takes whole numbers of any size: in 32 bits, filled from the top."""
    return (block * 2.0**31).astype("<i4")


def _header(file: Any, extensible: _Extensible | None) -> bytes:
    """All that stands before the samples."""
    width = BYTES_OF[file.subtype]
    floating = file.subtype in ("FLOAT", "DOUBLE")
    tag = _FLOAT if floating else _PCM
    frame = width * file.channels
    shape = struct.pack("<HIIHH", file.channels, file.samplerate, file.samplerate * frame, frame, 8 * width)
    form = struct.pack("<H", tag) + shape
    if extensible is not None:
        more = struct.pack("<HHIH", 22, min(extensible.valid_bits or 8 * width, 8 * width), extensible.speakers, tag)
        form = struct.pack("<H", _EXTENSIBLE) + shape + more + _KIND_ENDS
    parts = _chunk(b"fmt ", form)
    if floating:
        parts += _chunk(b"fact", struct.pack("<I", min(file.frames, UNKNOWN_SIZE)))
    n_bytes = frame * file.frames
    whole = 4 + len(parts) + 8 + n_bytes + n_bytes % 2
    if whole < UNKNOWN_SIZE:
        return b"RIFF" + struct.pack("<I", whole) + b"WAVE" + parts + b"data" + struct.pack("<I", n_bytes)
    unknown = struct.pack("<I", UNKNOWN_SIZE)
    sizes = _chunk(b"ds64", struct.pack("<QQQI", whole + 36, n_bytes, file.frames, 0))
    return b"RF64" + unknown + b"WAVE" + sizes + parts + b"data" + unknown


def _chunk(name: bytes, content: bytes) -> bytes:
    return name + struct.pack("<I", len(content)) + content


def _extensible(source: Path) -> _Extensible | None:
    """What the file's own format says; None where it is none of the extensible kind."""
    found = next((one for one in chunks(source) if one.name == b"fmt "), None)
    content = b"" if found is None else found.content(source, 40)
    if found is None or len(content) < 24 or struct.unpack(f"{found.order}H", content[:2])[0] != _EXTENSIBLE:
        return None
    valid_bits, speakers = struct.unpack(f"{found.order}HI", content[18:24])
    return _Extensible(valid_bits, speakers)
