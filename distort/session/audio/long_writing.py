"""A recording written piece by piece while it is made: half an hour is never held."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import soundfile

from distort.errors import SessionError
from distort.session.audio.audio_file import to_24_bit
from distort.system import spelt_for_libraries

FloatArray = npt.NDArray[np.float64]


class LongFile:
    """A 24-bit FLAC file that is open for writing."""

    def __init__(self, path: Path, file: Any, sample_rate: int) -> None:
        self._path, self._file, self._sample_rate = path, file, sample_rate

    def write(self, piece: FloatArray) -> None:
        """Add `piece` `(n,)`, full scale 1. Raises SessionError where the disk does not take it."""
        try:
            self._file.write(to_24_bit(self._path, piece, None))
        except soundfile.SoundFileError as error:
            raise _refused(self._path, self._sample_rate) from error


@contextmanager
def writing(path: Path, sample_rate: int) -> Iterator[LongFile]:
    """Write a new FLAC file at `path`. Raises SessionError where that cannot be."""
    try:
        file = soundfile.SoundFile(
            spelt_for_libraries(path), "w", samplerate=sample_rate, channels=1, subtype="PCM_24", format="FLAC"
        )
    except soundfile.SoundFileError as error:
        raise _refused(path, sample_rate) from error
    with file:
        yield LongFile(path, file, sample_rate)


def _refused(path: Path, sample_rate: int) -> SessionError:
    return SessionError(f"{path} cannot be written: is the disk full, or {sample_rate} Hz no rate?")
