"""Whether a sweep that was brought in without a calibration is as loud as the other levels lead one to expect."""

from dataclasses import dataclass

import numpy as np

from distort.capture.measuring.third_octaves import ThirdOctaves, answer_of_recording
from distort.session.files.folder import SessionFolder
from distort.session.files.names import RecordingName
from distort.session.plan.keys import Plan
from distort.session.plan.kinds import SWEEPS
from distort.session.recordings.stored import Recording, load_recordings

ALIKE_DB = 0.5
"""Every third octave lies within it of their median: a gain and another file move all alike, a loudspeaker at its limit
does not (the width asked for of this check; a third octave repeats within some hundredths)."""

OFF_DB = 1.0
"""From it on a level is told: the smallest step between levels that is worth measuring is larger."""

CLEAR_DB = 30.0
"""Above its noise: then noise that adds in phase moves a third octave by `20 log10(1 + 10^(-30/20))` = 0.27 dB, which
leaves `ALIKE_DB` to the loudspeaker."""

LEAST_BANDS = 6
"""Two octaves: fewer third octaves are alike by chance."""


@dataclass(frozen=True, kw_only=True)
class Unexpected:
    """A sweep whose level is not what its name says, going by another level of the condition."""

    recording: Recording
    against: RecordingName
    """Of the recording that leads one to expect another level."""
    by_db: float
    """Louder by it than expected; negative: quieter."""
    fits_db_spl: float | None
    """The level of the plan that it would be as expected; None: none."""
    volume_known: bool
    """Somebody said for both how far the volume was turned."""


def unexpected_level(folder: SessionFolder, plan: Plan, recording: Recording) -> Unexpected | None:
    """Hold a sweep without a calibration against the sweep of the nearest other level.

    None where all is as expected, where the third octaves are not off alike, which no wrong level does, and where
    nothing can be told. Raises as `read_sweep_takes` does.
    """
    sidecar = recording.sidecar
    if sidecar.calibration is not None or sidecar.stimulus_name not in SWEEPS or sidecar.after:
        return None
    other = _nearest(folder, recording)
    if other is None:
        return None
    known = sidecar.turned_db is not None and other.sidecar.turned_db is not None
    by_db = off_alike_db(answer_of_recording(recording), answer_of_recording(other))
    if by_db is None:
        return None
    if not known:  # the drives are known only as far as the levels are named after them
        driven_db = sidecar.drive_dbfs + (sidecar.turned_db or 0.0)
        driven_db -= other.sidecar.drive_dbfs + (other.sidecar.turned_db or 0.0)
        by_db += driven_db - (sidecar.level_db_spl - other.sidecar.level_db_spl)
    if abs(by_db) <= OFF_DB:
        return None
    true_db_spl = sidecar.level_db_spl + by_db
    near = min(plan.levels.db_spl, key=lambda level: abs(level - true_db_spl))
    return Unexpected(
        recording=recording,
        against=other.sidecar.name,
        by_db=by_db,
        fits_db_spl=near if abs(near - true_db_spl) <= ALIKE_DB else None,
        volume_known=known,
    )


def _nearest(folder: SessionFolder, recording: Recording) -> Recording | None:
    """The same kind of sweep at the nearest other level of the condition, the quieter of two."""
    sidecar = recording.sidecar
    others = [
        one
        for one in load_recordings(folder, sidecar.condition)
        if one.sidecar.stimulus_name == sidecar.stimulus_name
        and one.sidecar.level_db_spl != sidecar.level_db_spl
        and one.sidecar.rejected is None
        and one.sidecar.calibration is None
        and not one.sidecar.after
    ]

    def away(one: Recording) -> tuple[float, float]:
        return abs(one.sidecar.level_db_spl - sidecar.level_db_spl), one.sidecar.level_db_spl

    return min(others, key=away, default=None)


def off_alike_db(answer: ThirdOctaves, other: ThirdOctaves) -> float | None:
    """By how many dB `answer` has more gain than `other`, where all third octaves clear of noise agree on it."""
    _, own, its = np.intersect1d(answer.midband_hz, other.midband_hz, return_indices=True)
    gain_db = answer.gain_db[own] - other.gain_db[its]
    clear = np.isfinite(gain_db) & (answer.noise_db[own] < -CLEAR_DB) & (other.noise_db[its] < -CLEAR_DB)
    if np.count_nonzero(clear) < LEAST_BANDS:
        return None
    middle_db = float(np.median(gain_db[clear]))
    return middle_db if np.all(np.abs(gain_db[clear] - middle_db) <= ALIKE_DB) else None
