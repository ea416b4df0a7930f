"""What a frame says: how much level is lost at the end of its loud stretch, and what takes it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

Cause = Literal["unknown", "none", "expansion", "instantaneous", "limiter", "limiter or instantaneous", "heat"]
"""unknown: noise hides it. none: less than `LEAST_DB`. A limiter of fewer than ten periods, attack and release alike,
counts as instantaneous."""

LEAST_DB = 0.3
"""Of compression that is explained: less is within what a fit of a room leaves (own choice)."""

LEAST_SHARE, LEAST_PART_DB = 0.2, 0.1
"""Of the compression: a part that is less is not named (own choice; on the devices to tune on the split is off by a
third of it)."""

SHARES = tuple((index + 0.5) / 12.0 for index in range(12))
"""Of the loud stretch: where its gain is told."""

AFTER_S = (0.02, 0.03, 0.05, 0.07, 0.1, 0.15, 0.2, 0.3, 0.5, 0.7, 1.0, 1.5)
"""Since the end of the loud stretch, s: where the gain of the probe is told."""


@dataclass(frozen=True, kw_only=True)
class FrameReading:
    """One frequency at one level; parts in dB, positive where level is lost; NaN where it cannot be told."""

    compression_db: float
    """At the end of the loud stretch, re the quiet sine before it."""
    uncertainty_db: float
    """By noise, 95 %."""
    instantaneous_db: float = np.nan
    limiter_db: float = np.nan
    either_db: float = np.nan
    """A limiter's or instantaneous: it came and went within ten periods."""
    heat_db: float = np.nan
    """NaN: not separable from a limiter that lets go slowly."""
    split_uncertainty_db: float = 0.0
    """Of the limiter's part, 95 %: as much is open between it and the instantaneous one."""
    attack_s: float = np.nan
    """Of the limiter, 63 % of its way in dB from the middle of the rise; NaN where under ten periods."""
    release_s: float = np.nan
    """Likewise, from the middle of the fall."""
    gain_in_test_db: FloatArray
    """g at `SHARES`, `(12,)`: level over that of a linear loudspeaker in the same room."""
    gain_after_db: FloatArray
    """g at `AFTER_S`, `(12,)`; NaN right after the loud stretch, while its reverberation hides the probe."""

    @classmethod
    def nothing(cls) -> "FrameReading":
        """Of a frame that was not recorded."""
        return cls(
            compression_db=np.nan,
            uncertainty_db=np.nan,
            gain_in_test_db=np.full(len(SHARES), np.nan),
            gain_after_db=np.full(len(AFTER_S), np.nan),
        )

    @property
    def causes(self) -> tuple[Cause, ...]:
        """What takes the level, the largest part first."""
        if np.isnan(self.compression_db) or self.uncertainty_db > max(LEAST_DB, LEAST_SHARE * abs(self.compression_db)):
            return ("unknown",)
        if abs(self.compression_db) < LEAST_DB:
            return ("none",)
        if self.compression_db < 0.0:
            return ("expansion",)
        least_db = max(LEAST_SHARE * self.compression_db, LEAST_PART_DB)
        parts_db: Mapping[Cause, float] = {
            "limiter": self.limiter_db,
            "instantaneous": self.instantaneous_db - self.split_uncertainty_db,
            "limiter or instantaneous": self.either_db,
            "heat": self.heat_db,
        }
        named = [cause for cause, part_db in parts_db.items() if part_db >= least_db]  # NaN is not
        return tuple(sorted(named, key=lambda cause: -parts_db[cause])) or ("unknown",)


@dataclass(frozen=True, kw_only=True)
class FramesLevel:
    """The frames of one level, a reading a frequency."""

    level_db_spl: float
    """Nominal, of the loud stretch."""
    readings: tuple[FrameReading, ...]


@dataclass(frozen=True, kw_only=True)
class FramesResult:
    """All levels, from the lower up."""

    frequency_hz: FloatArray
    """`(frames,)`, the same at every level."""
    levels: tuple[FramesLevel, ...]
