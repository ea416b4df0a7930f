"""Findings, and what can be heard: sections that are there where something was found."""

from collections.abc import Sequence

from distort.analysis.anomalies.anomaly import Anomaly
from distort.analysis.findings.finding import Finding
from distort.report.page.sections import PageTable, Section
from distort.report.text.audibility import BACKGROUND_WORDS, over_one_background
from distort.report.text.findings import BEFORE_FINDINGS, EQUALISERS, NOTHING, PHASES, letter, surely
from distort.report.text.numbers import hertz_words, level_name, with_plus_minus
from distort.report.text.quantities import heading
from distort.session.results.condition_results import ConditionResults


def sections_of_findings(conditions: Sequence[ConditionResults]) -> list[Section]:
    """Those that there is something for, in any condition."""
    told = [results for results in conditions if results.findings.anomalies or results.findings.findings]
    heard = [(results.findings.condition, found) for results in conditions if (found := hearing_table(results)).rows]
    sections = []
    if told:
        content = [
            {
                "condition": results.findings.condition,
                "anomalies": anomaly_table(results.findings.anomalies, results.findings.condition),
                "found": [_told(one) for one in results.findings.findings or ()],
                "nothing": BEFORE_FINDINGS if results.findings.findings is None else NOTHING,
            }
            for results in told
        ]
        sections.append(Section("findings", "Findings", "findings", content))
    if heard:
        sections.append(Section("hearing", "What can be heard", "hearing", heard))
    return sections


def _told(one: Finding) -> dict[str, str]:
    return {
        "headline": one.headline,
        "sentence": with_plus_minus(one.sentence),
        "surely": surely(one),
        "next": one.next.text,
    }


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
