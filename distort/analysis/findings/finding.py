"""What is handed on: one place, or one comb of places, or one broad change, with one explanation."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal, get_args

Explanation = Literal[
    "delayed-copy",
    "resonance",
    "filter-before-source",
    "level-dependent-resonance",
    "loudspeaker-generated",
    "product-on-peak",
    "ringing",
    "conversion-image",
    "event-in-time",
    "cancellation",
    "room",
    "compression",
    "expansion",
    "limiting",
    "heating",
    "rattle",
    "rub",
    "airflow-noise",
    "unpredicted-by-orders",
    "noise",
    "undecided",
]
EXPLANATIONS: tuple[Explanation, ...] = get_args(Explanation)
BROAD_OCTAVES = 1.0
"""A wider place is a band."""

Speaks = Literal["for", "against", "silent"]


def _numbers_read(plain: Any) -> Mapping[str, float]:
    """Raises ValueError for what is no object of numbers."""
    if not isinstance(plain, dict) or not all(isinstance(one, int | float) for one in plain.values()):
        raise ValueError("numbers must hold an object of numbers")
    return {str(name): float(value) for name, value in plain.items()}


@dataclass(frozen=True, kw_only=True)
class PlaceFound:
    """A place on the axis of the excitation."""

    frequency_hz: float
    low_hz: float
    high_hz: float


@dataclass(frozen=True, kw_only=True)
class EvidenceRow:
    """What one curve says at one place; None: not known, or of no meaning for the quantity."""

    quantity: str
    """h2, h3, ..., multitone_even, multitone_odd, compression_sweep, compression_multitone."""
    stimulus: Literal["sweep", "multitone"]
    level_db_spl: float
    """Nominal."""
    frequency_hz: float
    rise_db: float
    """Of the ratio to the fundamental against its flanks; of a change, the change beyond its flanks."""
    interval_db: float
    """Half-width of the 95 % interval of `rise_db`, ripple included."""
    fundamental_db: float | None = None
    """How far the fundamental dips against its flanks: it adds that much to the ratio."""
    response_at_product_db: float | None = None
    """What the response at n f adds, if the product leaves by the way of the fundamental."""
    source_db: float | None = None
    """What is left: what the loudspeaker itself makes more of here."""
    value_db: float | None = None
    """The reading itself, as its table has it."""
    speaks: Speaks = "silent"


@dataclass(frozen=True, kw_only=True)
class NextStep:
    """What would confirm it, or tell what is open."""

    text: str
    first: str = field(default="", metadata={"later": True, "only_if_said": True})
    """What must stand in the plan before, in the words of its file; nothing: it has all."""
    command: str | None = None
    """One that this program runs and whose result it reads, as it is typed; FOLDER stands for the session's path."""


AudibleIn = Literal["single tones", "recorded music"]


@dataclass(frozen=True, kw_only=True)
class Audible:
    """Whether somebody would hear it, by the masked threshold; an estimate."""

    verdict: str
    at_db_spl: float
    of: AudibleIn = field(default="single tones", metadata={"later": True, "only_if_said": True})
    """What it is held against: its readings against what the tone of each masks, or what the loudspeaker was heard to
    add to music at its frequencies against what the music masks."""


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One explanation."""

    number: int
    """Counted from 1, the strongest first."""
    explanation: Explanation
    also: tuple[Explanation, ...] = ()
    """A second one at the same place."""
    decided: bool
    probability: float
    """That `explanation` is the right one of those that were held against the place."""
    headline: str
    """At most 78 characters."""
    places: tuple[PlaceFound, ...]
    """The first is where it is clearest."""
    part_of_loudspeaker: bool | None
    """None: this condition alone cannot tell."""
    numbers: Mapping[str, float] = field(default_factory=dict, metadata={"write": dict, "read": _numbers_read})
    evidence: tuple[EvidenceRow, ...] = ()
    against: tuple[str, ...] = ()
    """Quantities that speak against it."""
    audible: Audible | None = None
    sentence: str = ""
    next: NextStep

    @property
    def frequency_hz(self) -> float:
        """Of the first place."""
        return self.places[0].frequency_hz

    @property
    def broad(self) -> bool:
        """Whether it is a band rather than a place."""
        return bool(self.places[0].high_hz > self.places[0].low_hz * 2.0**BROAD_OCTAVES)

    @property
    def leading_row(self) -> EvidenceRow | None:
        """The row that rises most of those that speak for it, or of all; None without evidence."""
        rows = [row for row in self.evidence if row.speaks == "for"] or list(self.evidence)
        return max(rows, key=lambda row: abs(row.rise_db), default=None)


@dataclass(frozen=True, kw_only=True)
class Draft:
    """A finding before it has its number and its words."""

    explanation: Explanation
    also: tuple[Explanation, ...] = ()
    decided: bool
    probability: float
    places: tuple[PlaceFound, ...]
    strength_db: float
    """For the order of the list: dB of distortion, or twenty times the dB of a change."""
    part_of_loudspeaker: bool | None = None
    numbers: Mapping[str, float] = field(default_factory=dict)
    evidence: tuple[EvidenceRow, ...] = ()
    against: tuple[str, ...] = ()
    between: tuple[Explanation, ...] = ()
    """Of one that is not decided: what it lies between."""
    in_room: bool = False

    @property
    def low_hz(self) -> float:
        """Lower end of the first place."""
        return self.places[0].low_hz

    @property
    def high_hz(self) -> float:
        """Upper end of the first place."""
        return self.places[0].high_hz


def response_shows(evidence: Sequence[EvidenceRow]) -> bool:
    """Whether the response at n f rises by half of what the order does that rises most of those that speak for a
    finding; also where nothing is known of it."""
    rows = [row for row in evidence if row.speaks == "for"]
    top = max(rows, key=lambda row: row.rise_db, default=None)
    if top is None or top.response_at_product_db is None or top.source_db is None:
        return True
    return top.response_at_product_db >= 0.5 * top.source_db
