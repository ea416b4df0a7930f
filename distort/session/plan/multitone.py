"""[multitone] of session.toml."""

from dataclasses import dataclass, field
from typing import Literal, get_args

from distort.session.plan.rules import facts, number, one_of, whole

Spectrum = Literal["pink", "flat", "red", "programme"]
Phases = Literal["random", "schroeder", "low-crest"]

MOST_REALISATIONS = 8
"""Recordings of a multitone at one level."""

LONG_MINUTES = 10.0, 30.0
"""Shorter shows little of a magnet, which takes minutes; longer is a burden for hearing and drivers. It holds for the
simulated loudspeaker as well: the plan does not say who plays it."""


@dataclass(frozen=True, kw_only=True)
class MultitonePlan:
    """The multitone."""

    lines_per_decade: int = field(
        default=10, metadata=facts(whole(1, 200), "tones in a decade of frequency; 30 need period_s = 4")
    )
    period_s: float = field(default=2.0, metadata=facts(number(0.05, 60.0), "s; length of one period"))
    periods: int = field(
        default=16, metadata=facts(whole(16, 1000), "periods recorded; fewer than 16 leave no noise reading")
    )
    spectrum: Spectrum = field(
        default="pink",
        metadata=facts(
            one_of(*get_args(Spectrum)),
            '"pink" (equal level a tone), "flat" (rising), "red" (falling) or "programme"',
        ),
    )
    phases: Phases = field(
        default="random",
        metadata=facts(one_of(*get_args(Phases)), '"random" (as peaky as music), "schroeder" or "low-crest"'),
    )
    seed: int = field(default=1, metadata=facts(whole(0, 2**32 - 1), "number that fixes the random phases"))
    realisations: int = field(
        default=1,
        metadata=facts(
            whole(1, MOST_REALISATIONS), "draws of the phases, each a recording a level; 4 halve their scatter"
        ),
    )
    long_minutes: float | None = field(
        default=None,
        metadata=facts(number(*LONG_MINUTES), "min; how long `measure --heating` plays it without a break", "15"),
    )
