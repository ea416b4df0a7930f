"""What changes while a multitone plays: heating from period to period, and a limiter that comes in at its start.

Heating: the lines of a group lose level from period to period; an exponential is fitted, and counted from the first
period's beginning: of a coil of 2.7 s, 31 % happen before the middle of a period of 2 s. A limiter is quicker than one
period, and the multitone fluctuates; but every later period has played the same signal, settled. The first period is
therefore compared with the last ones moment by moment, in the band of the group.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.common.statistics import TWO_SIDED_95
from distort.errors import AnalysisError
from signals import Multitone
from signals.levels import power_to_db
from signals.multitone import FADE_IN_S
from signals.tapers import log_rise

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
Band = tuple[float, float]

SETTLED_PERIODS = 4
"""Last periods, whose mean is what the start is compared with."""

RESOLVED = 1.02
"""Time constants up to this multiple of the shortest that was sought are shorter than the moments can tell: where the
level began within the first of them is not known then, and only its mean is counted."""


@dataclass(frozen=True, kw_only=True)
class LevelTrack:
    """Level of the lines between two frequencies against time."""

    low_hz: float
    high_hz: float
    time_s: FloatArray
    """Middle of each moment, from the multitone's first sample, `(moments,)`."""
    span_s: float
    """Over which each moment is a mean."""
    change_db: FloatArray
    """Of the level: against the mean of all periods, or (at the start) against the settled one."""


@dataclass(frozen=True, kw_only=True)
class Settling:
    """What the level of the lines between two frequencies did while the multitone played: an exponential settling."""

    low_hz: float
    high_hz: float
    depth_db: float
    """From the beginning of the first moment that was looked at to the end of the last, or between their means where
    the time constant is shorter than they can tell; negative where the level fell."""
    uncertainty_db: float
    """Half-width of the 95 % interval of the whole depth, from how the moments scatter about the exponential; NaN for
    too few."""
    time_constant_s: float


@dataclass(frozen=True, kw_only=True)
class SettlingFit:
    """`change = end_db - whole_db exp(-t / time_constant_s)`, its means over each moment fitted to a track."""

    settling: Settling
    """What was really heard of it."""
    whole_db: float
    """From the start to the settled end; negative where the level falls."""
    end_db: float
    residual_db: float
    """r.m.s. distance of the points from the fit."""

    @property
    def significant(self) -> bool:
        """Whether the whole depth stands out of its uncertainty."""
        return abs(self.whole_db) > self.settling.uncertainty_db


def period_levels(samples: FloatArray, tone: Multitone, *, start: float, bands: Sequence[Band]) -> list[LevelTrack]:
    """Level of the lines of each band in every period, settling time included.

    samples   `(n,)` with the multitone beginning at sample `start`; a clock difference of 100 ppm moves a level by
              less than 0.01 dB below 1 kHz, but take repaired samples where higher bands are asked for

    The first period's fade-in is taken out. Raises AnalysisError when the recording ends before, or a band has no line.
    """
    n = tone.period_samples
    first, periods = round(start), tone.settling_periods + tone.periods
    _require_held(samples, first, first + periods * n)
    groups = [_lines_within(tone, band) for band in bands]
    faded = np.abs(scipy.fft.rfft(tone.samples()[:n])[tone.line_bins]) / (0.5 * n * tone.line_amplitudes)
    power = np.empty((periods, len(bands)))
    for period in range(periods):
        spectrum = scipy.fft.rfft(samples[first + period * n : first + (period + 1) * n])[tone.line_bins]
        lines = np.square(np.abs(spectrum) / (faded if period == 0 else 1.0))
        power[period] = [lines[group].sum() for group in groups]
    time_s = np.asarray((np.arange(periods) + 0.5) * tone.period_s, dtype=np.float64)
    change_db = power_to_db(power / power.mean(axis=0))
    return [
        LevelTrack(low_hz=low, high_hz=high, time_s=time_s, span_s=tone.period_s, change_db=change_db[:, number])
        for number, (low, high) in enumerate(bands)
    ]


