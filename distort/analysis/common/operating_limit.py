"""Up to which level a loudspeaker may be driven, as one number, and what ends it there."""

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Limits:
    """What must hold of multitones and music."""

    change_db: float = 3.0
    """Of one third octave, either way. This and the next two as the author recalls them of AES75: from memory, so own
    choice."""
    broad_change_db: float = 2.0
    """Mean over six third octaves side by side."""
    coherence: float = 0.9
    """At least, in every third octave."""
    distortion_percent: float = 10.0
    """Of a multitone, re its tones, over all third octaves that count (own choice: a tenth of the amplitude)."""


@dataclass(frozen=True, kw_only=True)
class OperatingLimit:
    """The highest level at which all that was asked holds everywhere."""

    stimulus: str
    """Of which it is said: "burst", "multitone", "programme"."""
    level_db_spl: float
    """Nominal, interpolated where a limit was met between two levels. Where `ended_by` is None: it holds at least up
    to here, since nothing louder was played."""
    ended_by: str | None
    """The limit that is met first: "compression", "h2", ...; None: none was met."""
    frequency_hz: float | None = None
    """Where it is met; None: it is of no frequency."""
