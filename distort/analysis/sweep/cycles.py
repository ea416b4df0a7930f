"""Whether what sounds beyond the orders keeps step with the sweep's cycles, as loose parts, rubbing coils and jets
do."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from signals.sweep import Sweep
from signals.tapers import rise

FloatArray = npt.NDArray[np.float64]

PARTS = 12
"""Of a cycle. Of noise over a band of 10 kHz a part of 1 ms holds 20 values, so that its level is known within 1 dB."""

LEAST_CYCLES = 8
"""That are looked at: fewer cannot repeat anything."""

BEYOND_ORDER = 12.0
LOWEST_HZ, HIGHEST_HZ = 500.0, 16000.0
"""The band that is looked at begins beyond so many times the frequency of the sweep, and reaches no further than
this."""

LEAST_OCTAVES = 1.0
"""Of that band: of a narrower one the envelope moves too slowly to show the parts of a cycle."""

LEAST_OVER_NOISE = 0.2
"""Power re the noise that must be there for its variance to mean anything."""

TINY = 1e-300

BESIDE_S, LEAST_BESIDE = 0.3, 2
"""Before and after, where the usual is read, and at least so many cycles."""

MARGIN_S = 0.03
"""Beyond that the piece is faded, so that its ends make no sound."""


COMMON_SHARE, COMMON_AGREEMENT = 0.03, 0.5
"""Of the scatter of the level in dB, and of the agreement of odd and even cycles, from which on it keeps step:
strikes now harder, now softer, of which some fail (tuned on made loose parts, jets and rubbing coils; see
`tests/STUDIES.md`)."""

COMMON_POWER, POWER_AGREEMENT = 0.03, 0.75
"""The same of the power re its mean: regular strikes that a room fills up between."""


LEAST_SHARE = 0.015
"""Of the scatter of the level, without which strikes are one click that the room lets decay: three loud cycles of a
made click agreed by chance with 0.013, what struck in every cycle had 0.02 and more."""

STRIKES, LIKELY_STRIKES = 5.0, 2.2
"""Rayleigh's n R^2 of where in its cycle each is loudest: by chance it passes x with the probability exp(-x) (Rayleigh,
1880, from memory), so the first alone tells, the second only together with a level and a power that agree a little."""

LIKELY_AGREEMENT, LIKELY_POWER_AGREEMENT = 0.3, 0.2


@dataclass(frozen=True)
class Step:
    """How a stretch of sound lies in the cycles; NaN where it cannot be told."""

    share: float
    """Of the scatter of its level within the cycles, in dB, that all cycles have in common."""
    agreement: float
    """Correlation of the level over the cycle between odd and even cycles, -1 to 1."""
    power: float
    """Variance over the cycle, re the squared mean, that odd and even cycles have in common."""
    power_agreement: float
    strikes: float
    """Rayleigh's n R^2 of where each cycle is loudest, weighted by how much louder it is there than about it."""

    @property
    def known(self) -> bool:
        """Whether it can be told."""
        return not np.isnan(self.share)

    @property
    def kept(self) -> bool:
        """Whether it keeps step."""
        likely = self.agreement > LIKELY_AGREEMENT and self.power_agreement > LIKELY_POWER_AGREEMENT
        lasting = self.power_agreement != 0.0  # else nine cycles of ten hold next to nothing
        return bool(
            (self.share > COMMON_SHARE and self.agreement > COMMON_AGREEMENT and lasting)
            or (self.power > COMMON_POWER and self.power_agreement > POWER_AGREEMENT)
            or (self.share > LEAST_SHARE and self.strikes > (LIKELY_STRIKES if likely else STRIKES))
        )


UNKNOWN = Step(np.nan, np.nan, np.nan, np.nan, np.nan)