def onset(
    samples: FloatArray, tone: Multitone, *, start: float, bands: Sequence[Band], frame_s: float = 0.02
) -> list[LevelTrack]:
    """How each band begins: its level in frames of `frame_s` of the first period, re the same moments once settled.

    The frames that hold the fade-in are left out. Needs at least one settling period (the first is compared) and four
    measured ones. A room's reverberation that is still building up reads as a level that rises. Raises AnalysisError as
    `period_levels` does.
    """
    n = tone.period_samples
    first = round(start)
    if tone.settling_periods < 1 or tone.periods < SETTLED_PERIODS:
        raise AnalysisError("a multitone's start needs a settling period, and four measured ones to compare it with")
    last = first + (tone.settling_periods + tone.periods) * n
    _require_held(samples, first, last)
    begun = scipy.fft.rfft(samples[first : first + n])
    settled = scipy.fft.rfft(samples[last - SETTLED_PERIODS * n : last].reshape(SETTLED_PERIODS, n).mean(axis=0))
    frame = round(frame_s * tone.sample_rate)
    frames = n // frame
    tracks = []
    for low, high in bands:
        inside = _pass_band(tone, _lines_within(tone, (low, high)))
        now = scipy.fft.irfft(begun * inside, n)[: frames * frame].reshape(frames, frame)
        then = scipy.fft.irfft(settled * inside, n)[: frames * frame].reshape(frames, frame)
        gain = np.sum(now * then, axis=1) / np.sum(np.square(then), axis=1)  # least squares: y0 = gain y1
        time_s = np.asarray((np.arange(frames) + 0.5) * (frame / tone.sample_rate), dtype=np.float64)
        change_db = power_to_db(np.square(gain))
        faded = math.ceil(FADE_IN_S * tone.sample_rate / frame)
        tracks.append(
            LevelTrack(
                low_hz=low,
                high_hz=high,
                time_s=time_s[faded:],
                span_s=frame / tone.sample_rate,
                change_db=change_db[faded:],
            )
        )
    return tracks


def settling_fit(track: LevelTrack, *, shortest_s: float | None = None, longest_s: float | None = None) -> SettlingFit:
    """Fit one exponential to a track: least squares over its end and depth for every time constant, the best of which
    is then refined.

    The time constant is sought from half a step to four times the track's length unless bounds are given. At the upper
    bound the track is a straight line: believe what was heard, not `whole_db`. Raises AnalysisError for under 4 points.
    """
    time_s = track.time_s
    if time_s.size < 4:
        raise AnalysisError(f"{time_s.size} points are too few for a time constant: play more periods")
    span = float(time_s[-1] - time_s[0])
    low = math.log(shortest_s if shortest_s is not None else 0.5 * span / (time_s.size - 1))
    high = math.log(longest_s if longest_s is not None else 4.0 * span)

    def misfit(log_tau: float) -> float:
        return float(np.sum(np.square(_fit(track, math.exp(log_tau))[1])))

    grid = np.linspace(low, high, 60)
    best = int(np.argmin([misfit(one) for one in grid]))
    bounds = (grid[max(best - 1, 0)], grid[min(best + 1, grid.size - 1)])
    tau = math.exp(float(scipy.optimize.minimize_scalar(misfit, bounds=bounds, method="bounded").x))
    (end, fall), left = _fit(track, tau)
    heard = Settling(
        low_hz=track.low_hz,
        high_hz=track.high_hz,
        depth_db=fall * (_first_and_last(track, tau) if tau > RESOLVED * math.exp(low) else _means(track, tau)),
        uncertainty_db=_depth_uncertainty_db(track, left, fall, tau),
        time_constant_s=tau,
    )
    residual_db = float(np.sqrt(np.mean(np.square(left))))
    return SettlingFit(settling=heard, whole_db=-fall, end_db=end, residual_db=residual_db)


