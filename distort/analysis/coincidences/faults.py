"""What is handed on about dips and peaks of a response, and about what lines up with them.

Plain numbers, so that findings.json holds them as they are; None stands for "not known". Frequencies are those of the
excitation in a coincidence, and of the response in an anomaly.
"""

from dataclasses import dataclass
from typing import Literal

Kind = Literal["dip", "peak"]
PhaseVerdict = Literal["minimum-phase", "not-minimum-phase", "unknown"]
Shape = Literal["interference", "resonance", "unknown"]
Elsewhere = Literal["kept", "filled-in", "unknown"]
Equaliser = Literal["can-mend", "at-this-point-only", "cannot-mend", "unknown"]
Cause = Literal[
    "weak-fundamental",
    "response-peak",
    "made-here",
    "weak-sum",
    "own-compression",
    "noise",
    "room",
    "undecided",
]
OPEN_CAUSES: tuple[Cause, ...] = ("undecided", "noise")
"""What says that nothing is decided yet."""


@dataclass(frozen=True, kw_only=True)
class Anomaly:
    """A dip or a peak of the frequency response against its own trend."""

    number: int
    """Counted from 1, from the lowest frequency up; coincidences and figures refer to it."""
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


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """The decibel figures behind a cause; None where a figure has no meaning for the quantity."""

    rise_db: float
    """R: of the distortion re the fundamental, or the excess of the change of compression, against its flanks."""
    rise_uncertainty_db: float
    fundamental_db: float | None = None
    """F: how far the fundamental falls here against its flanks."""
    way_out_db: float | None = None
    """X: what the response at n f adds, if the product leaves by the same way."""
    source_db: float | None = None
    """S: what the source itself makes more of here. R = F + X + S."""
    shared_way: float | None = None
    """alpha as found by regression: 1 where the product leaves by the way of the fundamental, 0 where not."""
    margin_db: float | None = None
    """Of the order over its noise floor, or of the multitone's distortion over its own."""
    bound_db: float | None = None
    """Largest change that the sum of two weak paths explains."""
    free_field_db: float | None = None
    """What is left of the anomaly in the curve measured elsewhere."""


@dataclass(frozen=True, kw_only=True)
class Coincidence:
    """A rise of distortion, or a change of compression, near an anomaly."""

    number: int
    """Counted from 1, the strongest first."""
    anomaly: int | None
    """Number of the anomaly; None: no dip or peak of the response is near, and the rise stands alone."""
    anomaly_at: int
    """1: the anomaly lies at `frequency_hz`; n: at n times it, where the product of order n is heard."""
    quantity: str
    """h2, h3, ... thd, multitone_even, multitone_odd, compression_sweep, compression_multitone."""
    level: float
    """Nominal level, dB SPL."""
    frequency_hz: float
    low_hz: float
    high_hz: float
    cause: Cause
    evidence: Evidence
    chance_probability: float | None
    """How often curves shifted against each other line up as well as these, this pair alone; None without anomaly."""
    chance_probability_report: float | None
    """The same, for the best of everything that was looked at in this report."""
    in_room: bool
    """True: the room may have made the anomaly; nothing says otherwise."""
    next_experiment: str
    """What would decide an open cause, or confirm this one."""
    sentence: str
