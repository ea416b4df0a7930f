"""The limits that multitones and music are held against, level by level."""

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
