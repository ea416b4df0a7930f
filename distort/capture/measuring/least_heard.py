"""What a microphone must hear of a stimulus at least, as the quiet run foretells it: less, and it is deaf."""

import numpy as np
import numpy.typing as npt
import scipy

from distort.capture.devices.guard import Expected
from distort.capture.measuring.expected import expected_rms_dbfs
from distort.capture.measuring.kinds import loud
from distort.capture.measuring.quiet_run import QuietRun
from distort.session.recordings.stimulus_files import Planned
from signals import Chirp
from signals.levels import db_to_amplitude

FloatArray = npt.NDArray[np.float64]

STRETCH_S = 0.05
"""Stretch in which a peak must be heard: a whole period of 20 Hz. Of a slow sweep it is longer."""

OTHER_STREAM_S = 0.5
"""How much later or earlier than in the quiet run another stream may bring what is heard. A card's buffers hold 0.1 s
each way; mixers of the operating system and wireless links hold more, and a busy machine fills them otherwise. It
delays only what the chirp tells; within the stimulus it takes as much from the ends of what is judged."""

ABOVE_NOISE = 2.0
"""A peak within twice the highest of the quiet run's noise is what a deaf microphone gives as well."""

LIMITS_BY_DB = 40.0
"""No loudspeaker limits by more than this, at any frequency, and is still worth measuring."""

CLEAR_BY_DB = 20.0
"""A stretch is judged where the peak that is expected stands so far over the least: what a loudspeaker that takes its
bass back at high levels may lose (common practice, no source)."""


def least_heard(quiet: QuietRun, item: Planned) -> tuple[Expected, ...]:
    """Stretches of the recording of `item`, each with the peak that must be heard in it.

    The first is the clock chirp before the stimulus: a microphone that has gone deaf since the last take is noticed
    before anything is loud. Stretches in which the quiet run foretells nothing that stands clear of noise are left out.
    """
    chirps = [_chirp_heard(quiet, chirp, start) for start, chirp in item.reel.chirps()]
    return tuple(one for one in chirps if one is not None) + _stimulus_heard(quiet, item)


def _least(quiet: QuietRun, expected: FloatArray) -> FloatArray:
    """Least peak for peaks that are `expected`, full scale 1; 0 where nothing can be demanded."""
    least = np.maximum(ABOVE_NOISE * quiet.noise_peak, expected * db_to_amplitude(-LIMITS_BY_DB))
    return np.asarray(np.where(least <= expected * db_to_amplitude(-CLEAR_BY_DB), least, 0.0))


def _chirp_heard(quiet: QuietRun, chirp: Chirp, start: int) -> Expected | None:
    """`chirp` at `start` of the reel: its peak is at least that of the middle of the responses that it passes."""
    passed = (quiet.frequency_hz >= chirp.low_hz) & (quiet.frequency_hz <= chirp.high_hz)
    heard_db = quiet.heard_db_spl[passed & np.isfinite(quiet.heard_db_spl)]
    if heard_db.size == 0:
        return None
    peak = db_to_amplitude(float(np.median(heard_db)) + chirp.drive_dbfs - quiet.offset_db)
    least = float(_least(quiet, np.array([peak]))[0])
    arrives_s = start / chirp.sample_rate + quiet.delay_s
    ends_s = arrives_s + chirp.seconds + OTHER_STREAM_S
    if least <= 0.0:
        return None
    return _expected(arrives_s - OTHER_STREAM_S, ends_s, least, sample_rate=chirp.sample_rate)


def _stimulus_heard(quiet: QuietRun, item: Planned) -> tuple[Expected, ...]:
    """Stretch after stretch of the stimulus, half of each within the next."""
    sent_at, stimulus = item.reel.only_stimulus()
    rate = stimulus.sample_rate
    step_s = max(STRETCH_S, loud(stimulus).stretch_s(stimulus)) / 2.0
    moment_s = step_s * np.arange(int(stimulus.n_samples / rate / step_s) + 1, dtype=np.float64)
    expected = _peaks(quiet, item, moment_s)
    # the least of what may be sounding: the stretch itself, and as much before and after it as the delay is unsure
    unsure = int(np.ceil(OTHER_STREAM_S / step_s))
    around = scipy.ndimage.minimum_filter1d(expected, 2 * unsure + 3, mode="constant", cval=0.0)
    least = _least(quiet, around)
    arrives_s = sent_at / rate + quiet.delay_s + moment_s
    return tuple(
        _expected(at_s - step_s, at_s + step_s, float(one), sample_rate=rate)
        for at_s, one in zip(arrives_s, least, strict=True)
        if one > 0.0
    )


def _peaks(quiet: QuietRun, item: Planned, moment_s: FloatArray) -> FloatArray:
    """Peak expected at the input at each moment after the stimulus's first sample; 0 where no reading foretells it."""
    foretold = loud(item.stimulus).peaks
    if foretold is None:
        return np.full(moment_s.size, db_to_amplitude(expected_rms_dbfs(quiet, item)))
    return foretold(quiet, item.stimulus, moment_s)


def _expected(from_s: float, to_s: float, least: float, *, sample_rate: int) -> Expected:
    return Expected(first=round(from_s * sample_rate), end=round(to_s * sample_rate), lowest=least)
