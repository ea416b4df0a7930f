"""Up to which level a condition holds its limits: by its multitones, and by music where some was played."""

from collections.abc import Iterator, Mapping
from dataclasses import asdict
from typing import Any

import numpy as np
import numpy.typing as npt

from distort.analysis.common.curves import Response
from distort.analysis.common.operating_limit import Limits
from distort.analysis.level_limits import MOST_NOISE_DB, LevelBands, LevelLimit, level_limit
from distort.analysis.level_noise import NoiseResult
from distort.analysis.multitone.curves import MultitoneBands
from distort.analysis.programme import ProgrammeResult
from distort.analysis.sweep.response import lower_limit_hz
from distort.assembly.condition.level_noise import NOISE
from distort.assembly.condition.levels import LevelsRead
from distort.recording.reading import MultitoneLevel
from distort.session.plan.limits import LimitsPlan
from signals.levels import db_to_power

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

PROGRAMME = "programme"
"""Its name among the results that have a table of their own."""


def level_limits(
    read: LevelsRead, further: Mapping[str, Any], *, response: Response, plan: LimitsPlan
) -> tuple[LevelLimit, ...]:
    """One a stimulus that can be judged; perhaps none.

    further    results of other kinds, by name
    response   of the lowest level: below where the loudspeaker begins, a multitone is not judged
    """
    limits = Limits(**asdict(plan))
    from_hz = lower_limit_hz(response)
    found = []
    if read.multitones and from_hz is not None:
        found.append(level_limit("multitone", _multitones(read, further.get(NOISE), from_hz=from_hz), limits))
    music: ProgrammeResult | None = further.get(PROGRAMME)
    if music is not None:
        judgeable = (one.judgeable(music.frequency_hz) for one in music.levels)
        found.append(level_limit("programme", judgeable, limits))
    return tuple(one for one in found if one is not None)


def _multitones(read: LevelsRead, noise: NoiseResult | None, *, from_hz: float) -> Iterator[LevelBands]:
    """Every level against the lowest, whose own change is 0."""
    first: MultitoneLevel | None = None
    told = {} if noise is None else {one.level_db_spl: one.noise_db for one in noise.levels}
    for level_db_spl, one in read.multitones.items():
        bands = one.result.bands
        if first is None:
            first, change_db = one, np.zeros(bands.frequency_hz.size)
        else:
            change_db = bands.level_db - first.result.bands.level_db - (_drive_db(one) - _drive_db(first))
        counts = (bands.floor_db <= MOST_NOISE_DB) & (bands.frequency_hz >= from_hz)
        yield LevelBands(
            level_db_spl=level_db_spl,
            frequency_hz=bands.frequency_hz,
            change_db=change_db,
            coherence=1.0 / (1.0 + _added(bands) + _noise(told.get(level_db_spl), bands)),
            counts=counts,
            distortion_percent=_percent(bands, counts & np.isfinite(change_db)),
        )


def _drive_db(one: MultitoneLevel) -> float:
    """As played, the turned volume included; NaN where nobody said how far it was turned."""
    sidecar = one.takes[0].sidecar
    return np.nan if sidecar.turned_db is None else sidecar.drive_dbfs + sidecar.turned_db


def _added(bands: MultitoneBands) -> FloatArray:
    """Power of the distortion re the tones in each third octave."""
    return db_to_power(bands.distortion_db)


def _noise(noise_db: FloatArray | None, bands: MultitoneBands) -> FloatArray:
    """Power of the noise that came with the sound, likewise; 0 where none is told."""
    if noise_db is None:
        return np.zeros(bands.level_db.size)
    return np.nan_to_num(db_to_power(noise_db - bands.level_db))


def _percent(bands: MultitoneBands, counts: BoolArray) -> float | None:
    """Distortion re the tones, over all third octaves that count; None where none does."""
    tones = db_to_power(bands.level_db[counts])
    if not tones.size:
        return None
    return float(100.0 * np.sqrt(np.sum(tones * _added(bands)[counts]) / np.sum(tones)))
