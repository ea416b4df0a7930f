"""What the bursts of one level say of every band, held against the quietest level and against the limits."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.burst import ORDERS, BurstReading
from distort.analysis.common.burst_limits import COMPRESSION, BurstLimits, order_name
from distort.analysis.common.caution import CLEAR_OF_NOISE_DB, near_noise
from distort.analysis.sweep.sweeps import Reference
from signals.burst import PEAK_OVER_RMS_DB
from signals.levels import amplitude_to_db, power_to_db

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

NEAR_COMPRESSION_DB = 1.5
"""A band is near its end when so little compression is left to its limit: a loudspeaker that no longer rises uses that
up in less than a step of 2 dB (own choice)."""

NEAR_ORDER_DB = 6.0
"""The same of an order: with a step of 2 dB the third and fourth order of a soft curve rise by 4 and 6 dB against the
fundamental (closed form of a power series)."""

CRITERIA = (COMPRESSION, *(order_name(order) for order in ORDERS))
"""In the rows of `excess_db`."""


@dataclass(frozen=True, kw_only=True)
class BurstLevel:
    """The bursts of one level, as they were played and read."""

    level_db_spl: float
    """Nominal."""
    drive_db: float | None
    """dBFS, with what the volume was turned up since the first recording; None: nobody knows how far it was turned."""
    played_dbfs: float
    """Drive of the file, dBFS."""
    reading: BurstReading
    reference: Reference
    takes: int = 1


@dataclass(frozen=True, kw_only=True)
class Judged:
    """One level, `(bands,)` each unless it says otherwise."""

    level_db_spl: float
    """Nominal."""
    played_dbfs: float
    frequency_hz: FloatArray
    peak_db: FloatArray
    """Of the fundamental, dB re 20 uPa, or dBFS of its r.m.s. without a calibration."""
    input_peak_dbfs: FloatArray
    """Of the fundamental, at the input, whose full scale is 0 dBFS."""
    compression_db: FloatArray
    """Re the quietest level; NaN there, and where nobody knows how far the volume was turned."""
    harmonics_db: FloatArray
    """`(orders, bands)`, dB re the fundamental."""
    floor_db: FloatArray
    """`(orders, bands)`: noise and the burst's own spectrum there, dB re the fundamental."""
    clear: BoolArray
    """The fundamental stands 10 dB above the noise, or the noise is not known."""

    @property
    def doubtful(self) -> BoolArray:
        """`(orders, bands)`: harmonics that are less than 10 dB above their floor, or whose floor is not known."""
        return near_noise(self.harmonics_db, self.floor_db)

    def excess_db(self, limits: BurstLimits) -> FloatArray:
        """By how much each of `CRITERIA` is passed, `(criteria, bands)`; minus infinity where it cannot be read."""
        over = np.vstack(
            [
                self.compression_db - limits.compression_db,
                np.where(self.doubtful, -np.inf, self.harmonics_db - np.array(limits.of_orders(ORDERS))[:, np.newaxis]),
            ]
        )
        return np.where(np.isnan(over), -np.inf, over)

    def faults(self, limits: BurstLimits) -> tuple[str, ...]:
        """The limit that each band passes furthest; "" where it passes none."""
        over = self.excess_db(limits)
        most = np.argmax(over, axis=0)
        return tuple(CRITERIA[row] if over[row, band] >= 0.0 else "" for band, row in enumerate(most.tolist()))

    def near(self, limits: BurstLimits) -> BoolArray:
        """Which bands are so near to a limit that the next step is a small one."""
        over = self.excess_db(limits)
        return np.asarray((over[0] > -NEAR_COMPRESSION_DB) | np.any(over[1:] > -NEAR_ORDER_DB, axis=0))


def judged_levels(levels: Sequence[BurstLevel]) -> tuple[Judged, ...]:
    """Every level against the quietest at which each band was played, from the quietest up; `levels` holds one at
    least. Of several of one level, that of most takes comes first: four make the steadier reference."""
    rising = sorted(levels, key=lambda one: (one.level_db_spl, -one.takes))
    quietest: dict[float, tuple[BurstLevel, int]] = {}
    for level in rising:
        for index, band_hz in enumerate(level.reading.frequency_hz.tolist()):
            quietest.setdefault(band_hz, (level, index))
    return tuple(_judged(level, quietest) for level in rising)


def _judged(level: BurstLevel, quietest: Mapping[float, tuple[BurstLevel, int]]) -> Judged:
    reading, offset_db = level.reading, level.reference.offset_db
    fundamental, noise = reading.energy[0], reading.noise[0]
    calibrated = level.reference.unit == "db_spl"
    with np.errstate(invalid="ignore"):
        clear = np.isnan(noise) | (fundamental >= noise * 10.0 ** (CLEAR_OF_NOISE_DB / 10.0))
    return Judged(
        level_db_spl=level.level_db_spl,
        played_dbfs=level.played_dbfs,
        frequency_hz=reading.frequency_hz,
        peak_db=amplitude_to_db(reading.peak) + offset_db + (PEAK_OVER_RMS_DB if calibrated else 0.0),
        input_peak_dbfs=amplitude_to_db(reading.peak),
        compression_db=np.array(list(_compression(level, quietest))),
        harmonics_db=power_to_db(reading.energy[1:] / fundamental),
        floor_db=power_to_db((reading.noise[1:] + reading.leak[1:]) / fundamental),
        clear=np.asarray(clear),
    )


def _compression(level: BurstLevel, quietest: Mapping[float, tuple[BurstLevel, int]]) -> Iterable[float]:
    """What the output of each band lacks re its quietest level, dB."""
    for index, band_hz in enumerate(level.reading.frequency_hz.tolist()):
        first, there = quietest[band_hz]
        if first is level or first.drive_db is None or level.drive_db is None:
            yield np.nan
            continue
        rose_db = float(power_to_db(level.reading.energy[0, index])) + level.reference.offset_db
        rose_db -= float(power_to_db(first.reading.energy[0, there])) + first.reference.offset_db
        yield level.drive_db - first.drive_db - rose_db
