"""How loud a sweep was at 1 m: what says by how much a player without a cable is to be turned."""

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from distort.analysis.sweep.response import band_mean_db
from distort.analysis.sweep.sweeps import Settings, SweepTake, read_sweep, sweep_response
from distort.capture.measuring.starting import require_calibration
from distort.capture.reel.cutting import cut
from distort.capture.reel.finding import FoundReel, find_session_reel
from distort.errors import RecordingError, UsageError
from distort.recording.alignment.prepared import Prepared, prepare, prepare_samples
from distort.recording.quality.examined import examine
from distort.recording.reading import sweep_of
from distort.session.audio.long_recording import LongRecording
from distort.session.calibration.calibration_file import MicrophoneCalibration
from distort.session.calibration.in_force import CalibrationInForce, reference_of
from distort.session.calibration.reference_responses import read_microphone
from distort.session.files.folder import SessionFolder
from distort.session.files.names import format_level
from distort.session.plan.keys import Plan
from distort.session.plan.kinds import SWEEP, SWEEPS
from distort.session.recordings.reel_file import ReelPart, session_reels
from distort.session.recordings.stored import Recording
from signals import Sweep
from signals.levels import db_to_power, power_to_db

SMOOTHING_OCTAVES = 1.0 / 6.0

RIGHT_DB = 0.25
"""Half of the smallest step of players' volume controls, 0.5 dB (common practice, no source): as near as it gets."""


@dataclass(frozen=True, kw_only=True)
class SweepLevel:
    """What one sweep says of the volume."""

    nominal_db_spl: float
    measured_db_spl: float
    """Power mean of the response over [levels] band_hz, referred to 1 m."""
    noise_db_spl: float
    """Of the same readings; NaN where no silence was recorded."""
    highest_db_spl: float
    """Where the loudspeaker is loudest, at this drive."""

    @property
    def turn_db(self) -> float:
        """By how much the volume is to be turned up; negative: down."""
        return self.nominal_db_spl - self.measured_db_spl

    @property
    def uncertainty_db(self) -> float:
        """At most, by noise that adds in phase: `20 log10(1 + noise / signal)`. NaN where the noise is not known."""
        return 20.0 * math.log10(1.0 + 10.0 ** ((self.noise_db_spl - self.measured_db_spl) / 20.0))

    @property
    def right(self) -> bool:
        """Nothing is to be turned."""
        return abs(self.turn_db) <= RIGHT_DB


@dataclass(frozen=True, kw_only=True)
class PlayerLevel:
    """The answer of `distort player-level`."""

    part: ReelPart
    """The sweep that was read."""
    level: SweepLevel
    target_db_spl: float
    highest_at_top_db_spl: float
    """At the plan's highest level, once the volume is right, at the frequency where the loudspeaker is loudest."""


def level_of_recording(folder: SessionFolder, plan: Plan, recording: Recording) -> SweepLevel | None:
    """How loud a recorded sweep of the session was; None for another stimulus, without a calibration, and in the near
    field, which says nothing of 1 m."""
    sidecar = recording.sidecar
    plan = plan.of(sidecar.condition)
    if sidecar.calibration is None or sidecar.stimulus_name not in SWEEPS or plan.near_field_of is not None:
        return None
    return _sweep_level(
        folder,
        plan,
        prepare(recording),
        sweep=sweep_of(sidecar.stimulus, recording.files.audio_path),
        calibration=sidecar.calibration,
        nominal_db_spl=sidecar.level_db_spl,
    )


