"""A recording from disk made ready for the analysis: at its stimulus's sample rate and on its player's clock."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.sweep.rounding import step_of
from distort.recording.alignment.clock import repair_clock
from distort.recording.alignment.locating import pad_to_stimulus
from distort.recording.alignment.silences import recorded_silences
from distort.session.audio.resampling import resample
from distort.session.recordings.sidecar import Sidecar
from distort.session.recordings.stored import Recording
from signals import Reel

FloatArray = npt.NDArray[np.float64]

STEP_SAMPLES = 1 << 16
"""Looked at on either side: of 24-bit values at full scale, 1000 pairs lie one step apart by chance alone."""


@dataclass(frozen=True, kw_only=True)
class Prepared:
    """Samples, where the stimulus begins in them, and the stretches that hold noise alone."""

    samples: FloatArray
    """`(n,)` at the stimulus's sample rate, full scale 1."""
    start: float
    """First sample of the stimulus, fractions included."""
    silences: tuple[FloatArray, ...]
    step: float = 0.0
    """Of the samples as they were stored, full scale 1; 0 where they were not rounded."""


def prepare(recording: Recording, *, repair: bool = True) -> Prepared:
    """Read a recording, bring it to its stimulus's rate, repair a clock that differs, and cut its silences out.

    repair   False leaves the clock as it was recorded: the analysis of multitones sees to it itself

    Raises SessionError when the file is not the one that was recorded, RecordingError when it cannot be read.
    """
    stored = recording.samples()
    samples, start = _at_its_rate(recording.sidecar, stored)
    clock_ppm = recording.sidecar.clock_difference_ppm if repair else None
    reel = recording.sidecar.reel
    return prepare_samples(samples, reel, start=start, clock_difference_ppm=clock_ppm, as_stored=stored)


def placed(recording: Recording) -> tuple[FloatArray, float]:
    """The samples of `prepare` and where the stimulus begins in them, without a look at silences and steps, which takes
    most of the time. Raises as `prepare` does."""
    sidecar = recording.sidecar
    samples, start = _at_its_rate(sidecar, recording.samples())
    samples, start = _on_its_clock(samples, sidecar.reel, start, sidecar.clock_difference_ppm)
    return pad_to_stimulus(samples, start=start, stimulus=sidecar.reel.only_stimulus()[1])


def _at_its_rate(sidecar: Sidecar, stored: FloatArray) -> tuple[FloatArray, float]:
    """Samples at the stimulus's sample rate, and its first."""
    rate = sidecar.stimulus.sample_rate
    start = sidecar.stimulus_start_sample * rate / sidecar.sample_rate
    return resample(stored, from_rate=sidecar.sample_rate, to_rate=rate), start


def _on_its_clock(samples: FloatArray, reel: Reel, start: float, ppm: float | None) -> tuple[FloatArray, float]:
    """The same with the player's clock in place of the recorder's, by which it differs."""
    return (repair_clock(samples, ppm, reel.sample_rate), start / (1.0 + 1e-6 * ppm)) if ppm else (samples, start)


def prepare_samples(
    samples: FloatArray,
    reel: Reel,
    *,
    start: float,
    clock_difference_ppm: float | None = None,
    as_stored: FloatArray | None = None,
) -> Prepared:
    """The same from samples `(n,)` at the rate of `reel`, whose only stimulus begins at sample `start` of them.

    clock_difference_ppm   recorder against player; None or 0 leaves the clock as it was recorded
    as_stored              the samples before any change of sample rate, which hides their steps; None: as given
    """
    step = _step_in_the_middle(samples if as_stored is None else as_stored)
    samples, start = _on_its_clock(samples, reel, start, clock_difference_ppm)
    spans = recorded_silences(samples, reel, start=start).spans
    _, stimulus = reel.only_stimulus()
    whole, whole_start = pad_to_stimulus(samples, start=start, stimulus=stimulus)
    silences = tuple(samples[first:end] for first, end in spans)
    return Prepared(samples=whole, start=whole_start, silences=silences, step=step)


def _step_in_the_middle(stored: FloatArray) -> float:
    """The step of the samples about the middle of a recording: enough of them, and the stimulus is there."""
    middle = stored.size // 2
    return step_of(stored[max(middle - STEP_SAMPLES, 0) : middle + STEP_SAMPLES])
