"""Why a stimulus was not found in a recording: cut off, a channel with noise alone, or another stimulus."""

import math

import numpy as np
import numpy.typing as npt

from distort.errors import CutOffError, RecordingError
from distort.recording.alignment.locating import NEAR_S
from distort.recording.alignment.matched import correlate, deconvolve, stands_out_db
from distort.recording.kinds import aligned
from distort.recording.quality.check_result import CheckResult
from distort.recording.quality.chirp_response import path_of
from distort.recording.quality.tonal import tonal_share
from distort.recording.quality.track import LEAST_AGREEMENT, multitone_agreement
from signals import Multitone, Reel, Sweep, kind_of
from signals.levels import amplitude_to_db, rms_dbfs

FloatArray = npt.NDArray[np.float64]

BLOCK_S = 0.1

STEADY_DB = 9.0
"""Noise alone keeps its loudest tenth of a second within this of its median: 2,400 values of white noise scatter by
0.2 dB, a rumble 10 Hz wide by 3 dB. A stimulus between silences stands higher above them, or is lost anyway."""

LOUD_DBFS = -30.0
"""r.m.s. (AES17): noise of an open channel does not come so near to full scale (common practice, no source)."""

MOSTLY_TONAL = 0.5
"""Share of the blocks that hold tones: then somebody played something, however quietly."""

CHIRP_TELLS_DB = 20.0
"""A chirp's peak above the output's r.m.s.; the highest of a million values of noise stands 14 dB above it."""

HEAD_STANDS_OUT_DB = 17.0
"""Of a sweep that is cut off; noise alone, or another sweep, reaches 14 dB."""


def why_not_found(samples: FloatArray, reel: Reel, error: RecordingError) -> CheckResult:
    """A finding `cut_off`, `channel` or `stimulus` for `samples` `(n,)`, in which `find_reel` raised `error`."""
    if isinstance(error, CutOffError):
        return _refused("cut_off", str(error))
    steady = _steady(samples, reel)
    if steady and not _played(samples, reel):
        return _refused(
            "channel",
            "This channel holds nothing but noise: take the channel that the microphone is on, or check its cable.",
        )
    missing_s = _missing_s(samples, reel)
    if missing_s is not None:
        return _refused(
            "cut_off",
            f"The recording is cut off at its end: it stops {missing_s:.1f} s before the stimulus is over. "
            f"Stop recording only after the last sound, and record again.",
        )
    return _refused("stimulus", _something_else(samples, reel) if steady else str(error))


def _something_else(samples: FloatArray, reel: Reel) -> str:
    _, stimulus = reel.only_stimulus()
    return (
        f"The recording holds something else than the stimulus ({kind_of(stimulus)}, "
        f"{stimulus.n_samples / reel.sample_rate:.2f} s): it is no silent channel, its level is "
        f"{rms_dbfs(samples - np.mean(samples)):.0f} dBFS throughout. "
        f"Name what was played, or give the right recording."
    )


def _refused(name: str, sentence: str) -> CheckResult:
    return CheckResult(name=name, value=0.0, unit="found", threshold=1.0, verdict="refuse", sentence=sentence)


def _steady(samples: FloatArray, reel: Reel) -> bool:
    """Of one level throughout, and without a chirp."""
    size = round(BLOCK_S * reel.sample_rate)
    if samples.size < 10 * size:
        return False
    blocks = samples[: samples.size // size * size].reshape(-1, size)
    level_db = amplitude_to_db(np.std(blocks, axis=1))
    if float(np.max(level_db) - np.median(level_db)) > STEADY_DB:
        return False
    return _first_chirp(samples, reel) is None


def _played(samples: FloatArray, reel: Reel) -> bool:
    """Whether what is of one level throughout is louder than noise of a channel is, or made of tones."""
    loud = rms_dbfs(samples - np.mean(samples)) >= LOUD_DBFS
    return loud or tonal_share(samples, reel.sample_rate) >= MOSTLY_TONAL


def _missing_s(samples: FloatArray, reel: Reel) -> float | None:
    """How much of the stimulus's end lies beyond the recording's; None when its beginning is not in it either."""
    first, stimulus = reel.only_stimulus()
    rate = reel.sample_rate
    chirp_at = _first_chirp(samples, reel)
    if aligned(stimulus).passes:
        if chirp_at is None:
            band = stimulus.full_level_hz / rate, stimulus.fade_out_hz / rate
            start = deconvolve(samples, stimulus.samples(), band=band).highest()
        else:
            start = chirp_at + first - reel.chirp_starts()[0]
        there = _holds_head_of_sweep(samples, stimulus, start)
    elif aligned(stimulus).repeats and chirp_at is not None:
        start = chirp_at + first - reel.chirp_starts()[0]
        there = _holds_head_of_multitone(samples, reel, stimulus, start=start, chirp_at=chirp_at)
    else:
        return None
    missing = start + stimulus.n_samples - samples.size
    return missing / rate if there and missing > 0 else None


def _first_chirp(samples: FloatArray, reel: Reel) -> int | None:
    """Lag of the strongest chirp in the part that lies before the stimulus; None when none stands out."""
    if not reel.chirps():
        return None
    output = correlate(samples, reel.chirps()[0][1].samples())
    lag = output.highest()
    usual = float(np.sqrt(np.median(np.square(output.values)) / 0.455))  # of a normal variable
    return lag if abs(output.at(lag)) > usual * 10.0 ** (CHIRP_TELLS_DB / 20.0) else None


def _holds_head_of_sweep(samples: FloatArray, sweep: Sweep, start: int) -> bool:
    """Whether what can be there of the sweep is there: its own matched filter, over the band passed until then."""
    rate = sweep.sample_rate
    near = round(NEAR_S * rate)
    length = min(samples.size - start, sweep.n_samples)
    end_hz = sweep.start_hz * math.exp(length / rate / sweep.rate_s)
    if length < 4 * near or end_hz < 4.0 * sweep.full_level_hz:
        return False
    piece = np.pad(samples[max(start - 2 * near, 0) :], (max(2 * near - start, 0), 2 * near))
    output = deconvolve(piece, sweep.samples()[:length], band=(sweep.full_level_hz / rate, 0.9 * end_hz / rate))
    lag = output.between(near, 3 * near).highest()
    return stands_out_db(output, lag, inner=0.05 * near, outer=2 * near) > HEAD_STANDS_OUT_DB


def _holds_head_of_multitone(samples: FloatArray, reel: Reel, tone: Multitone, *, start: int, chirp_at: int) -> bool:
    if samples.size < start + tone.period_samples:
        return False
    _, chirp = reel.chirps()[0]
    path = path_of(samples, chirp.samples(), reel, at=float(chirp_at))
    return multitone_agreement(samples, tone, path, at=float(start)) > LEAST_AGREEMENT
