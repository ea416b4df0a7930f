"""What minutes of a multitone changed, per third octave: how much, how quickly, and what came back."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.heating.exponentials import Course, course_of
from distort.analysis.heating.following import Powers, readable
from distort.analysis.heating.periods import third_octaves
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
    left_db: FloatArray
    """What the pilots after the end still lack re the one before it, a value a pilot."""


@dataclass(frozen=True, kw_only=True)
class HeatingLevel:
    """What one recording says."""

    level_db_spl: float
    """Nominal."""
    loud_s: float
    """How long it was loud."""
    asked_s: float
    """How long it was to be."""
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
    clear = readable(np.mean(powers.loud, axis=0), powers.noise)
    level_db = np.where(clear, power_to_db(np.where(clear, powers.loud, 1.0)), np.nan)
    level_db[0] = np.nan  # the fade-in, and the room that fills
    change_db = level_db - level_db[REFERENCE_PERIOD]
    at_db = _at_times(time_s, change_db)
    left_db = _left_db(powers)
    return HeatingLevel(
        level_db_spl=level_db_spl,
        loud_s=heating.loud_s,
        asked_s=heating.asked_periods * period_s,
        pilot_at_s=np.array(heating.pilots_after_s) + (PILOT_SETTLING + PILOT_PERIODS / 2.0) * period_s,
        bands=tuple(
            HeatingBand(
                course=course_of(time_s, change_db[:, band], span_s=period_s),
                change_at_db=at_db[:, band],
                left_db=left_db[:, band],
            )
            for band in range(third_octaves(heating.tone)[0].size)
        ),
    )


def _at_times(time_s: FloatArray, change_db: FloatArray) -> FloatArray:
    """Means about `TIMES_S`, half-way (in log time) to their neighbours, `(times, bands)`."""
    times = np.array(TIMES_S)
    edges = np.concatenate([[0.0], np.sqrt(times[1:] * times[:-1]), [np.inf]])
    found = np.full((times.size, change_db.shape[1]), np.nan)
    for index in range(times.size):
        inside = (time_s >= edges[index]) & (time_s < edges[index + 1])
        inside[0] = False
        if np.any(inside) and time_s[-1] >= 0.98 * times[index]:
            found[index] = np.mean(change_db[inside], axis=0)
    return found


def _left_db(powers: Powers) -> FloatArray:
    """`(pilots, bands)`; all pilots together tell the noise, since two periods of one tell little."""
    every = (powers.cold, *powers.pilots)
    noise = np.nanmean([one.noise for one in every], axis=0)
    cold = np.mean(powers.cold.power, axis=0)
    left = np.full((len(powers.pilots), cold.size), np.nan)
    for index, one in enumerate(powers.pilots):
        power = np.mean(one.power, axis=0)
        clear = readable(power, noise) & readable(cold, noise)
        left[index, clear] = power_to_db(power[clear] / cold[clear])
    return left


def not_heard(level: HeatingLevel) -> HeatingBand:
    """A third octave in which nothing was played."""
    return HeatingBand(
        course=Course(change_db=np.nan, uncertainty_db=np.nan, terms=()),
        change_at_db=np.full(len(TIMES_S), np.nan),
        left_db=np.full(level.pilot_at_s.size, np.nan),
    )
