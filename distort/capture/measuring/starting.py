"""Before anything is loud: the drives, what is still to be recorded, and whether it may be played."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from distort.capture.calibration.calibrating import SAME_AS_LAST_DB
from distort.capture.devices.device import Device
from distort.capture.measuring.expected import expected_peak_dbfs, require_fit, signal_to_noise_db
from distort.capture.measuring.none_too_loud import require_none_too_loud
from distort.capture.measuring.quiet_run import QuietRun, play_quiet_sweep, sensitivity_of
from distort.capture.measuring.room_on_disk import require_room
from distort.capture.measuring.sounding import rest_that_is_owed
from distort.capture.measuring.steps import Step, remaining
from distort.capture.measuring.third_octaves import (
    LOUDER_DB,
    Standstill,
    ThirdOctaves,
    louder,
    recorded_answers,
    standstill,
)
from distort.errors import CalibrationError, TooLoudError, UsageError
from distort.recording.quality.check import DC_USABLE
from distort.session.calibration.calibration_file import MicrophoneCalibration, read_calibration
from distort.session.calibration.drive_file import Sensitivity, keep_aside, read_sensitivity, write_sensitivity
from distort.session.calibration.reference_responses import read_microphone
from distort.session.files.folder import SessionFolder
from distort.session.plan.keys import Plan
from distort.session.recordings.stimulus_files import drives_dbfs
from distort.session.recordings.stored import load_recordings

OTHER_CONDITION_LOUDER_DB = 6.0
"""What one more surface, such as a desk or a wall, can add: an equal sound in phase with the first."""


@dataclass(frozen=True, kw_only=True)
class Choice:
    """What of the plan is measured now."""

    condition: str
    only: str | None = None
    """A stimulus and level alone, such as "sweep_96dB", without the repeats after the ladder; or one recording."""
    again: bool = False
    """Another take of what is recorded already."""
    repositioned: bool = False
    """The microphone or the loudspeaker was set up anew before this: the first take of each stimulus and level that is
    recorded now says so."""
    relevel: bool = False
    """The drives are found anew; the old ones are kept beside."""
    past_limiting: bool = False
    """Levels above those at which the loudspeaker stands still are recorded, too."""


@dataclass(frozen=True, kw_only=True)
class Ready:
    """What will be played, and what is known before it is."""

    choice: Choice
    drives: dict[float, float]
    """Drive of every level of the plan, dBFS."""
    calibration: MicrophoneCalibration
    steps: tuple[Step, ...] = ()
    quiet: QuietRun | None = None
    """Played just now; None where nothing is left to record, so nothing was played."""
    answers: dict[float, ThirdOctaves] = field(default_factory=dict)
    """What the sweeps of this condition said that are recorded already, by level."""
    ended: Standstill | None = None
    """Why levels of the plan are left out; None where none is."""
    notes: tuple[str, ...] = ()
    """Sentences that whoever measures must know."""

    @property
    def input_peak_dbfs(self) -> float | None:
        """Highest peak expected at the microphone's input, dBFS; None where nothing is played."""
        if self.quiet is None or not self.steps:
            return None
        quiet = self.quiet
        return max(expected_peak_dbfs(quiet, step.item) for step in self.steps)

    def lowest_signal_to_noise_db(self, plan: Plan) -> float | None:
        """Of the lowest level's sweep in [levels] band_hz; None where nothing is played."""
        if self.quiet is None or not self.steps:
            return None
        return signal_to_noise_db(self.quiet, plan, min(step.item.stimulus.drive_dbfs for step in self.steps))


