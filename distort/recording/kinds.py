"""What finding and checking a recording must know of each kind of stimulus: one entry a kind, facts alone.

A kind without an entry of its own is found by correlation, goes by the clock chirps, and is checked for what every
recording is checked for.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from signals import Noise, Stimulus, Sweep, kind_of
from signals.burst import BurstSeries
from signals.frames import Frames

Band = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class AlignedKind:
    """What a kind of stimulus allows; the functions are given the stimulus."""

    flat_hz: Callable[[Any], Band] | None = None
    """Band in which it is at its full level, so that a recording can be divided by its spectrum; None: it is found by
    correlation, which takes one period of a tone for the next, so that it begins where the clock chirps say."""
    covered_hz: Callable[[Any], Band] | None = None
    """Band over which signal and noise are read; None: wherever it has energy."""
    seconds_in: Callable[[Any, float, float], float] | None = None
    """How long it sounds between two frequencies; None: all the time."""
    passes: bool = False
    """It passes each frequency once, and has what a `Sweep` has: it is followed band by band."""
    repeats: bool = False
    """It repeats a period of lines, and has what a `Multitone` has: it is followed period by period."""


def aligned(stimulus: Stimulus) -> AlignedKind:
    """The entry of `stimulus`."""
    return ALIGNED.get(kind_of(stimulus), PLAIN)


def _flat_hz(sweep: Sweep) -> Band:
    return max(sweep.full_level_hz, sweep.lowest_hz or 0.0), sweep.fade_out_hz


def _swept_hz(sweep: Sweep) -> Band:
    return sweep.full_level_hz, sweep.fade_out_hz


def _seconds_between(sweep: Sweep, low_hz: float, high_hz: float) -> float:
    return float(sweep.time_s(high_hz) - sweep.time_s(low_hz))


def _noise_hz(noise: Noise) -> Band:
    return noise.low_hz, noise.high_hz


PLAIN = AlignedKind()

_SWEEP = AlignedKind(flat_hz=_flat_hz, covered_hz=_swept_hz, seconds_in=_seconds_between, passes=True)

ALIGNED: dict[str, AlignedKind] = {
    "sweep": _SWEEP,
    "sampled-sweep": _SWEEP,
    "multitone": AlignedKind(repeats=True),
    "burst-series": AlignedKind(seconds_in=BurstSeries.seconds_in),
    "frames": AlignedKind(seconds_in=Frames.seconds_in),
    "noise": AlignedKind(flat_hz=_noise_hz, covered_hz=_noise_hz),
}
"""By the name in `signals.stimulus.KINDS`."""
