"""Wander of the clocks within a period, seen in the phases of many lines at once.

In frames of an eighth of a period each line's phase tells the delay at that moment. What the lines share is wander
(or a link that loses and stretches); what each has for itself is distortion and noise. Wander that repeats with the
period cannot be told from distortion that shifts phases, and is left alone; the rest can be repaired. What is left of
the shared delay stands beside every line: a line of amplitude A and angular frequency w gains the sidebands -i A w d_m
and -i A w conj(d_m) at m bins of the period above and below.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.multitone.blocks import SIDEBANDS, BlockSpectra
from distort.errors import AnalysisError
from signals import Multitone
from signals.windows import blackman_harris

FloatArray = npt.NDArray[np.float64]

FRAMES_A_PERIOD = 16
FRAME_SHARE = 8
"""A frame is an eighth of a period long, so it sees wander up to some 4 bins of the period."""

MOST_LINES = 16
LEAST_LINES = 4
LEAST_DISTANCE = 40
"""Bins to the next line: outside the main lobe of a frame's window, 32 bins."""

SHARED_RATIO = 3.0
"""How many times stronger the lines' sum must be than lines that have nothing in common would make it: 1 with a
standard deviation of 0.4 over seven sidebands, so 3 is five standard deviations."""

WORTH_TELLING = 10.0**-11.5
"""Power of the sidebands of the highest line re the line: 115 dB down, what a constant clock's repair must reach."""

JUMP_SAMPLES = 0.1
"""Ten times the delay that 1 ppm of wander with a period of 2 s makes; a lost sample makes 1."""


@dataclass(frozen=True, kw_only=True)
class FastWander:
    """Power of the shared delay's sidebands, both sides together, samples squared; zero where nothing is shared."""

    odd_offsets: float
    """Sidebands that fall on even bins, and are taken for even-order distortion."""
    even_offsets: float
    found: bool
    """Whether they are strong enough to be told; weaker ones still count in the floors."""


@dataclass(frozen=True, kw_only=True)
class SharedDelay:
    """The delay that the lines share and that does not repeat with the period, from moment to moment."""

    at_periods: FloatArray
    """Moments, periods after the first measured one began, `(frames,)`."""
    delay: FloatArray
    """Samples about its mean, `(frames,)`."""
    sigma: float
    """Standard deviation of `delay` by what the lines do not share; infinite when there are too few lines."""


def shared_delay(samples: FloatArray, tone: Multitone, *, first: int) -> SharedDelay:
    """What can be repaired of the wander within the measured periods, which begin at `first` of `samples` `(n,)`.

    Raises AnalysisError, naming the moment, when the shared delay jumps as it does where samples were lost.
    """
    bins = lines_apart(tone)
    at = _centres(tone) / tone.period_samples
    if bins.size < LEAST_LINES:
        return SharedDelay(at_periods=at, delay=np.zeros(at.size), sigma=np.inf)
    tracks = _delay_tracks(samples, tone, first, bins)
    _require_no_jump(tracks @ (bins / bins.sum()), tone)
    tracks -= _repeating(tracks, at)
    weight = bins / bins.sum()
    shared = tracks @ weight
    own = np.mean(np.square(tracks - shared[:, None]), axis=0)
    return SharedDelay(at_periods=at, delay=shared, sigma=float(np.sqrt(own @ np.square(weight))))


def fast_wander(spectra: BlockSpectra, tone: Multitone) -> FastWander:
    """What the lines' sidebands share; `spectra` kept those of `lines_apart(tone)`.

    The difference of both sides is the part that shifts phases; a level that fluctuates is in their sum.
    """
    bins = lines_apart(tone)
    if bins.size < LEAST_LINES:
        return FastWander(odd_offsets=0.0, even_offsets=0.0, found=False)
    above, below = spectra.beside[:, 0], spectra.beside[:, 1]
    at = 0.5j * (above - np.conj(below)) * (tone.period_samples / (2.0 * np.pi * bins))
    weight = bins / bins.sum()
    together = np.mean(np.square(np.abs(at @ weight)), axis=0)
    apart = np.mean(np.square(np.abs(at)) @ np.square(weight), axis=0)
    ratio = float(np.sum(together) / np.sum(apart)) if np.any(apart > 0) else 0.0
    shared = np.maximum(together - apart, 0.0) / (1.0 - np.sum(np.square(weight)))
    if ratio <= SHARED_RATIO:
        return FastWander(odd_offsets=0.0, even_offsets=0.0, found=False)
    odd = SIDEBANDS % 2 == 1
    sides = 2.0 * np.sum(shared[odd]), 2.0 * np.sum(shared[~odd])
    radians_a_sample = 2.0 * np.pi * bins[-1] / tone.period_samples
    return FastWander(
        odd_offsets=float(sides[0]),
        even_offsets=float(sides[1]),
        found=bool(sum(sides) * radians_a_sample**2 > WORTH_TELLING),
    )


