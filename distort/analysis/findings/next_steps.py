"""What would confirm a finding, or tell what is open: commands that this program runs, and whose result it reads.

FOLDER stands for the session in what is stored; who shows it puts the session's own path there.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from distort.analysis.findings.by_frames import OF_FRAMES, frame_near, near_places
from distort.analysis.findings.evidence import Evidence, SetUps
from distort.analysis.findings.finding import Draft, Explanation, NextStep

FOLDER = "FOLDER"
"""Stands for the path of the session."""


@dataclass(frozen=True)
class _Elsewhere:
    """Another condition that tells: its name, what is done for it, and what must be seen there."""

    condition: str
    to_do: str
    seen: str


_MOVED = "Move the microphone by a hand's breadth"

_ELSEWHERE: Mapping[Explanation, _Elsewhere] = {
    "delayed-copy": _Elsewhere("moved", _MOVED, "dip and rise must move"),
    "cancellation": _Elsewhere("moved", _MOVED, "dip and rise must move"),
    "resonance": _Elsewhere("moved", _MOVED, "dip or peak must stay"),
    "undecided": _Elsewhere("moved", _MOVED, "what stays belongs to the loudspeaker"),
    "room": _Elsewhere("moved", "Move the loudspeaker", "dip and rise must move"),
    "product-on-peak": _Elsewhere("moved", _MOVED, "peak and rise must both stay, or move together"),
    "filter-before-source": _Elsewhere("flat", "Switch the filter or equaliser off", "dip or peak must go"),
}

_AGAIN: Mapping[Explanation, str] = {
    "conversion-image": "Record the level again with nothing that converts the sample rate: the rises must go.",
    "event-in-time": "Record the level again in quiet: what sounded must be gone.",
    "loudspeaker-generated": "Record the level again: if it is the loudspeaker, the same rise is there.",
}


def next_step(draft: Draft, evidence: Evidence) -> NextStep:
    """One step; its command can be typed as it stands, with the session's path for FOLDER."""
    if draft.explanation in _AGAIN:
        return again(draft, evidence, _AGAIN[draft.explanation])
    if draft.explanation == "level-dependent-resonance":
        return _bursts(evidence, "Record tone bursts: a dip that fills in them too fills at once, and not by heat.")
    if draft.explanation == "unpredicted-by-orders":
        return _bursts(
            evidence, "Record tone bursts: what still distorts is no heat, and a limiter shows as it lets in."
        )
    if draft.explanation in _ELSEWHERE and "excess_db" not in draft.numbers:
        return _elsewhere(evidence, _ELSEWHERE[draft.explanation])
    if draft.explanation in OF_FRAMES and frame_near(draft, evidence) is None:
        return _frames(draft, evidence)
    return _of_change(evidence)


def _elsewhere(evidence: Evidence, step: _Elsewhere) -> NextStep:
    here, set_ups = evidence.condition, evidence.set_ups
    there = step.condition
    if there in set_ups.recorded and there != here:
        return NextStep(
            text=f"Compare with condition '{there}': {step.seen}.",
            command=f"distort compare {FOLDER}:{here} {FOLDER}:{there}",
        )
    return NextStep(
        text=f"{step.to_do}, measure that as condition '{there}' and compare it with '{here}': {step.seen}.",
        first="" if there in set_ups.planned else f'Add "{there}" to conditions in session.toml first.',
        command=_measure(f"{FOLDER}:{there}", set_ups),
    )


def again(draft: Draft, evidence: Evidence, text: str) -> NextStep:
    """The sweep at the level that shows it, once more."""
    level = draft.numbers.get("level_db_spl", max(evidence.levels, default=0.0))
    only = f" --only sweep_{level:g}dB --again" if level else " --again"
    return NextStep(text=text, command=_measure(f"{FOLDER}:{evidence.condition}", evidence.set_ups, only))


def _of_change(evidence: Evidence) -> NextStep:
    """What tells how a level falls short: what is not recorded yet, the cheapest first."""
    here = f"{FOLDER}:{evidence.condition}"
    if not any(one.quantity.stimulus == "multitone" for one in evidence.changes):
        level = max(evidence.levels, default=0.0)
        only = f" --only multitone_{level:g}dB" if level else ""
        text = "Record the multitones too: how fast their level settles tells a limiter from a voice coil."
        return NextStep(text=text, command=_measure(here, evidence.set_ups, only))
    if not evidence.heating:
        return NextStep(
            text="Play the lowest level once more after the loudest: what it then lacks is heat.",
            first="Set repeat_reference = true in session.toml first.",
            command=_measure(here, evidence.set_ups, " --again"),
        )
    return _bursts(
        evidence, "Record tone bursts: they are too short to heat a coil. If they lose level too, it is not heat."
    )


def _frames(draft: Draft, evidence: Evidence) -> NextStep:
    """A frame at the finding's level and place; what the plan lacks for that is said first."""
    set_ups = evidence.set_ups
    level = draft.numbers.get("level_db_spl", max(evidence.levels, default=0.0))
    first = ""
    if not set_ups.frames_hz:
        first = "Add [frames] to session.toml first."
    elif not any(near_places(draft, at_hz) for at_hz in set_ups.frames_hz):
        first = f"Add {draft.places[0].frequency_hz:.3g} to frequencies_hz of [frames] in session.toml first."
    elif level not in set_ups.frames_levels:
        first = "Raise highest_levels of [frames] in session.toml first."
    again = " --again" if any(one.level_db_spl == level for one in evidence.frames) else ""
    return NextStep(
        text="Play frames, a short loud sine between quiet ones: they show whether a limiter, heat or something "
        "immediate does it.",
        first=first,
        command=_measure(f"{FOLDER}:{evidence.condition}", set_ups, f" --only frames_{level:g}dB{again}"),
    )


def _bursts(evidence: Evidence, text: str) -> NextStep:
    return as_planned(evidence, text, first="" if evidence.set_ups.bursts else "Add [burst] to session.toml first.")


def as_planned(evidence: Evidence, text: str, *, first: str) -> NextStep:
    """What the plan has then and is not recorded yet."""
    return NextStep(text=text, first=first, command=_measure(f"{FOLDER}:{evidence.condition}", evidence.set_ups))


def _measure(target: str, set_ups: SetUps, more: str = "") -> str:
    return f"distort measure {target}{more}{' --simulate' if set_ups.simulated else ''}"
