"""Before the first burst: the quiet run, and up to where each band may go."""

from dataclasses import dataclass, replace

from distort.analysis.burst_series.steps import Band, BurstStep
from distort.capture.bursts.as_recorded import require_as_recorded
from distort.capture.bursts.duration import AtMost, SeriesPlan, all_steps, at_most, series_plan
from distort.capture.bursts.judgeable import require_judgeable
from distort.capture.bursts.so_far import BurstReader, SoFar, require_far, require_same_bursts, so_far, whole_series
from distort.capture.bursts.tops import bands_foretold, bands_of_plan
from distort.capture.devices.device import Device
from distort.capture.measuring.none_too_loud import require_none_too_loud
from distort.capture.measuring.quiet_run import QUIET_DRIVE_DBFS, play_quiet_sweep, sensitivity_of
from distort.capture.measuring.room_on_disk import require_room
from distort.capture.measuring.sounding import rest_that_is_owed
from distort.capture.measuring.starting import (
    Choice,
    Ready,
    held_against_found,
    offset_told,
    require_calibration,
    require_in_force,
)
from distort.capture.measuring.steps import Step
from distort.capture.measuring.third_octaves import recorded_answers
from distort.errors import UsageError
from distort.recording.takes import settings_of
from distort.session.calibration.drive_file import read_sensitivity
from distort.session.calibration.reference_responses import read_microphone
from distort.session.files.folder import SessionFolder
from distort.session.files.names import RecordingName
from distort.session.plan.keys import Plan
from distort.session.recordings.stored import load_recordings


@dataclass(frozen=True, kw_only=True)
class BurstsReady:
    """What is known before the first burst of a series sounds."""

    ready: Ready
    """Condition, calibration, quiet run and what else whoever measures must know."""
    reader: BurstReader
    series: SeriesPlan
    bands: tuple[Band, ...]
    """As they were before the first burst."""
    state: SoFar
    most: AtMost | None
    """What it comes to at most; None where every band has ended."""


def get_ready_for_bursts(folder: SessionFolder, plan: Plan, device: Device, condition: str) -> BurstsReady:
    """Play the quiet run, unless every band has ended, and say up to where each may go.

    Raises UsageError where the plan has no [burst], its periods were changed, or the level series has not begun;
    CalibrationError, PlanError, RecordingError, SessionError, PausedError and TooLoudError as `get_ready` does; and as
    `require_judgeable` and `require_as_recorded`.
    """
    of_all, plan = plan, plan.of(condition)
    require_far(plan)
    whole = whole_series(plan, drive_dbfs=QUIET_DRIVE_DBFS)
    calibration = require_calibration(folder)
    path = folder.calibration_path("drive.json")
    found = read_sensitivity(path)
    if found is None:
        raise UsageError(
            f"the drives of {folder.root} are not found yet: record the level series first, with `distort measure` "
            f"without --bursts"
        )
    require_in_force(path, found, of_all, calibration, near_field=False)
    recordings = load_recordings(folder, condition)
    answers = recorded_answers(recordings)
    require_none_too_loud(recordings, answers, condition)
    microphone = read_microphone(folder, plan)
    reader = BurstReader(settings=settings_of(plan, microphone))
    require_same_bursts(recordings, whole, condition)
    require_judgeable(recordings, level_of_full_scale_db=found.db_spl)
    levels = reader.levels(recordings)
    series = series_plan(plan, whole, level_of_full_scale_db=found.db_spl)
    bands = bands_of_plan(plan, whole.bands_hz, level_of_full_scale_db=found.db_spl)
    state = so_far(levels, bands, plan)
    choice = Choice(condition=condition)
    ready = Ready(choice=choice, drives={}, calibration=calibration)
    if state.next() is None:
        return BurstsReady(ready=ready, reader=reader, series=series, bands=bands, state=state, most=None)
    _require_room(folder, plan, series, state)
    response = None if microphone is None else microphone.response
    rest_that_is_owed(folder, device)
    quiet = play_quiet_sweep(device, plan, calibration, microphone=response)
    now = sensitivity_of(quiet, plan, calibration, condition=condition, device=device)
    notes = offset_told(quiet) + held_against_found(found, now)
    heard = reader if microphone is None else BurstReader(settings=replace(reader.settings, microphone=None))
    require_as_recorded(
        quiet, whole, heard.levels(recordings), answers, level_of_full_scale_db=found.db_spl, condition=condition
    )
    bands = bands_foretold(quiet, plan, whole.bands_hz, level_of_full_scale_db=found.db_spl)
    state = so_far(levels, bands, plan)
    return BurstsReady(
        ready=Ready(choice=choice, drives={}, calibration=calibration, quiet=quiet, notes=notes),
        reader=reader,
        series=series,
        bands=bands,
        state=state,
        most=at_most(series, state, plan),
    )


def as_step(folder: SessionFolder, series: SeriesPlan, step: BurstStep, *, condition: str, rest_s: float) -> Step:
    """A step of the series as a recording to be made."""
    item = series.item(step)
    name = RecordingName(stimulus=item.stimulus_name, level_db_spl=item.level_db_spl)
    return Step(item=item, name=folder.next_take(condition, name), rest_s=rest_s)


def _require_room(folder: SessionFolder, plan: Plan, series: SeriesPlan, state: SoFar) -> None:
    items = [series.item(step) for step in all_steps(state, plan) if step.bands]
    names = [RecordingName(stimulus=item.stimulus_name, level_db_spl=item.level_db_spl) for item in items]
    require_room(folder, [Step(item=item, name=name, rest_s=0.0) for item, name in zip(items, names, strict=True)])
