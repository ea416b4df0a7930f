"""Audio files in and out: WAV and FLAC, checked before they are believed."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import soundfile

from distort.errors import RecordingError, SessionError
from distort.session.audio.integrity import checked_blocks, promised_and_held_bytes
from distort.session.audio.kinds import Subtype
from distort.session.audio.resampling import resample
from distort.session.files import reading
from distort.session.files.atomic import staged
from distort.system import spelt_for_libraries

FloatArray = npt.NDArray[np.float64]

MOST_FRAMES = 48_000 * 3600
"""Longest file that is read: an hour at 48 kHz, 1.4 GB of memory. No stimulus comes near it."""

RATES_HZ = (8000, 768_000)
"""Those that a plan may ask for."""

BLOCK_SAMPLES = 1 << 17
"""Of all channels together, read at a time: 1 MB, however many channels there are."""

CONTAINERS = {"WAV", "WAVEX", "RF64", "FLAC"}
SUBTYPES = {"PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"}

LARGEST_SAMPLE = 1e3
"""Times full scale: 60 dB beyond. Floating point has no clipping, but whole numbers written as such (32768 and up for
16 bits) and damage are no recording."""

STEPS_24_BIT = 2**23
"""Steps of a 24-bit sample from 0 to full scale."""


def read_audio(path: Path, *, channel: int | None = None) -> tuple[FloatArray, int]:
    """One channel of a WAV or FLAC file as float64 `(n,)`, digital full scale 1, and its sample rate in Hz.

    `channel` counts from 1; it may be left out where the file has only one. Raises RecordingError, in one sentence,
    when the file is missing, not audio, of a kind that does not keep a recording as it was, empty, truncated, longer
    than MOST_FRAMES, holds NaN, infinity or more than LARGEST_SAMPLE, or lacks that channel.
    """
    with opened(path) as file:
        if file.frames > MOST_FRAMES:
            raise RecordingError(
                f"{path} says it holds {file.frames / file.samplerate / 60:.3g} minutes; up to {MOST_FRAMES} samples "
                f"a channel are read (an hour at 48 kHz): cut out the part with the stimulus"
            )
        samples = _read_channel(path, file, column_of(path, file.channels, channel))
        return samples, int(file.samplerate)


@contextmanager
def opened(path: Path) -> Iterator[Any]:
    """The audio file `path` as a soundfile.SoundFile, checked. Raises RecordingError as `read_audio` does."""
    try:
        _require_some_bytes(path)
        with soundfile.SoundFile(spelt_for_libraries(path)) as file:
            _check_kind(path, file)
            _check_length(path, file)
            yield file
    except soundfile.SoundFileError as error:
        raise RecordingError(
            f"{path} cannot be read as WAV or FLAC audio: it is damaged or no audio file; export it as WAV"
        ) from error
    except FileNotFoundError as error:
        raise RecordingError(f"{path} is missing: look whether its name and folder are right") from error
    except OSError as error:
        raise RecordingError(f"{path} cannot be read: {error.strerror or error}") from error


def _require_some_bytes(path: Path) -> None:
    """Before the library opens `path`: it would wait for a pipe, and calls what may not be read damaged."""
    if path.is_dir():
        raise RecordingError(f"{path} is a folder: name the WAV or FLAC file in it")
    try:
        with reading.opened(path) as file:
            if not file.read(1):
                raise RecordingError(f"{path} is empty: it holds no byte; copy or record it again")
    except SessionError as error:
        raise RecordingError(str(error)) from error


def write_audio(
    path: Path,
    samples: npt.ArrayLike,
    sample_rate: int,
    *,
    subtype: Subtype = "PCM_24",
    dither_seed: int | None = None,
    replace: bool = False,
) -> None:
    """Write `samples` `(n,)`, digital full scale 1, as WAV or FLAC, whichever `path` ends in; whole or not at all.

    subtype       "PCM_24", or "FLOAT" (32 bits; WAV alone)
    dither_seed   with PCM_24: adds triangular dither of two steps' width, made again by this seed; None adds none
    replace       whether a file of this name may be replaced

    Raises SessionError when the samples are empty, not finite or beyond full scale (PCM_24), when the file exists and
    may not be replaced, or when the folder does not allow it.
    """
    write = encoder(path, samples, sample_rate, subtype=subtype, dither_seed=dither_seed)
    with staged(path, replace=replace) as temporary:
        write(temporary)


def encoder(
    path: Path,
    samples: npt.ArrayLike,
    sample_rate: int,
    *,
    subtype: Subtype = "PCM_24",
    dither_seed: int | None = None,
    tags: Mapping[str, str] | None = None,
) -> Callable[[Path], None]:
    """What writes `samples` where it is told, as the file that is to be called `path`; options as in `write_audio`.

    tags   what players shall show: "title", "artist", "copyright", "comment", as the library calls them; None: nothing

    Raises SessionError at once when the samples cannot be written, and when called where the file cannot be.
    """
    values = np.asarray(samples, dtype=np.float64)
    container = {".wav": "WAV", ".flac": "FLAC"}.get(path.suffix)
    if container is None or (container, subtype) == ("FLAC", "FLOAT"):
        raise SessionError(f"{path} cannot hold {subtype}: use .wav, or .flac for PCM_24")
    if values.ndim != 1 or values.size == 0:
        raise SessionError(f"{path} is not written: there must be one channel with at least one sample")
    if not np.all(np.isfinite(values)):
        raise SessionError(f"{path} is not written: sample {int(np.argmin(np.isfinite(values)))} is not a number")
    random = None if dither_seed is None else np.random.default_rng(dither_seed)
    content = values.astype(np.float32) if subtype == "FLOAT" else to_24_bit(path, values, random)

    def write(place: Path) -> None:
        try:
            with soundfile.SoundFile(
                spelt_for_libraries(place), "w", samplerate=sample_rate, channels=1, subtype=subtype, format=container
            ) as file:
                for name, said in (tags or {}).items():
                    setattr(file, name, said)
                file.write(content)
        except soundfile.SoundFileError as error:
            # The library does not say why. A full disk is by far the likeliest, and a bad rate the only other.
            raise SessionError(f"{path} cannot be written: is the disk full, or {sample_rate} Hz no rate?") from error

    return write


def write_pieces(path: Path, pieces: Iterable[FloatArray], sample_rate: int, *, dither_seed: int) -> None:
    """Write `pieces`, `(n,)` each, one after another as one 24-bit WAV, with dither as `write_audio` adds it.

    An existing file is replaced. Raises SessionError as `write_audio` does.
    """
    random = np.random.default_rng(dither_seed)
    with staged(path, replace=True) as temporary:
        try:
            with soundfile.SoundFile(
                spelt_for_libraries(temporary), "w", samplerate=sample_rate, channels=1, subtype="PCM_24", format="WAV"
            ) as file:
                for piece in pieces:
                    file.write(to_24_bit(path, piece, random))
        except soundfile.SoundFileError as error:
            raise SessionError(f"{path} cannot be written: is the disk full, or {sample_rate} Hz no rate?") from error


def to_24_bit(path: Path, values: FloatArray, random: np.random.Generator | None) -> npt.NDArray[np.int32]:
    """24-bit samples in the upper bits of 32. Dither of triangular density, two steps wide: its noise is constant."""
    peak = float(np.max(np.abs(values)))
    if peak > 1.0:
        raise SessionError(f"{path} is not written: its peak of {peak:.4g} is beyond full scale and would clip")
    steps = values * STEPS_24_BIT
    if random is not None:
        steps += random.random(values.size)
        steps -= random.random(values.size)
    whole = np.clip(np.rint(steps), -STEPS_24_BIT, STEPS_24_BIT - 1).astype(np.int32)
    return np.asarray(whole << 8)


def _check_kind(path: Path, file: Any) -> None:
    if file.format not in CONTAINERS:
        raise RecordingError(f"{path} is {file.format}: bring the recording as WAV or FLAC, as it was captured")
    if file.subtype not in SUBTYPES:
        raise RecordingError(f"{path} holds {file.subtype} samples: record with 16, 24 or 32 bits or floating point")
    if not RATES_HZ[0] <= file.samplerate <= RATES_HZ[1]:
        raise RecordingError(
            f"{path} states a sample rate of {file.samplerate} Hz, outside {RATES_HZ[0]} to {RATES_HZ[1]}: "
            f"export it again"
        )


def _check_length(path: Path, file: Any) -> None:
    if file.format != "FLAC":
        promised, held = promised_and_held_bytes(path)
        if held < promised:
            raise RecordingError(
                f"{path} is truncated: it promises {promised} bytes of audio and holds {held}; copy it again"
            )
    if file.frames <= 0:
        raise RecordingError(f"{path} is empty: it holds no sample; record again")


def column_of(path: Path, channels: int, channel: int | None) -> int:
    """Index of `channel`, counted from 1. Raises RecordingError when it must be said, or is not there."""
    if channel is None:
        if channels > 1:
            raise RecordingError(
                f"{path} has {channels} channels: say with --channel which one is the microphone, counted from 1"
            )
        return 0
    if not 1 <= channel <= channels:
        raise RecordingError(f"{path} has no channel {channel}: it has {channels}, counted from 1")
    return channel - 1


def blocks(path: Path, file: Any) -> Iterator[FloatArray]:
    """All samples of the file that `opened` has given, in blocks `(n, channels)`.

    Raises RecordingError when a FLAC file turns out not to decode to what was encoded, and what soundfile raises.
    """
    size = max(BLOCK_SAMPLES // file.channels, 1)
    if file.format == "FLAC":
        yield from checked_blocks(path, file, size)
    else:
        yield from file.blocks(size, dtype="float64", always_2d=True)


def _read_channel(path: Path, file: Any, column: int) -> FloatArray:
    """One column, block by block, so that a file of many channels takes no more memory than one."""
    samples = np.empty(file.frames)
    filled = 0
    try:
        for block in blocks(path, file):
            samples[filled : filled + len(block)] = block[:, column]
            filled += len(block)
    except soundfile.SoundFileError as error:
        raise RecordingError(
            f"{path} is truncated or damaged: not all of its {file.frames} samples can be read; copy it again"
        ) from error
    if filled < file.frames:  # some versions of the library stop without a word
        raise RecordingError(
            f"{path} is truncated: it promises {file.frames} samples and holds {filled}; copy it again"
        )
    require_sound(samples, what=str(path))
    return samples


def require_sound(samples: FloatArray, *, what: str, begin: int = 0) -> None:
    """Raise RecordingError, which says `what` holds it, for the first of `samples` `(n,)` that is no number or sound.

    begin   number of the first of `samples` in the whole, so that the error says where the bad one is
    """
    if samples.size == 0 or (np.min(samples) >= -LARGEST_SAMPLE and np.max(samples) <= LARGEST_SAMPLE):
        return  # neither NaN nor infinity is
    good = np.abs(samples) <= LARGEST_SAMPLE
    first = int(np.argmin(good))
    if not np.isfinite(samples[first]):
        said = f"that is not a number (sample {begin + first}): export it again, or record again"
    else:
        said = (
            f"of {abs(samples[first]):.3g} times full scale (sample {begin + first}): export it again so that full "
            f"scale is 1"
        )
    raise RecordingError(f"{what} holds a sample {said}")


__all__ = [
    "MOST_FRAMES",
    "blocks",
    "column_of",
    "encoder",
    "opened",
    "read_audio",
    "require_sound",
    "resample",
    "write_audio",
    "write_pieces",
]
