"""What a finding of a rattle, a rub or airflow noise says, and what would confirm it."""

from collections.abc import Mapping

from distort.analysis.findings.evidence import Evidence
from distort.analysis.findings.finding import Draft, Explanation, NextStep
from distort.analysis.findings.next_steps import again, as_planned

_HEADLINES: Mapping[Explanation, str] = {
    "rattle": "something rattles",
    "rub": "a rub, a buzz in step or clipping",
    "airflow-noise": "air is heard",
    "undecided": "something rattles or rubs",
}

_SENTENCES: Mapping[Explanation, str] = {
    "rattle": "Something rattles while {where}. It is irregular, which points to a loose part rather than the driver.",
    "rub": "The same sharp sound comes in every cycle while {where}: a coil that rubs or reaches its stop, a part "
    "that buzzes in step, or clipping.",
    "airflow-noise": "Noise swells in step with the tone while {where}: air in a port or through a leak, or a coil "
    "that drags.",
    "undecided": "Something sharp sounds in step with the tone while {where}; the data cannot tell a loose part from "
    "the driver.",
}

_STEPS: Mapping[Explanation, str] = {
    "rattle": "Tighten or take off grille, screws and trim and record again: a loose part will be silent.",
    "rub": "Record a level 3 dB lower: clipping and a stop go, a rub may stay.",
    "airflow-noise": "Stuff the port lightly and record again: the air of a port will be silent.",
    "undecided": "Tighten or take off grille, screws and trim and record again: a loose part will be silent.",
}

LOWER_LEVEL = "Add that level to db_spl of [levels] in session.toml first."
"""What the step of a rub needs."""

OR_IMAGES = (
    "something strikes or images beat",
    "Something sharp seems to sound in step with the tone while {where}; images that a conversion of the sample rate "
    "left may beat in that step as well.",
    "Record the level again with nothing that converts the sample rate: what strikes must still be there.",
)
"""Headline, sentence and step where images were found."""


def impulse_words(draft: Draft, evidence: Evidence) -> tuple[str, str, NextStep]:
    """Headline, sentence, and the next step."""
    level = f"{draft.numbers['level_db_spl']:g} dB SPL"
    span = f"{draft.places[0].low_hz:.0f} to {draft.places[-1].high_hz:.0f} Hz"
    if len(draft.places) > 1:
        span = f"{len(draft.places)} stretches from {span}"
    headline, sentence, step = (
        OR_IMAGES
        if "conversion-image" in draft.between
        else (_HEADLINES[draft.explanation], _SENTENCES[draft.explanation], _STEPS[draft.explanation])
    )
    sentence = sentence.format(where=f"{span} {'play' if len(draft.places) > 1 else 'plays'} at {level}")
    lowest_db = draft.numbers["lowest_level_db_spl"]
    if lowest_db < draft.numbers["level_db_spl"]:
        sentence += f" It is there from {lowest_db:g} dB SPL on."
    if "noise_growth_db_per_db" in draft.numbers:
        low_hz, high_hz, growth = (draft.numbers[f"noise_{name}"] for name in ("low_hz", "high_hz", "growth_db_per_db"))
        sentence += (
            f" A multitone's noise agrees: from {low_hz:.0f} to {high_hz:.0f} Hz it grows by {growth:.1f} dB per dB."
        )
    return (
        f"{span}: {headline} at {level}",
        sentence,
        as_planned(evidence, step, first=LOWER_LEVEL) if draft.explanation == "rub" else again(draft, evidence, step),
    )
