"""Flat tops: samples held at the extreme of a waveform that was on its way beyond it.

Works at full scale and below it (a microphone amplifier or a converter's driver may clip long before the file does).
"""

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
"""The highest value of 16 bits. Two neighbours there are taken as clipped without further proof."""


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
    marked = []
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
    first, end = _runs(samples >= extreme - flatness)
    length = end - first
    at_full_scale = (length >= 2) & (extreme >= full_scale)
    before = samples[np.clip(first - length, 0, samples.size - 1)]
    after = samples[np.clip(end - 1 + length, 0, samples.size - 1)]
    steep = np.minimum(extreme - before, extreme - after) > LEAST_DROP * flatness
    clipped = at_full_scale | ((length >= SHORTEST_RUN) & steep)
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
