"""Noise that comes with level: what a multitone's recording has of noise beyond its silence, and how that grows.

With N the noise power of a third octave while the multitone sounds and S that of the silence beside it,

    net   = N - S
    var   = 2 N^2 / n_N + S^2 (2 / n_S + w^2 (1 + 1 / m))
    floor = S sqrt((F(n_N, n_S) - 1)^2 + (3.3 w)^2 (1 + 1 / m))

n are degrees of freedom (n_S of all m silences), w is how restless the silences are, F what the ratio of two powers of
one noise passes once in 2,000, as 3.3 standard deviations are passed by a normal variable. A net that is no higher than
its floor is not told. Growth is the slope of the net level over the drive, both in dB, by least squares weighted with
the variances, where two levels or more are told. Own; checked by noise of known level.

Jets of air make a sound whose power grows with the sixth to the eighth power of their speed (Lighthill, Proc. R. Soc.
Lond. A 211, 1952; Curle, A 231, 1955; from memory): 3 to 4 dB per dB. What grows by 1 dB per dB may as well be a
codec's or an unsteady clock's.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.common.curves import LevelUnit
from distort.analysis.common.statistics import TWO_SIDED_95
from distort.analysis.multitone.between import NoiseHeard
from distort.analysis.sweep.sweeps import Reference
from distort.analysis.sweep.uncertainty import interval_db
from signals.levels import FULL_SCALE_SINE_RMS, power_to_db

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

TOLD_FROM, BY_CHANCE = 3.3, 1.0 / 2000.0
"""Standard deviations, and how often a normal variable passes them; a session has some 150 readings (own choice)."""

POOLED_BANDS = 5
"""Neighbours whose silences tell together how restless they are: two silences alone would not."""

FASTER_DB_PER_DB = 1.5
"""Own choice, between what grows as the sound does and what air does."""

AIR_HZ = (100.0, 8000.0)
"""Where the sound of a port or a leak is sought (common practice, no source)."""


@dataclass(frozen=True, kw_only=True)
class HeardAt:
    """The multitone of one level."""

    level_db_spl: float
    """Nominal."""
    drive_db: float
    """As played, the turned volume included; NaN where nobody knows how far it was turned."""
    heard: NoiseHeard
    reference: Reference


@dataclass(frozen=True, kw_only=True, eq=False)
class NoiseLevel:
    """One level, `(bands,)` each."""

    level_db_spl: float
    """Nominal."""
    noise_db: FloatArray
    """What came with the sound, in the unit of the result; NaN where it is not told from the silence's."""
    floor_db: FloatArray
    """Nothing weaker would be told; NaN where nothing was read."""
    uncertainty_db: FloatArray
    """Half-width of the 95 % interval of `noise_db`."""


@dataclass(frozen=True, kw_only=True)
class Growing:
    """Neighbouring third octaves whose noise grows with the level."""

    low_hz: float
    high_hz: float
    """Middles of the first and the last."""
    loudest_hz: float
    """Where the highest level has most of it."""
    loudest_db: float
    growth_db_per_db: float
    """Weighted mean."""
    uncertainty_db_per_db: float
    """Of the least certain third octave there: neighbours share what errors they have."""

    @property
    def as_air(self) -> bool:
        """Whether it grows faster than the sound, where ports and leaks sound."""
        within = self.low_hz < AIR_HZ[1] and self.high_hz > AIR_HZ[0]
        return within and self.growth_db_per_db - self.uncertainty_db_per_db > FASTER_DB_PER_DB


@dataclass(frozen=True, kw_only=True, eq=False)
class NoiseResult:
    """All levels, from the lowest up; a row a third octave."""

    frequency_hz: FloatArray
    unit: LevelUnit
    silence_db: FloatArray
    """Mean over all levels, steady tones left out."""
    growth_db_per_db: FloatArray
    """NaN: not judged, since fewer than two levels are told."""
    growth_uncertainty_db_per_db: FloatArray
    """Half-width of the 95 % interval."""
    levels: tuple[NoiseLevel, ...]

    @property
    def growing(self) -> tuple[Growing, ...]:
        """Stretches of two third octaves or more that surely grow; one alone may be chance."""
        with np.errstate(invalid="ignore"):
            surely = self.growth_db_per_db - self.growth_uncertainty_db_per_db > 0.0
        edges = np.flatnonzero(np.diff(np.concatenate([[False], surely, [False]]).astype(np.int64)))
        stretches = zip(edges[::2], edges[1::2], strict=True)
        return tuple(self._growing(slice(first, end)) for first, end in stretches if end - first > 1)

    def _growing(self, rows: slice) -> Growing:
        own, growth = self.levels[-1].noise_db[rows], self.growth_db_per_db[rows]
        uncertainty = self.growth_uncertainty_db_per_db[rows]
        loudest = int(np.argmax(np.nan_to_num(own, nan=-np.inf)))
        return Growing(
            low_hz=float(self.frequency_hz[rows][0]),
            high_hz=float(self.frequency_hz[rows][-1]),
            loudest_hz=float(self.frequency_hz[rows][loudest]),
            loudest_db=float(own[loudest]),
            growth_db_per_db=float(np.average(growth, weights=uncertainty**-2)),
            uncertainty_db_per_db=float(np.max(uncertainty)),
        )


