"""Findings of what strikes, rubs or blows while the sweep plays: a place that holds at several levels is one."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from distort.analysis.findings.evidence import Evidence
from distort.analysis.findings.finding import Draft, Explanation, PlaceFound
from distort.analysis.findings.likelihoods import share_right
from distort.analysis.impulsive.impulsive import ImpulsivePlace, Kind

PROBABILITIES: Mapping[Kind, float] = {
    "rattle": share_right(32, 34),
    "rub": share_right(27, 30),
    "airflow-noise": share_right(38, 38),
    "undecided": 0.5,
}
"""Of the made devices that were called so in the study (`tests/STUDIES.md`, rattles, buzzes and noisy ports in equal
numbers), how many are so; of what is undecided nothing is claimed."""


def impulse_drafts(evidence: Evidence) -> list[Draft]:
    """One a place; what it is at the highest level that shows it says what it is. Beside images of a conversion all
    that strikes in step is one, and open: of images at F + f and F - f the sum beats in step with the cycles of f."""
    groups: list[list[ImpulsivePlace]] = []
    found = [one for one in evidence.impulses if one.kind != "high-orders"]  # nothing strikes: a driver's own orders
    for one in sorted(found, key=lambda each: -each.level_db_spl):
        group = next((each for each in groups if _overlap(each[0], one)), None)
        if group is None:
            groups.append([one])
        else:
            group.append(one)
    drafts = [_draft(group, evidence) for group in groups]
    in_step = [one for one in drafts if one.explanation in ("rub", "undecided")]
    if not evidence.images or not in_step:
        return drafts
    return [*(one for one in drafts if one not in in_step), _or_images(in_step)]


def of_impulses(draft: Draft) -> bool:
    """Whether it is one of these, decided or not."""
    return "standing_out" in draft.numbers


def _overlap(one: ImpulsivePlace, other: ImpulsivePlace) -> bool:
    return one.low_hz < other.high_hz and other.low_hz < one.high_hz


def _draft(group: Sequence[ImpulsivePlace], evidence: Evidence) -> Draft:
    first = next((one for one in group if one.kind != "undecided"), group[0])
    explanation: Explanation = "undecided" if first.kind == "high-orders" else first.kind
    decided = explanation != "undecided"
    numbers = {
        "level_db_spl": first.level_db_spl,
        "lowest_level_db_spl": min(one.level_db_spl for one in group),
        "standing_out": first.z,
    }
    behaviour = {"regularity": first.regularity, "unevenness": first.unevenness}
    if explanation == "airflow-noise":
        numbers |= _with_level(evidence)
    return Draft(
        explanation=explanation,
        decided=decided,
        probability=PROBABILITIES[first.kind],
        places=(PlaceFound(frequency_hz=first.frequency_hz, low_hz=first.low_hz, high_hz=first.high_hz),),
        strength_db=20.0 * math.log10(first.z),
        part_of_loudspeaker=True,
        numbers=numbers | {name: value for name, value in behaviour.items() if math.isfinite(value)},
        between=() if decided else ("rattle", "rub"),
    )


def _or_images(in_step: Sequence[Draft]) -> Draft:
    """All of them at their places, open between what strikes and images."""
    strongest = max(in_step, key=lambda one: one.strength_db)
    lowest_db = min(one.numbers["lowest_level_db_spl"] for one in in_step)
    return replace(
        strongest,
        explanation="undecided",
        decided=False,
        probability=PROBABILITIES["undecided"],
        places=tuple(sorted((place for one in in_step for place in one.places), key=lambda one: one.low_hz)),
        part_of_loudspeaker=None,
        numbers={**strongest.numbers, "lowest_level_db_spl": lowest_db},
        between=("rub", "conversion-image"),
    )


def _with_level(evidence: Evidence) -> Mapping[str, float]:
    """Of the multitones' noise that grows as air does: its clearest stretch supports the finding. Empty without any."""
    air = [one for one in evidence.noise if one.as_air]
    if not air:
        return {}
    clearest = max(air, key=lambda one: one.loudest_db)
    return {
        "noise_growth_db_per_db": clearest.growth_db_per_db,
        "noise_growth_interval_db_per_db": clearest.uncertainty_db_per_db,
        "noise_low_hz": clearest.low_hz,
        "noise_high_hz": clearest.high_hz,
    }
