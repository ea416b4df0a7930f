"""What is said about a reel: what it plays and for how long, what was found in its recording, how far to turn."""

import math
from collections.abc import Iterator, Sequence

from distort.capture.measuring.steps import Step, planned_levels
from distort.capture.reel.importing import AddedReel
from distort.capture.reel.player_level import PlayerLevel, SweepLevel
from distort.recording.quality.check import CLOCK_SAME_PPM
from distort.report.text.capture import recorded_sentences
from distort.report.text.numbers import level_name
from distort.report.text.plan import (
    CAUTIONS,
    level_sentences,
    order_sentence,
    switched_on_sentences,
    whole_sentences,
)
from distort.session.plan.keys import Plan
from distort.session.recordings.reel_file import SessionReel


def reel_sentences(reel: SessionReel, steps: Sequence[Step], plan: Plan) -> Iterator[str]:
    """The cautions, one line a level, what all of it feeds and exposes to, and how long the whole reel takes."""
    yield from CAUTIONS
    yield from switched_on_sentences(plan)
    yield f"{reel.file} plays these levels at 1 m, permitted time a day by NIOSH as if dB(A):"
    levels = planned_levels(steps)
    yield from level_sentences(levels)
    yield order_sentence(steps)
    yield from whole_sentences(levels)
    seconds = reel.reel.n_samples / reel.sample_rate
    yield (
        f"  It takes {int(seconds // 60)} min {seconds % 60:.0f} s, from the quietest level up, with rests. Leave the "
        f"volume alone while it plays, switch off everything that turns it by itself, and record from before it starts "
        f"until after the last chirp."
    )


def player_level_sentences(found: PlayerLevel, plan: Plan) -> Iterator[str]:
    """By how much to turn the player, and what that rests on."""
    yield _measured(found.level)
    yield turn_sentence(found.level)
    if found.part.level_db_spl != found.target_db_spl:
        yield (
            f"The sweep of {level_name(found.target_db_spl)} dB SPL was not heard whole; that of "
            f"{level_name(found.part.level_db_spl)} says the same, because their drives are exact steps apart."
        )
    if found.highest_at_top_db_spl > plan.safety.ceiling_db_spl:
        yield (
            f"Careful: at {level_name(plan.levels.db_spl[-1])} dB SPL it would then give "
            f"{found.highest_at_top_db_spl:.1f} dB SPL where it is loudest, above [safety] ceiling_db_spl = "
            f"{plan.safety.ceiling_db_spl:g}: leave the level out of session.toml."
        )


def turn_sentence(level: SweepLevel) -> str:
    """ "Turn the player up by 3.2 dB." """
    if level.right:
        return f"The volume is right, within {abs(level.turn_db):.1f} dB: leave it there."
    return f"Turn the player {'up' if level.turn_db > 0 else 'down'} by {abs(level.turn_db):.1f} dB."


def level_warning_sentences(level: SweepLevel | None) -> Iterator[str]:
    """A recorded sweep that was not as loud as its name says; nothing when it was, or nobody knows."""
    if level is not None and abs(level.turn_db) > LEVEL_AS_NAMED_DB:
        yield (
            f"Careful: {_measured(level)} It is kept; if the loudspeaker does not hold back there, the volume stood "
            f"{abs(level.turn_db):.1f} dB too {'low' if level.turn_db > 0 else 'high'}."
        )


LEVEL_AS_NAMED_DB = 1.0
"""A nominal level names a rung; from 1 dB on its name misleads (our choice)."""


def added_reel_sentences(condition: str, added: AddedReel, *, folder: str) -> Iterator[str]:
    """What was found and kept, what was not and why, and what the recordings allow."""
    uncertainty_ppm = max(added.clock_uncertainty_ppm, CLOCK_SAME_PPM)
    clocks = f"The clocks of player and recorder agree within {uncertainty_ppm:.2g} ppm."
    if abs(added.clock_ppm) > uncertainty_ppm:
        fast = "fast" if added.clock_ppm >= 0 else "slow"
        clocks = (
            f"The recorder's clock is {abs(added.clock_ppm):.2f} ppm {fast} (+- {uncertainty_ppm:.2g}); "
            f"this is repaired."
        )
    yield f"Found {added.reel.file}. {clocks}"
    yield from recorded_sentences(condition, added.recordings)
    for sentence in added.refused:
        yield f"Refused: {sentence}"
    if added.set_aside:
        yield (
            f"Set aside, because the whole reel was recorded in one go: "
            f"{', '.join(one.sidecar.name.stem for one in added.set_aside)}."
        )
    for name, down_db in added.down_db:
        yield (
            f"Careful: right after {name} everything was {abs(down_db):.1f} dB quieter for a while: the loudspeaker "
            f"was hot, or the player turns loud sounds down by itself."
        )
    yield from level_warning_sentences(added.level)
    yield from _compression_sentences(added)
    yield from _passed_sentences(added, folder)


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


def _compression_sentences(added: AddedReel) -> Iterator[str]:
    if added.turned_db is not None:
        return
    why = "nobody said how far the volume was turned since the first recording (--playback-change-db)"
    if not added.can_tell_level:
        why = "noise leaves open whether the player changed its level meanwhile; say --playback-change-db if you know"
    yield f"There will be no compression result: {why}."


def _passed_sentences(added: AddedReel, folder: str) -> Iterator[str]:
    if added.level is None:
        yield "There is no calibration: results will be in dBFS, and no sound pressure level is known."
    if added.reel.up_to_db_spl is None or added.level is None:
        return
    if added.passed:
        again = "" if added.level.right else f" {turn_sentence(added.level)} To set it closer, record it again."
        yield f"The quiet part has passed.{again} Next: distort stimuli {folder} --reel"
    elif added.refused:
        yield "The quiet part has not passed, because parts of it were refused: record it again."
    else:
        yield (
            f"The quiet part has not passed: it is {-added.level.turn_db:.1f} dB louder than it should be. "
            f"{turn_sentence(added.level)} Then record it again."
        )
