"""Recordings of reels made from the closed forms of what is played, at the moments of another clock and rate.

No resampler is involved (tests/made_recordings.py). Of the stimuli only sweeps are played; wake noise and multitones
are left silent, since only the chirps tell where a reel lies.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.signal

from distort.capture.reel.making import make_reel
from distort.session.plan.reading import plan_from_text
from distort.session.plan.template import plan_text
from distort.session.recordings.reel_file import SessionReel
from signals import Chirp, Sweep
from tests.made_recordings import chirp_at, sweep_at

FloatArray = npt.NDArray[np.float64]


def plan_of(*, levels=(76.0, 86.0, 96.0), **keys):
    """A plan of short stimuli; `keys` of session.toml take other values."""
    text = plan_text(name="Monitor A", levels_db_spl=levels)
    quick = {"seconds": 3.2, "short": "false", "lines_per_decade": 3, "period_s": 0.5, "rest_s": 12}
    for key, value in (quick | keys).items():
        lines = [line if not line.startswith(f"{key} = ") else f"{key} = {value}" for line in text.splitlines()]
        text = "\n".join(lines)
    return plan_from_text(text, source="plan")


def session_reel(plan, *, up_to=None) -> SessionReel:
    """The reel of a plan as its .json describes it."""
    made = make_reel(plan, None, up_to_db_spl=up_to)
    return SessionReel(
        up_to_db_spl=up_to, parts=made.parts, reel=made.reel, dither_seed=1, file="reel.wav", sha256="a" * 64
    )


@dataclass(frozen=True, kw_only=True)
class Recorder:
    """How a reel is recorded."""

    rate: int = 48000
    ppm: float = 0.0
    """Clock of the recorder against the player's."""
    delay_s: float = 1.0
    """On the player's clock."""
    extra_s: float = 1.0
    gain: float = 1.0
    """Negative: upside down."""

    def place(self, reel: SessionReel, sample: float) -> float:
        """Where a sample of the reel lies in the recording: closed form."""
        time_s = sample / reel.sample_rate + self.delay_s
        return time_s * self.rate * (1.0 + 1e-6 * self.ppm)


def record(reel: SessionReel, recorder: Recorder, *, room: FloatArray | None = None) -> FloatArray:
    """What the recorder writes, without noise."""
    n = math.ceil(recorder.place(reel, reel.reel.n_samples + recorder.extra_s * reel.sample_rate))
    heard = np.zeros(n)
    for start, item in zip(reel.reel.starts, reel.reel.items, strict=True):
        if not isinstance(item, Sweep | Chirp):
            continue
        first = max(math.floor(recorder.place(reel, start)) - 2, 0)
        end = min(math.ceil(recorder.place(reel, start + item.n_samples)) + 2, n)
        time_s = np.arange(first, end) / (recorder.rate * (1.0 + 1e-6 * recorder.ppm)) - recorder.delay_s
        since_s = time_s - start / reel.sample_rate
        heard[first:end] += sweep_at(item, since_s) if isinstance(item, Sweep) else chirp_at(item, since_s)
    if room is not None:
        heard = np.asarray(scipy.signal.oaconvolve(heard, room)[:n])
    return np.asarray(recorder.gain * heard)
