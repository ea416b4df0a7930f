"""Before a long heating: what it plays, whether it may, and the quiet run."""

import shutil
from dataclasses import dataclass

from distort.capture.devices.device import Device
from distort.capture.measuring.expected import expected_rms_dbfs, require_fit
from distort.capture.measuring.none_too_loud import require_none_too_loud
from distort.capture.measuring.quiet_run import QuietRun, play_quiet_sweep, sensitivity_of
from distort.capture.measuring.room_on_disk import ROOM_BESIDES
from distort.capture.measuring.sounding import rest_that_is_owed
from distort.capture.measuring.starting import (
    held_against_found,
    offset_told,
    require_calibration,
    require_in_force,
)
from distort.capture.measuring.third_octaves import recorded_answers
from distort.errors import SessionError, UsageError
from distort.session.calibration.calibration_file import MicrophoneCalibration
from distort.session.calibration.drive_file import Sensitivity, read_sensitivity
from distort.session.calibration.reference_responses import read_microphone
from distort.session.files.folder import SessionFolder
from distort.session.files.names import RecordingName, format_level
from distort.session.plan.keys import Plan
from distort.session.plan.kinds import HEATING, MULTITONE
from distort.session.recordings.stimulus_files import Planned
from distort.session.recordings.stored import Recording, load_recordings
from signals import as_a
from signals.heating import Heating
from signals.long_reel import long_reel
from signals.multitone import Multitone

BYTES_A_SAMPLE = 3
"""Of 24 bits that FLAC cannot press, as loud noise: at most, but for some thousandths."""

SAME_DRIVE_DB = 0.01


@dataclass(frozen=True, kw_only=True)
class HeatingReady:
    """What will be played, and what is known before it is loud."""

    condition: str
    name: RecordingName
    heating: Heating
    repeated: Recording
    """The multitone on record of which it repeats a period."""
    calibration: MicrophoneCalibration
    quiet: QuietRun
    notes: tuple[str, ...]
    """Sentences that whoever measures must know."""

    @property
    def item(self) -> Planned:
        """What is loud in it, as the looks ahead take it."""
        return Planned(stimulus_name=HEATING, level_db_spl=self.name.level_db_spl, stimulus=self.heating.tone)

    @property
    def expected_dbfs(self) -> float:
        """r.m.s. at the input."""
        return expected_rms_dbfs(self.quiet, self.item)


def heating_bytes(heating: Heating) -> int:
    """Size of its recording at most."""
    return BYTES_A_SAMPLE * long_reel(heating).n_samples


def heating_of(folder: SessionFolder, plan: Plan, condition: str, level_db_spl: float) -> tuple[Heating, Recording]:
    """What would be played at a level: the multitone on record there, minutes of it. Nothing sounds.

    Raises UsageError where the plan says of no minutes, or no multitone of that level and drive is on record, and
    SessionError for a recording that cannot be trusted.
    """
    minutes = plan.multitone.long_minutes
    if minutes is None:
        raise UsageError(
            f"the plan of {folder.root} asks for no long heating: say how long with long_minutes in [multitone] of "
            f"session.toml, 10 to 30"
        )
    found = read_sensitivity(folder.calibration_path("drive.json"))
    repeated = _on_record(folder, condition, level_db_spl, found)
    tone = as_a(Multitone, repeated.sidecar.stimulus)
    if tone is None:
        raise UsageError(f"{repeated.files.audio_path} is no multitone of this program: measure it anew")
    periods = max(round(60.0 * minutes / tone.period_s), 1)
    return Heating(tone=tone, loud_periods=periods, asked_periods=periods), repeated


def _on_record(folder: SessionFolder, condition: str, level_db_spl: float, found: Sensitivity | None) -> Recording:
    """Raises UsageError where no multitone was recorded at this level with the drives that are in force."""
    kept = [one for one in load_recordings(folder, condition) if one.sidecar.rejected is None]
    tones = [one for one in kept if one.sidecar.stimulus_name == MULTITONE]
    here = [one for one in tones if one.sidecar.level_db_spl == level_db_spl]
    level = format_level(level_db_spl)
    if not here:
        levels = ", ".join(format_level(one) for one in sorted({one.sidecar.level_db_spl for one in tones}))
        raise UsageError(
            f"nothing was played: {condition} holds no multitone of {level} dB SPL, and minutes are played only at a "
            f"level that is on record: {f'name one of {levels}' if levels else 'measure the level series first'}"
        )
    newest = here[-1]
    drive_dbfs = None if found is None else found.drive_dbfs(level_db_spl)
    if drive_dbfs is None or abs(newest.sidecar.drive_dbfs - drive_dbfs) > SAME_DRIVE_DB:
        raise UsageError(
            f"nothing was played: the drives were found anew since {condition}/{newest.sidecar.name.stem} was "
            f"recorded; record that again first, with --only multitone_{level}dB --again"
        )
    return newest


def get_ready_for_heating(
    folder: SessionFolder, plan: Plan, device: Device, *, condition: str, level_db_spl: float
) -> HeatingReady:
    """Play the quiet run and hold what is to be played against it.

    Raises UsageError as `heating_of`; SessionError where the disk has no room; CalibrationError, PlanError,
    RecordingError, PausedError and TooLoudError as `capture.measuring.starting.get_ready`.
    """
    of_all, plan = plan, plan.of(condition)
    heating, repeated = heating_of(folder, plan, condition, level_db_spl)
    calibration = require_calibration(folder)
    path = folder.calibration_path("drive.json")
    found = read_sensitivity(path)
    notes: tuple[str, ...] = ()
    if found is not None:
        require_in_force(path, found, of_all, calibration, near_field=plan.near_field_of is not None)
    recordings = load_recordings(folder, condition)
    require_none_too_loud(recordings, recorded_answers(recordings), condition)
    _require_room(folder, heating)
    microphone = read_microphone(folder, plan)
    rest_that_is_owed(folder, device)
    quiet = play_quiet_sweep(device, plan, calibration, microphone=None if microphone is None else microphone.response)
    if found is not None and plan.near_field_of is None:
        now = sensitivity_of(quiet, plan, calibration, condition=condition, device=device)
        notes += held_against_found(found, now)
    name = folder.next_take(condition, RecordingName(stimulus=HEATING, level_db_spl=level_db_spl))
    ready = HeatingReady(
        condition=condition,
        name=name,
        heating=heating,
        repeated=repeated,
        calibration=calibration,
        quiet=quiet,
        notes=offset_told(quiet) + notes,
    )
    require_fit(quiet, plan, [ready.item])
    return ready


def _require_room(folder: SessionFolder, heating: Heating) -> None:
    needed, free = heating_bytes(heating) + ROOM_BESIDES, shutil.disk_usage(folder.root).free
    if free < needed:
        raise SessionError(
            f"nothing was played: the recording needs up to {needed / 1e6:.0f} MB, and the disk of {folder.root} has "
            f"{free / 1e6:.0f} MB left: make room, or lower long_minutes"
        )
