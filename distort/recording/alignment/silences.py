"""Where a recording holds its noise alone: what was recorded decides, not what the stimulus file holds.

All of a silence is taken, never its quietest part. Where clock chirps were played, the silences are those of the reel,
between chirps and stimulus: beyond the chirps devices wake and people handle recorders. Without chirps they are all
that was recorded before the stimulus and after it. A silence begins where the sound before it has decayed, and digital
zeros are none: a muted recorder or a closed gate says nothing about the room.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.recording.alignment.settling import settled
from signals import Reel

FloatArray = npt.NDArray[np.float64]
Span = tuple[int, int]

SHORTEST_SILENCE_S = 0.5
"""Noise is read in blocks of 0.4 s, so that anything shorter is as good as no silence."""

MARGIN_S = 5e-3
"""Kept from what follows: a loudspeaker with linear-phase crossovers sounds a little before its peak."""

MUTED_SAMPLES = 1001
"""So many equal samples in a row are a muted recorder's. Noise of a fifth of a step leaves 99 of 100 samples at zero,
and so many in a row once in 100,000. An odd number: a filter of that length looks as far to either side."""

EQUAL = 1e-8
"""Full scale 1: samples within this are equal. No converter is so quiet (a step of 24 bits is 1.2e-7), and a change of
the sample rate or a repaired clock leaves less than this of zeros."""

LOOK_S = 0.1

AS_LOUD_DB = -30.0
"""Re the stimulus's r.m.s.: what is louder for `SOUNDS_S`, and `STANDS_OUT_DB` over the quiet part, is no noise but
another sound, most likely the sweep of another level in the same file."""

STANDS_OUT_DB = 20.0

SOUNDS_S = 1.0
"""A door or a word is shorter, and belongs to the noise."""

QUIET_SHARE = 0.1
"""Of the looks: the level of the tenth from below is that of the quiet part."""

BEGUN_DB = 6.0
"""Over the quiet part: from where on the other sound is heard."""


@dataclass(frozen=True)
class Silences:
    """What a recording holds of noise alone, and what stood in the way of more."""

    spans: tuple[Span, ...] = ()
    """(first, end) samples of each, in order."""
    muted_s: float = 0.0
    """Digital zeros that were left out."""
    ringing_s: float = 0.0
    """Left out because sound was still decaying, in a stretch of which nothing remained."""


def recorded_silences(samples: FloatArray, reel: Reel, *, start: float, stretch: float = 1.0) -> Silences:
    """The silences of `samples` `(n,)`, at the rate of `reel`, whose only stimulus begins at sample `start`.

    stretch   length in the recording over length as played; 1 once the clock is repaired
    """
    rate = reel.sample_rate
    if reel.chirps():
        planned = planned_silences(reel, start=start, n_recorded=samples.size, stretch=stretch)
        stretches = [
            (span, True) for span in _with_unplanned(planned, reel, start=start, stretch=stretch, n=samples.size)
        ]
    else:
        stretches = _about(samples, start, start + reel.only_stimulus()[1].n_samples * stretch, rate)
    found: list[Span] = []
    muted = ringing = 0
    for (first, last), after_sound in stretches:
        pieces = _sounding(samples, (first, last))
        muted += last - first - sum(b - a for a, b in pieces)
        for number, (a, b) in enumerate(pieces):
            # A gate that opens lets through what it will: only what follows on sound is known to decay.
            begun = a + (settled(samples[a:b], rate) if after_sound and number == 0 else 0)
            if b - begun >= SHORTEST_SILENCE_S * rate:
                found.append((begun, b))
            else:
                ringing += begun - a
    return Silences(tuple(found), muted_s=muted / rate, ringing_s=ringing / rate)


def planned_silences(reel: Reel, *, start: float, n_recorded: int, stretch: float = 1.0) -> tuple[Span, ...]:
    """The reel's quiet spans as samples of the recording, clipped to it; too short ones are left out."""
    stimulus_first, _ = reel.only_stimulus()
    margin = round(MARGIN_S * reel.sample_rate)
    spans = []
    for span in reel.quiet_spans():
        first, end = (start + (place - stimulus_first) * stretch for place in span)
        inside = max(math.ceil(first), 0), min(math.floor(end) - margin, n_recorded)
        if inside[1] - inside[0] >= SHORTEST_SILENCE_S * reel.sample_rate:
            spans.append(inside)
    return tuple(spans)


