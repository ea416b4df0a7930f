"""What the microphone's input will hold when a stimulus is played, as the quiet run foretells it, and what it must not.

All of it is extrapolated in level from the quiet run: a loudspeaker that compresses gives less.
"""

import math
from collections.abc import Sequence

import numpy as np

from distort.capture.measuring.kinds import loud
from distort.capture.measuring.quiet_run import QuietRun, microphone_peak
from distort.errors import PlanError, RecordingError
from distort.recording.quality.check import HIGH_PEAK_DBFS
from distort.recording.quality.noise import REFUSE_SNR_DB
from distort.session.files.names import format_level
from distort.session.plan.keys import Plan
from distort.session.recordings.stimulus_files import Planned
from signals.levels import FULL_SCALE_SINE_RMS, amplitude_to_db, db_to_amplitude, db_to_power, distance_gain_db
from signals.levels import power_to_db as to_db

STOP_ABOVE_DB = 6.0
"""Over the peak that is expected: twice the amplitude. The third octaves are held to 3 dB after each recording; a peak
also holds the distortion, and what the smoothing of the quiet run hid."""

CEILING_MARGIN_DB = 3.0
"""Over the ceiling, for the same reasons: a room's resonance may stand that much out of a sixth of an octave."""


def expected_rms_dbfs(quiet: QuietRun, item: Planned) -> float:
    """r.m.s. of the loudest stretch at the input, dBFS."""
    return loud(item.stimulus).expected_rms_dbfs(quiet, item.stimulus)


def expected_peak_dbfs(quiet: QuietRun, item: Planned) -> float:
    """Peak at the input, dBFS, noise included."""
    peak = float(db_to_amplitude(expected_rms_dbfs(quiet, item) + _crest_db(quiet, item)))
    return float(amplitude_to_db(peak + quiet.noise_peak))


def highest_peak(quiet: QuietRun, plan: Plan, item: Planned) -> float:
    """Peak at the input, full scale 1, its offset taken off, above which playing is broken off.

    6 dB over what is expected or 3 dB over the ceiling at 1 m (peaks count as those of a tone that is the
    crest of the kind weaker), whichever comes first; the noise comes on top. In the near field what the microphone
    stands is in the place of the ceiling.
    """
    expected_dbfs = expected_rms_dbfs(quiet, item) + STOP_ABOVE_DB
    if plan.near_field_of is not None:
        at_most = microphone_peak(plan, quiet.offset_db - distance_gain_db(plan.setup.distance_m))
        return min(float(db_to_amplitude(expected_dbfs + _crest_db(quiet, item))), at_most) + quiet.noise_peak
    ceiling_dbfs = loud(item.stimulus).ceiling_db_spl(plan) - quiet.offset_db + CEILING_MARGIN_DB
    return float(db_to_amplitude(min(expected_dbfs, ceiling_dbfs) + _crest_db(quiet, item))) + quiet.noise_peak


def _crest_db(quiet: QuietRun, item: Planned) -> float:
    return loud(item.stimulus).crest_db(quiet, item.stimulus)


def signal_to_noise_db(quiet: QuietRun, plan: Plan, drive_dbfs: float) -> float:
    """Of a sweep at `drive_dbfs` in [levels] band_hz: its level over the noise of an octave, meant over the band."""
    low_hz, high_hz = plan.levels.band_hz
    rows = (quiet.frequency_hz >= low_hz) & (quiet.frequency_hz <= high_hz) & np.isfinite(quiet.heard_db_spl)
    level_db = float(to_db(np.mean(db_to_power(quiet.heard_db_spl[rows])))) + drive_dbfs - quiet.offset_db
    density = quiet.noise
    inside = (density.frequency_hz >= low_hz) & (density.frequency_hz <= high_hz)
    power = float(np.sum(density.density[inside])) * float(density.frequency_hz[1]) / FULL_SCALE_SINE_RMS**2
    return level_db - float(to_db(power / math.log2(high_hz / low_hz)))


def require_fit(quiet: QuietRun, plan: Plan, items: Sequence[Planned]) -> None:
    """Look ahead before anything is loud.

    Raises PlanError when a level passes the ceiling at 1 m or what the microphone stands, RecordingError when the input
    would clip, or the noise is too loud for the lowest level.
    """
    if not items:
        return
    loudest = max(items, key=lambda item: expected_peak_dbfs(quiet, item))
    _require_below_ceiling(quiet, plan, max(items, key=lambda item: item.stimulus.drive_dbfs))
    _require_microphone_stands(quiet, plan, loudest)
    peak_dbfs = expected_peak_dbfs(quiet, loudest)
    if peak_dbfs > HIGH_PEAK_DBFS:
        raise RecordingError(
            f"nothing loud was played: {loudest.stem} would reach {peak_dbfs:+.1f} dBFS at the microphone's input. "
            f"Lower its gain by {math.ceil(peak_dbfs - HIGH_PEAK_DBFS)} dB, calibrate again, and "
            f"{'say --relevel' if plan.near_field_of is None else 'measure this again: the drives stay'}"
        )
    lowest = min(items, key=lambda item: item.stimulus.drive_dbfs)
    snr_db = signal_to_noise_db(quiet, plan, lowest.stimulus.drive_dbfs)
    if snr_db < REFUSE_SNR_DB:
        raise RecordingError(
            f"nothing loud was played: at {format_level(lowest.level_db_spl)} dB SPL the sweep would stand only "
            f"{snr_db:.0f} dB above the noise of an octave within [levels] band_hz, and {REFUSE_SNR_DB:.0f} dB are "
            f"needed: silence the room, come closer, or leave that level out"
        )


def _require_below_ceiling(quiet: QuietRun, plan: Plan, item: Planned) -> None:
    ceiling = plan.safety.ceiling_db_spl
    loudest_db_spl = item.stimulus.drive_dbfs + quiet.highest_db_spl
    if loudest_db_spl > ceiling:
        raise PlanError(
            f"at {format_level(item.level_db_spl)} dB SPL the loudspeaker would give {loudest_db_spl:.1f} dB SPL where "
            f"it is loudest, above [safety] ceiling_db_spl = {ceiling:g}: leave the level out of session.toml"
        )


def _require_microphone_stands(quiet: QuietRun, plan: Plan, item: Planned) -> None:
    """Its limit is that of a tone, so a peak counts as the tone that has it."""
    limit = plan.microphone.max_db_spl
    if limit is None:
        return
    distance_m = plan.setup.distance_m
    at_microphone = expected_peak_dbfs(quiet, item) + quiet.offset_db - distance_gain_db(distance_m)
    if at_microphone > limit:
        raise PlanError(
            f"{item.stem} would reach the peak of a tone of {at_microphone:.1f} dB SPL at the microphone, "
            f"{distance_m:g} m away, above [microphone] max_db_spl = {limit:g}: leave the level out of session.toml, "
            f"or measure from farther away"
        )
