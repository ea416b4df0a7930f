"""One side of a comparison, read from its recordings: curves with their scatter, drives and outputs."""

import math
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import numpy.typing as npt

from distort.analysis.common.grid import grid_hz
from distort.analysis.common.quantities import RESPONSE
from distort.analysis.comparison.curves import (
    ROWS_OF_BAND,
    Valuation,
    curves_of_level,
    gains,
    line_values,
    multitone_values,
    sweep_values,
)
from distort.analysis.comparison.significance import BROAD_OCTAVES, NARROW_OCTAVES, Curve
from distort.analysis.sweep.response import band_mean_db
from distort.analysis.sweep.sweeps import Settings, sweep_response
from distort.errors import AnalysisError, SessionError
from distort.recording.clocks import REST_BEFORE_DRIFT_S, clock_of
from distort.recording.reading import MultitoneLevel, read_multitone_takes, read_sweep_takes
from distort.recording.take_levels import unlike_takes
from distort.recording.takes import reference_for, require_one_unit, set_ups_of_each_level, settings_of
from distort.session.calibration.reference_responses import SessionMicrophone, read_microphone
from distort.session.files.folder import SessionFolder
from distort.session.plan.keys import Plan
from distort.session.plan.kinds import MULTITONE, SWEEP
from distort.session.plan.reading import read_plan
from distort.session.recordings.stored import Recording, load_recordings

FloatArray = npt.NDArray[np.float64]
SetUps = Sequence[Sequence[Recording]]
Progress = Callable[[str, int, int], None]


@dataclass(frozen=True, kw_only=True)
class Side:
    """What is compared with another."""

    name: str
    """As the user named it."""
    folder: SessionFolder
    condition: str
    plan: Plan
    microphone: SessionMicrophone | None
    sweeps: tuple[Recording, ...]
    multitones: tuple[Recording, ...]
    curves: tuple[Curve, ...]
    """Those of compression are not among them, but gains, where the drives are known: see `analysis.comparison`."""
    drives_dbfs: dict[float, float]
    """As played, turned volume included, by nominal level."""
    outputs_db: dict[float, float]
    """Measured: power mean of the response over [levels] band_hz, by nominal level."""
    repeats: tuple[tuple[Curve, Curve], ...]
    """The response at the lowest level, and the same played again after a rest."""
    set_ups: int
    takes: int
    """The most that any level has."""

    @property
    def recordings(self) -> tuple[Recording, ...]:
        """All that the curves were made from."""
        return self.sweeps + self.multitones

    @property
    def without_floor_db_spl(self) -> tuple[float, ...]:
        """Nominal levels of whose sweep no noise floor is known."""
        of_sweeps = [one for one in self.curves if one.quantity == RESPONSE]
        known = {one.level_db_spl for one in of_sweeps if np.isfinite(one.noise_variance).any()}
        return tuple(sorted({one.level_db_spl for one in of_sweeps} - known))

    @property
    def near_field(self) -> bool:
        """The microphone stood at a cone or port, in a session that was measured at a distance as well."""
        return self.plan.near_field_of is not None

    @property
    def volume_known(self) -> bool:
        """Somebody said how far the volume was turned, for every recording."""
        return all(one.sidecar.turned_db is not None for one in self.recordings)


