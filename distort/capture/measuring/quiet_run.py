"""The quiet run: a signal that wakes the loudspeaker, and a quiet sweep that says how loud it is for a given drive.

`drive_L = L - S` with S the power mean of the response over the plan's band, in dB SPL at 1 m for a drive of 0 dBFS.
The level is reached by extrapolation from a quiet sweep, never by chasing the SPL upwards, which drives a limiter hard.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

import signals
from distort.analysis.common.microphone import MicrophoneResponse
from distort.analysis.sweep.noise import NoiseDensity, noise_density
from distort.analysis.sweep.response import band_mean_db
from distort.analysis.sweep.sweeps import Settings, SweepTake, read_sweep, sweep_response
from distort.capture.devices.device import Device
from distort.capture.devices.guard import Guard
from distort.capture.measuring.playing_takes import Take, play_and_examine
from distort.capture.measuring.third_octaves import ANSWER_SETTINGS, ThirdOctaves, answer_of
from distort.errors import PlanError, RecordingError
from distort.recording.alignment.silences import planned_silences
from distort.session.calibration.calibration_file import MicrophoneCalibration
from distort.session.calibration.drive_file import Sensitivity
from distort.session.calibration.in_force import reference_of
from distort.session.files.moments import now_utc
from distort.session.plan.keys import Plan
from distort.session.plan.kinds import sweep_stimulus
from signals.levels import db_to_amplitude, distance_gain_db

FloatArray = npt.NDArray[np.float64]

QUIET_DRIVE_DBFS = -46.0
"""Far below any level that is measured, and well above room noise for a loudspeaker of common sensitivity."""

WAKE_LOW_HZ, WAKE_HIGH_HZ = 100.0, 5000.0
"""What the circuit that ends standby listens to, and no load on woofer or tweeter."""

WAKE_S = 3.0
"""Standby ends within some seconds of signal, and the muting after it (common practice, no source)."""


@dataclass(frozen=True, kw_only=True)
class QuietRun:
    """What the loudspeaker gave in one condition, driven quietly; levels are for a drive of 0 dBFS, dB SPL at 1 m."""

    band_db_spl: float
    """Power mean over [levels] band_hz, the microphone's response taken out."""
    highest_db_spl: float
    """Where it is highest, with the microphone's response or without: the louder reading counts. In the near field: as
    it was at a distance, when the drives were found."""
    frequency_hz: FloatArray
    heard_db_spl: FloatArray
    """As the microphone heard it, `(rows,)`; NaN where there is no reading."""
    answer: ThirdOctaves
    """The same in third octaves, where it is clear of noise."""
    offset_db: float
    """SPL at 1 m of digital full scale at the input."""
    noise: NoiseDensity
    noise_peak: float
    """Largest magnitude in the silences, full scale 1, the input's offset taken off."""
    offset: float
    """Of the input: mean of the silences, full scale 1."""
    delay_s: float
    """From what is sent to what is heard."""


def wake(device: Device, plan: Plan, *, guard: Guard) -> None:
    """Play some seconds of quiet noise, so that standby ends and what a device swallows at its start is not missed.

    Nobody reads what was recorded, so it may be lost. Raises TooLoudError when the microphone hears more than `guard`
    allows.
    """
    noise = signals.Noise(
        low_hz=WAKE_LOW_HZ,
        high_hz=min(WAKE_HIGH_HZ, 0.4 * plan.sweep.sample_rate),
        seconds=WAKE_S,
        sample_rate=plan.sweep.sample_rate,
        drive_dbfs=QUIET_DRIVE_DBFS,
    )
    try:
        device.play_and_record(noise.samples(), sample_rate=noise.sample_rate, guard=guard)
    except RecordingError:
        # a stream that drops out while it starts is what this is played for; the quiet sweep shows whether it lasts
        return


def play_quiet_sweep(
    device: Device,
    plan: Plan,
    calibration: MicrophoneCalibration,
    *,
    microphone: MicrophoneResponse | None = None,
) -> QuietRun:
    """Wake the loudspeaker, play a quiet sweep, and say what it would give at 0 dBFS if it stayed as it is.

    `microphone` is taken out of the level; for the ceiling the louder reading counts, with it or without, so that what
    lies outside its range is not forgotten.

    Raises RecordingError when the quiet sweep is twice not found in what was recorded, PlanError when the band that
    sets the drive has no reading, or the microphone's response does not reach it, and TooLoudError when even this
    passes the plan's ceiling.
    """
    guard = Guard(highest=ceiling_peak(plan, calibration))
    wake(device, plan, guard=guard)
    sweep = sweep_stimulus(plan, drive_dbfs=QUIET_DRIVE_DBFS, short=True)
    reel = signals.framed(sweep)
    what = "the quiet sweep"
    try:
        played = play_and_examine(device, reel, what=what, guard=guard)
    except RecordingError:
        played = play_and_examine(device, reel, what=what, guard=guard)
    return read_quiet_sweep(played, reel, plan, calibration, microphone=microphone)


