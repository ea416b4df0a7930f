"""Compression: the change of the response against that at the reference level, the lowest of the ladder.

    change_L(f) = [P_L(f) - P_ref(f)] - [drive_L - drive_ref]        in dB, the drives as played

Its 95 % interval comes from the noise of both readings and, where a level has takes, from their scatter beyond what
noise explains. `change` is never corrected for anything; what the repeats of the reference and the short sweep say
stands beside it.
"""

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from distort.analysis.compression.curves import (
    AnalysedChange,
    Compression,
    LevelStep,
    Output,
    Repeat,
    RepeatChange,
    Repeated,
)
from distort.analysis.compression.take_scatter import TakeScatter, take_scatter
from distort.analysis.sweep.readings import Reading
from distort.analysis.sweep.sweeps import Reference, SweepReadings
from distort.analysis.sweep.uncertainty import interval_db
from distort.errors import AnalysisError
from signals.levels import power_to_db

FloatArray = npt.NDArray[np.float64]


def repeat_changes(reference: Output, repeats: Sequence[Repeat]) -> tuple[RepeatChange, ...]:
    """Every repeat against the first reference, in the order of time."""
    return tuple(
        RepeatChange(
            time_s=one.time_s,
            rested=one.rested,
            change_db=one.output.gain_db - reference.gain_db,
            uncertainty_db=interval_db(one.output.variance + reference.variance),
        )
        for one in sorted(repeats, key=lambda repeat: repeat.time_s)
    )


def how_repeated(repeats: Sequence[Repeat]) -> Repeated:
    """Whether the reference was repeated hot, rested, both or not."""
    found: dict[tuple[bool, bool], Repeated] = {
        (False, False): "no",
        (True, False): "hot",
        (False, True): "rested",
        (True, True): "hot and rested",
    }
    return found[any(not one.rested for one in repeats), any(one.rested for one in repeats)]


def drifted_reference(
    reference: Output, repeats: Sequence[Repeat], *, reference_time_s: float, time_s: float
) -> tuple[FloatArray, FloatArray]:
    """Gain of the reference at `time_s` in dB, and the relative variance of its power, `(rows,)` each.

    NaN where no rested repeat was played at that time or later: drift is never extrapolated.
    """
    rested = sorted((one for one in repeats if one.rested), key=lambda repeat: repeat.time_s)
    known = [(reference_time_s, reference), *((one.time_s, one.output) for one in rested)]
    for (before_s, before), (after_s, after) in pairwise(known):
        if before_s <= time_s <= after_s:
            share = (time_s - before_s) / (after_s - before_s) if after_s > before_s else 0.0
            gain_db = (1.0 - share) * before.gain_db + share * after.gain_db
            return gain_db, (1.0 - share) ** 2 * before.variance + share**2 * after.variance
    return np.full_like(reference.level_db, np.nan), np.full_like(reference.level_db, np.nan)


def last_of_kind(changes: Sequence[RepeatChange], rows: int) -> tuple[FloatArray, FloatArray]:
    """Change and uncertainty of the last of some repeats, `(rows,)` each; NaN where there is none."""
    if not changes:
        return np.full(rows, np.nan), np.full(rows, np.nan)
    return changes[-1].change_db, changes[-1].uncertainty_db


def sweep_output(read: SweepReadings, reference: Reference) -> Output:
    """What the fundamental of one analysed sweep says, in dB SPL or dBFS as `reference` has it."""
    return fundamental_output(read.readings[0], drive_dbfs=read.sweep.drive_dbfs, offset_db=reference.offset_db)


def fundamental_output(fundamental: Reading, *, drive_dbfs: float, offset_db: float = 0.0) -> Output:
    """The same from the reading of order 1 alone; `offset_db` turns dBFS into the unit of the output."""
    return Output(
        drive_dbfs=drive_dbfs,
        level_db=power_to_db(fundamental.power) + drive_dbfs + offset_db,
        variance=fundamental.variance,
    )


