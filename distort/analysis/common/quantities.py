"""What is read of a loudspeaker: one type, with its order and stimulus, its unit, and how files spell it.

Findings and comparisons were given names apart, and files keep them; both spellings stand in one table here, and
nothing else takes a name apart. Words for people are in `report.text.quantities`.
"""

from dataclasses import dataclass
from typing import Literal

from distort.errors import shown

Name = Literal["response", "order", "thd", "even", "odd", "distortion", "gain", "change"]
Stimulus = Literal["sweep", "multitone"]

HIGHEST_ORDER = 100
"""The most that a plan may ask for."""

RE_FUNDAMENTAL = "dB re the fundamental"
RE_TONES = "dB re the tones in the band"


@dataclass(frozen=True)
class Quantity:
    """One thing that is read at every frequency."""

    name: Name
    """"change" is compression: how far the output falls short of the drive since the lowest level; "distortion" is
    even and odd together; "gain" is the response less the drive, which compression is made of and no file holds."""
    stimulus: Stimulus = "sweep"
    order: int | None = None
    """Of an "order" alone, from 2 up."""

    @property
    def unit(self) -> str:
        """What it is stated in; a response says itself whether that is re 20 uPa or full scale."""
        if self.name in ("response", "gain", "change"):
            return "dB"
        return RE_FUNDAMENTAL if self.stimulus == "sweep" else RE_TONES

    @property
    def column(self) -> str:
        """Its column in the tables of a level, and the field of that name: `h3_db`, `thd_db`, `even_db`."""
        return f"{self.name if self.order is None else f'h{self.order}'}_db"

    @property
    def in_findings(self) -> str:
        """Its name in findings.json, and on the command line."""
        return _SPELT[self][0]

    @property
    def in_comparison(self) -> str:
        """Its name in the files of a comparison."""
        return _SPELT[self][1]


RESPONSE, RESPONSE_OF_MULTITONE = Quantity("response"), Quantity("response", "multitone")
HARMONICS = tuple(Quantity("order", order=order) for order in range(2, HIGHEST_ORDER + 1))
THD = Quantity("thd")
EVEN, ODD = Quantity("even", "multitone"), Quantity("odd", "multitone")
MULTITONE_DISTORTION = Quantity("distortion", "multitone")
GAIN, GAIN_OF_MULTITONE = Quantity("gain"), Quantity("gain", "multitone")
CHANGE, CHANGE_OF_MULTITONE = Quantity("change"), Quantity("change", "multitone")

_SPELT = {
    RESPONSE: ("response", "response"),
    RESPONSE_OF_MULTITONE: ("response_multitone", "response-multitone"),
    **{one: (f"h{one.order}", f"h{one.order}") for one in HARMONICS},
    THD: ("thd", "thd"),
    EVEN: ("multitone_even", "even"),
    ODD: ("multitone_odd", "odd"),
    MULTITONE_DISTORTION: ("multitone", "multitone"),
    CHANGE: ("compression_sweep", "change"),
    CHANGE_OF_MULTITONE: ("compression_multitone", "change-multitone"),
}
"""What findings and what comparisons call a quantity."""

_OF_FINDINGS, _OF_COMPARISONS = ({spelt[place]: one for one, spelt in _SPELT.items()} for place in (0, 1))


def harmonic(order: int) -> Quantity:
    """The harmonic of an order from 2 to 100. Raises ValueError for another."""
    if not 2 <= order <= HIGHEST_ORDER:
        raise ValueError(f"order {order} is none of 2 to {HIGHEST_ORDER}")
    return HARMONICS[order - 2]


def from_findings(text: str) -> Quantity:
    """What findings.json and the command line call `text`. Raises ValueError when that is no quantity."""
    return _known(text, _OF_FINDINGS)


def from_comparison(text: str) -> Quantity:
    """What the files of a comparison call `text`. Raises ValueError when that is no quantity."""
    return _known(text, _OF_COMPARISONS)


def _known(text: str, spelt: dict[str, Quantity]) -> Quantity:
    if text not in spelt:
        others = ", ".join(name for name, one in spelt.items() if one.order is None)
        raise ValueError(f"{shown(text)} is no quantity: there are h2 to h{HIGHEST_ORDER}, {others}")
    return spelt[text]
