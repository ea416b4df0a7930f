"""The clock of a multitone's recording: from the chirps coarsely, then from the phases of the lines themselves.

A delay of d samples turns line k (b_k turns in a period of N samples) by `-2 pi b_k d / N`. From period to period all
lines must turn by one and the same delay; distortion, which repeats with the period, does not disturb that. Its
constant growth is a clock difference, what varies from period to period is slow wander. Both are taken out by reading
the recording where the player's samples really lie.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.common.interpolation import values_at
from distort.analysis.multitone.wander import SharedDelay, shared_delay
from distort.errors import AnalysisError
from signals import Multitone

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

HARMLESS_PPM = 0.003
"""A difference this small is taken out of the blocks' phases; within a block it stays below -120 dB."""

HARMLESS_WANDER = 1e-4
"""Samples: a phase of 0.0003 at 20 kHz, 70 dB down and inside the window's main lobe."""

SIGNIFICANT = 5.0
"""Standard deviations of the noise by which wander must stand out before it is repaired."""

STRAY_RADIANS = 0.5
"""Half of the lines may not stray further than this from one common delay. Noise strays them by 0.1 at 20 dB under a
line; after lost samples they lie anywhere, 1.6 in the median."""

WITHOUT_CHIRPS = (1000, 10_000)
"""Highest bins looked at first when no chirp told the clock: 250 ppm turn bin 1000 by a quarter of a turn."""

PASSES = 4
"""Each repairs what the one before has left; two are the rule."""


@dataclass(frozen=True, kw_only=True)
class Steady:
    """A recording on the player's clock."""

    samples: FloatArray
    first: int
    """Where in `samples` the first measured period begins."""
    late_samples: float
    """How far that is behind the period's true start."""
    period_delays: FloatArray
    """What is still left of the delay of each measured period, samples, `(periods,)`, about their mean."""
    difference_ppm: float
    path: "_Path"
    """How it was read."""

    @property
    def wander_ppm(self) -> float:
        """r.m.s. of the difference of rate that was repaired beside the constant one."""
        return self.path.wander_ppm

    @property
    def repaired(self) -> bool:
        """Whether the recording was read between its samples."""
        return self.path.moved


@dataclass(frozen=True)
class _Delays:
    """Delay of each period against the first, samples, and its standard deviation from one period to the next."""

    values: FloatArray
    sigma: float

    @property
    def line(self) -> tuple[float, float]:
        """Slope a period and value at the first period of the straight line through them."""
        slope, at_first = np.polyfit(np.arange(self.values.size), self.values, 1)
        return float(slope), float(at_first)

    @property
    def wander(self) -> FloatArray:
        slope, at_first = self.line
        return np.asarray(self.values - at_first - slope * np.arange(self.values.size))


def on_players_clock(
    samples: FloatArray, tone: Multitone, *, start: float, clock_difference_ppm: float = 0.0
) -> Steady:
    """`samples` `(n,)` read where the player's samples lie, as far as its clock calls for it.

    start                  where the multitone's first sample arrives, samples
    clock_difference_ppm   from the chirps, recorder against player; NaN: unknown, found from the lines (up to 250 ppm)

    Raises AnalysisError when the recording does not hold all periods, or the lines do not keep one common clock.
    """
    _require_held(samples, tone, start, clock_difference_ppm)
    known = math.isfinite(clock_difference_ppm)
    limits = iter(() if known else WITHOUT_CHIRPS)
    # what is too small to be repaired would be found in the lines once more, and be counted twice
    taken = known and abs(clock_difference_ppm) >= HARMLESS_PPM
    path = _Path(tone, start, clock_difference_ppm * 1e-6 if taken else 0.0)
    for _ in range(PASSES + (0 if known else len(WITHOUT_CHIRPS))):
        read, first, late = path.read(samples)
        limit = next(limits, tone.period_samples)
        delays = _period_delays(read, tone, first=first - path.extra * tone.period_samples, up_to_bin=limit)
        slope_ppm = 1e6 * delays.line[0] / tone.period_samples
        wander = float(np.sqrt(np.mean(np.square(delays.wander))))
        wanders = wander > max(HARMLESS_WANDER, SIGNIFICANT * delays.sigma)
        if limit >= tone.period_samples and abs(slope_ppm) < HARMLESS_PPM and not wanders:
            break
        path.add(delays, wanders=wanders and limit >= tone.period_samples)
    left = delays.values[path.extra :]
    return Steady(
        samples=read,
        first=first,
        late_samples=late,
        period_delays=np.asarray(left - np.mean(left)),
        difference_ppm=path.difference_ppm + slope_ppm,
        path=path,
    )