def lines_apart(tone: Multitone) -> npt.NDArray[np.int64]:
    """The highest lines that stand far enough from their neighbours."""
    bins = tone.line_bins
    gap = np.diff(bins, prepend=-bins[0], append=2 * bins[-1])
    apart = bins[(gap[:-1] >= LEAST_DISTANCE) & (gap[1:] >= LEAST_DISTANCE)]
    apart = apart[apart + SIDEBANDS[-1] <= tone.period_samples // 2]
    return np.asarray(apart[-MOST_LINES:])


def _centres(tone: Multitone) -> npt.NDArray[np.int64]:
    """Middle of each frame, samples after the first measured period began: 16 a period, none on its edges.

    The first and the last are moved inwards, so that all of their frame is measured."""
    n = tone.period_samples
    within = np.rint((np.arange(FRAMES_A_PERIOD) + 0.5) * (n / FRAMES_A_PERIOD)).astype(np.int64)
    half = n // (2 * FRAME_SHARE)
    return np.asarray(np.clip((np.arange(tone.periods)[:, None] * n + within).ravel(), half, tone.periods * n - half))


def _delay_tracks(samples: FloatArray, tone: Multitone, first: int, bins: npt.NDArray[np.int64]) -> FloatArray:
    """Delay by each line, `(frames, lines)`, samples about its mean; the frames lie a 16th of a period apart."""
    n = tone.period_samples
    length = 2 * (n // (2 * FRAME_SHARE))
    window = blackman_harris(length)
    turning = window[:, None] * np.exp(-2j * np.pi / n * np.outer(np.arange(length) - length // 2, bins))
    centres = _centres(tone)
    seen = np.empty((centres.size, bins.size), dtype=np.complex128)
    for number, centre in enumerate(centres):
        begin = first + centre - length // 2
        seen[number] = samples[begin : begin + length] @ turning
    seen *= np.exp(-2j * np.pi / n * np.outer(centres, bins))
    lines = seen / np.where(np.abs(seen) > 0, np.abs(seen), 1.0)
    late = -np.angle(seen * np.conj(lines.mean(axis=0))) * (n / (2.0 * np.pi * bins))
    return np.asarray(late - late.mean(axis=0))


def _repeating(tracks: FloatArray, at_periods: FloatArray) -> FloatArray:
    """The part of `tracks` `(frames, lines)` that repeats with the period, without its mean.

    Its Fourier series is read under a Blackman-Harris window over all frames: the mean over the periods would take slow
    wander for a sawtooth that repeats.
    """
    window = blackman_harris(at_periods.size)
    turning = np.exp(2j * np.pi * np.outer(at_periods, np.arange(1, FRAMES_A_PERIOD // 2)))
    series = (np.conj(turning) * window[:, None]).T @ tracks / window.sum()
    return np.asarray(2.0 * np.real(turning @ series))


def _require_no_jump(shared: FloatArray, tone: Multitone) -> None:
    worst = int(np.argmax(np.abs(np.diff(shared))))
    step = abs(float(shared[worst + 1] - shared[worst]))
    if step > JUMP_SAMPLES:
        at_s = tone.settling_periods * tone.period_s + (worst + 1) * tone.period_s / FRAMES_A_PERIOD
        raise AnalysisError(
            f"about {at_s:.1f} s into the multitone the recording jumps by {step:.2g} samples: samples were lost or "
            f"doubled on the way, so record it again"
        )
