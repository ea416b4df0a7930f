"""What a plan plays: one entry a kind of recording, in the order in which a level is played."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any

import signals
from distort.analysis.common.burst_limits import BurstLimits
from distort.session.plan.keys import BurstPlan, Plan
from distort.session.plan.multitone import MOST_REALISATIONS
from distort.session.plan.music import piece_of_file
from signals import Stimulus
from signals.burst import PEAK_OVER_RMS_DB, BurstSeries, third_octaves_hz
from signals.frames import Frames
from signals.levels import distance_gain_db
from signals.programme import Programme

SWEEP, SHORT_SWEEP, MULTITONE, PROGRAMME = "sweep", "sweep-short", "multitone", "programme"

SWEEPS = (SWEEP, SHORT_SWEEP)

HEATING = "heating"
"""The multitone for minutes: `measure --heating` plays it at a level that is named there, so it has no entry in
`PLAYED`, no stimulus file and no place in a reel."""

TRIAL_DRIVE_DBFS = -60.0
"""Any low drive will do to see whether the numbers make a stimulus, and how far its peak lies above its r.m.s."""

HEADROOM_DB = 0.1
"""What dither and a converter's own filter may add to a peak."""

HIGHEST_TONE_HZ = 20000.0
HIGHEST_TONE_SHARE = 0.45
"""Of the sample rate: above it a converter's filter begins to act."""


def _no_limit(plan: Plan) -> float:
    return math.inf


def _every_level(plan: Plan) -> tuple[float, ...]:
    return plan.levels.db_spl


def _no_facts(stimulus: Any) -> str:
    return ""


@dataclass(frozen=True, kw_only=True)
class PlayedKind:
    """One kind of recording: a stimulus, and what the plan says of it."""

    name: str
    """The first part of the names of its files, and what `--stimulus` and `--only` call it."""
    section: str
    """Of session.toml, that describes it."""
    made: Callable[[Plan, float], Stimulus | None]
    """At a drive, dBFS (AES17); None where the plan does not ask for it. Raises signals.SignalError for numbers that
    make none."""
    headroom_dbfs: Callable[[Plan], float] = _no_limit
    """The highest drive that digital full scale leaves to it; above, it is left out."""
    levels_db_spl: Callable[[Plan], tuple[float, ...]] = _every_level
    """Levels of the plan at which it is wanted."""
    highest_db_spl: Callable[[Plan], float] = _no_limit
    """The highest nominal level at which its loudest moment stays below the ceiling; above, it is left out."""
    lower_peak: str = "choose a lower level"
    """What one may do where it is left out, besides turning the loudspeaker up."""
    facts: Callable[[Any], str] = _no_facts
    """What else one should know of the stimulus that is given, in a few words; "": nothing."""
    own_levels: bool = False
    """A series of its own plays it at levels that the level series does not have."""


def sweep_stimulus(plan: Plan, *, drive_dbfs: float, short: bool = False) -> signals.Sweep:
    """The sweep of the plan at `drive_dbfs` (AES17); `short`: of half the length.

    Raises signals.SignalError when the drive would pass full scale.
    """
    sweep = plan.sweep
    return signals.Sweep(
        start_hz=sweep.start_hz,
        full_level_hz=sweep.full_level_hz,
        stop_hz=sweep.stop_hz,
        seconds=sweep.seconds / 2 if short else sweep.seconds,
        sample_rate=sweep.sample_rate,
        drive_dbfs=drive_dbfs,
        lowest_hz=sweep.lowest_hz,
    )


def multitone_stimulus(plan: Plan, *, drive_dbfs: float, realisation: int = 0) -> signals.Multitone:
    """The multitone of the plan at `drive_dbfs` (AES17), up to 20 kHz as far as the sample rate allows.

    realisation   which draw of the phases, from 0

    Raises signals.SignalError when the plan's lines do not fit its period, or the peak would pass full scale.
    """
    tones = plan.multitone
    return signals.Multitone(
        lines_per_decade=tones.lines_per_decade,
        high_hz=min(HIGHEST_TONE_HZ, HIGHEST_TONE_SHARE * plan.sweep.sample_rate),
        period_s=tones.period_s,
        periods=tones.periods,
        spectrum=tones.spectrum,
        phases=tones.phases,
        seed=tones.seed,
        realisation=realisation,
        sample_rate=plan.sweep.sample_rate,
        drive_dbfs=drive_dbfs,
        lowest_hz=plan.sweep.lowest_hz,
    )