def noise_with_level(levels: Sequence[HeardAt]) -> NoiseResult:
    """What the multitones of a condition say, from the lowest level up; at least one, all of the same bands."""
    restless = _restless(levels)
    told = [_told(one, restless) for one in levels]
    noise_db = np.array([one.noise_db for one in told])
    drive_db = np.array([one.drive_db for one in levels])
    growth, uncertainty = _growth(drive_db, noise_db, np.array([one.uncertainty_db for one in told]))
    silent_db = [_level_db(one.heard.silent, one.reference) for one in levels]
    return NoiseResult(
        frequency_hz=levels[0].heard.frequency_hz,
        unit=levels[0].reference.unit,
        silence_db=power_to_db(np.mean(10.0 ** (np.array(silent_db) / 10.0), axis=0)),
        growth_db_per_db=growth,
        growth_uncertainty_db_per_db=uncertainty,
        levels=tuple(told),
    )


def _level_db(power: FloatArray, reference: Reference) -> FloatArray:
    return np.asarray(power_to_db(power / FULL_SCALE_SINE_RMS**2) + reference.offset_db)


def _restless(levels: Sequence[HeardAt]) -> FloatArray:
    """w^2: variance of the silences of a recording about their mean, re its square, beyond what their length leaves;
    from all levels and five neighbouring bands together. 0 where every recording has one silence alone."""
    squares = np.zeros(levels[0].heard.frequency_hz.size)
    freedom = 0
    for one in levels:
        silences = one.heard.silences
        squares = squares + np.sum(np.square(silences / one.heard.silent - 1.0), axis=0)
        freedom += silences.shape[0] - 1
    if freedom == 0:
        return np.zeros(squares.size)
    beyond = squares / freedom - 2.0 / levels[0].heard.silence_freedom
    known = np.isfinite(beyond)
    near = np.ones(POOLED_BANDS)
    count = np.convolve(known.astype(np.float64), near, mode="same")
    summed = np.convolve(np.where(known, beyond, 0.0), near, mode="same")
    return np.maximum(summed / np.maximum(count, 1.0), 0.0)


def _told(one: HeardAt, restless: FloatArray) -> NoiseLevel:
    heard = one.heard
    number = heard.silences.shape[0]
    silent = heard.silent
    freedom = number * heard.silence_freedom
    unrest = restless * (1.0 + 1.0 / number)
    by_chance = scipy.special.fdtri(heard.sounding_freedom, freedom, 1.0 - BY_CHANCE) - 1.0
    floor = silent * np.sqrt(np.square(by_chance) + TOLD_FROM**2 * unrest)
    net = heard.sounding - silent
    with np.errstate(invalid="ignore"):
        net = np.where(net > floor, net, np.nan)
    variance = np.square(heard.sounding) * 2.0 / heard.sounding_freedom + np.square(silent) * (2.0 / freedom + unrest)
    return NoiseLevel(
        level_db_spl=one.level_db_spl,
        noise_db=_level_db(net, one.reference),
        floor_db=_level_db(floor, one.reference),
        uncertainty_db=interval_db(variance / np.square(net)),
    )


def _growth(drive_db: FloatArray, noise_db: FloatArray, uncertainty_db: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Slope and the half-width of its interval over `(levels,)`, of `(levels, bands)`: `(bands,)` each.

    The interval is wider by how far the levels stand off a straight line, where that is more than theirs allow.
    """
    use = np.isfinite(noise_db) & np.isfinite(drive_db)[:, None]
    weight = np.where(use, np.square(TWO_SIDED_95 / np.where(use, uncertainty_db, 1.0)), 0.0)
    x, y = np.nan_to_num(drive_db)[:, None], np.where(use, noise_db, 0.0)
    count, total = np.sum(use, axis=0), np.maximum(np.sum(weight, axis=0), 1e-300)
    apart = x - np.sum(weight * x, axis=0) / total
    spread = np.sum(weight * np.square(apart), axis=0)
    judged = (count >= 2) & (spread > 0.0)
    safe = np.where(judged, spread, 1.0)
    slope = np.sum(weight * apart * y, axis=0) / safe
    left = y - np.sum(weight * y, axis=0) / total - slope * apart
    misfit = np.sum(weight * np.square(left), axis=0) / np.maximum(count - 2, 1)
    error = TWO_SIDED_95 * np.sqrt(np.maximum(misfit, 1.0) / safe)
    return np.where(judged, slope, np.nan), np.where(judged, error, np.nan)
