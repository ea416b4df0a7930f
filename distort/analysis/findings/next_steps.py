"""What would confirm a finding, or tell what is open: commands that this program runs, and whose result it reads."""

from collections.abc import Mapping

from distort.analysis.findings.evidence import Evidence
from distort.analysis.findings.finding import Draft, Explanation, NextStep

AGAIN = "distort measure FOLDER --condition {here} --again"
COMPARED = "distort compare FOLDER:{here} FOLDER:{there}"
_MOVE = "Move the microphone by a hand's breadth and measure as condition 'moved'"

_STEPS: Mapping[Explanation, tuple[str, str, str]] = {
    "delayed-copy": (f"{_MOVE}: dip and rise must move.", COMPARED, "moved"),
    "cancellation": (f"{_MOVE}: dip and rise must move.", COMPARED, "moved"),
    "resonance": (f"{_MOVE}: dip and rise must stay.", COMPARED, "moved"),
    "undecided": (f"{_MOVE}: what stays belongs to the loudspeaker.", COMPARED, "moved"),
    "room": ("Move the loudspeaker and measure as condition 'moved': dip and rise must move.", COMPARED, "moved"),
    "product-on-peak": (
        "Measure close to the driver as condition 'near': the resonance shows there.",
        COMPARED,
        "near",
    ),
    "filter-before-source": ("Measure with the filter or equaliser off as condition 'flat'.", COMPARED, "flat"),
    "conversion-image": ("Record again with nothing that converts the sample rate: the rises must go.", AGAIN, ""),
    "event-in-time": ("Record that level again in quiet: the rise must go.", AGAIN, ""),
    "loudspeaker-generated": ("Record it again, and in another set-up: the rise must stay where it is.", AGAIN, ""),
}
_CHANGES = ("Record the loudest level again after a rest: what comes back is heat or a limiter.", AGAIN, "")
_NO_TONES = ("Play multitones at these levels: how fast they settle tells a limiter from heat.", AGAIN, "")


def next_step(draft: Draft, evidence: Evidence) -> NextStep:
    """One step."""
    tones = any(one.quantity.stimulus == "multitone" for one in evidence.changes)
    text, command, there = _STEPS.get(draft.explanation, _CHANGES if tones else _NO_TONES)
    return NextStep(text=text, command=command.format(here=evidence.condition, there=there))
