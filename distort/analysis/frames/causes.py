"""What takes level in the loud stretch of a frame, told apart by when it comes and when it goes.

    compression = instantaneous + limiter + heat         dB, at the end of the loud stretch

Compression is read in the loud stretch itself. A limiter is what the quiet probe afterwards lacks and gets back soon;
heat is what it lacks for longer than three releases; both are read where nothing is loud any more, so neither is mixed
with what a curve does to a loud signal. What is left is instantaneous. Where the probe shows no release, the attack
tells, if it lasts ten periods: what is lost after the first moment is a limiter's.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from distort.analysis.common.statistics import TWO_SIDED_95
from distort.analysis.frames.attack import Attack, read_attack
from distort.analysis.frames.baseband import WINDOW_STEPS, Baseband, baseband
from distort.analysis.frames.reading import AFTER_S, LEAST_DB, LEAST_PART_DB, LEAST_SHARE, SHARES, FrameReading
from distort.analysis.frames.release import SIGMAS, TOLD_PERIODS, Expected, Release, read_release
from signals.frames import Frame

FloatArray = npt.NDArray[np.float64]

LEAST_HEAT_DB = 0.03
"""Below it the probes themselves, played through a room, scatter."""

LEAST_SIGMA_DB, RELIEF_SHARE = 0.15, 0.3
"""How far an attack may be off about the limiter: by the fit in a room, and, for a curve whose loss grows with the
square of the amplitude, by a third and more of what it loses at the first moment (own choice; devices to tune on)."""

ROOM_SHARE = 0.5
"""Where the room still gives back so much of the loud stretch, re the probe, the plain gain there is not told."""

TIME_INTERVAL = 0.3
"""A release is stated where its 95 % interval is within so much of it."""

AT_THE_BOUND = 1.1
"""A release is sought from ten periods on; one found there may be shorter, and then its depth is not known."""

QUICKEST_LIMITER_S = 0.04
"""Where ten periods last longer than a limiter's release may, no release proves nothing (common practice, no source:
limiters of loudspeakers let go in 50 ms or more)."""

RAMP_SHARE = 0.5
"""Heat grows in proportion to the energy, so it makes 63 % of its way in 63 % of the stretch; a limiter in less."""

DECIBEL = 20.0 / np.log(10.0)


def read_frame(takes: Sequence[FloatArray], frame: Frame) -> FrameReading:
    """Of takes as `baseband` wants them: fit the loud stretch, the probe after it, and the loud stretch again without
    what the probe shows to be slow."""
    base = baseband(takes, frame)
    sudden = read_attack(base, np.zeros(base.hold_steps))
    least_db = max(LEAST_SHARE * _lost_db(sudden.last), LEAST_PART_DB)
    attack, release = sudden, read_release(base, sudden.gain, least_db=least_db, expected=_expected(base, sudden))
    if _lets_go_slowly(base, sudden, release):
        told = _undivided(base, sudden)
        return replace(told, limiter_db=told.compression_db, attack_s=sudden.time_s if _told(base, sudden) else np.nan)
    if release.slow_db > SIGMAS * release.slow_sigma_db:
        ramp = (np.arange(base.hold_steps) + 0.5) / base.hold_steps
        attack = read_attack(base, release.slow_db * ramp)
        release = read_release(base, attack.gain, least_db=least_db, expected=_expected(base, attack))
    return _judged(base, attack, release)


def _expected(base: Baseband, attack: Attack) -> Expected | None:
    """What is lost after the first moment is a limiter's, if that lasts long enough to be told. A limiter before a
    curve relieves it, so that less seems lost than it takes."""
    if not _told(base, attack):
        return None
    first_db = abs(_lost_db(attack.first))
    return Expected(
        limiter_db=_lost_db(attack.last) - _lost_db(attack.first),
        sigma_db=LEAST_SIGMA_DB + RELIEF_SHARE * first_db,
    )


def _told(base: Baseband, attack: Attack) -> bool:
    told_s = TOLD_PERIODS / base.frame.frequency_hz
    way_db = _lost_db(attack.last) - _lost_db(attack.first)
    return bool(attack.clear and attack.time_s >= told_s and way_db >= LEAST_PART_DB)


def _lets_go_slowly(base: Baseband, sudden: Attack, release: Release) -> bool:
    """What came at once and stays for seconds is no heat alone, which grows with the energy: a limiter's long release.

    sudden   the attack as it is fitted when nothing is taken to be slow
    """
    most = release.slow_db > max(0.5 * _lost_db(sudden.last), SIGMAS * release.slow_sigma_db, LEAST_DB)
    return bool(most and release.limiter_db == 0.0 and sudden.time_s < RAMP_SHARE * base.frame.hold_s)


def _judged(base: Baseband, attack: Attack, release: Release) -> FrameReading:
    """The parts, where there is anything to divide."""
    blank = _undivided(base, attack)
    total_db = blank.compression_db
    if total_db < LEAST_DB or blank.uncertainty_db > max(LEAST_DB, LEAST_SHARE * total_db):
        return blank
    limits = release.limiter_db > 0.0
    slow_db = release.slow_db if release.slow_db > max(SIGMAS * release.slow_sigma_db, LEAST_HEAT_DB) else 0.0
    told_s = TOLD_PERIODS / base.frame.frequency_hz
    hidden = slow_db == 0.0 and SIGMAS * release.slow_sigma_db > LEAST_PART_DB
    told = replace(blank, heat_db=np.nan if hidden else slow_db)
    attack_s = attack.time_s if _told(base, attack) else np.nan
    if limits and release.time_s > AT_THE_BOUND * told_s:
        sure = TWO_SIDED_95 * release.time_sigma <= TIME_INTERVAL
        told = replace(
            told,
            release_s=release.time_s if sure else np.nan,
            split_uncertainty_db=TWO_SIDED_95 * release.limiter_sigma_db,
        )
        return _split(told, min(release.limiter_db, total_db - slow_db), attack_s=attack_s)
    if not np.isnan(attack_s) and not slow_db and not limits:
        return _split(told, total_db - _lost_db(attack.first), attack_s=attack_s)
    if limits or told_s > QUICKEST_LIMITER_S:
        return replace(told, either_db=total_db - slow_db)
    return _split(told, 0.0, attack_s=np.nan)


def _undivided(base: Baseband, attack: Attack) -> FrameReading:
    """The compression, how sure it is, and how the gain goes."""
    sigma_db = DECIBEL * base.noise / float(np.sqrt(max(base.hold_steps / WINDOW_STEPS, 1.0)))
    sent = np.ones(base.envelope.size)
    sent[: base.hold_steps] = base.loud
    linear = np.abs(base.through_room(sent))
    sent[base.hold_steps :] = 0.0
    lingers = np.abs(base.through_room(sent)) > ROOM_SHARE * linear
    gain_db = 20.0 * np.log10(np.maximum(np.abs(base.envelope) / linear, 1e-6))
    gain_db[base.hold_steps :][lingers[base.hold_steps :]] = np.nan
    steps = np.arange(base.envelope.size)
    return FrameReading(
        compression_db=_lost_db(attack.last),
        uncertainty_db=float(TWO_SIDED_95 * sigma_db),
        gain_in_test_db=np.interp(np.array(SHARES) * base.hold_steps, steps, gain_db),
        gain_after_db=np.interp(base.hold_steps + np.array(AFTER_S) / base.frame.step_s, steps, gain_db),
    )


def _split(told: FrameReading, limiter_db: float, *, attack_s: float) -> FrameReading:
    """With what the limiter takes; its attack where it takes enough."""
    limits = limiter_db >= max(LEAST_SHARE * told.compression_db, LEAST_PART_DB)
    return replace(
        told,
        limiter_db=limiter_db,
        instantaneous_db=told.compression_db - float(np.nan_to_num(told.heat_db)) - limiter_db,
        attack_s=attack_s if limits else np.nan,
    )


def _lost_db(gain: complex) -> float:
    return -20.0 * float(np.log10(max(abs(gain), 1e-6)))
