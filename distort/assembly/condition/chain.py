"""What is known of the chain's own distortion: loopbacks, a condition without a loudspeaker, a data sheet."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from distort.analysis.common.curves import FloatArray, Harmonics, Response
from distort.analysis.sweep.chain import MicrophoneLimit, electronics_bound_db, microphone_bound_db, with_chain
from distort.analysis.sweep.readings import Reading
from distort.analysis.sweep.sweeps import Settings, SweepTake, read_sweep
from distort.errors import PlanError, RecordingError, shown
from distort.recording.alignment.locating import find_reel
from distort.recording.alignment.prepared import prepare_samples
from distort.recording.takes import read_sweep_takes, sweep_of, takes_of_each_level
from distort.session.audio.audio_file import read_audio
from distort.session.audio.resampling import resample
from distort.session.files.folder import SessionFolder
from distort.session.plan.keys import Plan
from distort.session.plan.kinds import SWEEP
from distort.session.recordings.stored import Recording, load_recordings
from signals.levels import distance_gain_db


def with_chain_of_levels(
    folder: SessionFolder,
    plan: Plan,
    sweeps: Mapping[float, Sequence[Recording]],
    *,
    harmonics: Sequence[Harmonics],
    responses: Sequence[Response],
    settings: Settings,
) -> list[Harmonics]:
    """`harmonics`, one a level of `sweeps`, with what is known of the chain; unchanged where nothing is.

    Raises PlanError for a chain condition that the plan does not have, SessionError and RecordingError for files that
    are there and cannot be read or trusted.
    """
    name = plan.analysis.chain_condition
    if name is not None and name not in plan.setup.conditions:
        raise PlanError(
            f"session.toml: [analysis] chain_condition is {shown(name)}, which is none of [setup] conditions "
            f"({', '.join(plan.setup.conditions)}): add it there, and record it without a loudspeaker"
        )
    if any(one.sidecar.condition == name for takes in sweeps.values() for one in takes):
        return list(harmonics)
    settings = replace(settings, microphone=None)  # a cable has none
    alone = {} if name is None else _sweeps_of(folder, name)
    filled = []
    for (level, takes), curves, response in zip(sweeps.items(), harmonics, responses, strict=True):
        electronics = [_read_loopback(folder, one, settings) for one in takes if _has_loopback(folder, one)]
        if level in alone:
            electronics.append(read_sweep_takes(alone[level], settings).readings)
        bounds: dict[int, list[FloatArray]] = {}
        for order in curves.orders:
            own = [electronics_bound_db(one, order.order, response) for one in electronics[-1:]]
            bounds[order.order] = own + _microphone(plan, order.order, curves)
        filled.append(with_chain(curves, bounds, lowest_valid_hz=response.lowest_valid_hz))
    return filled


def _sweeps_of(folder: SessionFolder, condition: str) -> dict[float, list[Recording]]:
    """The condition's sweeps by level; none when it is not recorded yet."""
    there = condition in folder.conditions_recorded()
    return takes_of_each_level(load_recordings(folder, condition), SWEEP) if there else {}


def _has_loopback(folder: SessionFolder, recording: Recording) -> bool:
    return _loopback_path(folder, recording).exists()


def _loopback_path(folder: SessionFolder, recording: Recording) -> Path:
    sidecar = recording.sidecar
    return folder.loopback_path(sidecar.condition, sidecar.name)


def _read_loopback(folder: SessionFolder, recording: Recording, settings: Settings) -> tuple[Reading, ...]:
    path = _loopback_path(folder, recording)
    sidecar = recording.sidecar
    stored, rate = read_audio(path)
    samples = resample(stored, from_rate=rate, to_rate=sidecar.stimulus.sample_rate)
    try:
        alignment = find_reel(samples, sidecar.reel)
    except RecordingError as error:
        raise RecordingError(f"{path}: {error} Or move it away: it only states the chain's distortion.") from error
    prepared = prepare_samples(samples, sidecar.reel, start=alignment.stimulus_start)
    take = SweepTake(samples=prepared.samples, start=prepared.start, silences=prepared.silences, step=prepared.step)
    return read_sweep([take], sweep_of(sidecar.stimulus, path), settings).readings


def _microphone(plan: Plan, number: int, curves: Harmonics) -> list[FloatArray]:
    if plan.microphone.max_db_spl is None or curves.unit != "db_spl":
        return []
    limit = MicrophoneLimit(
        max_db_spl=plan.microphone.max_db_spl,
        percent=plan.microphone.max_percent,
        distance_gain_db=distance_gain_db(plan.setup.distance_m),
    )
    return [microphone_bound_db(number, curves.fundamental_db, limit)]
