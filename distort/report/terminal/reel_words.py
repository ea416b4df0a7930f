"""What is said about a reel: what it plays and for how long, what was found in its recording, how far to turn."""

import math
from collections.abc import Sequence

from rich.console import Console

from distort.capture.measuring.steps import Step
from distort.capture.reel.importing import AddedReel
from distort.capture.reel.player_level import PlayerLevel, SweepLevel
from distort.recording.quality.check import CLOCK_SAME_PPM
from distort.report.terminal.capture_words import print_recorded
from distort.report.terminal.plan_words import print_cautions, print_levels
from distort.report.text.console import say
from distort.report.text.numbers import level_name
from distort.session.plan.keys import Plan
from distort.session.recordings.reel_file import SessionReel


def print_reel(console: Console, reel: SessionReel, steps: Sequence[Step]) -> None:
    """The cautions, one line a level, and how long the whole reel takes."""
    print_cautions(console)
    say(console, f"{reel.file} plays these levels at 1 m, permitted time a day by NIOSH as if dB(A):")
    print_levels(console, steps)
    seconds = reel.reel.n_samples / reel.sample_rate
    say(
        console,
        f"  It takes {int(seconds // 60)} min {seconds % 60:.0f} s, from the quietest level up, with rests. Leave the "
        f"volume alone while it plays, switch off everything that turns it by itself, and record from before it starts "
        f"until after the last chirp.",
    )


def print_player_level(console: Console, found: PlayerLevel, plan: Plan) -> None:
    """By how much to turn the player, and what that rests on."""
    say(console, _measured(found.level))
    say(console, turn_sentence(found.level))
    if found.part.level_db_spl != found.target_db_spl:
        say(
            console,
            f"The sweep of {level_name(found.target_db_spl)} dB SPL was not heard whole; that of "
            f"{level_name(found.part.level_db_spl)} says the same, because their drives are exact steps apart.",
        )
    if found.highest_at_top_db_spl > plan.safety.ceiling_db_spl:
        say(
            console,
            f"Careful: at {level_name(plan.levels.db_spl[-1])} dB SPL it would then give "
            f"{found.highest_at_top_db_spl:.1f} dB SPL where it is loudest, above [safety] ceiling_db_spl = "
            f"{plan.safety.ceiling_db_spl:g}: leave the level out of session.toml.",
        )


def turn_sentence(level: SweepLevel) -> str:
    """ "Turn the player up by 3.2 dB." """
    if level.right:
        return f"The volume is right, within {abs(level.turn_db):.1f} dB: leave it there."
    return f"Turn the player {'up' if level.turn_db > 0 else 'down'} by {abs(level.turn_db):.1f} dB."


def print_level_warning(console: Console, level: SweepLevel | None) -> None:
    """A recorded sweep that was not as loud as its name says; nothing when it was, or nobody knows."""
    if level is not None and abs(level.turn_db) > LEVEL_AS_NAMED_DB:
        say(
            console,
            f"Careful: {_measured(level)} It is kept; if the loudspeaker does not hold back there, the volume stood "
            f"{abs(level.turn_db):.1f} dB too {'low' if level.turn_db > 0 else 'high'}.",
        )


LEVEL_AS_NAMED_DB = 1.0
"""A nominal level names a rung; from 1 dB on its name misleads (our choice)."""


def print_added_reel(console: Console, condition: str, added: AddedReel, *, folder: str) -> None:
    """What was found and kept, what was not and why, and what the recordings allow."""
    uncertainty_ppm = max(added.clock_uncertainty_ppm, CLOCK_SAME_PPM)
    clocks = f"The clocks of player and recorder agree within {uncertainty_ppm:.2g} ppm."
    if abs(added.clock_ppm) > uncertainty_ppm:
        fast = "fast" if added.clock_ppm >= 0 else "slow"
        clocks = (
            f"The recorder's clock is {abs(added.clock_ppm):.2f} ppm {fast} (+- {uncertainty_ppm:.2g}); "
            f"this is repaired."
        )
    say(console, f"Found {added.reel.file}. {clocks}")
    print_recorded(console, condition, added.recordings)
    for sentence in added.refused:
        say(console, f"Refused: {sentence}")
    if added.set_aside:
        say(
            console,
            f"Set aside, because the whole reel was recorded in one go: "
            f"{', '.join(one.sidecar.name.stem for one in added.set_aside)}.",
        )
    for name, down_db in added.down_db:
        say(
            console,
            f"Careful: right after {name} everything was {abs(down_db):.1f} dB quieter for a while: the loudspeaker "
            f"was hot, or the player turns loud sounds down by itself.",
        )
    print_level_warning(console, added.level)
    _say_compression(console, added)
    _say_passed(console, added, folder)


def _measured(level: SweepLevel) -> str:
    noise = "the noise is not known"
    if not math.isnan(level.noise_db_spl):
        noise = (
            f"+- {max(level.uncertainty_db, 0.01):.2f} dB by noise, which lies "
            f"{level.measured_db_spl - level.noise_db_spl:.0f} dB lower"
        )
    return (
        f"The sweep of {level_name(level.nominal_db_spl)} dB SPL gives {level.measured_db_spl:.1f} dB SPL at 1 m "
        f"({noise})."
    )


def _say_compression(console: Console, added: AddedReel) -> None:
    if added.turned_db is not None:
        return
    why = "nobody said how far the volume was turned since the first recording (--turned-db)"
    if not added.can_tell_level:
        why = "noise leaves open whether the player changed its level meanwhile; say --turned-db if you know"
    say(console, f"There will be no compression result: {why}.")


def _say_passed(console: Console, added: AddedReel, folder: str) -> None:
    if added.level is None:
        say(console, "There is no calibration: results will be in dBFS, and no sound pressure level is known.")
    if added.reel.up_to_db_spl is None or added.level is None:
        return
    if added.passed:
        again = "" if added.level.right else f" {turn_sentence(added.level)} To set it closer, record it again."
        say(console, f"The quiet part has passed.{again} Next: distort stimuli {folder} --reel")
    elif added.refused:
        say(console, "The quiet part has not passed, because parts of it were refused: record it again.")
    else:
        say(
            console,
            f"The quiet part has not passed: it is {-added.level.turn_db:.1f} dB louder than it should be. "
            f"{turn_sentence(added.level)} Then record it again.",
        )
