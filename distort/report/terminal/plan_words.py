"""What is said before anything loud is played: cautions, and what will be played how long and how loud."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from rich.console import Console

from distort.capture.measuring.starting import Ready
from distort.capture.measuring.steps import Step
from distort.capture.measuring.third_octaves import Standstill
from distort.recording.quality.noise import GOOD_SNR_DB
from distort.report.text.console import say
from distort.report.text.numbers import level_name
from distort.session.plan.keys import Plan
from signals.levels import amplitude_to_db

CAUTIONS = (
    "Hearing: 85 dB(A) for 8 hours a day, and half of that time for every 3 dB more, is the limit that NIOSH "
    "recommends (publication 98-126). Your local rules come first. Wear protection or leave the room, and warn others.",
    "Drivers: a sweep moves a woofer farthest at the lowest frequencies, and a tweeter takes far less power than the "
    "loudspeaker as a whole: set lowest_hz in the plan for a small loudspeaker.",
    "Mains: do not open active loudspeakers or amplifiers; leave that to people who are licensed for it.",
)


@dataclass(frozen=True, kw_only=True)
class LevelPlanned:
    """What will be played at one level."""

    level_db_spl: float
    drive_dbfs: float
    peak_dbfs: float
    recordings: int
    seconds: float
    """Of sound and the silences around it, without rests."""

    @property
    def permitted_hours(self) -> float:
        """Hours a day at this level: `8 / 2^((L - 85)/3)` (NIOSH publication 98-126), L in dB(A)."""
        return float(8.0 / 2.0 ** ((self.level_db_spl - 85.0) / 3.0))


def planned_levels(steps: Sequence[Step]) -> tuple[LevelPlanned, ...]:
    """What `steps` play at each level, from the lowest level up."""
    found = []
    for level in sorted({step.item.level_db_spl for step in steps}):
        here = [step for step in steps if step.item.level_db_spl == level]
        distinct = {step.item.stem: step.item.reel for step in here}
        peaks = [float(np.max(np.abs(reel.samples()))) for reel in distinct.values()]
        found.append(
            LevelPlanned(
                level_db_spl=level,
                drive_dbfs=here[0].item.stimulus.drive_dbfs,
                peak_dbfs=float(amplitude_to_db(max(peaks))),
                recordings=len(here),
                seconds=sum(distinct[step.item.stem].n_samples / step.item.reel.sample_rate for step in here),
            )
        )
    return tuple(found)


def print_cautions(console: Console) -> None:
    """Hearing, drivers, mains: with limits and sources."""
    say(console, *CAUTIONS)


def print_levels(console: Console, steps: Sequence[Step]) -> tuple[LevelPlanned, ...]:
    """One line a level: recordings, seconds, drive, peak, permitted time."""
    levels = planned_levels(steps)
    for one in levels:
        say(
            console,
            f"  {level_name(one.level_db_spl)} dB SPL: {one.recordings} "
            f"{'recording' if one.recordings == 1 else 'recordings'}, {one.seconds:.0f} s, "
            f"drive {one.drive_dbfs:.1f}, peak {one.peak_dbfs:.1f} dBFS, {_duration(one.permitted_hours)} a day",
        )
    return levels


def print_plan(console: Console, ready: Ready, plan: Plan) -> None:
    """One line a level, how long all of it takes, what the input will hold, and what else must be known first."""
    steps, condition = ready.steps, ready.choice.condition
    say(console, *ready.notes)
    say(console, f"To be played in condition {condition}, levels at 1 m, permitted time a day by NIOSH as if dB(A):")
    levels = print_levels(console, steps)
    # the first is not preceded by a rest
    rests_s = sum(step.rest_s for step in steps[1:])
    minutes = (sum(one.seconds for one in levels) + rests_s) / 60.0
    say(console, f"  With rests it takes {minutes:.0f} min." if minutes >= 2.0 else "  It takes under 2 min.")
    peak_dbfs, snr_db = ready.input_peak_dbfs, ready.lowest_signal_to_noise_db(plan)
    if peak_dbfs is None or snr_db is None:
        return
    doubt = "" if snr_db >= GOOD_SNR_DB else f": under {GOOD_SNR_DB:.0f} dB low distortion drowns in noise"
    say(
        console,
        f"  Microphone's input: peak up to {peak_dbfs:.1f} dBFS, and {snr_db:.0f} dB over an octave's noise at the "
        f"lowest level{doubt}.",
    )


def ended_sentence(condition: str, ended: Standstill) -> str:
    """Why the ladder of a condition ends below the plan's highest level."""
    return (
        f"{condition}: the ladder ends at {level_name(ended.level_db_spl)} dB SPL. In the octave about "
        f"{ended.octave_hz:.0f} Hz the output rose by {ended.rise_db:.1f} dB from "
        f"{level_name(ended.from_db_spl)} dB SPL on, while the drive rose by {ended.drive_db:.1f} dB: the loudspeaker "
        f"limits. --past-limiting records the levels above as well."
    )


def print_ended(console: Console, condition: str, ended: Standstill | None) -> None:
    """Why levels were left out; nothing where none was."""
    if ended is not None:
        say(console, ended_sentence(condition, ended))


def _duration(hours: float) -> str:
    """Hours, minutes or seconds, rounded down: a limit is never stated longer than it is."""
    if hours >= 24.0:
        return "any time"
    if hours >= 2.0:
        return f"{int(hours)} h"
    minutes = 60.0 * hours
    return f"{int(minutes)} min" if minutes >= 2.0 else f"{int(60.0 * minutes)} s"
