"""May one pack up: what the plan asks for and the session does not have, or has in a state that should be known."""

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from distort.capture.measuring.starting import up_to
from distort.capture.measuring.steps import Step, steps
from distort.capture.measuring.third_octaves import Standstill, recorded_answers, standstill
from distort.errors import SessionError
from distort.recording.take_levels import unlike_takes
from distort.session.calibration.calibration_file import (
    CLOSING_FILE,
    ClosingCalibration,
    MicrophoneCalibration,
    read_calibration,
    read_closing,
)
from distort.session.calibration.drive_file import read_sensitivity
from distort.session.files.folder import SessionFolder
from distort.session.files.names import RecordingName
from distort.session.plan.keys import Plan
from distort.session.plan.kinds import HEATING, PLAYED, SWEEP
from distort.session.recordings.sidecar import read_sidecar, require_same_file
from distort.session.recordings.stimulus_files import drives_dbfs, planned
from distort.session.recordings.stored import Recording, load_recordings
from distort.session.results.unlike_takes import UnlikeTakes
from signals import sampled

Want = Literal["missing", "rejected"]


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """A recording that is still to be made."""

    condition: str
    name: RecordingName
    """Of the one that is missing, or of the one that was rejected and has no replacement."""
    why: Want
    reason: str | None = None
    """Why it was rejected."""


@dataclass(frozen=True, kw_only=True)
class Completeness:
    """What stands between a session and packing up."""

    wanted: tuple[Wanted, ...]
    damaged: tuple[str, ...]
    """A sentence for each recording whose file is no longer the one that was recorded."""
    doubtful: tuple[Recording, ...]
    """Recordings in use whose check found something."""
    unlike: tuple[UnlikeTakes, ...]
    """Takes of one level that cannot both be of it."""
    beside: tuple[Recording, ...]
    """Recordings in use that the plan does not ask for; they are analysed all the same."""
    sweeps_elsewhere: tuple[str, ...]
    """Conditions whose sweeps another program made: of them nothing but sweeps is asked."""
    uncalibrated: tuple[Recording, ...]
    """Recordings in use that were saved without a calibration."""
    calibration: MicrophoneCalibration | None
    closing: ClosingCalibration | None
    """Of the calibration in force; None where the calibrator was not read again since."""
    recorded: int
    """How many of the recordings that the plan asks for are in use."""
    simulated: bool
    """They are of the simulated loudspeaker."""
    ended: Mapping[str, Standstill]
    """By condition: why its ladder ends below the plan's highest level, so that no more is asked of it."""

    @property
    def complete(self) -> bool:
        """Nothing is missing: every recording of the plan is there, whole and calibrated."""
        lacking = self.wanted or self.damaged or self.uncalibrated or self.unlike
        return not lacking and self.calibration is not None


def check_session(folder: SessionFolder, plan: Plan, *, conditions: Sequence[str] | None = None) -> Completeness:
    """Hold the session against its plan. Files are read whole, so that a damaged one is found while it can be repeated.

    conditions   that are looked at; None: all of the plan, and those that have recordings without being in it

    Raises SessionError when a recording has no sidecar, or one that cannot be trusted.
    """
    conditions = conditions or tuple(dict.fromkeys((*plan.setup.conditions, *folder.conditions_recorded())))
    recordings = {name: load_recordings(folder, name) for name in conditions}
    every = [one for of_condition in recordings.values() for one in of_condition]
    in_use = [one for one in every if one.sidecar.rejected is None]
    steps_of = {name: _asked(folder, plan, name, recordings[name]) for name in conditions}
    beside = tuple(
        one
        for one in in_use
        if _kind(one.sidecar.name) not in _kinds(steps_of[one.sidecar.condition]) and not _of_own_levels(plan, one)
    )
    damaged = {one.files.audio_path: said for one in in_use if (said := _damage(one)) is not None}
    ended = {
        condition: end
        for condition, of_condition in recordings.items()
        if (end := standstill(recorded_answers(_whole(of_condition, damaged)))) is not None
    }
    calibration = read_calibration(folder.calibration_path())
    return Completeness(
        wanted=tuple(
            wanted
            for condition, of_condition in recordings.items()
            for wanted in _wanted(condition, up_to(steps_of[condition], ended.get(condition)), of_condition)
        ),
        damaged=(*damaged.values(), *(said for name in conditions for said in _without_audio(folder, name, every))),
        doubtful=tuple(one for one in in_use if one.sidecar.quality.verdict != "good"),
        unlike=tuple(
            unlike
            for of_condition in recordings.values()
            for unlike in unlike_takes(_whole(of_condition, damaged), plan.levels.band_hz)
        ),
        beside=beside,
        sweeps_elsewhere=tuple(name for name in conditions if _made_elsewhere(recordings[name])),
        uncalibrated=tuple(one for one in in_use if one.sidecar.calibration is None),
        calibration=calibration,
        closing=_closing_of(folder, calibration),
        recorded=sum(_recorded(steps_of[name], recordings[name]) for name in conditions),
        simulated=any(one.sidecar.simulated for one in every),
        ended={
            condition: end
            for condition, end in ended.items()
            if any(
                _unrecorded(step, recordings[condition])
                for step in steps_of[condition]
                if step not in up_to([step], end)
            )
        },
    )


