"""How loud each band goes, what ended it, and what its bursts said at every level."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.burst import ORDERS
from distort.analysis.burst_series.judged import CRITERIA, BurstLevel, Judged, judged_levels
from distort.analysis.burst_series.steps import CEILING, DRIVE, INPUT, MICROPHONE, NO_LIMIT, NOISE, ROUNDING_DB, STEP_DB
from distort.analysis.common.burst_limits import BurstLimits
from distort.analysis.common.caution import near_noise
from distort.analysis.common.curves import LevelUnit

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class BurstCurves:
    """One level, a value a row of the result, `(bands,)`; NaN where a band was not played at it."""

    level_db_spl: float
    """Nominal."""
    peak_db: FloatArray
    compression_db: FloatArray
    """NaN at the quietest level, which all others are held against."""
    harmonics_db: FloatArray
    """`(orders, bands)`, dB re the fundamental; NaN within 10 dB of its floor."""


@dataclass(frozen=True, kw_only=True)
class BurstResult:
    """A row a band, `(bands,)` each. Where a limit was passed, all of a row is that of the level at which it was met,
    interpolated between steps; else of the highest level played."""

    frequency_hz: FloatArray
    unit: LevelUnit
    peak_db: FloatArray
    """Highest peak of the fundamental, dB re 20 uPa at 1 m (3 dB more than the r.m.s. of a steady sine of that
    amplitude), or dBFS; NaN where a limit was passed at the quietest level already."""
    ended_by: tuple[str, ...]
    """What kept the band from more: "compression", "h2" ... (a limit that it met), "ceiling" or "drive" (nothing louder
    may be played), "microphone" or "input" (nothing louder could be recorded), "noise" (the quietest level stands in
    it), or "plan" (no level above was played)."""
    compression_db: FloatArray
    """Re the quietest level at which it was played, positive where it falls short; NaN where there is only one."""
    harmonics_db: FloatArray
    """`(orders, bands)`, dB re the fundamental."""
    floor_db: FloatArray
    """`(orders, bands)`: noise and the burst's own spectrum there, dB re the fundamental."""
    level_db_spl: FloatArray
    """Nominal level of the row."""
    levels: tuple[BurstCurves, ...] = ()
    """From the quietest up."""

    @property
    def doubtful(self) -> BoolArray:
        """`(orders, bands)`: harmonics that are less than 10 dB above their floor, or whose floor is not known."""
        return near_noise(self.harmonics_db, self.floor_db)

    @property
    def limited(self) -> BoolArray:
        """Which bands met a limit of compression or distortion."""
        return np.array([one in CRITERIA for one in self.ended_by])


@dataclass(frozen=True, kw_only=True)
class _Row:
    """One band at one level; or between two."""

    level_db_spl: float
    peak_db: float
    compression_db: float
    harmonics_db: FloatArray
    floor_db: FloatArray


def burst_result(levels: Sequence[BurstLevel], limits: BurstLimits) -> BurstResult:
    """The bursts of every level, a row a band. `levels` holds one at least."""
    judged = judged_levels(levels)
    unit = levels[0].reference.unit
    bands_hz = sorted({band_hz for one in judged for band_hz in one.frequency_hz.tolist()})
    found = [_ended(judged, band_hz, limits, calibrated=unit == "db_spl") for band_hz in bands_hz]
    rows = [row for row, _ in found]
    return BurstResult(
        frequency_hz=np.array(bands_hz),
        unit=unit,
        peak_db=np.array([row.peak_db for row in rows]),
        ended_by=tuple(ended_by for _, ended_by in found),
        compression_db=np.array([row.compression_db for row in rows]),
        harmonics_db=np.array([row.harmonics_db for row in rows]).T,
        floor_db=np.array([row.floor_db for row in rows]).T,
        level_db_spl=np.array([row.level_db_spl for row in rows]),
        levels=_curves(judged, bands_hz),
    )


