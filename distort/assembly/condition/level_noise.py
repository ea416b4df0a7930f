"""Noise that comes with level in a condition: its multitones in, the result out."""

import math

from distort.analysis.level_noise import HeardAt, NoiseResult, noise_with_level
from distort.assembly.condition.levels import LevelsRead

NOISE = "noise"
"""Its name among the results that have a table of their own."""


def level_noise_of(read: LevelsRead) -> NoiseResult | None:
    """The result of all multitones that have a silence beside them; None where none has."""
    levels = []
    for level_db_spl, one in read.multitones.items():
        if one.noise is not None:
            sidecar = one.takes[0].sidecar
            turned_db = math.nan if sidecar.turned_db is None else sidecar.turned_db
            levels.append(
                HeardAt(
                    level_db_spl=level_db_spl,
                    drive_db=sidecar.drive_dbfs + turned_db,
                    heard=one.noise,
                    reference=one.reference,
                )
            )
    return noise_with_level(levels) if levels else None
