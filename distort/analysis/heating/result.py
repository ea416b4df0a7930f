"""What minutes of a multitone changed, per third octave: how much, how quickly, and what came back."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.heating.exponentials import Course, course_of
from distort.analysis.heating.following import Powers
from distort.analysis.heating.periods import readable
from distort.analysis.sweep.uncertainty import interval_db
from signals.heating import PILOT_PERIODS, PILOT_SETTLING, Heating
from signals.levels import power_to_db

FloatArray = npt.NDArray[np.float64]

REFERENCE_PERIOD = 1
"""Whose level changes are stated against: the first in which the room is full."""

TIMES_S = (3.0, 7.0, 15.0, 30.0, 60.0, 120.0, 180.0, 300.0, 450.0, 600.0, 900.0, 1200.0, 1500.0, 1800.0)
"""At which changes are stated, seconds after the start of the loud multitone."""


@dataclass(frozen=True, kw_only=True)
class HeatingBand:
    """One third octave. Changes are negative where the level falls; NaN: not measurable."""

    course: Course
    """From the start of the loud multitone to its end."""
    change_at_db: FloatArray
    """About `TIMES_S`, re the first seconds; NaN after the end."""
    change_at_uncertainty_db: FloatArray
    """Half-width of the 95 % interval of each mean, by the scatter about the course; that of the first seconds, which
    moves all of them alike, is not in it."""
    left_db: FloatArray
    """What the pilots after the end still lack re the one before it, a value a pilot."""
    left_uncertainty_db: FloatArray
    """Half-width of its 95 % interval, by the noise of both pilots."""


@dataclass(frozen=True, kw_only=True)
class HeatingLevel:
    """What one recording says."""

    level_db_spl: float
    """Nominal."""
    loud_s: float
    """How long it was loud."""
    asked_s: float
    """How long it was to be."""
    left_out_s: float
    """Of what was loud, how much something else drowned."""
    pilot_at_s: FloatArray
    """Middle of what is read of each pilot, seconds after the end of the loud multitone."""
    bands: tuple[HeatingBand, ...]

    @property
    def ended_by_change(self) -> bool:
        """The program ended it, because a third octave changed too far."""
        return self.loud_s < self.asked_s and self.pilot_at_s.size > 0


@dataclass(frozen=True, kw_only=True)
class HeatingResult:
    """All levels, from the lowest up."""

    frequency_hz: FloatArray
    """Mid-bands, `(bands,)`."""
    levels: tuple[HeatingLevel, ...]


def heating_level(powers: Powers, heating: Heating, *, level_db_spl: float) -> HeatingLevel:
    """Change, time constants and recovery of one recording, a band for each of `third_octaves`."""
    period_s = heating.tone.period_s
    time_s = np.asarray((np.arange(powers.loud.shape[0]) + 0.5) * period_s, dtype=np.float64)
    known = np.isfinite(powers.loud)
    mean = np.sum(powers.loud, axis=0, where=known) / np.maximum(known.sum(axis=0), 1)
    clear = readable(mean, powers.noise) & known
    level_db = np.where(clear, power_to_db(np.where(clear, powers.loud, 1.0)), np.nan)
    level_db[0] = np.nan  # the fade-in, and the room that fills
    change_db = level_db - level_db[REFERENCE_PERIOD]
    at_db, moments = _at_times(time_s, change_db)
    left_db, left_uncertainty_db = _left_db(powers)
    courses = [course_of(time_s, one, span_s=period_s) for one in change_db.T]
    return HeatingLevel(
        level_db_spl=level_db_spl,
        loud_s=heating.loud_s,
        asked_s=heating.asked_periods * period_s,
        left_out_s=float(np.count_nonzero(~known.any(axis=1))) * period_s,
        pilot_at_s=np.array(heating.pilots_after_s) + (PILOT_SETTLING + PILOT_PERIODS / 2.0) * period_s,
        bands=tuple(
            HeatingBand(
                course=course,
                change_at_db=at_db[:, band],
                change_at_uncertainty_db=course.scatter_db / np.sqrt(moments[:, band]),
                left_db=left_db[:, band],
                left_uncertainty_db=left_uncertainty_db[:, band],
            )
            for band, course in enumerate(courses)
        ),
    )


def _at_times(time_s: FloatArray, change_db: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Means about `TIMES_S`, half-way (in log time) to their neighbours, and of how many moments, NaN where of none,
    `(times, bands)` both."""
    times = np.array(TIMES_S)
    between = np.sqrt(times[1:] * times[:-1])
    edges = np.concatenate([[times[0] ** 2 / between[0]], between, [np.inf]])
    found, moments = np.full((2, times.size, change_db.shape[1]), np.nan)
    for index in range(times.size):
        inside = change_db[(time_s >= edges[index]) & (time_s < edges[index + 1])]
        known = np.isfinite(inside)
        told = known.any(axis=0) & (time_s[-1] >= 0.98 * times[index])
        moments[index, told] = known.sum(axis=0)[told]
        found[index, told] = np.nansum(inside, axis=0)[told] / moments[index, told]
    return found, moments


def _left_db(powers: Powers) -> tuple[FloatArray, FloatArray]:
    """What is left, and the half-width of its 95 % interval, `(pilots, bands)`; all pilots together tell the noise,
    since two periods of one tell little.

    Noise of power N in the bins of lines of power P scatters the mean power of m periods by at most
    `P sqrt(2 N / (m P))`: so much where one line has all of it (own derivation, as in `analysis.sweep.uncertainty`).
    """
    every = (powers.cold, *powers.pilots)
    noise = np.nanmean([one.noise for one in every], axis=0)
    cold = np.mean(powers.cold.power, axis=0)
    left, uncertainty = np.full((2, len(powers.pilots), cold.size), np.nan)
    for index, one in enumerate(powers.pilots):
        power = np.mean(one.power, axis=0)
        clear = readable(power, noise) & readable(cold, noise)
        left[index, clear] = power_to_db(power[clear] / cold[clear])
        relative = 2.0 * noise[clear] / PILOT_PERIODS * (1.0 / power[clear] + 1.0 / cold[clear])
        uncertainty[index, clear] = interval_db(relative)
    return left, uncertainty


def not_heard(level: HeatingLevel) -> HeatingBand:
    """A third octave in which nothing was played."""
    return HeatingBand(
        course=Course(change_db=np.nan, uncertainty_db=np.nan, terms=()),
        change_at_db=np.full(len(TIMES_S), np.nan),
        change_at_uncertainty_db=np.full(len(TIMES_S), np.nan),
        left_db=np.full(level.pilot_at_s.size, np.nan),
        left_uncertainty_db=np.full(level.pilot_at_s.size, np.nan),
    )
