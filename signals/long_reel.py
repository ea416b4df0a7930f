"""How a long heating is played: a chirp and a silence before it, as before any stimulus, and a tail."""

from signals.heating import Heating
from signals.reel import Reel, Silence, framed

TAIL_S = 0.5

BEFORE = 3
"""Items before the stimulus in what `framed` makes: lead-in, chirp, silence."""


def long_reel(heating: Heating) -> Reel:
    """All that is played."""
    return Reel(
        (*framed(heating.pilot).items[:BEFORE], heating, Silence(seconds=TAIL_S, sample_rate=heating.sample_rate))
    )


def beginning_of(heating: Heating) -> Reel:
    """The same up to the end of its first pilot, which is a multitone like any other: it is found and checked by it."""
    return Reel((*framed(heating.pilot).items[:BEFORE], heating.pilot))