def _asked(folder: SessionFolder, plan: Plan, condition: str, recordings: Sequence[Recording]) -> tuple[Step, ...]:
    """Everything that the plan asks of one condition; nothing of one that it does not have.

    Which multitones are too peaky to be played depends on the drives. Where another program made the sweeps, there are
    no files of the session to play: the sweeps alone are asked for, as the levels of the plan have them.
    """
    if condition not in plan.setup.conditions:
        return ()
    sensitivity = read_sensitivity(folder.calibration_path("drive.json"))
    every = steps(plan, planned(plan, drives_dbfs(plan, sensitivity)))
    return tuple(one for one in every if one.name.stimulus == SWEEP) if _made_elsewhere(recordings) else every


def _made_elsewhere(recordings: Sequence[Recording]) -> bool:
    """Whether all sweeps in use, of which there are some, were made by another program."""
    sweeps = [one for one in recordings if one.sidecar.rejected is None and one.sidecar.stimulus_name == SWEEP]
    return bool(sweeps) and all(sampled(one.sidecar.stimulus) is not None for one in sweeps)


def _of_own_levels(plan: Plan, recording: Recording) -> bool:
    """Whether the plan has its stimulus, and plays it at levels besides those of the level series, or for minutes."""
    name = recording.sidecar.stimulus_name
    if name == HEATING:
        return plan.multitone.long_minutes is not None
    return any(kind.own_levels and kind.name == name for kind in PLAYED if getattr(plan, kind.section) is not None)


def _whole(recordings: Sequence[Recording], damaged: Collection[Path]) -> list[Recording]:
    return [one for one in recordings if one.files.audio_path not in damaged]


def _kinds(asked: Sequence[Step]) -> Counter[RecordingName]:
    """How many recordings are asked for of each stimulus, level and place in the level series."""
    return Counter(_kind(step.name) for step in asked)


def _recorded(asked: Sequence[Step], recordings: Sequence[Recording]) -> int:
    """How many of the recordings asked for are there; further takes do not count."""
    there = Counter(_kind(one.sidecar.name) for one in recordings if one.sidecar.rejected is None)
    return (there & _kinds(asked)).total()


def _wanted(condition: str, wanted: Sequence[Step], recordings: Sequence[Recording]) -> list[Wanted]:
    """Counted by stimulus, level and place in the ladder: a later take replaces a rejected one, whatever its number."""
    found: list[Wanted] = []
    for kind in dict.fromkeys(_kind(step.name) for step in wanted):
        names = [step.name for step in wanted if _kind(step.name) == kind]
        there = [one for one in recordings if _kind(one.sidecar.name) == kind]
        rejected = [one for one in there if one.sidecar.rejected is not None]
        lacking = len(names) - (len(there) - len(rejected))
        for one in rejected[: max(lacking, 0)]:
            found.append(
                Wanted(condition=condition, name=one.sidecar.name, why="rejected", reason=one.sidecar.rejected)
            )
        known = {one.sidecar.name for one in there}
        absent = [name for name in names if name not in known]
        found += [
            Wanted(condition=condition, name=name, why="missing") for name in absent[: max(lacking - len(rejected), 0)]
        ]
    return found


def _kind(name: RecordingName) -> RecordingName:
    return replace(name, take=1)


def _unrecorded(step: Step, recordings: Sequence[Recording]) -> bool:
    return all(one.sidecar.name != step.name for one in recordings)


def _damage(recording: Recording) -> str | None:
    try:
        require_same_file(recording.files.audio_path, recording.sidecar.recording_sha256, recording.files.sidecar_path)
    except SessionError as error:
        return str(error)
    return None


def _without_audio(folder: SessionFolder, condition: str, recordings: Sequence[Recording]) -> list[str]:
    """Of one that a killed `relabel` left, the recording is there under its other name, and nothing is missing."""
    held = {one.sidecar.recording_sha256 for one in recordings}
    return [
        f"{path} has no recording beside it: put it back, or record it again; move the .json away if it is not wanted"
        for path in folder.sidecars_alone(condition)
        if read_sidecar(path).recording_sha256 not in held
    ]


def _closing_of(folder: SessionFolder, calibration: MicrophoneCalibration | None) -> ClosingCalibration | None:
    closing = read_closing(folder.calibration_path(CLOSING_FILE))
    if closing is None or calibration is None or closing.opening.sha256 != calibration.sha256:
        return None
    return closing