def _first_and_last(track: LevelTrack, tau: float) -> float:
    """Change of `exp(-t / tau)` from the beginning of the first moment to the end of the last."""
    began_s, ended_s = (float(track.time_s[end]) + side * track.span_s / 2.0 for end, side in ((0, -1.0), (-1, 1.0)))
    return math.exp(-ended_s / tau) - math.exp(-began_s / tau)


def _means(track: LevelTrack, tau: float) -> float:
    """The same between the means of the first and the last moment."""
    decay = _decay(track, tau)
    return float(decay[-1] - decay[0])


def _decay(track: LevelTrack, tau: float) -> FloatArray:
    """Mean of `exp(-t / tau)` over each moment: its value in the middle times sinh(x) / x, x the half span re tau."""
    x = track.span_s / (2.0 * tau)
    return np.asarray(np.exp(-track.time_s / tau) * (math.sinh(x) / x if x > 0.0 else 1.0))


def _fit(track: LevelTrack, tau: float) -> tuple[tuple[float, float], FloatArray]:
    """(end, fall) of `end + fall exp(-t / tau)` by least squares, and what is left."""
    basis = np.stack([np.ones(track.time_s.size), _decay(track, tau)], axis=1)
    found = np.linalg.lstsq(basis, track.change_db, rcond=None)[0]
    return (float(found[0]), float(found[1])), np.asarray(track.change_db - basis @ found)


def _depth_uncertainty_db(track: LevelTrack, left: FloatArray, fall: float, tau: float) -> float:
    """From the scatter about the fit and the slopes of the model in end, fall and log tau (linearised)."""
    time_s = track.time_s
    if time_s.size < 5:
        return float("nan")
    decay = _decay(track, tau)
    x = track.span_s / (2.0 * tau)
    widening = x / math.tanh(x) - 1.0 if x > 0.0 else 0.0  # how sinh(x) / x falls with log tau
    slopes = np.stack([np.ones(time_s.size), decay, fall * decay * (time_s / tau - widening)], axis=1)
    scatter = float(np.sum(np.square(left))) / (time_s.size - 3)
    variance = scatter * float(np.linalg.pinv(slopes.T @ slopes)[1, 1])
    return TWO_SIDED_95 * math.sqrt(max(variance, 0.0))


def _lines_within(tone: Multitone, band: Band) -> BoolArray:
    inside = (tone.line_hz >= band[0]) & (tone.line_hz < band[1])
    if not np.any(inside):
        raise AnalysisError(f"the multitone has no line between {band[0]:g} and {band[1]:g} Hz: take a wider band")
    return np.asarray(inside)


def _pass_band(tone: Multitone, group: BoolArray) -> FloatArray:
    """1 at the bins of a group's lines and on to halfway (in log frequency) to the lines beside it, raised-cosine edges
    from there to those lines, `(bins,)`: a level that changes broadens lines, and a hard edge would ring."""
    bins = np.concatenate([[tone.line_bins[0] / 2.0], tone.line_bins, [2.0 * tone.line_bins[-1]]])
    lowest, highest = int(np.flatnonzero(group)[0]) + 1, int(np.flatnonzero(group)[-1]) + 1
    at = np.arange(tone.period_samples // 2 + 1, dtype=np.float64)
    below, above = math.sqrt(bins[lowest - 1] * bins[lowest]), math.sqrt(bins[highest] * bins[highest + 1])
    return np.asarray(
        log_rise(at, from_hz=bins[lowest - 1], to_hz=below) * log_rise(at, from_hz=bins[highest + 1], to_hz=above)
    )


def _require_held(samples: FloatArray, first: int, end: int) -> None:
    if first < 0 or end > samples.size:
        raise AnalysisError("the recording does not hold the whole multitone: record it again")
