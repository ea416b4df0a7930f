"""A file whose header states another sample rate than its samples have: what a careless export leaves behind."""

import numpy as np
import numpy.typing as npt

from distort.capture.alignment.finding import find_reel
from distort.errors import RecordingError
from distort.session.recordings.resampling import resample
from signals import Reel

FloatArray = npt.NDArray[np.float64]

USUAL_RATES_HZ = (48_000, 44_100, 96_000, 88_200, 192_000)
"""Rates that sound cards and recorders offer, the likeliest first (common practice, no source)."""


def likely_rate(as_stored: FloatArray, reel: Reel, *, stated_hz: int) -> int | None:
    """The usual sample rate, Hz, at which `reel` is found in the samples `(n,)` of a file that states `stated_hz`.

    None when it is found at none of them. Takes a search for each rate: to be asked only after `find_reel` has failed.
    """
    for rate_hz in USUAL_RATES_HZ:
        if rate_hz == stated_hz:
            continue
        try:
            find_reel(resample(as_stored, from_rate=rate_hz, to_rate=reel.sample_rate), reel)
        except RecordingError:
            continue  # not found at this rate either: the answer to the question, not a fault
        return rate_hz
    return None
