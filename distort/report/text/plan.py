"""What is said before anything loud is played: cautions, and what will be played how long and how loud."""

import math
from collections.abc import Iterator, Sequence

from distort.capture.measuring.exposure import DayExposure, share_of_day
from distort.capture.measuring.starting import Ready
from distort.capture.measuring.steps import LevelPlanned, Step, planned_levels
from distort.capture.measuring.third_octaves import Standstill
from distort.recording.clocks import REST_BEFORE_DRIFT_S
from distort.recording.quality.noise import GOOD_SNR_DB
from distort.report.text.numbers import level_name
from distort.session.plan.keys import Plan
from signals.levels import db_to_power

CAUTIONS = (
    "Hearing: 85 dB(A) for 8 hours a day, and half of that time for every 3 dB more, is the limit that NIOSH "
    "recommends (publication 98-126). Your local rules come first. Wear protection or leave the room, and warn others.",
    "Drivers: a sweep moves a woofer farthest at the lowest frequencies, and a tweeter takes far less power than the "
    "loudspeaker as a whole: set lowest_hz in the plan for a small loudspeaker.",
    "Mains: do not open active loudspeakers or amplifiers; leave that to people who are licensed for it.",
)


WARM_UP_MIN = 30.0
"""For an active loudspeaker of which the plan says nothing (common practice, no source)."""


def switched_on_sentences(plan: Plan) -> Iterator[str]:
    """What an active loudspeaker needs before the first sound: to be warm, and not to fall asleep in a rest."""
    warm_up_min, standby_min = plan.levels.warm_up_min, plan.levels.standby_min
    said = f"about {WARM_UP_MIN:.0f} min" if warm_up_min is None else f"{warm_up_min:g} min (warm_up_min in the plan)"
    yield (
        f"Active loudspeakers: they change while they warm, so switch yours on {said} before the first sound. Switch "
        f"automatic standby off: one that sleeps misses the beginning of what is played, and wakes cold."
    )
    rest_s = max(plan.levels.rest_s, REST_BEFORE_DRIFT_S if plan.levels.repeat_reference else 0.0)
    if standby_min is not None and 60.0 * standby_min <= rest_s:
        yield (
            f"Careful: it turns itself off after {standby_min:g} min of quiet, and the plan rests for {rest_s:.0f} s: "
            f"switch its standby off, or shorten [levels] rest_s."
        )


def order_sentence(steps: Sequence[Step]) -> str:
    """In which order the recordings are made."""
    kinds = list(dict.fromkeys(step.item.stimulus_name for step in steps if not step.name.after))
    repeats = [step.name.stem for step in steps if step.name.after]
    first = f"levels from the quietest up, at each {', '.join(kinds)}" if kinds else ""
    return f"  Order: {'; then '.join(part for part in (first, ', '.join(repeats)) if part)}."


def whole_sentences(levels: Sequence[LevelPlanned]) -> Iterator[str]:
    """What all of it feeds to the loudspeaker, and how much of a day's exposure it is."""
    top = levels[-1]
    energy_s = sum(one.energy_s for one in levels)
    seconds = energy_s / float(db_to_power(top.drive_dbfs))
    yield (
        f"  Energy at the loudspeaker: that of a sine at the drive of {level_name(top.level_db_spl)} dB SPL for "
        f"{seconds:.0f} s, {100.0 * top.energy_s / energy_s:.0f} % of it at that level."
    )
    share = share_of_day((one.level_db_spl, one.sounding_s) for one in levels)
    yield (
        f"  Exposure at 1 m without protection: {share_words(share)} of what NIOSH permits a day; a desk or a room "
        f"adds to it. Your local rules come first."
    )


def share_words(share: float) -> str:
    """A share of a day's exposure, rounded up: it is never stated smaller than it is."""
    return f"{math.ceil(100.0 * share)} %"


