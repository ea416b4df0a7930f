"""What is true of a loudspeaker in several conditions: written down before anything is analysed."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from distort.report.text.story import OWNERS, Owner
from tests.families.drawing import Case

STRIKES = frozenset(
    {"rattle", "rub", "airflow-noise", "unpredicted-by-orders", "loudspeaker-generated", "product-on-peak", "noise"}
)
"""Words that may be said of what strikes, rubs or blows: some of it falls on orders, and rings at one frequency."""

LOSES = frozenset({"compression", "limiting", "heating", "level-dependent-resonance"})

COPIES = frozenset({"delayed-copy", "cancellation", "product-on-peak", "resonance", "room", "filter-before-source"})
"""Words of dips and peaks of a copy, and of products that meet them."""

MAKES = frozenset({"loudspeaker-generated", "filter-before-source", "unpredicted-by-orders", "product-on-peak"})


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One fault: what may be said of it, where and in which conditions it is, and whose.

    low_hz, high_hz   of the excitation; a finding whose place reaches into it is of this fault
    changed_makes_it  whether what the plan calls changed is what makes it
    owners            whose it may be called; "open" may always be said
    """

    words: frozenset[str]
    low_hz: float
    high_hz: float
    conditions: tuple[str, ...]
    changed_makes_it: bool = False
    owners: frozenset[Owner] = frozenset(OWNERS)


@dataclass(frozen=True, kw_only=True)
class Made:
    """A session to be made, and what is true of it.

    faults    what a finding is first held against, in this order
    Whatever else is found is the loudspeaker's own curvature and ripple, which are the same in all conditions.
    """

    family: str
    seed: int
    case: Case
    faults: tuple[Fault, ...] = ()
    note: str = ""
    changed: Mapping[str, str] = field(default_factory=dict)
