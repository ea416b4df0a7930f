"""What lines up, and what can be heard: sections that are there where something was found."""

from collections.abc import Sequence

from distort.analysis.coincidences.cause_words import quantity_words
from distort.analysis.coincidences.faults import Anomaly, Cause, Coincidence
from distort.report.page.sections import PageTable, Section
from distort.report.text.audibility import BACKGROUND_WORDS, over_one_background
from distort.report.text.coincidences import EQUALISERS, PHASES, anomaly_words, chance_words, letter
from distort.report.text.numbers import hertz_words, level_name
from distort.report.text.quantities import heading
from distort.session.results.condition_results import ConditionResults

CAUSES: dict[Cause, str] = {
    "weak-fundamental": "the wanted tone is weak",
    "response-peak": "the response has a peak where it is heard",
    "made-here": "the loudspeaker makes it",
    "weak-sum": "two paths nearly cancel",
    "own-compression": "the loudspeaker compresses",
    "noise": "noise",
    "room": "the room",
    "undecided": "the data cannot tell",
}


def sections_of_findings(conditions: Sequence[ConditionResults]) -> list[Section]:
    """Those that there is something for, in any condition."""
    lined_up = [results for results in conditions if results.findings.anomalies or results.findings.coincidences]
    heard = [(results.findings.condition, found) for results in conditions if (found := hearing_table(results)).rows]
    sections = []
    if lined_up:
        content = [
            {
                "condition": results.findings.condition,
                "anomalies": anomaly_table(results.findings.anomalies, results.findings.condition),
                "coincidences": coincidence_table(results.findings.coincidences, results.findings.condition),
                "found": results.findings.coincidences,
            }
            for results in lined_up
        ]
        sections.append(Section("coincidences", "What lines up, and why", "coincidences", content))
    if heard:
        sections.append(Section("hearing", "What can be heard", "hearing", heard))
    return sections


def anomaly_table(anomalies: Sequence[Anomaly], condition: str) -> PageTable:
    """One row a dip or peak."""
    return PageTable(
        headers=("Letter", "Kind", "At", "Height", "Width", "Shape", "Minimum phase", "An equaliser mends it"),
        rows=[
            [
                letter(one.number),
                one.kind,
                hertz_words(one.frequency_hz),
                f"{one.deviation_db:+.1f} dB",
                f"{one.width_octaves:.2f} octaves",
                _shape(one),
                PHASES[one.phase].replace("?", "unknown"),
                EQUALISERS[one.equaliser].replace("?", "unknown"),
            ]
            for one in anomalies
        ],
        caption=f"Dips and peaks of the response at the lowest level, {condition}",
        look="numbered",
    )


def _shape(one: Anomaly) -> str:
    if one.shape == "interference" and one.path_difference_m is not None:
        return f"reflection, {100.0 * one.path_difference_m:.1f} cm longer"
    return f"{one.shape}, Q {one.q:.1f}" if one.shape == "resonance" else one.shape


def coincidence_table(found: Sequence[Coincidence], condition: str) -> PageTable:
    """One row a coincidence, with what its rise is made of."""
    return PageTable(
        headers=(
            *("No.", "At", "What", "Level, dB SPL", "Rise, dB", "Tone weaker, dB", "Way out, dB", "Made more, dB"),
            *("Dip or peak", "Cause", "Chance"),
        ),
        rows=[
            [
                str(one.number),
                hertz_words(one.frequency_hz),
                quantity_words(one.quantity).removeprefix("the "),
                level_name(one.level),
                _db(one.evidence.rise_db),
                _db(one.evidence.fundamental_db),
                _db(one.evidence.way_out_db),
                _db(one.evidence.source_db),
                anomaly_words(one),
                CAUSES[one.cause],
                chance_words(one.chance_probability_report),
            ]
            for one in found
        ],
        caption=f"What rises, and why, {condition}",
        look="numbered",
    )


def _db(value: float | None) -> str:
    return "" if value is None else f"{round(value, 1) + 0.0:+.1f}"  # no -0.0


def hearing_table(results: ConditionResults) -> PageTable:
    """One row a level and kind of distortion, at its worst octave, by both models; none where nothing was estimated."""
    background, found = over_one_background(results)
    rows = []
    for one in found:
        top = one.worst
        if top is None:
            continue
        order = one.quantity.order or 1
        rows.append(
            [
                f"{level_name(one.level_db_spl)} dB SPL",
                heading(one.quantity),
                hertz_words(top.frequency_hz),
                hertz_words(order * top.frequency_hz),
                f"{top.terhardt_db:+.0f} dB",
                f"{top.schroeder_db:+.0f} dB",
                top.verdict,
            ]
        )
    return PageTable(
        headers=("Level (nominal)", "Distortion", "Of the tone at", "Heard at", "Terhardt", "Schroeder", "Audible?"),
        rows=rows,
        caption=f"Audibility {BACKGROUND_WORDS[background]}, {results.findings.condition}",
    )