def multitone_headroom_dbfs(plan: Plan, realisation: int = 0) -> float:
    """The highest drive at which the multitone's peak stays 0.1 dB below digital full scale, dBFS; infinite for a draw
    of the phases that the plan does not ask for."""
    if realisation >= plan.multitone.realisations:
        return math.inf
    trial = multitone_stimulus(plan, drive_dbfs=TRIAL_DRIVE_DBFS, realisation=realisation)
    return TRIAL_DRIVE_DBFS - trial.peak_dbfs - HEADROOM_DB


def burst_stimulus(plan: Plan, *, drive_dbfs: float) -> BurstSeries | None:
    """The bursts of the plan at `drive_dbfs` (AES17), none below [sweep] lowest_hz; None where it has no [burst].

    Raises signals.SignalError when no band is left, the highest does not fit the sample rate, or the drive would pass
    full scale.
    """
    bursts = plan.burst
    if bursts is None:
        return None
    every = third_octaves_hz(bursts.lowest_hz, bursts.highest_hz)
    if not every:
        raise signals.SignalError(
            f"highest_hz = {bursts.highest_hz:g} lies below lowest_hz = {bursts.lowest_hz:g}, so no third octave is "
            f"left: raise highest_hz"
        )
    lowest_hz = plan.sweep.lowest_hz or 0.0
    if every[-1] < lowest_hz:
        raise signals.SignalError(
            f"every third octave up to highest_hz = {bursts.highest_hz:g} lies below lowest_hz = {lowest_hz:g} of "
            f"[sweep], and nothing is played there: raise highest_hz, or leave [burst] out"
        )
    return BurstSeries(
        bands_hz=tuple(band_hz for band_hz in every if band_hz >= lowest_hz),
        periods=bursts.periods,
        gap_s=bursts.gap_s,
        sample_rate=plan.sweep.sample_rate,
        drive_dbfs=drive_dbfs,
    )


def burst_limits(plan: Plan) -> BurstLimits:
    """What ends a band of bursts by this plan, or by the defaults where it has no [burst]."""
    bursts = plan.burst or BurstPlan()
    ceiling_db_peak = bursts.ceiling_db_peak
    if ceiling_db_peak is None:
        ceiling_db_peak = plan.safety.ceiling_db_spl + PEAK_OVER_RMS_DB
    microphone_db_peak = math.inf
    if plan.microphone.max_db_spl is not None:  # a tone's, so its peak counts
        microphone_db_peak = plan.microphone.max_db_spl + distance_gain_db(plan.setup.distance_m) + PEAK_OVER_RMS_DB
    return BurstLimits(
        compression_db=bursts.max_compression_db,
        orders_db=bursts.max_orders_db,
        ceiling_db_peak=ceiling_db_peak,
        max_drive_dbfs=plan.safety.max_drive_dbfs,
        microphone_db_peak=microphone_db_peak,
    )


def frames_stimulus(plan: Plan, *, drive_dbfs: float) -> Frames | None:
    """The frames of the plan at `drive_dbfs` (AES17), none below [sweep] lowest_hz; None where it has no [frames].

    Raises signals.SignalError when no frequency is left, the highest does not fit the sample rate, or the drive would
    pass full scale.
    """
    frames = plan.frames
    if frames is None:
        return None
    lowest_hz = plan.sweep.lowest_hz or 0.0
    played = tuple(at_hz for at_hz in frames.frequencies_hz if at_hz >= lowest_hz)
    if not played:
        raise signals.SignalError(
            f"all of frequencies_hz, up to {frames.frequencies_hz[-1]:g}, lie below lowest_hz = {lowest_hz:g} of "
            f"[sweep], and nothing is played there: name a higher one, or leave [frames] out"
        )
    return Frames(
        frequencies_hz=played,
        below_db=frames.below_db,
        sample_rate=plan.sweep.sample_rate,
        drive_dbfs=drive_dbfs,
    )


def programme_stimulus(plan: Plan, *, drive_dbfs: float) -> Programme | None:
    """The music of the plan at `drive_dbfs` (AES17), nothing below [sweep] lowest_hz; None where it has no [programme],
    or names a file and was not read from a session, in which that would lie.

    Raises PlanError for a file that is missing or no music, signals.SignalError when its peak would pass full scale, or
    `lowest_hz` leaves nothing of it.
    """
    music = plan.programme
    if music is None or (music.file is not None and plan.root is None):
        return None
    rate, lowest_hz = plan.sweep.sample_rate, plan.sweep.lowest_hz
    if music.file is not None and plan.root is not None:
        return piece_of_file(plan.root, music.file, sample_rate=rate, drive_dbfs=drive_dbfs, lowest_hz=lowest_hz)
    return Programme(seconds=music.seconds, sample_rate=rate, drive_dbfs=drive_dbfs, lowest_hz=lowest_hz)


