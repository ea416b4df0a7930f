"""One thing found out about a recording: a number, the threshold it was held against, and what it means."""

from dataclasses import dataclass
from typing import Literal

Verdict = Literal["good", "usable", "refuse"]

RANK: dict[Verdict, int] = {"good": 0, "usable": 1, "refuse": 2}


@dataclass(frozen=True, kw_only=True)
class CheckResult:
    """`value` and `threshold` are in `unit`; the threshold is the one between this verdict and its neighbour.

    Where nothing can be measured the value is NaN and the sentence says why; a figure that is only told, not judged,
    has the threshold NaN.
    """

    name: str
    value: float
    unit: str
    threshold: float
    verdict: Verdict
    sentence: str


def worst(findings: tuple[CheckResult, ...]) -> Verdict:
    """The worst verdict among `findings`; "good" when there are none."""
    return max((finding.verdict for finding in findings), key=lambda verdict: RANK[verdict], default="good")