def get_ready(folder: SessionFolder, plan: Plan, device: Device, choice: Choice) -> Ready:
    """Play the quiet run, unless nothing is left to record, and hold the rest of the plan against it.

    The drives are found once and kept in calibration/drive.json.

    Raises CalibrationError without a calibration, or when the drives rest on another; PlanError when a level would be
    too loud; RecordingError when the quiet run is no good twice, the input would clip or the noise is too loud;
    SessionError when the disk has no room for the recordings; PausedError when the computer paused;
    TooLoudError when the loudspeaker is louder than when the drives were found, or as `require_none_too_loud`;
    UsageError for words that the session does not allow.
    """
    calibration = require_calibration(folder)
    path = folder.calibration_path("drive.json")
    found = read_sensitivity(path)
    of_all, plan = plan, plan.of(choice.condition)
    if plan.near_field_of is not None:
        _require_drives_of(plan.near_field_of, found, choice)
    if found is not None and choice.relevel:
        _require_unused(folder, choice.condition)
    kept = None if choice.relevel else found
    if kept is not None:
        require_in_force(path, kept, of_all, calibration, near_field=plan.near_field_of is not None)
    drives = drives_dbfs(plan, kept)  # of nothing found yet, they only serve to see whether the words fit the plan
    wanted = remaining_of(folder, plan, drives, choice)
    if not wanted:
        return Ready(choice=choice, drives=drives, calibration=calibration)
    recordings = load_recordings(folder, choice.condition)
    answers = recorded_answers(recordings)
    require_none_too_loud(recordings, answers, choice.condition)
    if kept is not None:
        steps, ended = _not_past(remaining_of(folder, plan, drives, choice), answers, choice)
        if not steps:
            return Ready(choice=choice, drives=drives, calibration=calibration, ended=ended)
    require_room(folder, wanted)
    quiet = _quiet_after_rest(folder, plan, device, calibration)
    notes = offset_told(quiet)
    if kept is not None and plan.near_field_of is not None:
        quiet = replace(quiet, highest_db_spl=kept.highest_db_spl)
        notes += _near_field_told(plan.near_field_of, quiet, answers, choice.condition)
        now = kept
    else:
        now = sensitivity_of(quiet, plan, calibration, condition=choice.condition, device=device)
        notes += () if kept is None else held_against_found(kept, now)
    drives = drives_dbfs(plan, kept or now)
    steps, ended = _not_past(remaining_of(folder, plan, drives, choice), answers, choice)
    require_fit(quiet, plan, [step.item for step in steps])
    if kept is None:
        notes += _written_anew(folder, path, found, now, conditions=plan.setup.conditions)
    return Ready(
        choice=choice,
        drives=drives,
        calibration=calibration,
        steps=steps,
        quiet=quiet,
        answers=answers,
        ended=ended,
        notes=notes,
    )


def _quiet_after_rest(
    folder: SessionFolder, plan: Plan, device: Device, calibration: MicrophoneCalibration
) -> QuietRun:
    microphone = read_microphone(folder, plan)
    rest_that_is_owed(folder, device)
    return play_quiet_sweep(device, plan, calibration, microphone=None if microphone is None else microphone.response)


def planned_before(folder: SessionFolder, plan: Plan, choice: Choice) -> tuple[Step, ...]:
    """What would be recorded now, before anything has sounded: where no drives were found yet, at drives that are as
    far apart as theirs will be. Raises UsageError as `remaining_of`, and SessionError for a file of the session."""
    found = None if choice.relevel else read_sensitivity(folder.calibration_path("drive.json"))
    return remaining_of(folder, plan, drives_dbfs(plan, found), choice)


def remaining_of(folder: SessionFolder, plan: Plan, drives: dict[float, float], choice: Choice) -> tuple[Step, ...]:
    """What is still to be recorded of a choice. Raises UsageError for an `only` that the plan does not have."""
    return remaining(folder, plan, drives, condition=choice.condition, only=choice.only, again=choice.again)


def require_calibration(folder: SessionFolder) -> MicrophoneCalibration:
    """The session's calibration. Raises CalibrationError when it has none."""
    calibration = read_calibration(folder.calibration_path())
    if calibration is None:
        raise CalibrationError(
            f"{folder.root} has no calibration, so no level can be set: run `distort calibrate {folder.root} --spl ...`"
        )
    return calibration


def _require_drives_of(main: str, found: Sensitivity | None, choice: Choice) -> None:
    """Raises UsageError for a near field without the drives of the condition `main`, or that would find its own."""
    if choice.relevel:
        raise UsageError(
            f"{choice.condition} is in the near field and is played with the drives of {main}: say --relevel there"
        )
    if found is None:
        raise UsageError(
            f"{choice.condition} is in the near field and is played with the drives of {main}, which are not found "
            f"yet: measure {main} first"
        )


def require_in_force(
    path: Path, found: Sensitivity, plan: Plan, calibration: MicrophoneCalibration, *, near_field: bool
) -> None:
    """Raises CalibrationError when the drives rest on another calibration or plan, and so give other levels.

    near_field   the gain of the microphone may be another there: nothing that it hears sets a level
    """
    changed = []
    apart_db = abs(found.spl_of_full_scale - calibration.spl_of_full_scale)
    if apart_db > SAME_AS_LAST_DB and not near_field:
        changed.append(
            f"full scale stood for {found.spl_of_full_scale:.1f} dB SPL, now for {calibration.spl_of_full_scale:.1f}"
        )
    distance_m = plan.of(found.condition).setup.distance_m
    if found.distance_m != distance_m:
        changed.append(f"the microphone was at {found.distance_m:g} m, now at {distance_m:g} m")
    if (found.low_hz, found.high_hz) != plan.levels.band_hz:
        changed.append(f"band_hz was {found.low_hz:g} to {found.high_hz:g} Hz")
    if changed:
        raise CalibrationError(
            f"the drives in {path} were found when {'; '.join(changed)}: --relevel finds them anew "
            f"and keeps the old file; what was recorded before is then compared at other drives"
        )


