"""THE MAIN JOB: a session folder in, results out.

For every condition: load the recordings with their sidecars, leave out what the user rejected, put the takes of each
level together, analyse the sweeps from the lowest level up (its response is the reference for the equivalent input),
look for dips and peaks and for what lines up with them, and write the tables and findings. Each step is one call; what
it does is in the module that it is imported from.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TypeVar

from distort.analysis.coincidences.finding import find_coincidences
from distort.analysis.common.curves import Harmonics, Response
from distort.analysis.sweep.orders import SeparatedOrders
from distort.analysis.sweep.response import band_mean_db, lowest_valid_hz
from distort.analysis.sweep.sweeps import (
    Settings,
    SweepReadings,
    SweepTake,
    read_sweep,
    sweep_harmonics,
    sweep_response,
)
from distort.assembly.condition.audible import audibility
from distort.assembly.condition.chain import with_chain_of_levels
from distort.assembly.condition.inputs_of_findings import look_at
from distort.assembly.condition.level_series import Ladder, multitone_ladder, stated, sweep_ladder
from distort.assembly.kinds import with_further
from distort.errors import AnalysisError, SessionError, shown
from distort.recording.alignment.prepared import prepare_samples
from distort.recording.quality.examined import examine
from distort.recording.takes import (
    MultitoneLevel,
    read_multitone_takes,
    read_sweep_takes,
    reference_for,
    require_one_unit,
    settings_of,
    sweep_of,
    takes_of_each_level,
)
from distort.session.audio.audio_file import read_audio
from distort.session.audio.resampling import resample
from distort.session.calibration.reference_responses import (
    CurvesElsewhere,
    read_curves_elsewhere,
    read_microphone,
)
from distort.session.files.folder import SessionFolder
from distort.session.plan.keys import Plan
from distort.session.plan.kinds import MULTITONE, SHORT_SWEEP, SWEEP
from distort.session.plan.reading import read_plan
from distort.session.recordings.sidecar import Quality, read_stimulus_sidecar
from distort.session.recordings.stored import Recording, coded_link, load_recordings
from distort.session.results.condition_results import (
    ConditionResults,
    Findings,
    LevelFound,
    RecordingUsed,
    write_results,
)
from distort.session.results.multitone_results import MultitoneFound, multitone_found
from distort.version import __version__

T = TypeVar("T")

Progress = Callable[[str, int, int], None]
"""Told what is being done, how many steps of it are done, and how many there are."""


def analyze_session(
    root: Path, *, condition: str | None = None, threads: int = 2, progress: Progress
) -> tuple[ConditionResults, ...]:
    """Analyse every recorded condition of the session in `root`, or `condition` alone, and write results/.

    threads   how many levels are analysed at a time; the results are the same

    Raises PlanError for a bad session.toml, SessionError for files that are missing or cannot be trusted,
    RecordingError for audio that cannot be read, AnalysisError when the recordings do not allow the result.
    """
    folder = SessionFolder(root)
    return analyze_session_into(folder, folder, condition=condition, threads=threads, progress=progress)


def analyze_session_into(
    folder: SessionFolder,
    place: SessionFolder,
    *,
    condition: str | None = None,
    threads: int = 2,
    progress: Progress,
) -> tuple[ConditionResults, ...]:
    """The same for `folder`, with results/ in the folder `place`. Raises as `analyze_session` does."""
    root = folder.root
    folder.require()
    plan = read_plan(root)
    recorded = folder.conditions_recorded()
    if condition is not None and condition not in recorded:
        raise SessionError(f"{root} has no recordings of condition {shown(condition)}: there are {_listed(recorded)}")
    chosen = recorded if condition is None else (condition,)
    if not chosen:
        raise SessionError(f"{root} has no recordings yet: `distort measure` or `distort add` makes some")
    found = []
    for name in chosen:
        results = analyze_condition(folder, plan, name, threads=threads, progress=progress)
        folder.require()  # it may have gone meanwhile, and results alone are no session
        write_results(place, results)
        found.append(results)
    return tuple(found)


def analyze_condition(
    folder: SessionFolder, plan: Plan, condition: str, *, threads: int = 2, progress: Progress
) -> ConditionResults:
    """Analyse one condition without writing anything. Raises as `analyze_session` does."""
    recordings = load_recordings(folder, condition)
    require_one_unit([one for one in recordings if one.sidecar.rejected is None])
    sweeps = takes_of_each_level(recordings, SWEEP)
    _require_some(sweeps, folder.recordings_folder(condition))
    microphone = read_microphone(folder, plan)
    settings = settings_of(plan, microphone)
    read_sweeps = partial(read_sweep_takes, settings=settings)
    reads, shorts = (
        _in_turn(read_sweeps, of_each_level, f"analysing {condition}", threads=threads, progress=progress)
        for of_each_level in (sweeps, takes_of_each_level(recordings, SHORT_SWEEP))
    )
    responses, harmonics = _curves(sweeps, reads, shorts)
    harmonics = with_chain_of_levels(folder, plan, sweeps, harmonics=harmonics, responses=responses, settings=settings)
    multitones = takes_of_each_level(recordings, MULTITONE)
    read_tones = partial(read_multitone_takes, microphone=settings.microphone)
    tones = _in_turn(read_tones, multitones, f"analysing multitones of {condition}", threads=threads, progress=progress)
    sources: dict[str, Callable[[], Ladder]] = {
        "sweeps": partial(
            _from_sweeps, recordings, sweeps, reads, shorts=shorts, harmonics=harmonics, settings=settings
        )
    }
    if len(tones) > 1:
        sources["multitones"] = partial(_from_multitones, multitones, tones)
    ladders, no_compression = _ladders(sources)
    found = ConditionResults(
        findings=Findings(
            loudspeaker=recordings[0].sidecar.loudspeaker,
            setup=recordings[0].sidecar.setup,
            condition=condition,
            simulated=any(one.sidecar.simulated for one in recordings),
            software=f"distort {__version__}",
            smoothing=plan.analysis.smoothing,
            gate_ms=plan.analysis.gate_ms,
            microphone=None if microphone is None else microphone.used,
            link=coded_link([one for one in recordings if one.sidecar.rejected is None]),
            recordings=tuple(_used(folder, one) for one in recordings),
            levels=tuple(map(partial(_level_found, plan), sweeps, sweeps.values(), responses)),
            multitones=tuple(_multitone_found(level, one) for level, one in tones.items()),
            compression=tuple(ladder.found for ladder in ladders),
            no_compression=no_compression,
            audibility=audibility(sweeps, reads, harmonics, tones),
        ),
        responses=tuple(responses),
        harmonics=tuple(harmonics),
        multitones=tuple(one.result.bands for one in tones.values()),
        changes=tuple(ladder.curves for ladder in ladders),
    )
    found = with_further(found, recordings, settings)
    return _with_coincidences(found, reads[min(reads)].separated, elsewhere=read_curves_elsewhere(folder, plan))


def _with_coincidences(
    found: ConditionResults, lowest: SeparatedOrders, *, elsewhere: CurvesElsewhere
) -> ConditionResults:
    """The results with the dips and peaks of the lowest level's response, and what lines up with them."""
    looked = look_at(
        lowest,
        levels=found.levels_db_spl,
        responses=found.responses,
        harmonics=found.harmonics,
        multitones=dict(zip((one.level_db_spl for one in found.findings.multitones), found.multitones, strict=True)),
        changes=found.changes,
        elsewhere=elsewhere,
        setup=found.findings.setup,
    )
    findings = replace(
        found.findings,
        response_files=elsewhere.used,
        anomalies=looked.anomalies,
        coincidences=find_coincidences(looked),
    )
    return replace(found, findings=findings)


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
    sweep = sweep_of(described.stimulus, stimulus)
    prepared = prepare_samples(
        samples,
        described.reel,
        start=examined.alignment.stimulus_start,
        clock_difference_ppm=examined.clock_difference_ppm(),
        as_stored=stored,
    )
    take = SweepTake(samples=prepared.samples, start=prepared.start, silences=prepared.silences, step=prepared.step)
    read = read_sweep([take], sweep, settings)
    return read, examined.for_sidecar()


