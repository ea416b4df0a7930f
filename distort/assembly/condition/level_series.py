"""The ladder of levels as the compression analysis takes it: rungs, and repeats of the reference."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from distort.analysis.common.curves import Harmonics
from distort.analysis.common.grid import grid_hz
from distort.analysis.common.statistics import DB_PER_NEPER_OF_POWER, TWO_SIDED_95
from distort.analysis.compression.change import compression, sweep_output
from distort.analysis.compression.curves import Compression, LevelStep, Output, Repeat
from distort.analysis.compression.octaves import input_output, octave_distortion
from distort.analysis.compression.operating_range import operating_ranges
from distort.analysis.compression.sweep_lag import SweepLag, sweep_lags
from distort.analysis.multitone.curves import MultitoneResult
from distort.analysis.sweep.sweeps import Settings, SweepReadings
from distort.capture.measuring.steps import REST_BEFORE_DRIFT_S
from distort.errors import AnalysisError
from distort.recording.clocks import ConditionClock, clock_of, recorded_at_s
from distort.recording.takes import read_sweep_takes, reference_for, repeats_of, takes_of_each_level
from distort.session.plan.kinds import SHORT_SWEEP, SWEEP
from distort.session.recordings.stored import Recording
from distort.session.results.ladder_results import ChangeCurves, CompressionFound, Source, compression_found, curves_of


def sweep_rung(
    takes: Sequence[Recording], read: SweepReadings, *, short: Output | None, settings: Settings, began_s: float
) -> LevelStep:
    """One level from its sweep, which began at `began_s`; each take alone as well, where there are several."""
    reference = reference_for(takes)
    alone = [read_sweep_takes([one], replace(settings, orders=1)) for one in takes] if len(takes) > 1 else []
    return LevelStep(
        level_db_spl=takes[0].sidecar.level_db_spl,
        time_s=began_s,
        output=_as_driven(sweep_output(read, reference), takes[0]),
        takes_db=np.array([sweep_output(one, reference).level_db for one in alone]) if alone else None,
        short=short,
    )


def _short_output(takes: Sequence[Recording], read: SweepReadings) -> Output | None:
    """What the short sweep says, at the drive of its own recording; None where nobody said how that was turned."""
    if takes[0].sidecar.turned_db is None:
        return None
    return _as_driven(sweep_output(read, reference_for(takes)), takes[0])


def sweep_repeats(repeats: Sequence[Recording], settings: Settings, clock: ConditionClock) -> tuple[Repeat, ...]:
    """The reference level again: hot when it was played at once, rested after a minute or more."""
    return tuple(
        Repeat(
            time_s=clock.began_s(one),
            rested=rest_s >= REST_BEFORE_DRIFT_S,
            output=_as_driven(
                sweep_output(read_sweep_takes([one], replace(settings, orders=1)), reference_for([one])), one
            ),
        )
        for one in repeats
        if (rest_s := clock.rest_s(one)) is not None  # else whether it shows heat or drift cannot be told
    )


def _as_driven(output: Output, recording: Recording) -> Output:
    """With the volume that was turned counted into the drive."""
    return replace(output, drive_dbfs=output.drive_dbfs + (recording.sidecar.turned_db or 0.0))


def sweep_ladder(
    recordings: Sequence[Recording],
    sweeps: Mapping[float, Sequence[Recording]],
    reads: Mapping[float, SweepReadings],
    *,
    shorts: Mapping[float, SweepReadings],
    settings: Settings,
) -> Compression:
    """Compression from the sweeps of a condition. Raises AnalysisError when the levels cannot be compared."""
    _require_comparable(sweeps)
    clock = clock_of(recordings)
    short_takes = takes_of_each_level(recordings, SHORT_SWEEP)
    short = {level: _short_output(short_takes[level], read) for level, read in shorts.items()}
    rungs = [
        sweep_rung(takes, reads[level], short=short.get(level), settings=settings, began_s=clock.began_s(takes[0]))
        for level, takes in sweeps.items()
    ]
    # a reference that was rejected and recorded anew is not repeated by what was played before it
    began_s = clock.began_s(sweeps[min(sweeps)][0])
    repeats = [one for one in repeats_of(recordings, SWEEP, min(sweeps)) if clock.began_s(one) >= began_s]
    return compression(grid_hz(), rungs, sweep_repeats(repeats, settings, clock))


def multitone_ladder(
    multitones: Mapping[float, Sequence[Recording]], results: Mapping[float, MultitoneResult]
) -> Compression:
    """Compression from the multitones of a condition, at their lines. Raises AnalysisError as `sweep_ladder` does."""
    _require_comparable(multitones)
    rungs = [
        LevelStep(
            level_db_spl=level,
            time_s=recorded_at_s(takes[0]),  # nothing rests on it: multitones are not repeated
            output=_as_driven(_lines_output(results[level], takes[0].sidecar.drive_dbfs), takes[0]),
        )
        for level, takes in multitones.items()
    ]
    return compression(results[min(results)].response.frequency_hz, rungs)


def _lines_output(result: MultitoneResult, drive_dbfs: float) -> Output:
    deviation = result.response.uncertainty_db / (TWO_SIDED_95 * DB_PER_NEPER_OF_POWER)
    return Output(drive_dbfs=drive_dbfs, level_db=result.response.response_db, variance=np.square(deviation))


def _require_comparable(of_each_level: Mapping[float, Sequence[Recording]]) -> None:
    if len(of_each_level) < 2:
        raise AnalysisError("it takes recordings of at least two levels")
    for takes in of_each_level.values():
        for one in takes:
            if one.sidecar.turned_db is None:
                raise AnalysisError(
                    f"nobody said by how much the volume was turned before "
                    f"{one.files.audio_path.name} (distort add --playback-change-db, 0 where nothing was turned)"
                )


@dataclass(frozen=True, kw_only=True)
class Ladder:
    """Compression from one source, as it is written: the octaves with their words, and the curves."""

    found: CompressionFound
    curves: ChangeCurves


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