def _ended(judged: Sequence[Judged], band_hz: float, limits: BurstLimits, *, calibrated: bool) -> tuple[_Row, str]:
    """The row of one band, and what ended it."""
    played = [(one, one.frequency_hz.tolist().index(band_hz)) for one in judged if band_hz in one.frequency_hz]
    clean: tuple[Judged, int] | None = None
    for level, index in played:
        excess_db = level.excess_db(limits)[:, index]
        if np.any(excess_db >= 0.0):
            worst = CRITERIA[int(np.argmax(excess_db))]
            row = _row(level, index)
            if clean is None:
                return _Row(**{**vars(row), "peak_db": math.nan}), worst
            share, ended_by = _crossing(clean, (level, index), limits)
            return _between(_row(*clean), row, share), ended_by
        clean = level, index
    first, index = played[0]
    if not first.clear[index]:
        return _row(first, index), NOISE
    level, index = played[-1]
    return _row(level, index), _stopped_by(level, index, limits, calibrated=calibrated)


def _stopped_by(level: Judged, index: int, limits: BurstLimits, *, calibrated: bool) -> str:
    """What a band that met no limit is kept by within the next step, whichever comes first. The room's own peaks, which
    take some of the input, are far below a step."""
    peak_db = float(level.peak_db[index]) if calibrated else -math.inf
    left_db = {
        CEILING: limits.ceiling_db_peak - peak_db,
        DRIVE: limits.max_drive_dbfs - level.played_dbfs,
        MICROPHONE: limits.microphone_db_peak - peak_db,
        INPUT: limits.input_peak_dbfs - float(level.input_peak_dbfs[index]),
    }
    first = min(left_db, key=lambda what: left_db[what])
    return first if left_db[first] < STEP_DB - ROUNDING_DB else NO_LIMIT


def _crossing(clean: tuple[Judged, int], failed: tuple[Judged, int], limits: BurstLimits) -> tuple[float, str]:
    """At which share of the step from `clean` to `failed` the first limit is met, and which."""
    (below, index), (above, other) = clean, failed
    after = above.excess_db(limits)[:, other]
    before = np.concatenate(
        [
            # at the reference itself nothing is compressed
            [np.nan_to_num(below.compression_db[index]) - limits.compression_db],
            below.harmonics_db[:, index] - limits.of_orders(ORDERS),  # a floor is the most that it can be
        ]
    )
    passed = np.flatnonzero(after >= 0.0)
    start = np.minimum(np.nan_to_num(before[passed], nan=0.0), 0.0)
    rise = after[passed] - start
    shares = np.where(rise > 0.0, -start / np.where(rise > 0.0, rise, 1.0), 0.0)
    first = int(np.argmin(shares))
    return float(shares[first]), CRITERIA[int(passed[first])]


def _row(level: Judged, index: int) -> _Row:
    return _Row(
        level_db_spl=level.level_db_spl,
        peak_db=float(level.peak_db[index]),
        compression_db=float(level.compression_db[index]),
        harmonics_db=level.harmonics_db[:, index],
        floor_db=level.floor_db[:, index],
    )


def _between(low: _Row, high: _Row, share: float) -> _Row:
    """Linear in decibels."""

    def mixed(name: str) -> FloatArray:
        before, after = getattr(low, name), getattr(high, name)
        return np.asarray(before + share * (after - before))

    low_db = np.nan_to_num(low.compression_db)
    return _Row(
        level_db_spl=float(mixed("level_db_spl")),
        peak_db=float(mixed("peak_db")),
        compression_db=low_db + share * (high.compression_db - low_db),
        harmonics_db=mixed("harmonics_db"),
        floor_db=mixed("floor_db"),
    )


def _curves(judged: Sequence[Judged], bands_hz: Sequence[float]) -> tuple[BurstCurves, ...]:
    """What each level said, on the rows of the result; of several recordings of one level each fills its bands."""
    curves = []
    for level_db_spl in dict.fromkeys(one.level_db_spl for one in judged):
        of_bands = np.full((2 + len(ORDERS), len(bands_hz)), np.nan)
        for one in (each for each in judged if each.level_db_spl == level_db_spl):
            rows = [bands_hz.index(band_hz) for band_hz in one.frequency_hz.tolist()]
            clear = np.where(one.doubtful, np.nan, one.harmonics_db)
            of_bands[:, rows] = np.vstack([one.peak_db, one.compression_db, clear])
        curves.append(
            BurstCurves(
                level_db_spl=level_db_spl,
                peak_db=of_bands[0],
                compression_db=of_bands[1],
                harmonics_db=of_bands[2:],
            )
        )
    return tuple(curves)