def _require_unused(folder: SessionFolder, condition: str) -> None:
    """Raises UsageError when a ladder has begun: half of it would be played at other drives."""
    used = [one for one in load_recordings(folder, condition) if one.sidecar.rejected is None]
    if used:
        raise UsageError(
            f"{condition} already holds {used[0].sidecar.name.stem}, made with the drives as they are: one ladder "
            f"needs one set of drives. Take another condition for --relevel, or reject its recordings first"
        )


def _not_past(
    steps: Sequence[Step], answers: dict[float, ThirdOctaves], choice: Choice
) -> tuple[tuple[Step, ...], Standstill | None]:
    ended = None if choice.past_limiting else standstill(answers)
    within = up_to(steps, ended)
    return within, ended if len(within) < len(steps) else None


def up_to(steps: Sequence[Step], ended: Standstill | None) -> tuple[Step, ...]:
    """`steps` without the levels above that at which the ladder ends."""
    return tuple(step for step in steps if ended is None or step.item.level_db_spl <= ended.level_db_spl)


def held_against_found(kept: Sensitivity, now: Sensitivity) -> tuple[str, ...]:
    """Raises TooLoudError when the loudspeaker is louder now than the drives allow for; says when it is quieter."""
    by_db = now.db_spl - kept.db_spl
    same = now.condition == kept.condition
    if by_db > (LOUDER_DB if same else OTHER_CONDITION_LOUDER_DB):
        raise TooLoudError(
            f"nothing loud was played: driven alike, the loudspeaker is {by_db:.1f} dB louder than when its drives "
            f"were found ({kept.condition}, {kept.date}). Turn its volume or the microphone's gain back, or have them "
            f"found anew with --relevel"
        )
    if by_db < -LOUDER_DB:
        return (
            f"Careful: driven alike, the loudspeaker is {-by_db:.1f} dB quieter than when its drives were found "
            f"({kept.condition}, {kept.date}). Was a volume or a gain turned down?",
        )
    return ()


def _near_field_told(main: str, quiet: QuietRun, answers: dict[float, ThirdOctaves], condition: str) -> tuple[str, ...]:
    """Raises TooLoudError when the near field is louder now than it is on record; says what it cannot tell."""
    told = louder(quiet.answer, answers[min(answers)]) if answers else None
    if told is not None and told.by_db > LOUDER_DB:
        raise TooLoudError(
            f"nothing loud was played: driven alike, {condition} is {told.by_db:.1f} dB louder about "
            f"{told.at_hz:.0f} Hz than in its recordings. Turn volume and gain back, and put the microphone where it "
            f"was"
        )
    return (
        f"Near field: the drives are those of {main}. A microphone so near cannot tell whether the volume was turned "
        f"up since: leave it as it was.",
    )


def offset_told(quiet: QuietRun) -> tuple[str, ...]:
    """Says when the input has an offset that a sound converter does not have."""
    if abs(quiet.offset) <= DC_USABLE:
        return ()
    return (
        f"Careful: the input has an offset of {100.0 * abs(quiet.offset):.2g} % of full scale. It is taken off, but "
        f"look at the converter and its cable.",
    )


def _written_anew(
    folder: SessionFolder, path: Path, before: Sensitivity | None, now: Sensitivity, *, conditions: Sequence[str]
) -> tuple[str, ...]:
    """Write the drives, the old ones kept beside; says what that means for what is recorded already."""
    if before is None:
        write_sensitivity(path, now)
        return ()
    aside = keep_aside(path, before)
    write_sensitivity(path, now)
    by_db = before.db_spl - now.db_spl
    notes = [
        f"Drives found anew, {abs(by_db):.1f} dB {'higher' if by_db >= 0.0 else 'lower'} than before; the old ones are "
        f"kept in {aside}."
    ]
    others = [name for name in conditions if folder.recordings(name)]
    if others:
        notes.append(
            f"Recorded at the old drives: {', '.join(others)}. At one nominal level that and what comes now differ by "
            f"as much: compare at equal output, or record anew what is to be compared."
        )
    return tuple(notes)
