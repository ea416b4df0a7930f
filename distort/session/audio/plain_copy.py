"""The sound of an audio file alone, bit for bit, without anything else that stands in the file.

WAV files are written here, because the library that reads them knows no valid bits below those of the container and
adds the time of writing to floating point: `fmt ` and `fact` as in WAVE_FORMAT_PCM, WAVE_FORMAT_IEEE_FLOAT and
WAVE_FORMAT_EXTENSIBLE (Microsoft, Multiple Channel Audio Data and WAVE Files, 2001), RF64 beyond 4 GiB (EBU Tech 3306).
The same sound so always gives the same bytes.
"""

import shutil
import struct
from collections.abc import Callable, Generator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile

from distort.errors import RecordingError, SessionError
from distort.session.audio.audio_file import blocks, opened
from distort.session.audio.integrity import UNKNOWN_SIZE, chunks
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


@dataclass(frozen=True, kw_only=True)
class _Sound:
    """How an audio file holds its sound."""

    as_flac: bool
    subtype: str
    """The library's name for the kind of samples."""
    sample_rate: int
    channels: int
    frames: int
    extensible: _Extensible | None


def copier(source: Path, *, keep_metadata: bool) -> tuple[str, Callable[[Path], None]]:
    """How the audio file `source` comes into a session: the ending of its copy, and what writes that where it is told.

    The copy is the sound alone: same rate, channels, kind of samples, same bits. With `keep_metadata` it is the whole
    file as it is. Raises RecordingError as `opened` does; what is returned raises it when `source` is not whole, and
    SessionError or OSError when the copy cannot be written.
    """
    if keep_metadata:
        return source.suffix.lower(), lambda place: _copy(source, place)
    sound = _sound_of(source)
    if sound.as_flac:
        return ".flac", lambda place: _write_flac(source, sound, place)
    return ".wav", lambda place: _write_wav(source, sound, place)


def _copy(source: Path, place: Path) -> None:
    with source.open("rb") as original, place.open("wb") as copy:
        shutil.copyfileobj(original, copy)


def _sound_of(source: Path) -> _Sound:
    with opened(source) as file:
        rate, flac = int(file.samplerate), file.format == "FLAC"
        return _Sound(
            # of a rate that a frame can state, as the encoder demands (RFC 9639, section 9.1.2)
            as_flac=flac and (rate < 1 << 16 or (rate % 10 == 0 and rate // 10 < 1 << 16)),
            subtype=file.subtype,
            sample_rate=rate,
            channels=int(file.channels),
            frames=int(file.frames),
            extensible=None if flac else _extensible(source),
        )


def _write_flac(source: Path, sound: _Sound, place: Path) -> None:
    try:
        with (
            closing(_whole_blocks(source)) as samples,
            soundfile.SoundFile(
                spelt_for_libraries(place), "w", sound.sample_rate, sound.channels, subtype=sound.subtype, format="FLAC"
            ) as copy,
        ):
            for block in samples:
                copy.write(_whole_numbers(block))
    except soundfile.SoundFileError as error:
        raise SessionError(f"the copy of {source} cannot be written: is the disk full?") from error
    try:
        for _ in _whole_blocks(place):
            pass  # on a full disk the library may lose the end without a word
    except RecordingError as error:
        raise SessionError(f"the copy of {source} cannot be written whole: is the disk full?") from error


def _write_wav(source: Path, sound: _Sound, place: Path) -> None:
    width = BYTES_OF[sound.subtype]
    floating = {"FLOAT": "<f4", "DOUBLE": "<f8"}.get(sound.subtype)
    with closing(_whole_blocks(source)) as samples, place.open("wb") as copy:
        copy.write(_header(sound))
        for block in samples:
            values = _whole_numbers(block) if floating is None else block.astype(floating)
            copy.write(values.view(np.uint8).reshape(-1, values.itemsize)[:, -width:].tobytes())
        if sound.frames * sound.channels * width % 2:
            copy.write(b"\0")


def _whole_blocks(source: Path) -> Generator[FloatArray, None, None]:
    """All samples `(n, channels)`, full scale 1: 64-bit floats hold each kind exactly. Raises RecordingError.

    The file is open in here alone, so that what goes wrong while they are written is not taken for its fault.
    """
    with opened(source) as file:
        n_samples = 0
        for block in blocks(source, file):
            n_samples += len(block)
            yield block
        if n_samples < file.frames:  # some versions of the library stop without a word
            raise RecordingError(f"{source} is truncated: it promises {file.frames} samples and holds {n_samples}")


def _whole_numbers(block: FloatArray) -> npt.NDArray[np.int32]:
    """As the library takes whole numbers of any size: in 32 bits, filled from the top."""
    return (block * 2.0**31).astype("<i4")


def _header(sound: _Sound) -> bytes:
    """All that stands before the samples of a WAV file."""
    width, channels, rate = BYTES_OF[sound.subtype], sound.channels, sound.sample_rate
    floating = sound.subtype in ("FLOAT", "DOUBLE")
    tag = _FLOAT if floating else _PCM
    frame = width * channels
    shape = struct.pack("<HIIHH", channels, rate, min(rate * frame, UNKNOWN_SIZE), frame, 8 * width)
    form = struct.pack("<H", tag) + shape
    if sound.extensible is not None:
        valid_bits = min(sound.extensible.valid_bits or 8 * width, 8 * width)
        more = struct.pack("<HHIH", 22, valid_bits, sound.extensible.speakers, tag)
        form = struct.pack("<H", _EXTENSIBLE) + shape + more + _KIND_ENDS
    parts = _chunk(b"fmt ", form)
    if floating:
        parts += _chunk(b"fact", struct.pack("<I", min(sound.frames, UNKNOWN_SIZE)))
    n_bytes = frame * sound.frames
    whole = 4 + len(parts) + 8 + n_bytes + n_bytes % 2
    if whole < UNKNOWN_SIZE:
        return b"RIFF" + struct.pack("<I", whole) + b"WAVE" + parts + b"data" + struct.pack("<I", n_bytes)
    unknown = struct.pack("<I", UNKNOWN_SIZE)
    sizes = _chunk(b"ds64", struct.pack("<QQQI", whole + 36, n_bytes, sound.frames, 0))
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
