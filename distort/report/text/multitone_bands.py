"""The bands of a multitone as they are printed and drawn: trust, octaves of three thirds, decibels re the sound."""

from dataclasses import dataclass

import numpy as np

from distort.analysis.common.caution import near_noise
from distort.analysis.common.curves import BoolArray, FloatArray
from distort.analysis.common.grid import OCTAVE_RATIO
from distort.analysis.multitone.curves import MultitoneBands
from distort.report.text.numbers import OCTAVE_HZ
from signals.levels import db_to_power, power_to_db


@dataclass(frozen=True, kw_only=True)
class Part:
    """One part of what was not asked for, `(bands,)` each, dB re the lines in the same band; NaN without lines."""

    values_db: FloatArray
    floor_db: FloatArray
    """NaN where none is known."""

    @property
    def below(self) -> BoolArray:
        """Under the floor."""
        return self.values_db < self.floor_db

    @property
    def doubtful(self) -> BoolArray:
        """Less than 10 dB above the floor, or under it."""
        return near_noise(self.values_db, self.floor_db)


@dataclass(frozen=True, kw_only=True)
class Parts:
    """The bands of one level, `(bands,)` each."""

    frequency_hz: FloatArray
    level_db: FloatArray
    """Of the lines."""
    distortion: Part
    even: Part
    odd: Part
    noise_db: FloatArray
    """Re the lines in the same band."""


def third_octaves(bands: MultitoneBands) -> Parts:
    """The bands as they were analysed."""
    return Parts(
        frequency_hz=bands.frequency_hz,
        level_db=bands.level_db,
        distortion=Part(values_db=bands.distortion_db, floor_db=bands.floor_db),
        even=Part(values_db=bands.even_db, floor_db=bands.even_floor_db),
        odd=Part(values_db=bands.odd_db, floor_db=bands.odd_floor_db),
        noise_db=bands.noise_db,
    )


def octaves(parts: Parts) -> Parts:
    """Three thirds at a time: powers are summed, then divided. `(10,)` each, NaN where an octave has no lines."""
    distance = np.abs(np.log(parts.frequency_hz[np.newaxis] / np.array(OCTAVE_HZ)[:, np.newaxis]))
    belongs = distance < 0.5 * np.log(OCTAVE_RATIO)  # midbands of thirds never lie on an octave's edge
    lines = _sums(belongs, parts.level_db)

    def ratio_db(values_db: FloatArray) -> FloatArray:
        return power_to_db(_sums(belongs, values_db + parts.level_db) / lines)

    def part(of: Part) -> Part:
        return Part(values_db=ratio_db(of.values_db), floor_db=ratio_db(of.floor_db))

    return Parts(
        frequency_hz=np.array(OCTAVE_HZ),
        level_db=power_to_db(lines),
        distortion=part(parts.distortion),
        even=part(parts.even),
        odd=part(parts.odd),
        noise_db=ratio_db(parts.noise_db),
    )


def _sums(belongs: BoolArray, level_db: FloatArray) -> FloatArray:
    """Power of the bands that belong to each octave, `(octaves,)`; NaN where none has a reading."""
    known = belongs & np.isfinite(level_db)[np.newaxis]
    power = np.where(np.isfinite(level_db), db_to_power(np.where(np.isfinite(level_db), level_db, 0.0)), 0.0)
    return np.where(known.any(axis=1), known @ power, np.nan)
