"""Audibility as findings.json holds it: margins over the masked threshold, the worst of each octave."""

from dataclasses import dataclass, field
from typing import Literal

from distort.analysis.common.quantities import Quantity, from_findings
from distort.analysis.hearing.audibility import OctaveMargin
from distort.session.files.json_fields import by

Background = Literal["room", "silence"]
"""The noise that was recorded in the pauses, or none."""


@dataclass(frozen=True, kw_only=True)
class AudibilityFound:
    """One kind of distortion at one level, over one background; an estimate."""

    quantity: Quantity = field(metadata=by(write=lambda one: one.in_findings, read=from_findings))
    """An order of the sweep, or the distortion of the multitone."""
    level_db_spl: float
    """Nominal."""
    background: Background
    octaves: tuple[OctaveMargin, ...]
    """Those of which there is a clean reading."""

    @property
    def worst(self) -> OctaveMargin | None:
        """The octave with the largest margin, by the mean of both models."""
        return max(self.octaves, key=lambda one: one.terhardt_db + one.schroeder_db, default=None)
