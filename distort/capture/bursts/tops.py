"""Up to where each band may go: by the plan, and by what the quiet run foretells."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from distort.analysis.burst_series.judged import BurstLevel, judged_levels
from distort.analysis.burst_series.steps import CEILING, DRIVE, INPUT, MICROPHONE, Band
from distort.capture.measuring.loud_burst import heard_db
from distort.capture.measuring.quiet_run import QuietRun
from distort.recording.quality.check import HIGH_PEAK_DBFS
from distort.session.files.names import HIGHEST_LEVEL_DB_SPL
from distort.session.plan.keys import Plan
from distort.session.plan.kinds import burst_limits
from signals.burst import PEAK_OVER_RMS_DB
from signals.levels import amplitude_to_db, db_to_amplitude
from signals.reel import CHIRP_BELOW_STIMULUS_DB


def bands_of_plan(plan: Plan, bands_hz: Sequence[float], *, level_of_full_scale_db: float) -> tuple[Band, ...]:
    """A band of each frequency, not played yet, held to the plan alone.

    level_of_full_scale_db   nominal level of a drive of 0 dBFS
    """
    top_db_spl = min(plan.safety.max_drive_dbfs + level_of_full_scale_db, HIGHEST_LEVEL_DB_SPL)
    most_peak_db = burst_limits(plan).ceiling_db_peak
    return tuple(
        Band(frequency_hz=band_hz, drive_top_db_spl=top_db_spl, most_peak_db=most_peak_db) for band_hz in bands_hz
    )


def chirps_below_ceiling(
    bands: Sequence[Band], levels: Sequence[BurstLevel], plan: Plan, *, highest_db: float = -math.inf
) -> tuple[Band, ...]:
    """`bands` where no quiet run foretells the chirps: they stay under the ceiling where the loudspeaker is loudest by
    its quietest bursts. A band that gives little could else go up so far that they passed it elsewhere.

    highest_db   what it gives where it is loudest re the nominal level, as far as that is known otherwise, dB
    """
    gains_db = _quietest_gains_db(levels)
    highest_db = max([highest_db, *(gain_db - PEAK_OVER_RMS_DB for gain_db in gains_db.values())])
    top_db_spl = plan.safety.ceiling_db_spl + CHIRP_BELOW_STIMULUS_DB - highest_db
    return tuple(
        band if band.drive_top_db_spl <= top_db_spl else replace(band, drive_top_db_spl=top_db_spl, drive_by=CEILING)
        for band in bands
    )


def _quietest_gains_db(levels: Sequence[BurstLevel]) -> dict[float, float]:
    """Peak of each band less the nominal level, at the quietest level at which it is on record with a calibration."""
    found: dict[float, float] = {}
    for level in judged_levels([one for one in levels if one.reference.unit == "db_spl"]):
        for frequency_hz, peak_db in zip(level.frequency_hz.tolist(), level.peak_db.tolist(), strict=True):
            found.setdefault(frequency_hz, peak_db - level.level_db_spl)
    return found


def bands_foretold(
    quiet: QuietRun, plan: Plan, bands_hz: Sequence[float], *, level_of_full_scale_db: float
) -> tuple[Band, ...]:
    """The same with what the loudspeaker gives at each band when it is played quietly, and besides: the chirps, which
    are everywhere, stay under the ceiling of the plan, the peak under what the microphone stands, and the input 1 dB
    under clipping."""
    peaks = {CEILING: burst_limits(plan).ceiling_db_peak}
    left = float(db_to_amplitude(HIGH_PEAK_DBFS)) - quiet.noise_peak
    peaks[INPUT] = float(amplitude_to_db(max(left, 0.0))) + quiet.offset_db + PEAK_OVER_RMS_DB
    peaks[MICROPHONE] = burst_limits(plan).microphone_db_peak
    peak_by = min(peaks, key=lambda by: peaks[by])
    chirps_dbfs = plan.safety.ceiling_db_spl - quiet.highest_db_spl + CHIRP_BELOW_STIMULUS_DB
    drives = {
        DRIVE: min(plan.safety.max_drive_dbfs + level_of_full_scale_db, HIGHEST_LEVEL_DB_SPL),
        CEILING: chirps_dbfs + level_of_full_scale_db,
    }
    drive_by = min(drives, key=lambda by: drives[by])
    gains_db = heard_db(quiet, np.array(bands_hz)) + PEAK_OVER_RMS_DB - level_of_full_scale_db
    return tuple(
        Band(
            frequency_hz=band_hz,
            drive_top_db_spl=drives[drive_by],
            drive_by=drive_by,
            most_peak_db=peaks[peak_by],
            peak_by=peak_by,
            gain_db=gain_db if math.isfinite(gain_db) else -math.inf,
        )
        for band_hz, gain_db in zip(bands_hz, gains_db.tolist(), strict=True)
    )