def player_level(folder: SessionFolder, plan: Plan, recording: LongRecording, *, target_db_spl: float) -> PlayerLevel:
    """Find the reel in `recording`, a file or what was just listened to, and say how loud its sweep was.

    The sweep of `target_db_spl` is read, or the next quieter one where that was not recorded: up to there a loudspeaker
    is as good as linear. Raises UsageError when the reel has no such level, CalibrationError without a calibration,
    RecordingError when no reel or no whole sweep is heard.
    """
    calibration = require_ready(folder, plan, target_db_spl=target_db_spl)
    found = find_session_reel(recording, session_reels(folder))
    part = _sweep_heard(found, recording, target_db_spl)
    reel = found.reel.part_reel(part)
    taken = cut(recording, found, part)
    examined = examine(taken.at_reel_rate(), reel, what=f"{recording.what}, {part.name.stem}")
    prepared = prepare_samples(
        taken.at_reel_rate(),
        reel,
        start=examined.alignment.stimulus_start,
        clock_difference_ppm=examined.clock_difference_ppm(),
    )
    sweep = sweep_of(found.reel.stimulus(part), Path(recording.what))
    level = _sweep_level(
        folder,
        plan,
        prepared,
        sweep=sweep,
        calibration=calibration.in_force(),
        nominal_db_spl=part.level_db_spl,
    )
    return PlayerLevel(
        part=part, level=level, target_db_spl=target_db_spl, highest_at_top_db_spl=highest_at_top(plan, level)
    )


def highest_at_top(plan: Plan, level: SweepLevel) -> float:
    """What the plan's highest level gives where the loudspeaker is loudest, dB SPL at 1 m, once the volume is right."""
    return level.highest_db_spl + level.turn_db + plan.levels.db_spl[-1] - level.nominal_db_spl


def require_ready(folder: SessionFolder, plan: Plan, *, target_db_spl: float) -> MicrophoneCalibration:
    """The calibration, where all is there that a level needs beside a recording.

    Raises UsageError for a level that the plan does not have, CalibrationError without a calibration, SessionError
    without a reel.
    """
    if target_db_spl not in plan.levels.db_spl:
        raise UsageError(
            f"the plan has no level of {target_db_spl:g} dB SPL: it has "
            f"{', '.join(map(format_level, plan.levels.db_spl))}"
        )
    session_reels(folder)
    return require_calibration(folder)


def _sweep_heard(found: FoundReel, recording: LongRecording, target_db_spl: float) -> ReelPart:
    """The loudest whole sweep up to the target."""
    heard = []
    for index, part in enumerate(found.reel.parts):
        first, end = found.spans(part)
        if part.stimulus_name == SWEEP and found.heard_both(index) and first >= 0 and end <= recording.n_samples:
            heard.append(part)
    wanted = [part for part in heard if part.level_db_spl <= target_db_spl and not part.after]
    if not wanted:
        raise RecordingError(
            f"{recording.what} holds no whole sweep of up to {format_level(target_db_spl)} dB SPL between its chirps: "
            f"record the reel from its start until that sweep is over"
        )
    return max(wanted, key=lambda part: part.level_db_spl)


def _sweep_level(
    folder: SessionFolder,
    plan: Plan,
    prepared: Prepared,
    *,
    sweep: Sweep,
    calibration: CalibrationInForce,
    nominal_db_spl: float,
) -> SweepLevel:
    microphone = read_microphone(folder, plan)
    settings = Settings(
        orders=1, smoothing_octaves=SMOOTHING_OCTAVES, microphone=None if microphone is None else microphone.response
    )
    take = SweepTake(samples=prepared.samples, start=prepared.start, silences=prepared.silences, step=prepared.step)
    response = sweep_response(read_sweep([take], sweep, settings), reference_of(calibration, plan.setup.distance_m))
    low_hz, high_hz = plan.levels.band_hz
    rows = (response.frequency_hz >= low_hz) & (response.frequency_hz <= high_hz) & np.isfinite(response.noise_db)
    noise_db = float(power_to_db(np.mean(db_to_power(response.noise_db[rows])))) if np.any(rows) else math.nan
    return SweepLevel(
        nominal_db_spl=nominal_db_spl,
        measured_db_spl=band_mean_db(response, plan.levels.band_hz),
        noise_db_spl=noise_db,
        highest_db_spl=float(np.nanmax(response.level_db)),
    )