def programme_headroom_dbfs(plan: Plan) -> float:
    """The highest drive at which the music's peak stays 0.1 dB below digital full scale; infinite without any."""
    trial = programme_stimulus(plan, drive_dbfs=TRIAL_DRIVE_DBFS)
    return math.inf if trial is None else -trial.crest_db - HEADROOM_DB


def programme_levels(plan: Plan) -> tuple[float, ...]:
    """Levels at which the music is wanted: those of [programme] levels, or all."""
    named = None if plan.programme is None else plan.programme.levels
    return plan.levels.db_spl if named is None else named


def programme_highest_db_spl(plan: Plan) -> float:
    """The highest nominal level at which the loudest 125 ms of the music stay below the ceiling: what a sound level
    meter with time weighting F would read of a loudspeaker that gives all it should."""
    trial = programme_stimulus(plan, drive_dbfs=TRIAL_DRIVE_DBFS)
    return math.inf if trial is None else plan.safety.ceiling_db_spl - trial.loudest_db


def _sweep(plan: Plan, drive_dbfs: float) -> Stimulus:
    return sweep_stimulus(plan, drive_dbfs=drive_dbfs)


def _short_sweep(plan: Plan, drive_dbfs: float) -> Stimulus | None:
    return sweep_stimulus(plan, drive_dbfs=drive_dbfs, short=True) if plan.sweep.short else None


def _burst(plan: Plan, drive_dbfs: float) -> Stimulus | None:
    return burst_stimulus(plan, drive_dbfs=drive_dbfs)


def _frames(plan: Plan, drive_dbfs: float) -> Stimulus | None:
    return frames_stimulus(plan, drive_dbfs=drive_dbfs)


def frames_levels(plan: Plan) -> tuple[float, ...]:
    """Levels at which the plan has frames: the highest; none where it has no [frames]."""
    return () if plan.frames is None else plan.levels.db_spl[-plan.frames.highest_levels :]


def _frames_facts(frames: Frames) -> str:
    return (
        f"{len(frames.frames)} frames, each loud for {1000.0 * min(one.hold_s for one in frames.frames):.0f} to "
        f"{1000.0 * max(one.hold_s for one in frames.frames):.0f} ms"
    )


def _programme(plan: Plan, drive_dbfs: float) -> Stimulus | None:
    return programme_stimulus(plan, drive_dbfs=drive_dbfs)


def _music_facts(piece: Programme) -> str:
    return f"{piece.n_samples / piece.sample_rate:.1f} s of music, its peak {piece.crest_db:.1f} dB above a sine's"


def _tone_facts(tone: signals.Multitone) -> str:
    return (
        f"{tone.line_bins.size} lines, {tone.lines_per_decade:g} a decade, period {tone.period_s:g} s, "
        f"crest factor {tone.crest_factor_db:.1f} dB"
    )


def _multitone(plan: Plan, drive_dbfs: float, realisation: int) -> Stimulus | None:
    if realisation >= plan.multitone.realisations:
        return None
    return multitone_stimulus(plan, drive_dbfs=drive_dbfs, realisation=realisation)


def _draw(realisation: int) -> PlayedKind:
    """The multitone with one draw of its phases, from 0: multitone, multitone-2, ..."""
    return PlayedKind(
        name=MULTITONE if realisation == 0 else f"{MULTITONE}-{realisation + 1}",
        section="multitone",
        made=partial(_multitone, realisation=realisation),
        headroom_dbfs=partial(multitone_headroom_dbfs, realisation=realisation),
        lower_peak='choose another seed or phases = "low-crest" in [multitone] of session.toml',
        facts=_tone_facts,
    )


_DRAWS = tuple(map(_draw, range(MOST_REALISATIONS)))

READ_AS = {draw.name: MULTITONE for draw in _DRAWS}
"""By name of a stimulus: as which it is analysed, together with its like. Others are analysed as what they are."""

PLAYED: tuple[PlayedKind, ...] = (
    PlayedKind(name=SWEEP, section="sweep", made=_sweep),
    PlayedKind(name=SHORT_SWEEP, section="sweep", made=_short_sweep),
    *_DRAWS,
    PlayedKind(name="burst", section="burst", made=_burst, own_levels=True),
    PlayedKind(name="frames", section="frames", made=_frames, levels_db_spl=frames_levels, facts=_frames_facts),
    PlayedKind(
        name=PROGRAMME,
        section="programme",
        made=_programme,
        headroom_dbfs=programme_headroom_dbfs,
        levels_db_spl=programme_levels,
        highest_db_spl=programme_highest_db_spl,
        facts=_music_facts,
    ),
)
"""In the order in which a level is played."""
