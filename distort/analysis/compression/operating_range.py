"""What each octave band does as the level rises, in words; from which level; and up to which level a limit is kept.

- linear: the change is within its uncertainty.
- gradual compression: the output lags the drive by more than that.
- limiting: the same, and between two neighbouring rungs above the onset the output rises by under 0.2 dB per dB of
  drive, beyond uncertainty.
- expansion: the output leads the drive by more than the uncertainty.

Rungs far apart only bracket an onset. Where they are at most 1.5 dB apart it is a number: the straight line through the
first two rungs beyond the onset, traced back to no change, and kept inside the bracket. Nothing is extrapolated beyond
the last rung.
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from distort.analysis.common.caution import near_noise
from distort.analysis.compression.curves import (
    BandRange,
    Basis,
    HighestLevel,
    InputOutput,
    Limited,
    Onset,
    Verdict,
    Word,
)
from signals.levels import amplitude_to_db

FloatArray = npt.NDArray[np.float64]

LIMITING_SLOPE = 0.2
"""dB of output per dB of drive."""

FINE_STEP_DB = 1.5
"""An onset is interpolated only between rungs that are at most this far apart."""

LEAST_NAMED_DB = 0.1
"""Joins the uncertainty of every change before it is given a name. Noise says how well one run was read, not how well
the next would agree with it; what repeats to 0.1 dB is a good measurement (common practice, no source)."""

COMPRESSION_LIMITS_DB = (1.0, 3.0)
DISTORTION_LIMITS_PERCENT = (3.0, 10.0)


def operating_ranges(
    table: InputOutput,
    *,
    basis: Basis = "change",
    least_db: float = LEAST_NAMED_DB,
    distortion_db: FloatArray | None = None,
    distortion_noise_db: FloatArray | None = None,
) -> tuple[BandRange, ...]:
    """Words, onset and highest levels of every octave band, on either `change` or `corrected`.

    least_db                             joins the uncertainty; smaller where takes say how well runs repeat
    distortion_db, distortion_noise_db   `(levels, bands)` of `octave_distortion`, levels and bands those of `table`;
                                         None leaves the limits of distortion empty
    """
    found = []
    for band, octave in enumerate(table.octaves):
        change_db, noise_db = (
            np.array(one, dtype=np.float64)  # None becomes NaN
            for one in (
                (octave.change_db, octave.uncertainty_db)
                if basis == "change"
                else (octave.corrected_db, octave.corrected_uncertainty_db)
            )
        )
        words = band_words(change_db, np.hypot(noise_db, least_db), drive_dbfs=table.drive_dbfs)
        distortion: tuple[HighestLevel, ...] = ()
        if distortion_db is not None:
            floor_db = None if distortion_noise_db is None else distortion_noise_db[:, band]
            distortion = distortion_limits(table.level_db_spl, distortion_db[:, band], noise_db=floor_db)
        found.append(
            BandRange(
                midband_hz=octave.midband_hz,
                words=words,
                word=_whole_band(words),
                basis=basis,
                onset=band_onset(table.level_db_spl, change_db, words),
                compression_limits=compression_limits(table.level_db_spl, change_db),
                distortion_limits=distortion,
            )
        )
    return tuple(found)


def band_words(change_db: FloatArray, uncertainty_db: FloatArray, *, drive_dbfs: FloatArray) -> tuple[Word, ...]:
    """One word a level, the first being the reference; all `(levels,)`, from the lowest up."""
    compressing = change_db < -uncertainty_db
    limiting = np.zeros(change_db.size, dtype=np.bool_)
    for low in range(1, change_db.size - 1):
        step_db = drive_dbfs[low + 1] - drive_dbfs[low]
        rise_db = change_db[low + 1] - change_db[low] + step_db
        # each change shares the reference with the other, so their difference is surer than this
        unsure_db = np.hypot(uncertainty_db[low], uncertainty_db[low + 1])
        if compressing[low] and compressing[low + 1] and rise_db + unsure_db < LIMITING_SLOPE * step_db:
            limiting[low : low + 2] = True

    def word(level: int) -> Word:
        if level == 0:
            return "reference"
        if not np.isfinite(change_db[level]) or not np.isfinite(uncertainty_db[level]):
            return "unknown"
        if limiting[level]:
            return "limiting"
        if compressing[level]:
            return "gradual compression"
        return "expansion" if change_db[level] > uncertainty_db[level] else "linear"

    return tuple(word(level) for level in range(change_db.size))


def _whole_band(words: Sequence[Word]) -> Word:
    """Limiting where there is any, else the word of the highest level that is not linear."""
    if "limiting" in words:
        return "limiting"
    known = [word for word in words[1:] if word != "unknown"]
    if not known:
        return "unknown"
    curved = [word for word in known if word != "linear"]
    return curved[-1] if curved else "linear"


def band_onset(level_db_spl: FloatArray, change_db: FloatArray, words: Sequence[Word]) -> Onset | None:
    """From which rung the band compresses, or expands, all the way to the last one; None where the last is linear."""
    last = words[-1]
    if last in ("reference", "linear", "unknown"):
        return None
    same = {"expansion"} if last == "expansion" else {"gradual compression", "limiting"}
    first = len(words) - 1
    while words[first - 1] in same:
        first -= 1
    before = first - 1
    while words[before] == "unknown":
        before -= 1
    above, up_to = float(level_db_spl[before]), float(level_db_spl[first])
    return Onset(
        kind="expansion" if last == "expansion" else "compression",
        above_db_spl=above,
        up_to_db_spl=up_to,
        level_db_spl=_traced_back(level_db_spl, change_db, before=before, first=first),
    )


def _traced_back(level_db_spl: FloatArray, change_db: FloatArray, *, before: int, first: int) -> float | None:
    """Where the line through the first two rungs beyond the onset meets no change; None where that is not allowed."""
    if first + 1 >= level_db_spl.size:
        return None
    low, high = level_db_spl[first], level_db_spl[first + 1]
    fine = max(low - level_db_spl[before], high - low) <= FINE_STEP_DB + 1e-9
    slope = (change_db[first + 1] - change_db[first]) / (high - low)
    if not fine or slope * change_db[first] <= 0:  # the second is no further off than the first: no line to trace
        return None
    return float(np.clip(low - change_db[first] / slope, level_db_spl[before], low))


def compression_limits(level_db_spl: FloatArray, change_db: FloatArray) -> tuple[HighestLevel, ...]:
    """The highest level with at most 1 dB and 3 dB of compression; both arrays `(levels,)`."""
    return tuple(
        highest_level(level_db_spl, -change_db, limit_db=limit, quantity="compression", limit=limit)
        for limit in COMPRESSION_LIMITS_DB
    )


def distortion_limits(
    level_db_spl: FloatArray, distortion_db: FloatArray, *, noise_db: FloatArray | None = None
) -> tuple[HighestLevel, ...]:
    """The highest level with at most 3 % and 10 % of distortion; all arrays `(levels,)`, in dB re the fundamental.

    A reading over a limit but less than 10 dB above its noise floor, or without one, does not count: it may be noise.
    """
    found = []
    for percent in DISTORTION_LIMITS_PERCENT:
        limit_db = float(amplitude_to_db(percent / 100.0))
        certain_db = distortion_db
        if noise_db is not None:
            noisy = (distortion_db > limit_db) & near_noise(distortion_db, noise_db)
            certain_db = np.where(noisy, np.nan, distortion_db)
        found.append(highest_level(level_db_spl, certain_db, limit_db=limit_db, quantity="distortion", limit=percent))
    return tuple(found)


def highest_level(
    level_db_spl: FloatArray, value_db: FloatArray, *, limit_db: float, quantity: Limited, limit: float
) -> HighestLevel:
    """The level at which `value_db` first exceeds `limit_db`, on straight lines between the rungs that have a value.

    Both arrays `(levels,)`, from the lowest level up. Never beyond the last rung, nor below the first.
    """
    known = np.isfinite(value_db)
    levels, values = level_db_spl[known], value_db[known]
    over = np.flatnonzero(values > limit_db)
    first = int(over[0]) if over.size else values.size
    kept_at = float(levels[first - 1]) if first > 0 else None
    exceeded_at = float(levels[first]) if over.size else None
    level: float | None = None
    verdict: Verdict
    if kept_at is None:
        verdict = "unknown" if exceeded_at is None else "exceeded at the first"
    elif exceeded_at is None:
        verdict = "kept to the last"
    else:
        verdict = "found"
        share = (limit_db - values[first - 1]) / (values[first] - values[first - 1])
        level = kept_at + float(share) * (exceeded_at - kept_at)
    return HighestLevel(
        quantity=quantity,
        limit=limit,
        level_db_spl=level,
        verdict=verdict,
        kept_at_db_spl=kept_at,
        exceeded_at_db_spl=exceeded_at,
    )
