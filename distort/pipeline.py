"""THE MAIN JOB: a session folder in, results out.

For every condition: load the recordings with their sidecars, leave out what the user rejected, put the takes of each
level together, analyse the sweeps from the lowest level up (its response is the reference for the equivalent input),
and write the tables and findings. Each step is one call; what it does is in the module that it is imported from.
"""

import math
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import partial
from importlib.metadata import version
from pathlib import Path

from distort.analysis.curves import Response
from distort.analysis.response import band_mean_db
from distort.analysis.sweeps import (
    Reference,
    Settings,
    SweepReadings,
    SweepTake,
    read_sweep,
    sweep_harmonics,
    sweep_response,
)
from distort.analysis.windows import most_orders
from distort.capture.alignment import made_whole
from distort.capture.examined import examine
from distort.capture.prepared import prepare
from distort.capture.reference import reference_of
from distort.errors import AnalysisError, SessionError
from distort.session.audio import read_audio
from distort.session.condition_results import ConditionResults, Findings, LevelFound, RecordingUsed, write_results
from distort.session.folder import SessionFolder
from distort.session.plan import Plan
from distort.session.plan_reading import read_plan
from distort.session.recordings import Recording, load_recordings
from distort.session.resampling import resample
from distort.session.sidecar import Quality, read_stimulus_sidecar
from distort.session.stimulus_files import SHORT_SWEEP, SWEEP
from signals import Stimulus, Sweep

Progress = Callable[[str, int, int], None]
"""Told what is being done, how many steps of it are done, and how many there are."""


def analyze_session(root: Path, *, condition: str | None = None, progress: Progress) -> tuple[ConditionResults, ...]:
    """Analyse every recorded condition of the session in `root`, or `condition` alone, and write results/.

    Raises PlanError for a bad session.toml, SessionError for files that are missing or cannot be trusted,
    RecordingError for audio that cannot be read, AnalysisError when the recordings do not allow the result.
    """
    folder = SessionFolder(root)
    folder.require()
    plan = read_plan(root)
    recorded = folder.conditions_recorded()
    if condition is not None and condition not in recorded:
        raise SessionError(f"{root} has no recordings of condition {condition!r}: there are {_listed(recorded)}")
    chosen = recorded if condition is None else (condition,)
    if not chosen:
        raise SessionError(f"{root} has no recordings yet: `distort measure` or `distort add` makes some")
    found = []
    for name in chosen:
        results = analyze_condition(folder, plan, name, progress=progress)
        write_results(folder, results)
        found.append(results)
    return tuple(found)


def analyze_condition(folder: SessionFolder, plan: Plan, condition: str, *, progress: Progress) -> ConditionResults:
    """Analyse one condition without writing anything. Raises as `analyze_session` does."""
    recordings = load_recordings(folder, condition)
    sweeps = _takes_of_each_level(recordings, SWEEP)
    if not sweeps:
        raise SessionError(f"{folder.recordings_folder(condition)} holds no sweep that was not rejected")
    _require_one_unit([one for takes in sweeps.values() for one in takes])
    shorts = _takes_of_each_level(recordings, SHORT_SWEEP)
    jobs = {
        (name, level): takes for name, of in ((SWEEP, sweeps), (SHORT_SWEEP, shorts)) for level, takes in of.items()
    }
    reads = _read_all(jobs, _settings(plan), condition, progress)

    references = {level: _reference(takes) for level, takes in sweeps.items()}
    responses = [sweep_response(reads[SWEEP, level], references[level]) for level in sweeps]
    harmonics = [
        sweep_harmonics(
            reads[SWEEP, level], references[level], linear=responses[0], short=reads.get((SHORT_SWEEP, level))
        )
        for level in sweeps
    ]
    return ConditionResults(
        findings=Findings(
            loudspeaker=recordings[0].sidecar.loudspeaker,
            setup=recordings[0].sidecar.setup,
            condition=condition,
            simulated=any(one.sidecar.simulated for one in recordings),
            software=f"distort {version('distort')}",
            smoothing=plan.analysis.smoothing,
            gate_ms=plan.analysis.gate_ms,
            recordings=tuple(_used(folder, one) for one in recordings),
            levels=tuple(
                _level_found(plan, level, takes, response)
                for (level, takes), response in zip(sweeps.items(), responses, strict=True)
            ),
        ),
        responses=tuple(responses),
        harmonics=tuple(harmonics),
    )


