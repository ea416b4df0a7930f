"""What is said before anything loud is played: cautions, and what will be played how long and how loud."""

from collections.abc import Iterator, Sequence

from distort.capture.measuring.starting import Ready
from distort.capture.measuring.steps import LevelPlanned, planned_levels
from distort.capture.measuring.third_octaves import Standstill
from distort.recording.quality.noise import GOOD_SNR_DB
from distort.report.text.numbers import level_name
from distort.session.plan.keys import Plan

CAUTIONS = (
    "Hearing: 85 dB(A) for 8 hours a day, and half of that time for every 3 dB more, is the limit that NIOSH "
    "recommends (publication 98-126). Your local rules come first. Wear protection or leave the room, and warn others.",
    "Drivers: a sweep moves a woofer farthest at the lowest frequencies, and a tweeter takes far less power than the "
    "loudspeaker as a whole: set lowest_hz in the plan for a small loudspeaker.",
    "Mains: do not open active loudspeakers or amplifiers; leave that to people who are licensed for it.",
)


def level_sentences(levels: Sequence[LevelPlanned]) -> list[str]:
    """One line a level: recordings, seconds, drive, peak, permitted time."""
    return [
        f"  {level_name(one.level_db_spl)} dB SPL: {one.recordings} "
        f"{'recording' if one.recordings == 1 else 'recordings'}, {one.seconds:.0f} s, "
        f"drive {one.drive_dbfs:.1f}, peak {one.peak_dbfs:.1f} dBFS, {_duration(one.permitted_hours)} a day"
        for one in levels
    ]


def plan_sentences(ready: Ready, plan: Plan) -> Iterator[str]:
    """One line a level, how long all of it takes, what the input will hold, and what else must be known first."""
    steps, condition = ready.steps, ready.choice.condition
    yield from ready.notes
    yield f"To be played in condition {condition}, levels at 1 m, permitted time a day by NIOSH as if dB(A):"
    levels = planned_levels(steps)
    yield from level_sentences(levels)
    # the first is not preceded by a rest
    rests_s = sum(step.rest_s for step in steps[1:])
    minutes = (sum(one.seconds for one in levels) + rests_s) / 60.0
    yield f"  With rests it takes {minutes:.0f} min." if minutes >= 2.0 else "  It takes under 2 min."
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
        f"{condition}: the ladder ends at {level_name(ended.level_db_spl)} dB SPL. In the octave about "
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
