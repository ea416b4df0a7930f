"""Dips and peaks on the report page, what rises there and why: two tables and a sentence for each rise."""

from collections.abc import Sequence

from distort.analysis.coincidences.cause_words import quantity_words
from distort.analysis.coincidences.faults import Anomaly, Cause, Coincidence
from distort.report.page.markup import Markup, element, markup, table
from distort.report.text.numbers import hertz_words, level_name
from distort.report.text.tables_coincidences import EQUALISERS, PHASES, anomaly_words, chance_words, letter
from distort.session.results.condition_results import ConditionResults

ABOUT_COINCIDENCES = (
    "Distortion, or a change of compression, that rises above its surroundings near a dip or peak of the response, or "
    "alone. Letters and numbers are those of the figures. A rise is made of three parts: the wanted tone is weaker "
    "there, the response is stronger where the product is heard, or the loudspeaker makes more of it. Chance is how "
    "often unrelated curves would line up as well anywhere in this report."
)

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


def coincidences_part(results: ConditionResults) -> Markup:
    """Both tables of a condition, then what each rise means and what would confirm it; nothing where none was found."""
    anomalies, found = results.findings.anomalies, results.findings.coincidences
    parts = []
    if anomalies:
        parts.append(_anomaly_table(anomalies, results.findings.condition))
    if found:
        parts.append(_coincidence_table(found, results.findings.condition))
        parts.append(element("ol", (element("li", _meaning(one)) for one in found)))
    return markup(parts)


def _meaning(one: Coincidence) -> Markup:
    return markup([markup(one.sentence), element("br"), element("small", f"To be sure: {one.next_experiment}")])


def _anomaly_table(anomalies: Sequence[Anomaly], condition: str) -> Markup:
    headers = ("Letter", "Kind", "At", "Height", "Width", "Shape", "Minimum phase", "An equaliser mends it")
    rows = [
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
    ]
    return table(
        headers, rows, caption=f"Dips and peaks of the response at the lowest level, {condition}", look="numbered"
    )


def _shape(one: Anomaly) -> str:
    if one.shape == "interference" and one.path_difference_m is not None:
        return f"reflection, {100.0 * one.path_difference_m:.1f} cm longer"
    return f"{one.shape}, Q {one.q:.1f}" if one.shape == "resonance" else one.shape


def _coincidence_table(found: Sequence[Coincidence], condition: str) -> Markup:
    headers = (
        *("No.", "At", "What", "Level, dB SPL", "Rise, dB", "Tone weaker, dB", "Way out, dB", "Made more, dB"),
        *("Dip or peak", "Cause", "Chance"),
    )
    rows = []
    for one in found:
        of = one.evidence
        rows.append(
            [
                str(one.number),
                hertz_words(one.frequency_hz),
                quantity_words(one.quantity).removeprefix("the "),
                level_name(one.level),
                *(_db(value) for value in (of.rise_db, of.fundamental_db, of.way_out_db, of.source_db)),
                anomaly_words(one),
                CAUSES[one.cause],
                chance_words(one.chance_probability_report),
            ]
        )
    return table(headers, rows, caption=f"What rises, and why, {condition}", look="numbered")


def _db(value: float | None) -> str:
    return "" if value is None else f"{round(value, 1) + 0.0:+.1f}"  # no -0.0