def read_quiet_sweep(
    played: Take,
    reel: signals.Reel,
    plan: Plan,
    calibration: MicrophoneCalibration,
    *,
    microphone: MicrophoneResponse | None,
) -> QuietRun:
    """What the sweep in `reel`, played quietly, says. Raises PlanError as `play_quiet_sweep` does."""
    sent_at, sweep = reel.only_stimulus()
    alignment = played.examined.alignment
    spans = planned_silences(reel, start=alignment.stimulus_start, n_recorded=played.samples.size)
    silences = tuple(played.samples[first:end] for first, end in spans)  # digital zeros too: an input without noise
    take = SweepTake(samples=played.samples, start=alignment.stimulus_start, silences=silences)
    reference = reference_of(calibration.in_force(), plan.setup.distance_m)
    read = read_sweep([take], sweep, ANSWER_SETTINGS)
    as_heard = sweep_response(read, reference)
    in_air = as_heard
    if microphone is not None:
        settings: Settings = replace(ANSWER_SETTINGS, microphone=microphone)
        in_air = sweep_response(read_sweep([take], sweep, settings), reference)
    band_db = band_mean_db(in_air, plan.levels.band_hz)
    if math.isnan(band_db):
        low_hz, high_hz = plan.levels.band_hz
        heard = "" if microphone is None else ", and that the microphone's response file covers"
        raise PlanError(
            f"the response has no reading in [levels] band_hz, {low_hz:g} to {high_hz:g} Hz, so no level can be set: "
            f"take a band that the sweep covers, between 20 Hz and 20 kHz{heard}"
        )
    both_db = np.concatenate([as_heard.level_db, in_air.level_db])
    return QuietRun(
        band_db_spl=band_db - QUIET_DRIVE_DBFS,
        highest_db_spl=float(np.nanmax(both_db)) - QUIET_DRIVE_DBFS,
        frequency_hz=as_heard.frequency_hz,
        heard_db_spl=as_heard.level_db - QUIET_DRIVE_DBFS,
        answer=answer_of(as_heard, drive_dbfs=QUIET_DRIVE_DBFS),
        offset_db=reference.offset_db,
        noise=noise_density(silences, sample_rate=sweep.sample_rate),
        noise_peak=max(float(np.max(np.abs(silence - np.mean(silence)))) for silence in silences),
        offset=float(np.mean(np.concatenate(silences))),
        delay_s=(alignment.stimulus_start - sent_at) / sweep.sample_rate,
    )


def ceiling_peak(plan: Plan, calibration: MicrophoneCalibration) -> float:
    """Peak at the microphone's input, full scale 1, that is never passed: of a tone at [safety] ceiling_db_spl, which
    holds at 1 m; in the near field of one at [microphone] max_db_spl.

    Raises PlanError for a near field without that.
    """
    if plan.near_field_of is not None:
        return microphone_peak(plan, calibration.spl_of_full_scale)
    full_scale_db_spl = calibration.spl_of_full_scale + distance_gain_db(plan.setup.distance_m)
    return float(db_to_amplitude(plan.safety.ceiling_db_spl - full_scale_db_spl))


def microphone_peak(plan: Plan, spl_of_full_scale: float) -> float:
    """Peak at the input, full scale 1, of a tone at [microphone] max_db_spl. Raises PlanError without that key."""
    limit = plan.microphone.max_db_spl
    if limit is None:
        raise PlanError(
            f"condition {plan.condition} is in the near field, where the microphone is the first to give up: say what "
            f"it stands with [microphone] max_db_spl in session.toml, from its data sheet"
        )
    return float(db_to_amplitude(limit - spl_of_full_scale))


def sensitivity_of(
    quiet: QuietRun, plan: Plan, calibration: MicrophoneCalibration, *, condition: str, device: Device
) -> Sensitivity:
    """What calibration/drive.json keeps of a quiet run."""
    return Sensitivity(
        db_spl=quiet.band_db_spl,
        highest_db_spl=quiet.highest_db_spl,
        quiet_drive_dbfs=QUIET_DRIVE_DBFS,
        spl_of_full_scale=calibration.spl_of_full_scale,
        distance_m=plan.setup.distance_m,
        low_hz=plan.levels.band_hz[0],
        high_hz=plan.levels.band_hz[1],
        condition=condition,
        device=device.name,
        simulated=device.simulated,
        date=now_utc(),
    )
