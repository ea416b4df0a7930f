"""THE MAIN JOB: a session folder in, results out.

For every condition: load the recordings with their sidecars, leave out what the user rejected, put the takes of each
level together, analyse the sweeps from the lowest level up (its response is the reference for the equivalent input),
look for dips and peaks and for what lines up with them, and write the tables and findings. Each step is one call; what
it does is in the module that it is imported from.
"""

from collections.abc import Callable, Generator
from contextlib import closing
from pathlib import Path

from distort.analysis.sweep.sweeps import Settings, SweepReadings, SweepTake, read_sweep
from distort.assembly.condition.across import write_across_conditions
from distort.assembly.condition.curves import curves_of, microphone_limit
from distort.assembly.condition.foreign import foreign_of
from distort.assembly.condition.hiss import HISS, hiss_of
from distort.assembly.condition.impulsive import IMPULSIVE, impulsive_of
from distort.assembly.condition.level_noise import NOISE, level_noise_of
from distort.assembly.condition.level_series import level_series
from distort.assembly.condition.levels import LevelsRead, Progress, all_read, readings_of
from distort.assembly.condition.results import put_together
from distort.assembly.kinds import further_of
from distort.errors import SessionError, did_you_mean, shown
from distort.processes import Others, shared
from distort.recording.alignment.prepared import prepare_samples
from distort.recording.quality.examined import examine
from distort.recording.reading import sweep_of
from distort.recording.takes import levels_of, settings_of
from distort.session.audio.audio_file import read_audio
from distort.session.audio.resampling import resample
from distort.session.files.folder import SessionFolder
from distort.session.plan.keys import Plan
from distort.session.plan.reading import read_plan
from distort.session.recordings.condition import read_condition
from distort.session.recordings.sidecar import Quality, read_stimulus_sidecar
from distort.session.results.condition_results import ConditionResults, write_results
from distort.sharing import recordings_of


def analyze_session(
    root: Path, *, condition: str | None = None, threads: int = 2, others: Others | None = None, progress: Progress
) -> tuple[ConditionResults, ...]:
    """Analyse every recorded condition of the session in `root`, or `condition` alone, and write results/.

    threads   how many levels of one condition are analysed at a time; the results are the same
    others    processes that share several conditions with this one, and end with the work; the results are the same

    Raises PlanError for a bad session.toml, SessionError for files that are missing or cannot be trusted,
    RecordingError for audio that cannot be read, AnalysisError when the recordings do not allow the result.
    """
    folder = SessionFolder(root)
    return analyze_session_into(folder, folder, condition=condition, threads=threads, others=others, progress=progress)


def analyze_session_into(
    folder: SessionFolder,
    place: SessionFolder,
    *,
    condition: str | None = None,
    threads: int = 2,
    others: Others | None = None,
    progress: Progress,
) -> tuple[ConditionResults, ...]:
    """The same for `folder`, with results/ in the folder `place`. Raises as `analyze_session` does."""
    root = folder.root
    folder.require()
    plan = read_plan(root)
    recorded = folder.conditions_recorded()
    if condition is not None and condition not in recorded:
        near = did_you_mean(condition, recorded)
        raise SessionError(
            f"{root} has no recordings of condition {shown(condition)}{near}: there are {_listed(recorded)}"
        )
    chosen = recorded if condition is None else (condition,)
    if not chosen:
        raise SessionError(f"{root} has no recordings yet: `distort measure` or `distort add` makes some")
    found = []
    with closing(_analysed(folder, plan, chosen, threads=threads, others=others, progress=progress)) as analysed:
        for results in analysed:
            folder.require()  # it may have gone meanwhile, and results alone are no session
            write_results(place, results)
            found.append(results)
    write_across_conditions(folder, place, plan, found)
    return tuple(found)


def _analysed(
    folder: SessionFolder,
    plan: Plan,
    names: tuple[str, ...],
    *,
    threads: int,
    others: Others | None,
    progress: Progress,
) -> Generator[ConditionResults, None, None]:
    """The results of each condition, in the order of `names`. Raises what the first of them raises that fails."""
    if others is None or others.count < 1 or len(names) < 2:
        for name in names:
            yield analyze_condition(folder, plan, name, threads=threads, progress=progress)
        return
    sizes = recordings_of(folder, names)

    def told(done: float) -> None:
        progress(f"analysing {len(names)} conditions", int(done), sum(sizes))

    jobs = [(folder, plan, name) for name in names]
    yield from shared(_analysed_alone, jobs, sizes=sizes, others=others, progress=told)


def _analysed_alone(job: tuple[SessionFolder, Plan, str], tell: Callable[[float], None]) -> ConditionResults:
    folder, plan, name = job
    return analyze_condition(folder, plan, name, threads=1, progress=lambda _, done, total: tell(done / total))


def analyze_condition(
    folder: SessionFolder, plan: Plan, condition: str, *, threads: int = 2, progress: Progress
) -> ConditionResults:
    """Analyse one condition without writing anything. Raises as `analyze_session` does."""
    recorded = read_condition(folder, plan, condition)
    settings = settings_of(plan, recorded.microphone)
    levels = levels_of(recorded)
    found = all_read(readings_of(levels, settings), f"analysing {condition}", threads=threads, progress=progress)
    read = LevelsRead(levels=found, clock=levels.clock)
    foreign = foreign_of(read)
    further = further_of(levels.takes, settings)
    if (impulsive := impulsive_of(read, foreign)) is not None:
        further[IMPULSIVE] = impulsive
    if (noise := level_noise_of(read)) is not None:
        further[NOISE] = noise
    if (hissing := hiss_of(recorded, levels, settings)) is not None:
        further[HISS] = hissing
    curves = curves_of(read, microphone_limit(recorded), foreign)
    series = level_series(read, curves.harmonics)
    return put_together(recorded, read, curves=curves, series=series, foreign=foreign, further=further)


def analyze_file(
    path: Path, stimulus: Path, *, channel: int | None = None, settings: Settings
) -> tuple[SweepReadings, Quality]:
    """Analyse one recording of the stimulus that the sidecar `stimulus` describes, without a session; and judge it.

    Raises SessionError for the sidecar, RecordingError for the recording, AnalysisError as the analysis does.
    """
    described = read_stimulus_sidecar(stimulus)
    sweep = sweep_of(described.stimulus, stimulus)
    stored, sample_rate = read_audio(path, channel=channel)
    samples = resample(stored, from_rate=sample_rate, to_rate=described.sample_rate)
    examined = examine(samples, described.reel, what=str(path), as_stored=stored, stated_hz=sample_rate)
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


def _listed(names: tuple[str, ...]) -> str:
    return ", ".join(names) if names else "none"
