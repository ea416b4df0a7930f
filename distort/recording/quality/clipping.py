"""Clipping: flat tops, and crests of what repeats a period that are all held at one height."""

import math

import numpy as np
import numpy.typing as npt

from distort.analysis.sweep.rounding import step_of

FloatArray = npt.NDArray[np.float64]


IndexArray = npt.NDArray[np.int64]

SHORTEST_RUN = 3
"""Samples. Two neighbours of equal height happen on every crest that straddles them."""

FLATNESS = 2e-4
"""Samples within this share of the extreme count as held: room for the noise of what comes after the clipping."""

BLUR, BLUR_STEPS = 2e-5, 5.0
"""A second look allows for what a converter adds after the clipping: seven standard deviations of -108 dBFS of noise,
or five steps of it. A recording of low level clipped hard holds thousands of samples, and the highest stand out."""

LEAST_DROP = 32.0
"""A top of n samples is clipped when, n samples beyond either end, the wave has fallen by more than this many times its
flatness. A smooth crest (a parabola, flat over n samples) falls by 9 times at one side, 16 at worst."""

FULL_SCALE = 1.0 - 2.0**-15
"""The highest value of 16 bits. Two neighbours there are clipped where the wave falls as steeply beside them as it does
beside a longer top. One alone is not: a file may be normalised so that its highest sample is full scale."""

FLOAT_STEP = 2.0**-24
"""Of single precision below 1: what is held at full scale is held to the last digit, in whole numbers and in floating
point alike, so that a far shallower top is told from a smooth crest there."""


CROWDED_WITHIN = 45.0


CROWDED_SHARE = 0.5
"""A sweep passes its extreme like a hill: of the samples within 45 times the flatness below it, a 45th lies within the
flatness where phase and envelope both curve, a seventh (the root of it) at a single tone's. Clipped, nearly all do."""

LEAST_CROWD = 8
"""Samples, of both sides together: fewer may stand close by chance (half of eight at 1 in 45: once in 1e5)."""


def clipped_samples(recording: npt.ArrayLike, *, whole_sweep: bool = False) -> IndexArray:
    """Indices `(n,)`, ascending, of the samples of `recording` `(samples,)`, full scale 1, that lie in clipped tops.

    whole_sweep   the recording is that of a sweep: tops of one or two samples, at its high frequencies, are then known
                  by their crowding at one height. What repeats a period crowds there without being clipped, and a
                  multitone of odd lines has its highest and lowest values at one height besides.

    Give the samples as the recorder stored them: a resampled or filtered recording has no flat tops left.
    """
    samples = np.asarray(recording, dtype=np.float64)
    step = step_of(samples)
    offset = float(np.mean(samples[np.isfinite(samples)])) if np.any(np.isfinite(samples)) else 0.0
    moving = samples - offset  # with an offset above its amplitude, one side of a wave never passes zero
    exact = 0.5 * max(step, FLOAT_STEP)
    marked = [_at_limit(side * moving, exact, full_scale=FULL_SCALE - side * offset) for side in (1.0, -1.0)]
    for blur in (step, max(BLUR_STEPS * step, BLUR)) if samples.size else ():
        marked.append(_held(moving, blur, full_scale=FULL_SCALE - offset))
        marked.append(_held(-moving, blur, full_scale=FULL_SCALE + offset))
        if whole_sweep:
            marked.append(_crowded(moving, blur))
    return np.unique(np.concatenate([np.zeros(0, dtype=np.int64), *marked]))


def _held(samples: FloatArray, blur: float, *, full_scale: float) -> IndexArray:
    """Samples in clipped tops on the positive side; `full_scale` is where that lies once the offset is off."""
    extreme = float(np.nanmax(samples, initial=0.0))
    if extreme <= 0.0:
        return np.zeros(0, dtype=np.int64)
    flatness = FLATNESS * extreme + blur
    return _steep_tops(samples, extreme, flatness, shortest=2 if extreme >= full_scale else SHORTEST_RUN)


def _at_limit(samples: FloatArray, exact: float, *, full_scale: float) -> IndexArray:
    """Samples of runs that are held at full scale to within `exact`, on the positive side."""
    extreme = float(np.nanmax(samples, initial=0.0))
    if extreme < full_scale:
        return np.zeros(0, dtype=np.int64)
    return _steep_tops(samples, extreme, exact, shortest=2)


def _steep_tops(samples: FloatArray, extreme: float, flatness: float, *, shortest: int) -> IndexArray:
    """Samples of the runs within `flatness` of the extreme beside which the wave falls as no smooth crest does."""
    first, end = _runs(samples >= extreme - flatness)
    length = end - first
    before = samples[np.maximum(first - length, 0)]
    after = samples[np.minimum(end - 1 + length, samples.size - 1)]
    steep = np.minimum(extreme - before, extreme - after) > LEAST_DROP * flatness
    clipped = (length >= shortest) & steep
    pieces = [np.arange(a, b) for a, b in zip(first[clipped], end[clipped], strict=True)]
    return np.concatenate([np.zeros(0, dtype=np.int64), *pieces])


def _crowded(samples: FloatArray, blur: float) -> IndexArray:
    """Samples that crowd at the extremes."""
    high, low = float(np.nanmax(samples, initial=0.0)), -float(np.nanmin(samples, initial=0.0))
    within = FLATNESS * max(high, low) + blur
    if min(high, low) <= 0.0:
        return np.zeros(0, dtype=np.int64)
    top = np.flatnonzero((samples >= high - within) | (samples <= within - low))
    reach = CROWDED_WITHIN * within
    near = np.count_nonzero((samples >= high - reach) | (samples <= reach - low))
    crests = np.count_nonzero(np.diff(top, prepend=-2) > 1)
    if crests < LEAST_CROWD or top.size < CROWDED_SHARE * near:
        return np.zeros(0, dtype=np.int64)
    return top


def _runs(mask: npt.NDArray[np.bool_]) -> tuple[IndexArray, IndexArray]:
    """First and end of each run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(np.int8), [0]])))
    return edges[0::2], edges[1::2]


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