def analyze_file(
    path: Path, stimulus: Path, *, channel: int | None = None, settings: Settings
) -> tuple[SweepReadings, Quality]:
    """Analyse one recording of the stimulus that the sidecar `stimulus` describes, without a session; and judge it.

    Raises SessionError for the sidecar, RecordingError for the recording, AnalysisError as the analysis does.
    """
    described = read_stimulus_sidecar(stimulus)
    stored, sample_rate = read_audio(path, channel=channel)
    samples = resample(stored, from_rate=sample_rate, to_rate=described.sample_rate)
    examined = examine(samples, described.reel, what=str(path), as_stored=stored, stated_hz=sample_rate)
    alignment = examined.alignment
    silences = tuple(samples[first:end] for first, end in alignment.silence_spans)
    sweep = _sweep_of(described.stimulus, stimulus)
    whole, start = made_whole(samples, start=alignment.stimulus_start, stimulus=sweep)
    read = read_sweep([SweepTake(samples=whole, start=start, silences=silences)], sweep, settings)
    return read, examined.for_sidecar()


def _takes_of_each_level(recordings: Iterable[Recording], stimulus_name: str) -> dict[float, list[Recording]]:
    """Takes that were not rejected, by level from the lowest up; repeats of the reference are not among them."""
    found: dict[float, list[Recording]] = {}
    for one in recordings:
        sidecar = one.sidecar
        if sidecar.stimulus_name == stimulus_name and not sidecar.after and sidecar.rejected is None:
            found.setdefault(sidecar.level_db_spl, []).append(one)
    return dict(sorted(found.items()))


def _require_one_unit(recordings: list[Recording]) -> None:
    """Sound pressure levels and dBFS in one set of results would be compared with one another."""
    known = [one for one in recordings if one.sidecar.calibration is not None]
    unknown = [one for one in recordings if one.sidecar.calibration is None]
    if known and unknown:
        raise AnalysisError(
            f"{unknown[0].files.audio_path} was saved without a calibration, {known[0].files.audio_path} with one: "
            f"move the first and its .json out of the session, and bring it in again with `distort add`"
        )


def _read_all(
    jobs: dict[tuple[str, float], list[Recording]], settings: Settings, condition: str, progress: Progress
) -> dict[tuple[str, float], SweepReadings]:
    """Read the sweeps of every level; two at a time, because most of the work is Fourier transforms."""
    reads = {}
    with ThreadPoolExecutor(max_workers=2) as pool:
        for done, (key, read) in enumerate(zip(jobs, pool.map(partial(_read, settings), jobs.values()), strict=True)):
            reads[key] = read
            progress(f"analysing {condition}", done + 1, len(jobs))
    return reads


def _read(settings: Settings, takes: list[Recording]) -> SweepReadings:
    first = takes[0].sidecar
    for one in takes[1:]:
        if (one.sidecar.stimulus, one.sidecar.calibration) != (first.stimulus, first.calibration):
            raise AnalysisError(
                f"{takes[0].files.audio_path} and {one.files.audio_path} were played with different stimuli or "
                f"calibrations, so they are not takes of the same: reject one of them"
            )
    sweep = _sweep_of(first.stimulus, takes[0].files.audio_path)
    if first.stimulus_name == SHORT_SWEEP:  # it only shows a bias, as far as its length lets it
        settings = replace(settings, orders=min(settings.orders, most_orders(sweep)))
    return read_sweep([_sweep_take(one) for one in takes], sweep, settings)


def _sweep_take(recording: Recording) -> SweepTake:
    prepared = prepare(recording)
    return SweepTake(samples=prepared.samples, start=prepared.start, silences=prepared.silences)


def _sweep_of(stimulus: Stimulus, path: Path) -> Sweep:
    if not isinstance(stimulus, Sweep):
        raise AnalysisError(f"{path} is a {type(stimulus).__name__.lower()}, where an exponential sweep was expected")
    return stimulus


def _settings(plan: Plan) -> Settings:
    gate_ms = plan.analysis.gate_ms
    return Settings(
        orders=plan.analysis.orders,
        smoothing_octaves=plan.analysis.smoothing_octaves,
        gate_s=None if gate_ms is None else gate_ms / 1000.0,
    )


def _reference(takes: list[Recording]) -> Reference:
    sidecar = takes[0].sidecar
    return reference_of(sidecar.calibration, sidecar.setup.distance_m)


def _level_found(plan: Plan, level: float, takes: list[Recording], response: Response) -> LevelFound:
    measured_db = band_mean_db(response, plan.levels.band_hz)
    return LevelFound(
        level_db_spl=level,
        drive_dbfs=takes[0].sidecar.drive_dbfs,
        measured_db=None if math.isnan(measured_db) else measured_db,
        unit=response.unit,
        delay_s=response.delay_s,
        lowest_valid_hz=response.lowest_valid_hz,
    )


def _used(folder: SessionFolder, recording: Recording) -> RecordingUsed:
    return RecordingUsed(
        file=recording.files.audio_path.relative_to(folder.root).as_posix(),
        sha256=recording.sidecar.recording_sha256,
        quality=recording.sidecar.quality,
        rejected=recording.sidecar.rejected,
    )


def _listed(names: tuple[str, ...]) -> str:
    return ", ".join(names) if names else "none"