def without_wander_in_periods(samples: FloatArray, tone: Multitone, steady: Steady) -> Steady:
    """`samples` `(n,)` read again along a path that also follows the delay the lines share within each period.

    Nothing is done where that delay does not stand out of noise. Raises AnalysisError when it jumps: lost samples.
    """
    for _ in range(PASSES):
        shared = shared_delay(steady.samples, tone, first=steady.first)
        if float(np.std(shared.delay)) < max(HARMLESS_WANDER, SIGNIFICANT * shared.sigma):
            break
        path = steady.path.followed(shared)
        read, first, late = path.read(samples)
        steady = replace(steady, samples=read, first=first, late_samples=late, path=path)
    return steady


@dataclass(frozen=True)
class _Correction:
    """A smooth delay in samples against periods, held where it was not followed."""

    spline: "scipy.interpolate.BSpline"
    first: float
    last: float

    def __call__(self, periods: FloatArray) -> FloatArray:
        return np.asarray(self.spline(np.clip(periods, self.first, self.last)))

    def rate(self, periods: FloatArray) -> FloatArray:
        inside = (periods >= self.first) & (periods <= self.last)
        return np.where(inside, self.spline.derivative()(np.clip(periods, self.first, self.last)), 0.0)


class _Path:
    """Where in the recording the player's samples lie: `start + m (1 + e) + smooth corrections`."""

    def __init__(self, tone: Multitone, start: float, difference: float) -> None:
        self.tone, self.start, self.difference = tone, start, difference
        self.extra = min(tone.settling_periods, 1)  # of the settling time, tracked so that the smooth path has no end
        self.corrections: list[_Correction] = []

    @property
    def moved(self) -> bool:
        return abs(self.difference) * 1e6 >= HARMLESS_PPM or bool(self.corrections)

    @property
    def difference_ppm(self) -> float:
        return 1e6 * self.difference

    @property
    def wander_ppm(self) -> float:
        """r.m.s. rate of the smooth corrections."""
        edges = np.arange(64 * self._tracked + 1) / 64.0
        rate = sum((one.rate(edges) for one in self.corrections), np.zeros(edges.size))
        return float(1e6 * np.sqrt(np.mean(np.square(rate))) / self.tone.period_samples)

    @property
    def _tracked(self) -> int:
        return self.extra + self.tone.periods

    def add(self, delays: _Delays, *, wanders: bool) -> None:
        """Take the straight part of `delays` into the clock difference, and with `wanders` the rest into the path."""
        self.difference += delays.line[0] / self.tone.period_samples
        if wanders:
            # a period's delay is a mean over it: the integral passes through the sums at the periods' ends
            sums = np.concatenate([[0.0], np.cumsum(delays.wander)])
            through = scipy.interpolate.make_interp_spline(np.arange(sums.size), sums, k=min(5, sums.size - 1))
            self.corrections.append(_Correction(through.derivative(), 0.0, sums.size - 1.0))

    def followed(self, shared: SharedDelay) -> "_Path":
        """This path with a delay that was seen within the measured periods."""
        at = shared.at_periods + self.extra
        spline = scipy.interpolate.make_interp_spline(at, shared.delay, k=5)
        path = _Path(self.tone, self.start, self.difference)
        path.corrections = [*self.corrections, _Correction(spline, float(at[0]), float(at[-1]))]
        return path

    def read(self, samples: FloatArray) -> tuple[FloatArray, int, float]:
        """Tracked periods, the sample at which the measured ones begin, and how far behind their true start."""
        n, lead = self.tone.period_samples, (self.tone.settling_periods - self.extra)
        if not self.moved:
            begin = round(self.start) + lead * n
            return samples[begin : begin + self._tracked * n], self.extra * n, round(self.start) - self.start
        read = np.empty(self._tracked * n)
        for period in range(self._tracked):
            place = np.arange(period * n, (period + 1) * n, dtype=np.float64)
            correction = sum((one(place / n) for one in self.corrections), np.zeros(n))
            position = self.start + (lead * n + place) * (1.0 + self.difference) + correction
            read[period * n : (period + 1) * n] = values_at(samples, position)
        return read, self.extra * n, 0.0


