"""Cuts one stimulus, with its silences and chirps, out of the recording of a reel."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.capture.reel.finding import FoundReel
from distort.session.audio.long_recording import LongRecording
from distort.session.audio.resampling import resample
from distort.session.recordings.reel_file import ReelPart

FloatArray = npt.NDArray[np.float64]

MARGIN_S = 0.25
"""Cut along before and after, where the recording has it: silence of the reel."""


@dataclass(frozen=True, kw_only=True)
class Cut:
    """A piece of a recording, as recorded."""

    samples: FloatArray
    """`(n,)` at `sample_rate`, full scale 1."""
    first: int
    """Its first sample in the recording."""
    sample_rate: int
    reel_rate: int

    def at_reel_rate(self) -> FloatArray:
        """The same at the sample rate of the reel."""
        return resample(self.samples, from_rate=self.sample_rate, to_rate=self.reel_rate)


def cut(recording: LongRecording, found: FoundReel, part: ReelPart) -> Cut:
    """`part` of a reel that was found in `recording`. Raises RecordingError when the file is damaged there."""
    first, end = found.spans(part)
    margin = MARGIN_S * recording.sample_rate
    begin = max(math.floor(first - margin), 0)
    stop = min(math.ceil(end + margin), recording.n_samples)
    return Cut(
        samples=recording.part(begin, stop),
        first=begin,
        sample_rate=recording.sample_rate,
        reel_rate=found.reel.sample_rate,
    )
