"""A recording that may be long, read piece by piece: half an hour at 96 kHz would fill more than a gigabyte."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt
import soundfile

from distort.errors import RecordingError
from distort.session.audio.audio_file import blocks, column_of, opened, require_sound
from distort.session.audio.kinds import Subtype

FloatArray = npt.NDArray[np.float64]

KEPT_BY_24_BITS = {"PCM_16", "PCM_24"}


class LongRecording(Protocol):
    """One channel of a recording, of which parts are read: a file, or what has just been listened to."""

    @property
    def what(self) -> str:
        """How errors call it."""
        ...

    @property
    def sample_rate(self) -> int:
        """Samples a second."""
        ...

    @property
    def n_samples(self) -> int:
        """Length in samples."""
        ...

    def part(self, first: int, end: int) -> FloatArray:
        """Samples from `first` to before `end` as float64, full scale 1; zeros where there is no recording."""
        ...


@dataclass(frozen=True, kw_only=True)
class InMemory:
    """A recording held in memory, `(n,)`."""

    what: str
    sample_rate: int
    samples: FloatArray

    @property
    def n_samples(self) -> int:
        """Length in samples."""
        return self.samples.size

    def part(self, first: int, end: int) -> FloatArray:
        """Samples from `first` to before `end`; zeros where there is no recording."""
        inside = self.samples[max(first, 0) : max(end, 0)]
        return _with_zeros(inside, first, end)


@dataclass(frozen=True, kw_only=True)
class OnDisk:
    """One channel of an open audio file."""

    path: Path
    file: Any
    column: int

    @property
    def what(self) -> str:
        """The file's name."""
        return str(self.path)

    @property
    def sample_rate(self) -> int:
        """Samples a second."""
        return int(self.file.samplerate)

    @property
    def n_samples(self) -> int:
        """Length in samples."""
        return int(self.file.frames)

    @property
    def kept_as(self) -> tuple[str, Subtype]:
        """File ending and samples that keep a part of it as it is: 24 bits, or floating point where it has more."""
        return (".flac", "PCM_24") if self.file.subtype in KEPT_BY_24_BITS else (".wav", "FLOAT")

    def part(self, first: int, end: int) -> FloatArray:
        """Samples from `first` to before `end`; zeros outside the file. Raises RecordingError when it is damaged."""
        begin, stop = min(max(first, 0), self.n_samples), min(max(end, 0), self.n_samples)
        inside = np.zeros(0)
        if stop > begin:
            inside = self._read(begin, stop)
        return _with_zeros(inside, first, end)

    def _read(self, begin: int, stop: int) -> FloatArray:
        try:
            self.file.seek(begin)
            frames = self.file.read(stop - begin, dtype="float64", always_2d=True)
        except soundfile.SoundFileError as error:
            raise RecordingError(_damaged(self.path)) from error
        if len(frames) < stop - begin:  # some versions of the library stop without a word
            raise RecordingError(_damaged(self.path))
        samples = np.ascontiguousarray(frames[:, self.column])
        require_sound(samples, what=str(self.path), begin=begin)
        return samples


@contextmanager
def open_long(path: Path, *, channel: int | None = None) -> Iterator[OnDisk]:
    """One channel of the WAV or FLAC file `path`, counted from 1; None: it has only one.

    Raises RecordingError as `read_audio` does, but for the length.
    """
    with opened(path) as file:
        recording = OnDisk(path=path, file=file, column=column_of(path, file.channels, channel))
        if file.format == "FLAC":
            _check_whole(path, file)
        yield recording


def _check_whole(path: Path, file: Any) -> None:
    """Decode all of it once: what is missing in a FLAC file reads as silence, and only its checksum tells."""
    try:
        n_samples = sum(map(len, blocks(path, file)))
    except soundfile.SoundFileError as error:
        raise RecordingError(_damaged(path)) from error
    if n_samples < file.frames:
        raise RecordingError(_damaged(path))


def _damaged(path: Path) -> str:
    return f"{path} is truncated or damaged: not all of its samples can be read; copy it again"


def _with_zeros(inside: FloatArray, first: int, end: int) -> FloatArray:
    before = min(max(-first, 0), end - first)
    return np.pad(inside, (before, end - first - before - inside.size))
