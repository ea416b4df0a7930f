"""Audibility as findings.json holds it: margins over the masked threshold, the worst of each octave."""

from dataclasses import dataclass, field
from typing import Any, Literal

from distort.analysis.common.quantities import Quantity, from_findings
from distort.analysis.hearing.audibility import OctaveMargin
from distort.session.files.json_fields import by, from_plain

Background = Literal["room", "silence"]
"""The noise that was recorded in the pauses, or none."""


EARLIER = "terhardt_db"
"""A model of masking that is used no more: margins that older files hold by it are left aside."""


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
        return max(self.octaves, key=lambda one: one.excitation_db + one.schroeder_db, default=None)


def audibility_read(plain: Any) -> tuple[AudibilityFound, ...]:
    """What a file holds; nothing where it was estimated by the earlier model. Raises ValueError for anything else."""
    if not isinstance(plain, list):
        raise ValueError("a list is needed")
    if any(EARLIER in octave for one in plain for octave in _octaves(one)):
        return ()
    return tuple(from_plain(one, AudibilityFound) for one in plain)


def _octaves(plain: Any) -> list[dict[str, Any]]:
    octaves = plain.get("octaves") if isinstance(plain, dict) else None
    return [one for one in octaves if isinstance(one, dict)] if isinstance(octaves, list) else []
