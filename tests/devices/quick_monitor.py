"""A stand-in for the simulated loudspeaker that answers at once, for sessions of which only the course counts.

    heard(t) = 0.158 (x + 0.05 x^2 + 0.1 x^3)   through a room of some milliseconds: 112 dB SPL at 0 dBFS
    on the desk, further                         a copy 20 samples later, 0.6 times as loud, through a low-pass of 4 kHz

At 48 kHz that copy is half a period late where `2 pi f 20 / 48000 + arctan(f / 4000) = pi`, at 1090 Hz: its first dip.
"""

from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
import numpy.typing as npt
import pytest
import scipy.signal

from distort.capture.devices.guard import Guard, require_allowed
from distort.capture.simulated import SimulatedMonitor
from distort.session.plan.keys import Plan

GAIN = 10.0 ** (-16.0 / 20.0)
SECOND, THIRD = 0.05, 0.1
NOISE = 1e-5
"""r.m.s. re full scale: 28 dB SPL."""
LATENCY, TAIL_S = 1500, 0.52
ROOM_SAMPLES, ROOM_DECAY, ROOM_GAIN = 1000, 100.0, 0.04
"""Of noise that decays, behind the direct sound: without it this were a wire, and is taken for one."""
DESK_DELAY, DESK_GAIN, DESK_HZ = 20, 0.6, 4000.0


class QuickMonitor(SimulatedMonitor):
    """Plays and hears as the module says; all else, such as its calibrator and its clock, is that of the simulation."""

    def play_and_record(
        self, playback: npt.NDArray[np.float64], *, sample_rate: int, guard: Guard | None = None
    ) -> npt.NDArray[np.float64]:
        self._takes += 1
        self._elapsed_s += playback.size / sample_rate
        direct = np.pad(playback, (LATENCY, round(TAIL_S * sample_rate)))
        room = ROOM_GAIN * np.random.default_rng(ROOM_SAMPLES).standard_normal(ROOM_SAMPLES)
        room *= np.exp(-np.arange(ROOM_SAMPLES) / ROOM_DECAY)
        room[0] = 1.0
        path = scipy.signal.oaconvolve(direct + SECOND * np.square(direct) + THIRD * direct**3, room)[: direct.size]
        if self.condition == "desk":
            low_pass = scipy.signal.butter(1, DESK_HZ, fs=sample_rate)
            path[DESK_DELAY:] += DESK_GAIN * scipy.signal.lfilter(*low_pass, path)[:-DESK_DELAY]
        random = np.random.default_rng([self._seed, self._takes])
        heard = GAIN * path + NOISE * random.standard_normal(path.size)
        require_allowed(heard, guard, sample_rate=sample_rate)
        return heard


def quick_monitor(plan: Plan, condition: str, *, takes_before: int = 0) -> QuickMonitor:
    """In the place of `simulated_monitor`."""
    return QuickMonitor(condition=condition, takes_before=takes_before)


@contextmanager
def quickly_simulated() -> Iterator[None]:
    """`measure --simulate` means this one."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("distort.capture.simulated.session.simulated_monitor", quick_monitor)
        yield