def _curves(
    sweeps: Mapping[float, list[Recording]], reads: Mapping[float, SweepReadings], shorts: Mapping[float, SweepReadings]
) -> tuple[list[Response], list[Harmonics]]:
    """Response and harmonics of every level; the lowest level's response is that of the equivalent input."""
    references = {level: reference_for(takes) for level, takes in sweeps.items()}
    responses = [sweep_response(reads[level], references[level]) for level in sweeps]
    harmonics = [
        sweep_harmonics(reads[level], references[level], linear=responses[0], short=shorts.get(level))
        for level in sweeps
    ]
    return responses, harmonics


def _ladders(sources: Mapping[str, Callable[[], Ladder]]) -> tuple[list[Ladder], str | None]:
    """What every source allows, and why there is nothing from the others; None where all allow it."""
    ladders, reasons = [], []
    for name, made in sources.items():
        try:
            ladders.append(made())
        except AnalysisError as reason:
            reasons.append(f"No compression result from the {name}: {reason}.")
    return ladders, " ".join(reasons) or None


def _from_sweeps(
    recordings: Sequence[Recording],
    sweeps: Mapping[float, list[Recording]],
    reads: Mapping[float, SweepReadings],
    *,
    shorts: Mapping[float, SweepReadings],
    harmonics: Sequence[Harmonics],
    settings: Settings,
) -> Ladder:
    first = reads[min(reads)]
    return stated(
        sweep_ladder(recordings, sweeps, reads, shorts=shorts, settings=settings),
        "sweep",
        lowest_valid_hz=lowest_valid_hz(first.separated),
        duration_s=first.sweep.duration_s,
        harmonics=harmonics,
    )