def compression(frequency_hz: FloatArray, rungs: Sequence[LevelStep], repeats: Sequence[Repeat] = ()) -> Compression:
    """Changes of all `rungs` against the lowest of them, over `frequency_hz` `(rows,)`.

    rungs     in any order; their outputs in one unit
    repeats   the lowest level, played again

    Raises AnalysisError when there is no rung, two have one nominal level, a drive is not known (the volume was turned
    and nobody said by how much), a repeat is older than the reference, or the rows do not match.
    """
    ladder = sorted(rungs, key=lambda rung: rung.level_db_spl)
    _require(frequency_hz, ladder, repeats)
    reference = ladder[0]
    scatter = take_scatter(frequency_hz, [(rung.takes_db, rung.output.variance) for rung in ladder])
    changes = repeat_changes(reference.output, repeats)
    rested, hot = [one for one in changes if one.rested], [one for one in changes if not one.rested]
    drift_db, drift_uncertainty_db = last_of_kind(rested, frequency_hz.size)
    heating_db, heating_uncertainty_db = last_of_kind(hot, frequency_hz.size)
    return Compression(
        frequency_hz=frequency_hz,
        levels=tuple(_level_change(rung, reference, repeats, scatter=scatter) for rung in ladder),
        drift_db=drift_db,
        drift_uncertainty_db=drift_uncertainty_db,
        heating_db=heating_db,
        heating_uncertainty_db=heating_uncertainty_db,
        repeats=changes,
        repeated=how_repeated(repeats),
        includes_heating=len(ladder) > 1,
    )


def _level_change(
    rung: LevelStep, reference: LevelStep, repeats: Sequence[Repeat], *, scatter: TakeScatter
) -> AnalysedChange:
    if rung is reference:
        return _no_change(rung)
    own, ref = rung.output, reference.output
    bias_db, bias_uncertainty_db = _bias(rung, reference)
    then_db, then_variance = drifted_reference(ref, repeats, reference_time_s=reference.time_s, time_s=rung.time_s)
    takes_db = scatter.half_width_db(_takes(rung), _takes(reference))
    return AnalysedChange(
        level_db_spl=rung.level_db_spl,
        drive_dbfs=own.drive_dbfs,
        output_db=own.level_db,
        change_db=own.gain_db - ref.gain_db,
        uncertainty_db=np.hypot(interval_db(own.variance + ref.variance), takes_db),
        bias_db=bias_db,
        bias_uncertainty_db=bias_uncertainty_db,
        corrected_db=own.gain_db - then_db,
        corrected_uncertainty_db=np.hypot(interval_db(own.variance + then_variance), takes_db),
    )


def _no_change(reference: LevelStep) -> AnalysedChange:
    """The reference against itself: exactly 0 wherever it has a reading."""
    nothing = np.where(np.isfinite(reference.output.level_db), 0.0, np.nan)
    return AnalysedChange(
        level_db_spl=reference.level_db_spl,
        drive_dbfs=reference.output.drive_dbfs,
        output_db=reference.output.level_db,
        change_db=nothing,
        uncertainty_db=nothing,
        bias_db=nothing,
        bias_uncertainty_db=nothing,
        corrected_db=nothing,
        corrected_uncertainty_db=nothing,
    )


def _bias(rung: LevelStep, reference: LevelStep) -> tuple[FloatArray, FloatArray]:
    """`change(T/2) - change(T)` and its uncertainty: the sweep's lag falls as 1/T, so this is what is left of it at T.

    The short sweep also heats for half the time; that difference is in it too.
    """
    own, ref = rung.output, reference.output
    if rung.short is None or reference.short is None:
        return np.full_like(own.level_db, np.nan), np.full_like(own.level_db, np.nan)
    short_change_db = rung.short.gain_db - reference.short.gain_db
    variance = rung.short.variance + reference.short.variance + own.variance + ref.variance
    return short_change_db - (own.gain_db - ref.gain_db), interval_db(variance)


def _takes(rung: LevelStep) -> int:
    """How many takes its output is the mean of."""
    return 1 if rung.takes_db is None else int(rung.takes_db.shape[0])


def _require(frequency_hz: FloatArray, ladder: Sequence[LevelStep], repeats: Sequence[Repeat]) -> None:
    """Raises AnalysisError as `compression` says."""
    if not ladder:
        raise AnalysisError("there is no level to compare: compression needs recordings of at least two levels")
    for one, other in pairwise(ladder):
        if one.level_db_spl == other.level_db_spl:
            raise AnalysisError(f"two rungs have the level {one.level_db_spl:g} dB: put their takes together first")
    outputs = [rung.output for rung in ladder] + [repeat.output for repeat in repeats]
    if not all(math.isfinite(output.drive_dbfs) for output in outputs):
        raise AnalysisError(
            "the drive of a level is not known, so there is no compression result: "
            "say by how much the volume was turned between the levels"
        )
    if any(repeat.time_s < ladder[0].time_s for repeat in repeats):
        raise AnalysisError("the reference level was repeated before it was first played: check the recordings' order")
    if any(output.level_db.shape != frequency_hz.shape for output in outputs):
        raise AnalysisError("the levels have different frequencies, so they cannot be compared")
