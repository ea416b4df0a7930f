"""[limits] of session.toml: what must hold for a level to be within the operating limit."""

from dataclasses import dataclass, field

from distort.analysis.common.operating_limit import Limits
from distort.session.plan.rules import facts, number


@dataclass(frozen=True, kw_only=True)
class LimitsPlan:
    """What must hold for a level to be within the operating limit."""

    change_db: float = field(
        default=Limits.change_db,
        metadata=facts(number(0.1, 40.0), "dB of compression or expansion, in any third octave"),
    )
    broad_change_db: float = field(
        default=Limits.broad_change_db,
        metadata=facts(number(0.1, 40.0), "dB, mean over any two octaves"),
    )
    coherence: float = field(
        default=Limits.coherence,
        metadata=facts(number(0.01, 0.999), "least share of the power that is still the signal"),
    )
    distortion_percent: float = field(
        default=Limits.distortion_percent,
        metadata=facts(number(0.01, 100.0), "% of a multitone, re all of its tones"),
    )