def _require_held(samples: FloatArray, tone: Multitone, start: float, clock_difference_ppm: float) -> None:
    stretch = 1.0 + 1e-6 * (clock_difference_ppm if math.isfinite(clock_difference_ppm) else 0.0)
    end = start + (tone.settling_periods + tone.periods) * tone.period_samples * stretch
    begin = start + max(tone.settling_periods - 1, 0) * tone.period_samples
    if begin < 0 or end > samples.size:
        raise AnalysisError(
            f"the recording holds {samples.size / tone.sample_rate:.1f} s, of which the multitone's periods should "
            f"take {start / tone.sample_rate:.1f} to {end / tone.sample_rate:.1f} s: it was cut off, so record again"
        )


def _period_delays(samples: FloatArray, tone: Multitone, *, first: int, up_to_bin: int) -> _Delays:
    """Delay of each whole period from sample `first` on, by the lines up to a bin."""
    n = tone.period_samples
    bins = tone.line_bins[tone.line_bins <= up_to_bin]
    if bins.size < 2:
        raise AnalysisError("the multitone has no two lines low enough to find its clock: record it with clock chirps")
    periods = (samples.size - first) // n
    seen = np.array([scipy.fft.rfft(samples[first + p * n : first + (p + 1) * n])[bins] for p in range(periods)])
    if not np.all(np.abs(seen) > 0):
        raise AnalysisError("the recording is silent where the multitone should be: check what was recorded")
    turns = -np.angle(seen[1:] * np.conj(seen[:-1]))  # radians by which each line came later than a period before
    radians_a_sample = 2.0 * np.pi * bins / n
    trust = np.ones(bins.size)
    for _ in range(3):  # a line is trusted as little as it strays; the third round changes little
        weight = np.square(radians_a_sample) * trust
        steps = (turns * trust * radians_a_sample).sum(axis=1) / weight.sum()
        stray = turns - steps[:, None] * radians_a_sample
        own_share = weight / weight.sum()  # a line that makes the mean strays less from it than it should
        trust = (1.0 - np.minimum(own_share, 0.9)) / (np.mean(np.square(stray), axis=0) + 1e-24)
    _require_common(np.median(np.abs(stray), axis=1), tone)
    delays = np.concatenate([[0.0], np.cumsum(steps)])
    return _Delays(np.asarray(delays), float(1.0 / math.sqrt(weight.sum())))


def _require_common(stray_radians: FloatArray, tone: Multitone) -> None:
    worst = int(np.argmax(stray_radians))
    if stray_radians[worst] > STRAY_RADIANS:
        at_s = (max(tone.settling_periods - 1, 0) + worst + 1) * tone.period_s
        raise AnalysisError(
            f"about {at_s:.0f} s into the multitone its lines do not go on as they began: samples were lost, or this "
            f"is another multitone. Record it again"
        )
