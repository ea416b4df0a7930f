"""How the output follows the drive from level to level: compression, by sweeps and by multitones."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from distort.analysis.common.curves import FloatArray, Harmonics
from distort.analysis.common.grid import grid_hz
from distort.analysis.common.statistics import DB_PER_NEPER_OF_POWER, TWO_SIDED_95
from distort.analysis.compression.change import compression, sweep_output
from distort.analysis.compression.curves import Compression, LevelStep, Output, Repeat
from distort.analysis.compression.octaves import input_output, octave_distortion
from distort.analysis.compression.operating_range import operating_ranges
from distort.analysis.compression.sweep_lag import SweepLag, sweep_lags
from distort.analysis.multitone.curves import MultitoneResult
from distort.analysis.sweep.response import lowest_valid_hz
from distort.assembly.condition.levels import LevelsRead
from distort.errors import AnalysisError
from distort.recording.clocks import REST_BEFORE_DRIFT_S, ConditionClock, recorded_at_s
from distort.recording.reading import MultitoneLevel, SweepLevel
from distort.session.recordings.stored import Recording
from distort.session.results.ladder_results import ChangeCurves, CompressionFound, Source, compression_found, curves_of


@dataclass(frozen=True, kw_only=True)
class Ladder:
    """Compression from one source, as it is written: the octaves with their words, and the curves."""

    found: CompressionFound
    curves: ChangeCurves


@dataclass(frozen=True, kw_only=True)
class LevelSeries:
    """Compression from every source that allows it."""

    ladders: tuple[Ladder, ...]
    missing: str | None
    """Why there is nothing from the others, a sentence each; None where nothing is missing."""


def level_series(read: LevelsRead, harmonics: Sequence[Harmonics]) -> LevelSeries:
    """Compression from the sweeps, and from the multitones where they were played at several levels.

    harmonics   of the sweeps, one a level
    """
    sources: dict[str, Callable[[], Ladder]] = {"sweeps": partial(_from_sweeps, read, harmonics)}
    if len(read.multitones) > 1:
        sources["multitones"] = partial(_from_multitones, read.multitones)
    ladders, reasons = [], []
    for name, made in sources.items():
        try:
            ladders.append(made())
        except AnalysisError as reason:
            reasons.append(f"No compression result from the {name}: {reason}.")
    return LevelSeries(ladders=tuple(ladders), missing=" ".join(reasons) or None)


def _from_sweeps(read: LevelsRead, harmonics: Sequence[Harmonics]) -> Ladder:
    lowest = read.lowest.read
    return stated(
        sweep_ladder(read),
        "sweep",
        lowest_valid_hz=lowest_valid_hz(lowest.separated),
        duration_s=lowest.sweep.duration_s,
        harmonics=harmonics,
    )


def _from_multitones(multitones: Mapping[float, MultitoneLevel]) -> Ladder:
    lowest_line_hz = float(multitones[min(multitones)].result.response.frequency_hz[0])
    return stated(multitone_ladder(multitones), "multitone", lowest_valid_hz=lowest_line_hz)


def sweep_ladder(read: LevelsRead) -> Compression:
    """Compression from the sweeps of a condition. Raises AnalysisError when the levels cannot be compared."""
    _require_comparable(read.sweeps)
    short = {level: _short_output(one) for level, one in read.short_sweeps.items()}
    steps = [
        LevelStep(
            level_db_spl=level,
            time_s=read.clock.began_s(one.takes[0]),
            output=_driven(one),
            takes_db=_each_take_db(one) if one.alone else None,
            short=short.get(level),
        )
        for level, one in read.sweeps.items()
    ]
    return compression(grid_hz(), steps, [_repeat(one, read.clock) for one in read.repeats])


def _each_take_db(one: SweepLevel) -> FloatArray:
    return np.array([sweep_output(each, one.reference).level_db for each in one.alone])


def _short_output(short: SweepLevel) -> Output | None:
    """What the short sweep says, at the drive of its own recording; None where nobody said how that was turned."""
    return None if short.takes[0].sidecar.turned_db is None else _driven(short)


def _repeat(one: SweepLevel, clock: ConditionClock) -> Repeat:
    """The reference level again: hot when it was played at once, rested after a minute or more."""
    rest_s = clock.rest_s(one.takes[0])
    rested = rest_s is not None and rest_s >= REST_BEFORE_DRIFT_S
    return Repeat(time_s=clock.began_s(one.takes[0]), rested=rested, output=_driven(one))


def _driven(one: SweepLevel) -> Output:
    return _as_driven(sweep_output(one.read, one.reference), one.takes[0])


def _as_driven(output: Output, recording: Recording) -> Output:
    """With the volume that was turned counted into the drive."""
    return replace(output, drive_dbfs=output.drive_dbfs + (recording.sidecar.turned_db or 0.0))


def multitone_ladder(multitones: Mapping[float, MultitoneLevel]) -> Compression:
    """Compression from the multitones of a condition, at their lines. Raises AnalysisError as `sweep_ladder` does."""
    _require_comparable(multitones)
    steps = [
        LevelStep(
            level_db_spl=level,
            time_s=recorded_at_s(one.takes[0]),  # nothing rests on it: multitones are not repeated
            output=_as_driven(_lines_output(one.result, one.takes[0].sidecar.drive_dbfs), one.takes[0]),
        )
        for level, one in multitones.items()
    ]
    return compression(multitones[min(multitones)].result.response.frequency_hz, steps)


def _lines_output(result: MultitoneResult, drive_dbfs: float) -> Output:
    deviation = result.response.uncertainty_db / (TWO_SIDED_95 * DB_PER_NEPER_OF_POWER)
    return Output(drive_dbfs=drive_dbfs, level_db=result.response.response_db, variance=np.square(deviation))


def _require_comparable(levels: Mapping[float, SweepLevel] | Mapping[float, MultitoneLevel]) -> None:
    if len(levels) < 2:
        raise AnalysisError("it takes recordings of at least two levels")
    for one in (take for level in levels.values() for take in level.takes):
        if one.sidecar.turned_db is None:
            raise AnalysisError(
                f"nobody said by how much the volume was turned before "
                f"{one.files.audio_path.name} (distort add --playback-change-db, 0 where nothing was turned)"
            )


def stated(
    found: Compression,
    source: Source,
    *,
    lowest_valid_hz: float,
    duration_s: float | None = None,
    harmonics: Sequence[Harmonics] = (),
) -> Ladder:
    """What a ladder says per octave.

    duration_s   of the sweep: states its lag; None for multitones
    harmonics    one a level, for the highest level at 3 % and 10 % of distortion; none leaves those empty

    Raises AnalysisError when no octave can be read at every level.
    """
    table = input_output(found, lowest_valid_hz=lowest_valid_hz)
    distortion_db, distortion_noise_db = octave_distortion(harmonics, table.midband_hz) if harmonics else (None, None)
    ranges = operating_ranges(table, distortion_db=distortion_db, distortion_noise_db=distortion_noise_db)
    lags: tuple[SweepLag, ...] = ()
    if duration_s is not None:
        lags = sweep_lags(found.frequency_hz, found.levels, lowest_valid_hz=lowest_valid_hz, duration_s=duration_s)
    return Ladder(
        found=compression_found(found, source, table=table, ranges=ranges, lags=lags), curves=curves_of(found, source)
    )
