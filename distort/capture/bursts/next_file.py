"""The burst series for a player without a cable: one level a file, the next written once the last was judged."""

import math
from dataclasses import dataclass

from distort.analysis.burst_series.steps import BurstStep
from distort.capture.bursts.duration import AtMost, SeriesPlan, at_most, series_plan
from distort.capture.bursts.judgeable import require_judgeable
from distort.capture.bursts.replaceable import require_replaceable
from distort.capture.bursts.so_far import BurstReader, SoFar, require_far, require_same_bursts, so_far, whole_series
from distort.capture.bursts.tops import bands_of_plan, chirps_below_ceiling
from distort.capture.measuring.none_too_loud import require_none_too_loud
from distort.capture.measuring.quiet_run import QUIET_DRIVE_DBFS
from distort.capture.measuring.starting import require_calibration
from distort.recording.takes import settings_of
from distort.session.calibration.drive_file import read_sensitivity
from distort.session.calibration.reference_responses import read_microphone
from distort.session.files.folder import SessionFolder
from distort.session.plan.keys import Plan
from distort.session.recordings.stimulus_files import Planned, drives_dbfs, write_stimulus
from distort.session.recordings.stored import load_recordings
from signals.burst import BurstSeries


@dataclass(frozen=True, kw_only=True)
class NextFile:
    """What was written."""

    item: Planned | None
    """None: every band has ended."""
    bursts: int
    """In it."""
    whole: BurstSeries
    references: int
    """Recordings of the quietest level that were brought in."""
    rest_s: float
    """So long the loudspeaker rests before it is played."""
    peak_db: float | None
    """Loudest peak that is expected of it, dB SPL at 1 m, by the level below; None: nothing was measured yet."""
    most: AtMost | None


def write_next_file(folder: SessionFolder, plan: Plan, condition: str, *, replace: bool = False) -> NextFile:
    """Judge the bursts that were brought in, and write the file of the next level, with the bands that are left.

    replace   a file of that name that holds other bursts, of which no recording was brought in

    Raises UsageError where the plan has no [burst], or the volume, the drives or [burst] periods were changed on the
    way; CalibrationError without a calibration, since no ceiling could be held; SessionError for a file that only
    `replace` may replace; TooLoudError after a recording that came out too loud; as `burst_level` for one that cannot
    be judged.
    """
    plan = plan.of(condition)
    require_far(plan)
    whole = whole_series(plan, drive_dbfs=QUIET_DRIVE_DBFS)
    require_calibration(folder)
    recordings = load_recordings(folder, condition)
    require_none_too_loud(recordings, {}, condition)
    require_same_bursts(recordings, whole, condition)
    reader = BurstReader(settings=settings_of(plan, read_microphone(folder, plan)))
    sensitivity = read_sensitivity(folder.calibration_path("drive.json"))
    drives = drives_dbfs(plan, sensitivity)
    full_scale_db = plan.levels.db_spl[0] - drives[plan.levels.db_spl[0]]
    require_judgeable(recordings, level_of_full_scale_db=full_scale_db)
    levels = reader.levels(recordings)
    series = series_plan(plan, whole, level_of_full_scale_db=full_scale_db)
    bands = bands_of_plan(plan, whole.bands_hz, level_of_full_scale_db=full_scale_db)
    highest_db = -math.inf if sensitivity is None else sensitivity.highest_db_spl - sensitivity.db_spl
    state = so_far(levels, chirps_below_ceiling(bands, levels, plan, highest_db=highest_db), plan)
    step = state.next()
    item = None if step is None else series.item(step)
    if item is not None:
        if not replace:
            require_replaceable(folder, item, otherwise="say --replace")
        write_stimulus(folder, item)
    return NextFile(
        item=item,
        bursts=0 if step is None else len(step.bands),
        whole=whole,
        references=state.references,
        rest_s=_rest_s(series, state),
        peak_db=None if step is None else _expected_peak_db(state, step),
        most=at_most(series, state, plan),
    )


def _rest_s(series: SeriesPlan, state: SoFar) -> float:
    """After the loudest of what was recorded, with all bands: rather too long."""
    last = max((one.level_db_spl for one in state.levels), default=state.lowest_db_spl)
    return series.rest_after_s(BurstStep(level_db_spl=last, bands=tuple(range(len(state.bands)))))


def _expected_peak_db(state: SoFar, step: BurstStep) -> float | None:
    """As each band goes on from its last level; None where none was heard yet."""
    gain_db = max(state.bands[index].gain_db for index in step.bands)
    return step.level_db_spl + gain_db if math.isfinite(gain_db) else None