def day_sentences(day: DayExposure | None, plan: Plan) -> Iterator[str]:
    """How much of the day's exposure is used, and what is left at the plan's highest level; nothing where nothing
    real was played."""
    if day is None:
        return
    top = plan.levels.db_spl[-1]
    left_s = day.left_s(top)
    left = f"left at {level_name(top)} dB SPL: {_duration(left_s / 3600.0)}" if left_s > 0.0 else "nothing is left"
    not_kept = f", {day.not_kept} more broken off or no good" if day.not_kept else ""
    yield (
        f"Exposure on {day.date} ({day.recordings} recordings of that date in this session{not_kept}; what else you "
        f"heard counts "
        f"as well): {share_words(day.share)} of what NIOSH permits a day at 1 m without protection; {left}. Your local "
        f"rules come first."
    )


def rest_sentences(owed_s: float) -> Iterator[str]:
    """That the loudspeaker rests before anything sounds; nothing where it has."""
    if owed_s > 0.0:
        yield f"The loudspeaker rests for {math.ceil(owed_s)} s more after what was played last."


def level_sentences(levels: Sequence[LevelPlanned]) -> list[str]:
    """One line a level: recordings, seconds, drive, peak, permitted time."""
    return [
        f"  {level_name(one.level_db_spl)} dB SPL: {one.recordings} "
        f"{'recording' if one.recordings == 1 else 'recordings'}, {one.seconds:.0f} s, "
        f"drive {one.drive_dbfs:.1f}, peak {one.peak_dbfs:.1f} dBFS, {_duration(one.permitted_hours)} a day"
        for one in levels
    ]


def before_sentences(steps: Sequence[Step], plan: Plan, *, condition: str) -> Iterator[str]:
    """What is said before the first sound: order, duration, energy and exposure of all that will be played; nothing
    where that is nothing."""
    if not steps:
        return
    yield from switched_on_sentences(plan)
    levels = planned_levels(steps)
    count = "1 recording" if len(steps) == 1 else f"{len(steps)} recordings"
    yield f"Planned in condition {condition}: {count}, after a quiet sweep."
    yield order_sentence(steps)
    # the first is not preceded by a rest
    minutes = (sum(one.seconds for one in levels) + sum(step.rest_s for step in steps[1:])) / 60.0
    yield f"  With rests it takes {minutes:.0f} min." if minutes >= 2.0 else "  It takes under 2 min."
    yield "  A recording that is no good is played once more, which counts as well."
    yield from whole_sentences(levels)


def plan_sentences(ready: Ready, plan: Plan) -> Iterator[str]:
    """One line a level, what the input will hold, and what else must be known before it is loud."""
    steps, condition = ready.steps, ready.choice.condition
    yield from ready.notes
    yield f"To be played in condition {condition}, levels at 1 m, permitted time a day by NIOSH as if dB(A):"
    yield from level_sentences(planned_levels(steps))
    peak_dbfs, snr_db = ready.input_peak_dbfs, ready.lowest_signal_to_noise_db(plan)
    if peak_dbfs is None or snr_db is None:
        return
    doubt = "" if snr_db >= GOOD_SNR_DB else f": under {GOOD_SNR_DB:.0f} dB low distortion drowns in noise"
    yield (
        f"  Microphone's input: peak up to {peak_dbfs:.1f} dBFS, and {snr_db:.0f} dB over an octave's noise at the "
        f"lowest level{doubt}."
    )


def ended_sentence(condition: str, ended: Standstill) -> str:
    """Why the ladder of a condition ends below the plan's highest level."""
    return (
        f"{condition}: the level series ends at {level_name(ended.level_db_spl)} dB SPL. In the octave about "
        f"{ended.octave_hz:.0f} Hz the output rose by {ended.rise_db:.1f} dB from "
        f"{level_name(ended.from_db_spl)} dB SPL on, while the drive rose by {ended.drive_db:.1f} dB: the loudspeaker "
        f"limits. --past-limiting records the levels above as well."
    )


def ended_sentences(condition: str, ended: Standstill | None) -> Iterator[str]:
    """Why levels were left out; nothing where none was."""
    if ended is not None:
        yield ended_sentence(condition, ended)


def _duration(hours: float) -> str:
    """Hours, minutes or seconds, rounded down: a limit is never stated longer than it is."""
    if hours >= 24.0:
        return "any time"
    if hours >= 2.0:
        return f"{int(hours)} h"
    minutes = 60.0 * hours
    return f"{int(minutes)} min" if minutes >= 2.0 else f"{int(60.0 * minutes)} s"