def _with_unplanned(planned: tuple[Span, ...], reel: Reel, *, start: float, stretch: float, n: int) -> tuple[Span, ...]:
    """The planned silences; on a side where none was recorded whole, all that lies between stimulus and chirp."""
    stimulus_first, stimulus = reel.only_stimulus()
    margin = round(MARGIN_S * reel.sample_rate)
    end = start + stimulus.n_samples * stretch
    before, after = 0, n
    for place, chirp in reel.chirps():
        first = start + (place - stimulus_first) * stretch
        if first < start:
            before = max(before, math.ceil(first + chirp.n_samples * stretch))
        else:
            after = min(after, math.floor(first) - margin)
    spans = list(planned)
    if not any(span[1] <= start for span in planned):
        spans.insert(0, (before, math.floor(start) - margin))
    if not any(span[0] >= end for span in planned):
        spans.append((math.ceil(end), after))
    return tuple(span for span in spans if span[1] - span[0] >= SHORTEST_SILENCE_S * reel.sample_rate)


def _about(samples: FloatArray, start: float, end: float, rate: int) -> list[tuple[Span, bool]]:
    """What lies before and after the stimulus up to another sound, each with whether it follows on sound."""
    first, last = max(math.floor(start) - round(MARGIN_S * rate), 0), math.ceil(end)
    least = 10.0 ** (AS_LOUD_DB / 20.0) * float(np.std(samples[max(math.floor(start), 0) : last]))
    before = _until_it_sounds(samples[:first][::-1], least, rate, decays=False)
    after = _until_it_sounds(samples[last:], least, rate, decays=True)
    spans = (
        ((0 if before is None else first - before, first), before is not None),
        ((last, samples.size if after is None else last + after), True),
    )
    return [one for one in spans if one[0][1] - one[0][0] >= SHORTEST_SILENCE_S * rate]


def _until_it_sounds(outward: FloatArray, least: float, rate: int, *, decays: bool) -> int | None:
    """Samples of `outward` `(n,)`, which leads away from the stimulus, before another sound; None without one.

    decays   whether sound that is there from the first look on is the stimulus's own decay
    """
    size = round(LOOK_S * rate)
    looks = outward[: outward.size // size * size].reshape(-1, size)
    if looks.size == 0:
        return None
    rms = np.std(looks, axis=1)
    quiet = float(np.quantile(rms, QUIET_SHARE))
    loud = (rms > least) & (rms > 10.0 ** (STANDS_OUT_DB / 20.0) * quiet)
    loud[: int(np.argmin(loud)) if decays else 0] = False
    begins, ends = _runs(loud)
    long_enough = begins[ends - begins >= SOUNDS_S / LOOK_S]
    if long_enough.size == 0:
        return None
    silent = np.flatnonzero(rms[: long_enough[0]] < 10.0 ** (BEGUN_DB / 20.0) * quiet)
    return (int(silent[-1]) + 1) * size if silent.size else 0


def _runs(mask: npt.NDArray[np.bool_]) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """First and end of each run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(np.int8), [0]])))
    return edges[0::2], edges[1::2]


def _sounding(samples: FloatArray, span: Span) -> list[Span]:
    """The parts of a span that are no digital zeros, whatever their value."""
    piece = samples[span[0] : span[1]]
    if not _may_be_muted(piece):
        return [span]
    change = scipy.ndimage.maximum_filter1d(piece, MUTED_SAMPLES) - scipy.ndimage.minimum_filter1d(piece, MUTED_SAMPLES)
    muted = scipy.ndimage.maximum_filter1d((change <= EQUAL).astype(np.uint8), MUTED_SAMPLES) > 0
    return [(span[0] + int(a), span[0] + int(b)) for a, b in zip(*_runs(~muted), strict=True)]


def _may_be_muted(piece: FloatArray) -> bool:
    """Whether any of its blocks is a single value: of MUTED_SAMPLES in a row one block half as long is always whole."""
    size = MUTED_SAMPLES // 2
    blocks = piece[: piece.size // size * size].reshape(-1, size)
    return bool(np.any(np.ptp(blocks, axis=1) <= EQUAL))