def in_step(
    samples: FloatArray, sweep: Sweep, *, start: float, from_s: float, to_s: float, within: bool = False
) -> Step:
    """Look at the sound between two times, seconds into the sweep, that begins at sample `start` of `samples` `(n,)`.

    What the cycles beside it hold is taken off, part by part: orders beyond those that are left out keep step as well.

    within  it begins in the middle of another sound, which the cycles before it hold; unknown where it hardly adds to
            them
    """
    first, last = (_cycle(sweep, time_s) for time_s in (from_s, to_s))
    missing = max(LEAST_CYCLES - (last + 1 - first), 0)
    first, end = max(first - -(-missing // 2), 0), last + 1 + -(-missing // 2)
    before = min(max(_cycle(sweep, from_s - BESIDE_S), 0), first)  # few cycles may last longer than what lies beside
    after = max(_cycle(sweep, to_s + BESIDE_S), end + LEAST_BESIDE)
    band_hz = _looked_at(sweep, after)
    if not _broad(band_hz):  # a fast sweep is soon so high that next to nothing is beyond its orders
        after = end + LEAST_BESIDE
        band_hz = _looked_at(sweep, after)
    if not _broad(band_hz):
        return UNKNOWN
    parts = np.arange(before * PARTS, after * PARTS + 1) / PARTS
    edges_s = sweep.rate_s * np.log1p(parts / (sweep.start_hz * sweep.rate_s))
    level = _levels(samples, sweep.sample_rate, edges=start + edges_s * sweep.sample_rate, band_hz=band_hz)
    level = level.reshape(-1, PARTS)
    sides = [side for side in (level[: first - before], level[end - before :]) if side.shape[0] >= LEAST_BESIDE]
    if within and first - before < LEAST_BESIDE:
        return UNKNOWN
    usual = (
        np.mean(sides[0][-LEAST_CYCLES:], axis=0)
        if within
        else min((np.mean(side, axis=0) for side in sides), key=np.mean)
    )
    over = (level[first - before : end - before] - usual) / max(float(np.mean(usual)), TINY)
    loud = np.log1p(np.maximum(over, 0.0))
    step = Step(*_common_share(_within(loud)), *_common_power(over), _strikes(loud))
    return UNKNOWN if within and np.mean(over) < LEAST_OVER_NOISE else step


def _looked_at(sweep: Sweep, end: int) -> tuple[float, float]:
    """The band beyond the orders of all cycles up to that one."""
    highest_hz = sweep.start_hz + end / sweep.rate_s  # cycle k begins at f1 + k / L
    return max(BEYOND_ORDER * highest_hz, LOWEST_HZ), min(HIGHEST_HZ, 0.45 * sweep.sample_rate)


def _broad(band_hz: tuple[float, float]) -> bool:
    return bool(band_hz[1] >= band_hz[0] * 2.0**LEAST_OCTAVES)


def _cycle(sweep: Sweep, time_s: float) -> int:
    """Number of the cycle that the sweep is in."""
    return int(np.floor(sweep.start_hz * sweep.rate_s * np.expm1(time_s / sweep.rate_s)))


def _levels(samples: FloatArray, rate: int, *, edges: FloatArray, band_hz: tuple[float, float]) -> FloatArray:
    """Mean square between the edges (samples) within a band."""
    margin = round(MARGIN_S * rate)
    first, end = max(int(edges[0]) - margin, 0), min(int(edges[-1]) + margin, samples.size)
    from_start = np.arange(end - first)
    fade = min(margin, 0.5 * (from_start.size - 1))
    piece = samples[first:end] * rise(np.minimum(from_start, from_start[::-1]) / fade)
    n_fft = int(scipy.fft.next_fast_len(piece.size, real=True))
    spectrum = scipy.fft.rfft(piece, n_fft)
    frequency_hz = scipy.fft.rfftfreq(n_fft, 1.0 / rate)
    spectrum[(frequency_hz < band_hz[0]) | (frequency_hz > band_hz[1])] = 0.0
    power = np.square(scipy.fft.irfft(spectrum, n_fft)[: piece.size])
    running = np.concatenate([[0.0], np.cumsum(power)])
    place = np.clip(edges - first, 0.0, power.size)
    energy = np.diff(np.interp(place, np.arange(running.size), running))
    return np.asarray(energy / np.maximum(np.diff(place), 1e-9))


def _within(level: FloatArray) -> FloatArray:
    """Levels `(cycles, parts)` less their mean over the cycle about each, so that no rise or decay is a pattern of the
    cycle: one of 60 dB in 0.3 s falls by 2 dB in every cycle of a sweep at 100 Hz."""
    cycle = np.pad(level.ravel(), (PARTS // 2, PARTS - 1 - PARTS // 2), mode="edge")
    return np.asarray(level - np.convolve(cycle, np.full(PARTS, 1.0 / PARTS), mode="valid").reshape(level.shape))


def _common_share(level: FloatArray) -> tuple[float, float]:
    """Share and agreement of log levels `(cycles, parts)`."""
    within = level - np.mean(level, axis=1, keepdims=True)
    odd, even = np.mean(within[::2], axis=0), np.mean(within[1::2], axis=0)
    common, agreement = _common(odd, even)
    return common / max(float(np.mean(np.square(within))), TINY), agreement


def _common_power(power: FloatArray) -> tuple[float, float]:
    """Variance and agreement of powers less the noise, `(cycles, parts)`; the loudest tenth of each part is left out,
    so that one stroke, as of a door, says nothing of a cycle."""
    halves = []
    for half in (power[::2], power[1::2]):
        kept = np.sort(half, axis=0)[: half.shape[0] - max(1, half.shape[0] // 10)]
        mean = np.mean(kept, axis=0)
        if np.mean(mean) < LEAST_OVER_NOISE:
            return 0.0, 0.0
        halves.append(mean / np.mean(mean) - 1.0)
    return _common(halves[0], halves[1])


def _strikes(level: FloatArray) -> float:
    """Of log levels `(cycles, parts)`."""
    within = _within(level)
    weight = np.maximum(np.max(within, axis=1), 0.0)
    turns = np.exp(2j * np.pi * np.argmax(within, axis=1) / PARTS)
    return float(abs(np.sum(weight * turns)) ** 2 / max(float(np.sum(np.square(weight))), TINY))


def _common(one: FloatArray, other: FloatArray) -> tuple[float, float]:
    common = float(np.mean(one * other))
    size = float(np.sqrt(np.mean(np.square(one)) * np.mean(np.square(other))))
    return common, common / max(size, TINY)
