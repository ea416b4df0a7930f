"""Clipped crests of what repeats a period: a recorder that clips writes them all at one height, and without noise.

Noise of the room, the sampling of another clock and whatever the loudspeaker does move every crest from period to
period. Only what comes last, the recorder, can hold the highest of them still; this tells of single held samples, below
full scale too, and takes no loudspeaker that compresses, or clips by itself, for a recorder that does.
"""

import math

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IndexArray = npt.NDArray[np.int64]

LEAST_PERIODS = 6

COUNT = 16
"""Held heights that are asked for: one in each period of a default multitone, less two."""

RETURNS = 4
"""Held heights that one crest must have to be counted: where samples were lost, the periods do not lie where they
should, and high places of any crest come together by chance."""

STILL_SHARE = 0.1
"""Of the usual change from period to period, within which they lie when they are held. The 16 highest of 18
normal values span 2.7 of it; of 300 sides of clean multitones, with clocks that differ and loudspeakers that heat, the
fewest was 0.17. Held, they keep the converter's noise: 0.00 to 0.08 in 26 clipped ones, on the clearer side."""

BELOW_TOP = 0.98
"""Crests that never come nearer to the highest than this are surely not held: their change is the usual one."""

HIGH_ENOUGH = 0.3
USUAL_COUNT = 60
LEAST_USUAL = 8

LEAST_CHANGE = 1e-7
"""The least usual change, re the highest crest: nothing that was recorded has so little noise (-140 dB), and of what
was computed only the rounding is left."""

LEAST_STEPS = 2.0
"""The usual change, in steps of the converter: under it, rounding alone makes heights alike."""


def held_crests(samples: npt.ArrayLike, *, first: float, period: float, periods: int) -> IndexArray:
    """Indices `(n,)`, ascending, of samples of `samples` `(n,)` that are held at the height of clipped crests.

    first    where the first period begins, samples
    period   its length in samples of the recording, fractions included
    periods  how many follow one another; those beyond the recording are left out

    Empty when nothing is clipped, when there are too few periods, and where they do not lie where they should. Give
    the samples as the recorder stored them.
    """
    recording = np.asarray(samples, dtype=np.float64)
    starts = np.round(first + period * np.arange(periods)).astype(np.int64)
    starts = starts[(starts >= 0) & (starts + math.ceil(period) + 1 < recording.size)]
    if starts.size < LEAST_PERIODS:
        return np.zeros(0, dtype=np.int64)
    sides = [_held_on_top(side * recording, starts, math.floor(period)) for side in (1.0, -1.0)]
    return np.unique(np.concatenate(sides))


def _held_on_top(samples: FloatArray, starts: IndexArray, length: int) -> IndexArray:
    heights = _heights(samples, starts, length)
    top = float(np.max(heights, initial=0.0))
    within = STILL_SHARE * _usual_change(heights)
    in_each = np.count_nonzero(heights > top - within, axis=0)
    if int(np.sum(in_each[in_each >= RETURNS])) < COUNT or within <= STILL_SHARE * LEAST_CHANGE * top:
        return np.zeros(0, dtype=np.int64)
    step = float(np.min(np.diff(np.unique(samples)), initial=np.inf))
    if within < STILL_SHARE * LEAST_STEPS * step:
        return np.zeros(0, dtype=np.int64)
    return np.flatnonzero((samples <= top) & (samples > top - within))


def _heights(samples: FloatArray, starts: IndexArray, length: int) -> FloatArray:
    """Of each crest in each period, `(periods, crests)`: the highest of three samples, so that a clock may drift."""
    usual = np.median([samples[start : start + length] for start in starts[1:6]], axis=0)
    inner = usual[1:-1]
    crests = 1 + np.flatnonzero(
        (inner >= usual[:-2]) & (inner > usual[2:]) & (inner > HIGH_ENOUGH * float(np.max(usual, initial=0.0)))
    )
    around = starts[:, np.newaxis, np.newaxis] + crests[:, np.newaxis] + np.arange(-1, 2)
    return np.asarray(np.max(samples[around], axis=2))


def _usual_change(heights: FloatArray) -> float:
    """r.m.s. over time of a crest's change from period to period, over the square root of 2: the median of the highest
    crests that are not held; 0 where there are too few to tell."""
    top = float(np.max(heights, initial=0.0))
    free = heights[:, np.max(heights, axis=0, initial=-np.inf) < BELOW_TOP * top]
    if free.shape[1] < LEAST_USUAL:
        return 0.0
    highest = free[:, np.argsort(-np.median(free, axis=0))[:USUAL_COUNT]]
    return float(np.median(np.sqrt(0.5 * np.mean(np.square(np.diff(highest, axis=0)), axis=0))))