def read_side(folder: SessionFolder, condition: str, *, name: str, progress: Progress) -> Side:
    """Read all sweeps and multitones of a condition, every set-up and take for itself.

    Raises SessionError when there is no sweep, AnalysisError when takes of one level cannot both be of it, and what the
    analysis of recordings raises.
    """
    plan = read_plan(folder.root).of(condition)
    recordings = load_recordings(folder, condition)
    require_one_unit([one for one in recordings if one.sidecar.rejected is None])
    sweeps, tones = (set_ups_of_each_level(recordings, kind) for kind in (SWEEP, MULTITONE))
    if not sweeps:
        raise SessionError(f"{folder.recordings_folder(condition)} holds no sweep that is not rejected")
    for one in unlike_takes(_flat([*sweeps.values(), *tones.values()]), plan.levels.band_hz):
        raise AnalysisError(f"{name}: {one.sentence} {one.to_mend(str(folder.root))}")
    microphone = read_microphone(folder, plan)
    settings = replace(settings_of(plan, microphone), smoothing_octaves=NARROW_OCTAVES)
    jobs: list[Callable[[], _Level]] = [
        *(partial(_read_sweeps, level, parts, settings, plan) for level, parts in sweeps.items()),
        *(partial(_read_tones, level, parts, settings, plan) for level, parts in tones.items()),
    ]
    levels = []
    with ThreadPoolExecutor(max_workers=2) as pool:
        for done, level in enumerate(pool.map(lambda job: job(), jobs)):
            levels.append(level)
            progress(f"reading {name}", done + 1, len(jobs))
    drives = {level: _drive_dbfs(parts[0][0]) for level, parts in {**tones, **sweeps}.items()}
    curves = [curve for level in levels for curve in level.curves]
    every = [parts for ladder in (sweeps, tones) for parts in ladder.values()]
    side = Side(
        name=name,
        folder=folder,
        condition=condition,
        plan=plan,
        microphone=microphone,
        sweeps=_flat(sweeps.values()),
        multitones=_flat(tones.values()),
        curves=tuple(curves),
        drives_dbfs=drives,
        outputs_db={level.level_db_spl: level.output_db for level in levels if level.output_db is not None},
        repeats=_repeats(recordings, sweeps, settings),
        set_ups=max(len(parts) for parts in every),
        takes=max(len(takes) for parts in every for takes in parts),
    )
    return replace(side, curves=(*curves, *gains(curves, drives))) if side.volume_known else side


@dataclass(frozen=True, kw_only=True)
class _Level:
    level_db_spl: float
    curves: tuple[Curve, ...]
    output_db: float | None


def _read_sweeps(level: float, parts: SetUps, settings: Settings, plan: Plan) -> _Level:
    values: list[Valuation] = []
    outputs = []
    for takes in parts:
        read, reference = read_sweep_takes(takes, settings), reference_for(takes)
        values.append(sweep_values(read, reference, settings))
        outputs.append(band_mean_db(sweep_response(read, reference), plan.levels.band_hz))
    alone = [
        sweep_values(read_sweep_takes([one], settings), reference_for([one]), settings)
        for one in (parts[0] if len(parts) == 1 and len(parts[0]) > 1 else ())
    ]
    rows = {octaves: grid_hz()[::step] for octaves, step in ROWS_OF_BAND.items()}
    output_db = float(np.mean(outputs))
    return _Level(
        level_db_spl=level,
        curves=curves_of_level(level, rows, values, alone),
        output_db=None if math.isnan(output_db) else output_db,
    )


def _read_tones(level: float, parts: SetUps, settings: Settings, plan: Plan) -> _Level:
    def read(takes: Sequence[Recording]) -> MultitoneLevel:
        return read_multitone_takes(takes, settings, against_time=False)

    whole = [read(takes) for takes in parts]
    alone = [read([one]) for one in parts[0]] if len(parts) == 1 and len(parts[0]) > 1 else []
    curves: list[Curve] = []
    for values, rows in (
        (multitone_values, whole[0].result.bands.frequency_hz),
        (line_values, whole[0].result.response.frequency_hz),
    ):
        curves += curves_of_level(
            level,
            {BROAD_OCTAVES: rows},
            [values(one.result, one.tone.period_s) for one in whole],
            [values(one.result, one.tone.period_s) for one in alone],
        )
    return _Level(level_db_spl=level, curves=tuple(curves), output_db=None)


def _repeats(
    recordings: Sequence[Recording], sweeps: dict[float, list[list[Recording]]], settings: Settings
) -> tuple[tuple[Curve, Curve], ...]:
    """The reference's first take beside each time that it was played again after a rest, in every width of band."""
    reference = sweeps[min(sweeps)][0][0]
    clock = clock_of(recordings)
    again = [one for one in clock.repeats_of(reference) if (clock.rest_s(one) or 0.0) >= REST_BEFORE_DRIFT_S]
    if not again:
        return ()
    rows = {octaves: grid_hz()[::step] for octaves, step in ROWS_OF_BAND.items()}
    one_order = replace(settings, orders=1)
    first, *others = (
        curves_of_level(
            min(sweeps), rows, [sweep_values(read_sweep_takes([one], one_order), reference_for([one]), one_order)]
        )
        for one in (reference, *again)
    )
    return tuple(pair for other in others for pair in zip(first, other, strict=True))


def _drive_dbfs(recording: Recording) -> float:
    return recording.sidecar.drive_dbfs + (recording.sidecar.turned_db or 0.0)


def _flat(ladders: Iterable[SetUps]) -> tuple[Recording, ...]:
    return tuple(one for parts in ladders for takes in parts for one in takes)
