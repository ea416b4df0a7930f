"""Whether the loudspeaker is still as it was when the bursts on record were made, and may go on from them.

The next burst of a band is expected by its last one, so that has to be of the loudspeaker that stands there now. It
also finds a burst that came out too loud after a program that was ended before it could say so.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from distort.analysis.burst_series.judged import BurstLevel
from distort.capture.measuring.loud_burst import louder_than_foretold
from distort.capture.measuring.quiet_run import QuietRun
from distort.capture.measuring.third_octaves import LOUDER_DB, ThirdOctaves, louder
from distort.errors import TooLoudError
from distort.session.files.names import format_level
from signals.burst import BurstSeries
from signals.levels import db_to_power


def require_as_recorded(
    quiet: QuietRun,
    whole: BurstSeries,
    levels: Sequence[BurstLevel],
    answers: Mapping[float, ThirdOctaves],
    *,
    level_of_full_scale_db: float,
    condition: str,
) -> None:
    """Hold the quiet run of now against what is recorded.

    levels                   as the microphone heard them, without its response taken out
    answers                  of the sweeps on record, by nominal level
    level_of_full_scale_db   nominal level of a drive of 0 dBFS

    Raises TooLoudError when a burst on record is over 3 dB louder than the quiet run foretells of its level, or the
    loudspeaker over 3 dB louder in a third octave than in the quietest sweep on record.
    """
    for level in levels:
        if level.reference.unit == "db_spl":
            drive_dbfs = level.level_db_spl - level_of_full_scale_db
            _require_no_louder_burst(quiet, whole, level, drive_dbfs=drive_dbfs, condition=condition)
    now = louder(quiet.answer, answers[min(answers)]) if levels and answers else None
    if now is not None and now.by_db > LOUDER_DB:
        raise TooLoudError(
            f"nothing loud was played: driven alike, {condition} is {now.by_db:.1f} dB louder about {now.at_hz:.0f} Hz "
            f"than in its recordings, and the next bursts would be that much louder than the last ones foretell. Turn "
            f"volume, filters and gain back, or reject the bursts of {condition} and begin anew"
        )


def _require_no_louder_burst(
    quiet: QuietRun, whole: BurstSeries, level: BurstLevel, *, drive_dbfs: float, condition: str
) -> None:
    bands_hz = tuple(level.reading.frequency_hz.tolist())
    series = replace(whole, bands_hz=bands_hz, drive_dbfs=min(drive_dbfs, 0.0))
    to_now = float(db_to_power(level.reference.offset_db - quiet.offset_db + series.drive_dbfs - drive_dbfs))
    noise = np.nan_to_num(level.reading.noise[0])
    found = louder_than_foretold(quiet, series, energy=level.reading.energy[0] * to_now, noise=noise * to_now)
    if found is not None and found.by_db > LOUDER_DB:
        raise TooLoudError(
            f"nothing loud was played: {condition}/burst_{format_level(level.level_db_spl)}dB is {found.by_db:.1f} dB "
            f"louder about {found.at_hz:.0f} Hz than the quiet run foretells, and up to {LOUDER_DB:g} dB are allowed. "
            f"Find out whether a volume or a gain was turned or the loudspeaker expands, then reject that recording"
        )
