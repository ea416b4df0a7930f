"""Audibility as findings.json holds it: margins over the masked threshold, the worst of each octave."""

from dataclasses import dataclass, field
from typing import Literal

from distort.analysis.common.grid import midbands_hz
from distort.analysis.common.quantities import Quantity, from_findings
from distort.analysis.hearing.audibility import Margins, Verdict, verdict, worst_of_octave
from distort.session.files.json_fields import by

Background = Literal["room", "silence"]
"""The noise that was recorded in the pauses, or none."""


@dataclass(frozen=True, kw_only=True)
class OctaveMargin:
    """The largest margin in an octave; positive: above the masked threshold."""

    midband_hz: float
    frequency_hz: float
    """Of the excitation."""
    terhardt_db: float
    schroeder_db: float
    verdict: Verdict


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


def audibility_found(
    margins: Margins, quantity: Quantity, *, level_db_spl: float, background: Background, lowest_valid_hz: float
) -> AudibilityFound:
    """The worst of each octave (IEC 61260-1) from `lowest_valid_hz` up."""
    octaves = []
    for midband_hz in midbands_hz(bands_per_octave=1):
        row = worst_of_octave(margins, float(midband_hz), lowest_hz=lowest_valid_hz)
        if row is not None:
            both = float(margins.terhardt_db[row]), float(margins.schroeder_db[row])
            octaves.append(
                OctaveMargin(
                    midband_hz=float(midband_hz),
                    frequency_hz=float(margins.frequency_hz[row]),
                    terhardt_db=both[0],
                    schroeder_db=both[1],
                    verdict=verdict(*both),
                )
            )
    return AudibilityFound(quantity=quantity, level_db_spl=level_db_spl, background=background, octaves=tuple(octaves))
