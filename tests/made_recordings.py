"""Recordings made from the closed forms of what is played, read at the moments a recorder's clock would read them.

No resampler and no delay line is involved: sample m of the recorder is the formula's value at `m / (1 + e) - delay`
samples of the player. What these recordings say about alignment therefore owes nothing to the code that is tested.
"""

import math
from typing import Any

import numpy as np
import numpy.typing as npt
import scipy.signal

from signals import Chirp, Reel, Sweep
from signals.levels import FULL_SCALE_SINE_RMS, db_to_amplitude

FloatArray = npt.NDArray[np.float64]


def sweep_at(sweep: Sweep, time_s: FloatArray) -> FloatArray:
    """A sin(2 pi f1 L (exp(t/L) - 1)) under its fades, 0 outside (Novak, Lotton, Simon 2015)."""
    growth = np.exp(np.clip(time_s, 0.0, sweep.duration_s) / sweep.rate_s)
    phase = 2.0 * np.pi * sweep.start_hz * sweep.rate_s * (growth - 1.0)
    amplitude = db_to_amplitude(sweep.drive_dbfs) * sweep.envelope(sweep.start_hz * growth)
    return np.asarray(np.where((time_s >= 0.0) & (time_s <= sweep.duration_s), amplitude * np.sin(phase), 0.0))


def chirp_at(chirp: Chirp, time_s: FloatArray) -> FloatArray:
    """sin(2 pi (f1 t + (f2 - f1) t^2 / 2T)) between raised-cosine fades of a tenth, 0 outside."""
    share = np.clip(time_s / chirp.seconds, 0.0, 1.0)
    turns = chirp.seconds * (chirp.low_hz * share + 0.5 * (chirp.high_hz - chirp.low_hz) * share**2)
    edge = np.clip(10.0 * np.minimum(share, 1.0 - share), 0.0, 1.0)
    fade = 0.5 - 0.5 * np.cos(np.pi * edge)
    return np.asarray(db_to_amplitude(chirp.drive_dbfs) * fade * np.sin(2.0 * np.pi * turns))


def played_at(reel: Reel, place: FloatArray) -> FloatArray:
    """The reel's value at fractional samples `place` of the player."""
    value = np.zeros(place.size)
    for start, item in zip(reel.starts, reel.items, strict=True):
        time_s = (place - start) / reel.sample_rate
        if isinstance(item, Sweep):
            value += sweep_at(item, time_s)
        elif isinstance(item, Chirp):
            value += chirp_at(item, time_s)
    return value


def recorded(
    reel: Reel, *, delay: float = 1000.25, ppm: float = 0.0, extra_s: float = 1.0, room: FloatArray | None = None
) -> FloatArray:
    """What a recorder with a clock `ppm` fast writes of `reel`, which begins `delay` samples of the player late."""
    stretch = 1.0 + 1e-6 * ppm
    n = math.ceil((reel.n_samples + delay) * stretch + extra_s * reel.sample_rate)
    clean = played_at(reel, np.arange(n) / stretch - delay)
    return clean if room is None else np.asarray(scipy.signal.oaconvolve(clean, room)[:n])


def with_noise(samples: FloatArray, random: np.random.Generator, *, level_dbfs: float) -> FloatArray:
    """`samples` with white Gaussian noise of that level added."""
    sigma = FULL_SCALE_SINE_RMS * float(db_to_amplitude(level_dbfs))
    return np.asarray(samples + sigma * random.standard_normal(samples.size))


def made_room(random: np.random.Generator, *, rt60_s: float, drr_db: float, sample_rate: int = 48000) -> FloatArray:
    """Direct sound of 1 at sample 0, then from 2 ms on Gaussian noise that decays by 60 dB in `rt60_s`."""
    time_s = np.arange(round(1.2 * rt60_s * sample_rate)) / sample_rate
    tail = random.standard_normal(time_s.size) * 10.0 ** (-3.0 * time_s / rt60_s) * (time_s > 2e-3)
    tail *= 10.0 ** (-drr_db / 20.0) / math.sqrt(float(np.sum(np.square(tail))))
    tail[0] = 1.0
    return np.asarray(tail)


def stimulus_start(reel: Reel, *, delay: float = 1000.25, ppm: float = 0.0) -> float:
    """Where the stimulus of `recorded` begins, in samples of the recorder."""
    first: Any = reel.only_stimulus()[0]
    return float((first + delay) * (1.0 + 1e-6 * ppm))
