"""Plays the ladder of levels and records it, stimulus by stimulus; what is recorded already is left alone."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from distort.capture.calibrating import SAME_AS_LAST_DB
from distort.capture.device import Device
from distort.capture.playing_takes import Take, play_and_examine, save_loopback
from distort.capture.quiet_run import find_sensitivity
from distort.errors import CalibrationError, RecordingError, UsageError
from distort.session.calibration_file import MicrophoneCalibration, read_calibration
from distort.session.drive_file import Sensitivity, read_sensitivity, write_sensitivity
from distort.session.folder import SessionFolder
from distort.session.microphone_file import read_microphone
from distort.session.names import RecordingName
from distort.session.plan import Plan
from distort.session.recordings import Recording, save_recording
from distort.session.sidecar import Sidecar, StimulusSidecar, iso_utc
from distort.session.stimulus_files import Planned, drives_dbfs, planned, write_stimulus

REST_BEFORE_DRIFT_S = 60.0
"""A voice coil cools in seconds to some tens of seconds; after a minute it is the rest of the chain that differs."""

Progress = Callable[[str, int, int], None]
"""Told what is being done, how many steps of it are done, and how many there are."""


@dataclass(frozen=True, kw_only=True)
class Step:
    """One recording that the plan asks for."""

    item: Planned
    name: RecordingName
    rest_s: float
    """How long the loudspeaker rests before it."""


def steps(plan: Plan, items: tuple[Planned, ...]) -> tuple[Step, ...]:
    """Every recording of one condition in the order of the ladder: levels rising, takes, then the reference again.

    The reference is repeated at once, which shows what is still hot, and once more after a rest, which shows what has
    drifted meanwhile.
    """
    takes = range(1, plan.levels.takes + 1)
    ladder = [_step(item, take=take, after=False, rest_s=plan.levels.rest_s) for item in items for take in takes]
    if not plan.levels.repeat_reference:
        return tuple(ladder)
    rested_s = max(plan.levels.rest_s, REST_BEFORE_DRIFT_S)
    at_once = _step(items[0], take=1, after=True, rest_s=0.0)
    return (*ladder, at_once, _step(items[0], take=2, after=True, rest_s=rested_s))


def _step(item: Planned, *, take: int, after: bool, rest_s: float) -> Step:
    name = RecordingName(stimulus=item.stimulus_name, level_db_spl=item.level_db_spl, take=take, after=after)
    return Step(item=item, name=name, rest_s=rest_s)


def measure(
    folder: SessionFolder,
    plan: Plan,
    device: Device,
    *,
    condition: str,
    only: str | None = None,
    again: bool = False,
    repositioned: bool = False,
    progress: Progress,
) -> tuple[Recording, ...]:
    """Record what the plan asks for in `condition` and is not there yet; return what was recorded now.

    only           a stimulus and level alone, such as "sweep_96dB", without the repeats after it; or one recording
    again          another take of what is recorded already
    repositioned   the microphone or the loudspeaker was set up anew before this: the first take of each stimulus and
                   level that is recorded now says so

    Raises CalibrationError without a calibration, PlanError when a level would be too loud, UsageError for an `only`
    that the plan does not have, RecordingError when a take is no good twice. What was recorded until then is kept.
    """
    calibration = require_calibration(folder)
    drives = find_drives(folder, plan, device, condition=condition)
    wanted = remaining(folder, plan, drives, condition=condition, only=only, again=again)
    recorded: list[Recording] = []
    set_up: set[str] = set()
    for done, step in enumerate(wanted):
        progress(f"recording {condition}/{step.name.stem}", done, len(wanted))
        if done:
            device.rest(step.rest_s)
        rested_s = step.rest_s if done else None
        anew = repositioned and step.item.stem not in set_up
        set_up.add(step.item.stem)
        made = _record(
            folder,
            plan,
            device,
            step,
            condition=condition,
            calibration=calibration,
            rested_s=rested_s,
            repositioned=anew,
        )
        recorded.append(made)
    return tuple(recorded)


def require_calibration(folder: SessionFolder) -> MicrophoneCalibration:
    """The session's calibration. Raises CalibrationError when it has none."""
    calibration = read_calibration(folder.calibration_path())
    if calibration is None:
        raise CalibrationError(
            f"{folder.root} has no calibration, so no level can be set: run `distort calibrate {folder.root} --spl ...`"
        )
    return calibration


def find_drives(folder: SessionFolder, plan: Plan, device: Device, *, condition: str) -> dict[float, float]:
    """Drive of every level in dBFS, as found once and kept; the quiet run is played when nothing was found yet.

    Raises CalibrationError without a calibration, PlanError when a level would be too loud, RecordingError when the
    quiet run is no good twice.
    """
    calibration = require_calibration(folder)
    path = folder.calibration_path("drive.json")
    sensitivity = read_sensitivity(path)
    if sensitivity is None:
        microphone = read_microphone(folder, plan)
        response = None if microphone is None else microphone.response
        sensitivity = find_sensitivity(device, plan, calibration, condition=condition, microphone=response)
        drives = drives_dbfs(plan, sensitivity)
        write_sensitivity(path, sensitivity)
        return drives
    _require_in_force(path, sensitivity, plan, calibration)
    return drives_dbfs(plan, sensitivity)


