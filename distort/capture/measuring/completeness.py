"""May one pack up: what the plan asks for and the session does not have, or has in a state that should be known."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from distort.capture.measuring.starting import up_to
from distort.capture.measuring.steps import Step, steps
from distort.capture.measuring.third_octaves import Standstill, recorded_answers, standstill
from distort.errors import SessionError
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
from distort.session.recordings.sidecar import require_same_file
from distort.session.recordings.stimulus_files import drives_dbfs, planned
from distort.session.recordings.stored import Recording, load_recordings

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
    uncalibrated: tuple[Recording, ...]
    """Recordings in use that were saved without a calibration."""
    calibration: MicrophoneCalibration | None
    closing: ClosingCalibration | None
    """Of the calibration in force; None where the calibrator was not read again since."""
    recorded: int
    """How many recordings are in use."""
    simulated: bool
    """They are of the simulated loudspeaker."""
    ended: Mapping[str, Standstill]
    """By condition: why its ladder ends below the plan's highest level, so that no more is asked of it."""

    @property
    def complete(self) -> bool:
        """Nothing is missing: every recording of the plan is there, whole and calibrated."""
        return not (self.wanted or self.damaged or self.uncalibrated) and self.calibration is not None


def check_session(folder: SessionFolder, plan: Plan) -> Completeness:
    """Hold the session against its plan. Files are read whole, so that a damaged one is found while it can be repeated.

    Raises SessionError when a recording has no sidecar, or one that cannot be trusted.
    """
    recordings = {name: load_recordings(folder, name) for name in plan.setup.conditions}
    every = [one for of_condition in recordings.values() for one in of_condition]
    in_use = [one for one in every if one.sidecar.rejected is None]
    wanted_steps = _steps(folder, plan)
    damaged = {one.files.audio_path: said for one in in_use if (said := _damage(one)) is not None}
    ended = {
        condition: end
        for condition, of_condition in recordings.items()
        if (end := standstill(recorded_answers([one for one in of_condition if one.files.audio_path not in damaged])))
        is not None
    }
    calibration = read_calibration(folder.calibration_path())
    return Completeness(
        wanted=tuple(
            wanted
            for condition, of_condition in recordings.items()
            for wanted in _wanted(condition, up_to(wanted_steps, ended.get(condition)), of_condition)
        ),
        damaged=(*damaged.values(), *(said for name in plan.setup.conditions for said in _without_audio(folder, name))),
        doubtful=tuple(one for one in in_use if one.sidecar.quality.verdict != "good"),
        uncalibrated=tuple(one for one in in_use if one.sidecar.calibration is None),
        calibration=calibration,
        closing=_closing_of(folder, calibration),
        recorded=len(in_use),
        simulated=any(one.sidecar.simulated for one in every),
        ended={
            condition: end
            for condition, end in ended.items()
            if any(_unrecorded(step, recordings[condition]) for step in wanted_steps if step not in up_to([step], end))
        },
    )


def _steps(folder: SessionFolder, plan: Plan) -> tuple[Step, ...]:
    """Everything that one condition needs. Which multitones are too peaky to be played depends on the drives."""
    sensitivity = read_sensitivity(folder.calibration_path("drive.json"))
    return steps(plan, planned(plan, drives_dbfs(plan, sensitivity)))


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


def _without_audio(folder: SessionFolder, condition: str) -> list[str]:
    return [
        f"{path} has no recording beside it: put it back, or record it again; move the .json away if it is not wanted"
        for path in folder.sidecars_alone(condition)
    ]


def _closing_of(folder: SessionFolder, calibration: MicrophoneCalibration | None) -> ClosingCalibration | None:
    closing = read_closing(folder.calibration_path(CLOSING_FILE))
    if closing is None or calibration is None or closing.opening.sha256 != calibration.sha256:
        return None
    return closing