def _from_multitones(multitones: Mapping[float, list[Recording]], tones: Mapping[float, MultitoneLevel]) -> Ladder:
    results = {level: one.result for level, one in tones.items()}
    lowest_line_hz = float(results[min(results)].response.frequency_hz[0])
    return stated(multitone_ladder(multitones, results), "multitone", lowest_valid_hz=lowest_line_hz)


def _in_turn(
    read: Callable[[list[Recording]], T],
    of_each_level: dict[float, list[Recording]],
    what: str,
    *,
    threads: int,
    progress: Progress,
) -> dict[float, T]:
    """What `read` makes of the takes of every level; in threads, because most of the work is Fourier transforms."""
    found = {}
    with ThreadPoolExecutor(max_workers=threads) as pool:
        for done, (level, result) in enumerate(zip(of_each_level, pool.map(read, of_each_level.values()), strict=True)):
            found[level] = result
            progress(what, done + 1, len(of_each_level))
    return found


def _require_some(sweeps: Mapping[float, list[Recording]], where: Path) -> None:
    if not sweeps:
        raise SessionError(
            f"{where} holds no sweep, or every one in it was rejected: record one with `distort measure`, "
            f"or bring one in with `distort add`"
        )


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


def _multitone_found(level: float, one: MultitoneLevel) -> MultitoneFound:
    return multitone_found(one.tone, level, one.result, warm_up=one.warm_up, attack=one.attack)


def _used(folder: SessionFolder, recording: Recording) -> RecordingUsed:
    return RecordingUsed(
        file=recording.files.audio_path.relative_to(folder.root).as_posix(),
        sha256=recording.sidecar.recording_sha256,
        quality=replace(recording.sidecar.quality, checks=()),  # its figures stand in the sidecar
        rejected=recording.sidecar.rejected,
    )


def _listed(names: tuple[str, ...]) -> str:
    return ", ".join(names) if names else "none"