def _require_in_force(path: Path, found: Sensitivity, plan: Plan, calibration: MicrophoneCalibration) -> None:
    """Raises CalibrationError when the drives rest on another calibration or plan, and so give other levels."""
    changed = []
    if abs(found.spl_of_full_scale - calibration.spl_of_full_scale) > SAME_AS_LAST_DB:
        changed.append(
            f"full scale stood for {found.spl_of_full_scale:.1f} dB SPL, now for {calibration.spl_of_full_scale:.1f}"
        )
    if found.distance_m != plan.setup.distance_m:
        changed.append(f"the microphone was at {found.distance_m:g} m, now at {plan.setup.distance_m:g} m")
    if (found.low_hz, found.high_hz) != plan.levels.band_hz:
        changed.append(f"band_hz was {found.low_hz:g} to {found.high_hz:g} Hz")
    if changed:
        raise CalibrationError(
            f"the drives in {path} were found when {'; '.join(changed)}: move that file away to have them found anew, "
            f"in a new session if recordings of this one shall be compared with what comes"
        )


def remaining(
    folder: SessionFolder,
    plan: Plan,
    drives: Mapping[float, float],
    *,
    condition: str,
    only: str | None = None,
    again: bool = False,
) -> tuple[Step, ...]:
    """What `measure` would record now. Raises UsageError for an `only` that the plan does not have."""
    return _wanted(folder, steps(plan, planned(plan, drives)), condition, only=only, again=again)


def _wanted(
    folder: SessionFolder, every: tuple[Step, ...], condition: str, *, only: str | None, again: bool
) -> tuple[Step, ...]:
    if only is not None:
        chosen = tuple(
            step for step in every if only == step.name.stem or (only == step.item.stem and not step.name.after)
        )
        if not chosen:
            known = ", ".join(step.name.stem for step in every)
            raise UsageError(f"the plan has no {only!r}: it has {known}")
        every = chosen
    if again:
        one_of_each = {replace(step.name, take=1): step for step in reversed(every)}  # the first of its takes
        return tuple(
            replace(step, name=folder.next_take(condition, step.name)) for step in reversed(one_of_each.values())
        )
    there = {files.name for files in folder.recordings(condition)}
    return tuple(step for step in every if step.name not in there)


def _record(
    folder: SessionFolder,
    plan: Plan,
    device: Device,
    step: Step,
    *,
    condition: str,
    calibration: MicrophoneCalibration,
    rested_s: float | None,
    repositioned: bool,
) -> Recording:
    """Play and record one step; a take that is no good is repeated once."""
    stimulus = write_stimulus(folder, step.item)
    reel = step.item.reel
    what = f"{condition}/{step.name.stem}"
    try:
        take = play_and_examine(device, reel, what=what)
    except RecordingError:
        rested_s = plan.levels.rest_s
        device.rest(rested_s)
        take = play_and_examine(device, reel, what=what)
    sidecar = _sidecar(plan, device, step, stimulus, take=take, condition=condition, calibration=calibration)
    save_loopback(folder, take, condition=condition, name=step.name, rate=reel.sample_rate)
    return save_recording(folder, take.samples, replace(sidecar, rest_s=rested_s, repositioned=repositioned))


def _sidecar(
    plan: Plan,
    device: Device,
    step: Step,
    stimulus: StimulusSidecar,
    *,
    take: Take,
    condition: str,
    calibration: MicrophoneCalibration,
) -> Sidecar:
    return Sidecar(
        stimulus_name=step.name.stimulus,
        level_db_spl=step.name.level_db_spl,
        condition=condition,
        take=step.name.take,
        after=step.name.after,
        drive_dbfs=stimulus.drive_dbfs,
        stimulus=stimulus.stimulus,
        reel=stimulus.reel,
        stimulus_start_sample=take.examined.alignment.stimulus_start,
        sample_rate=stimulus.sample_rate,
        channel=1,
        turned_db=0.0,  # this program holds the drive exactly, and nobody is asked to turn anything
        calibration=calibration.in_force(),
        loudspeaker=plan.loudspeaker,
        setup=plan.setup,
        date=iso_utc(take.began),
        rest_s=step.rest_s,
        clock_difference_ppm=take.examined.clock_difference_ppm(),
        device=device.name,
        simulated=device.simulated,
        stimulus_sha256=stimulus.sha256,
        recording_sha256="0" * 64,  # set when it is saved
        quality=take.examined.for_sidecar(),
    )
