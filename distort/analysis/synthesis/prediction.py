"""The multitones of a condition, predicted from the orders of its sweeps, and how far that misses what was measured.

A sweep plays one tone at a time and shows every order along the diagonal of its kernel. What many tones make together
follows from that only where the loudspeaker is built as the synthesis takes it to be. So it is tried: form and
structure are chosen at one level and checked at the others.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from distort.analysis.common.caution import CLEAR_OF_NOISE_DB
from distort.analysis.common.grid import band_edges_hz
from distort.analysis.multitone.curves import MultitoneBands
from distort.analysis.multitone.powers import BANDS_PER_OCTAVE
from distort.analysis.synthesis.choosing import Heard, best_form, misfit_db
from distort.analysis.synthesis.finer import finer_form
from distort.analysis.synthesis.kernels import ORDERS, Step, highest_drive_dbfs, kernels_at, level_rule_db
from distort.analysis.synthesis.predicted import LevelPredicted, PartMisfit, Prediction
from distort.analysis.synthesis.products import Played
from distort.analysis.synthesis.ways import Form, ways_of
from signals import Multitone

FloatArray = npt.NDArray[np.float64]

LOWEST_HZ, HIGHEST_HZ = 62.0, 10100.0
"""Third octaves of 63 Hz to 10 kHz are judged: below, few tones make few products, and one draw of phases decides."""

LEAST_BANDS = 8
"""Of even or of odd, clear of the floor: fewer say too little of a form that has as many parameters."""

PLACE_DB = 3.0
"""Bands beside the worst that exceed their prediction by as much belong to the same place."""

SAME_DRIVE_DB = 0.01

HELD_DB = 3.0
"""Up to here beyond the loudest sweep its kernels stand for those that nobody measured: a weak curve's are the same at
all levels, and what a kernel of order n changes by d dB in it moves the prediction by d, far less than a growth."""


@dataclass(frozen=True, kw_only=True, eq=False)
class MultitoneMeasured:
    """The multitone of one level."""

    level_db_spl: float
    """Nominal."""
    tone: Multitone
    turned_db: float
    """By how much the volume was turned up."""
    bands: MultitoneBands


def predict(steps: Sequence[Step], measured: Sequence[MultitoneMeasured]) -> Prediction:
    """Predict the multitones from the sweeps; at least one of each, multitones from the lowest up."""
    highest_dbfs = highest_drive_dbfs(steps)
    reached = [one for one in measured if _drive_dbfs(one) <= highest_dbfs + SAME_DRIVE_DB]
    beyond = [one for one in measured if _drive_dbfs(one) > highest_dbfs + SAME_DRIVE_DB]
    held = [one for one in beyond if _drive_dbfs(one) <= highest_dbfs + HELD_DB]
    chosen = _chosen(reached)

    def of(form: Form | None) -> Prediction:
        levels = (replace(_level(steps, one, form), held=one in held) for one in (*reached, *held) if form is not None)
        return Prediction(
            levels=tuple(levels),
            form=form,
            chosen_at_db_spl=None if chosen is None else chosen.level_db_spl,
            unreached_db_spl=tuple(one.level_db_spl for one in beyond),
            needed_db_spl=None if not beyond else beyond[0].level_db_spl + level_rule_db(max(ORDERS)),
        )

    if chosen is None:
        return of(None)
    with_chosen = _played(chosen, steps), kernels_at(steps, _drive_dbfs(chosen)), _heard(chosen)
    form = best_form(*with_chosen)
    plain = of(form)
    if not plain.even_fails_at_first:
        return plain
    finer = of(finer_form(*with_chosen, form))
    # what fits by its freedom alone fits no second level
    return plain if finer.up_to_db_spl is None else finer


def _chosen(measured: Sequence[MultitoneMeasured]) -> MultitoneMeasured | None:
    """The lowest of which even and odd say enough, else the lowest of which one of them does."""
    enough = {one.level_db_spl: [_enough(part) for part in _parts(_heard(one))] for one in measured}
    both = (one for one in measured if all(enough[one.level_db_spl]))
    either = (one for one in measured if any(enough[one.level_db_spl]))
    return next(both, None) or next(either, None)


def _drive_dbfs(one: MultitoneMeasured) -> float:
    return one.tone.drive_dbfs + one.turned_db


def _played(one: MultitoneMeasured, steps: Sequence[Step]) -> Played:
    """Lines and products go through the response of the step whose drive is nearest."""
    nearest = min(steps, key=lambda step: abs(step.drive_dbfs - _drive_dbfs(one)))
    return Played(tone=one.tone, path=nearest.response.power, turned_db=one.turned_db)


def _heard(one: MultitoneMeasured) -> Heard:
    """Its bands that are judged; the others NaN."""
    bands = one.bands
    judged = (bands.frequency_hz > LOWEST_HZ) & (bands.frequency_hz < HIGHEST_HZ)

    def clear(reading_db: FloatArray, floor_db: FloatArray) -> FloatArray:
        with np.errstate(invalid="ignore"):
            return np.where(judged & (reading_db >= floor_db + CLEAR_OF_NOISE_DB), reading_db, np.nan)

    return Heard(
        even_db=clear(bands.even_db, bands.even_floor_db),
        odd_db=clear(bands.odd_db, bands.odd_floor_db),
    )


def _parts(heard: Heard) -> tuple[FloatArray, FloatArray]:
    return heard.even_db, heard.odd_db


def _enough(reading_db: FloatArray) -> bool:
    return int(np.count_nonzero(np.isfinite(reading_db))) >= LEAST_BANDS


def _level(steps: Sequence[Step], one: MultitoneMeasured, form: Form) -> LevelPredicted:
    played, heard = _played(one, steps), _heard(one)
    made = np.zeros(played.top + 1, dtype=np.complex128)
    for number, way in enumerate(ways_of(kernels_at(steps, _drive_dbfs(one)), form.crossover_hz)):
        for kernel in way.kernels:
            made = made + played.product(kernel, form.structure(number, kernel.order), way)
    return LevelPredicted(
        level_db_spl=one.level_db_spl,
        even=_part(one.bands.frequency_hz, heard.even_db, played.even_db(made)),
        odd=_part(one.bands.frequency_hz, heard.odd_db, played.odd_db(made)),
    )


def _part(frequency_hz: FloatArray, measured_db: FloatArray, predicted_db: FloatArray) -> PartMisfit | None:
    excess_db = measured_db - predicted_db
    if not _enough(excess_db):
        return None
    low_hz, high_hz = band_edges_hz(frequency_hz, bands_per_octave=BANDS_PER_OCTAVE)
    first = last = int(np.nanargmax(excess_db))
    worst_hz = float(frequency_hz[first])
    while first > 0 and excess_db[first - 1] >= PLACE_DB:
        first -= 1
    while last + 1 < excess_db.size and excess_db[last + 1] >= PLACE_DB:
        last += 1
    return PartMisfit(
        misfit_db=misfit_db(measured_db, predicted_db),
        excess_db=float(np.nanmean(excess_db)),
        bands=int(np.count_nonzero(np.isfinite(excess_db))),
        worst_hz=worst_hz,
        low_hz=float(low_hz[first]),
        high_hz=float(high_hz[last]),
    )
