"""What is handed on about dips and peaks of a response.

Plain numbers, so that findings.json holds them as they are; None stands for "not known".
"""

from dataclasses import dataclass
from typing import Literal

Kind = Literal["dip", "peak"]
PhaseVerdict = Literal["minimum-phase", "not-minimum-phase", "unknown"]
Shape = Literal["interference", "resonance", "unknown"]
Elsewhere = Literal["kept", "filled-in", "unknown"]
Equaliser = Literal["can-mend", "at-this-point-only", "cannot-mend", "unknown"]


@dataclass(frozen=True, kw_only=True)
class Anomaly:
    """A dip or a peak of the frequency response against its own trend."""

    number: int
    """Counted from 1, from the lowest frequency up; findings and figures refer to it."""
    kind: Kind
    frequency_hz: float
    frequency_uncertainty_hz: float
    """Half-width of the 95 % interval, as are the other uncertainties here."""
    deviation_db: float
    """At `frequency_hz`, re the trend (re the stronger of the two sounds where the shape is interference, nearly always
    the direct one); negative for a dip."""
    deviation_uncertainty_db: float
    low_hz: float
    high_hz: float
    """Where half of the deviation, in dB, is left."""
    width_octaves: float
    """From `low_hz` to `high_hz`."""
    q: float
    """Of the second-order poles (peak) or zeros (dip) that fit it best."""
    q_uncertainty: float
    phase: PhaseVerdict
    excess_turn: float | None
    """How far the phase turns across it more than on its flanks, over what minimum phase would give: near 1 where it is
    minimum-phase, near -1 where it is not; None where no phase is known."""
    shape: Shape
    path_difference_m: float | None
    """Of the reflection that fits best, where the shape is interference."""
    reflection: float | None
    """Its amplitude re the direct sound; above 1 where the phase says that the stronger sound came second."""
    half_wave_m: float
    """c / (2 f) at the temperature of the set-up: the path difference, if this is the first dip of a reflection."""
    quarter_wave_m: float
    """c / (4 f): the distance there and back, or the depth of a tube or gap."""
    elsewhere: Elsewhere
    """Whether the curves measured elsewhere keep it or fill it in."""
    elsewhere_db: float | None
    """What is left of `deviation_db` in their mean power."""
    equaliser: Equaliser
    excess_turn_uncertainty: float | None = None
    """How far `excess_turn` moves when more or less of the late sound is let in; None where that cannot be tried."""
