"""Findings as articles, and the tables behind them: dips and peaks, evidence, what can be heard."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from distort.analysis.anomalies.anomaly import Anomaly
from distort.analysis.common.quantities import from_findings
from distort.report.page.finding_pictures import Panel, panels
from distort.report.page.listening import Play
from distort.report.page.sections import PageTable, Section
from distort.report.text.audibility import BACKGROUND_WORDS, over_one_background
from distort.report.text.findings import EQUALISERS, PHASES, letter, surely
from distort.report.text.numbers import hertz_words, level_name, with_plus_minus
from distort.report.text.quantities import heading, short
from distort.report.text.story import (
    HEADINGS,
    OWNERS,
    Told,
    confirm_words,
    proof_words,
    sentence_of,
    shown_words,
    undecided_words,
)
from distort.session.results.condition_results import ConditionResults

MOST_ROWS = 12
"""Of evidence; all of it is in findings.json."""

MOST_TOLD = 12
"""Findings that are told in full, with a picture; more of them are folded away."""


@dataclass(frozen=True, kw_only=True)
class Article:
    """A finding as the page prints it."""

    told: Told
    sentence: str
    facts: tuple[tuple[str, str], ...]
    panels: tuple[Panel, ...]
    play: Play | None = None
    no_play: str = ""
    """Why there is no sound where there should be one."""


@dataclass(frozen=True, kw_only=True)
class Chapter:
    """The findings of one owner."""

    anchor: str
    heading: str
    articles: tuple[Article, ...]


def chapters(
    story: Sequence[Told], conditions: Sequence[ConditionResults], *, sounds: Mapping[int, Play | str]
) -> tuple[Chapter, ...]:
    """The findings that are told in full, by whose they are; `sounds` as `by_itself.by_themselves` has them."""
    shown = story[:MOST_TOLD]
    first: dict[str, int] = {}
    for one in shown:
        first.setdefault(confirm_words(one), one.number)
    return tuple(
        Chapter(
            anchor=f"findings-{owner}",
            heading=HEADINGS[owner],
            articles=tuple(
                article(
                    one,
                    panels(one, conditions),
                    sounds.get(one.number, ""),
                    as_for=first[confirm_words(one)],
                )
                for one in shown
                if one.belongs_to == owner
            ),
        )
        for owner in OWNERS
        if any(one.belongs_to == owner for one in shown)
    )


def article(
    one: Told, its_panels: tuple[Panel, ...] = (), sound: Play | str = "", *, as_for: int | None = None
) -> Article:
    """What is said of a finding.

    as_for   number of the first finding that the same would confirm
    """
    finding = one.finding
    confirm = f"As for finding {as_for}." if as_for not in (None, one.number) else confirm_words(one)
    facts = [
        ("Where", shown_words(one)),
        ("Proof", with_plus_minus(proof_words(one))),
        ("How sure", surely(finding)),
        ("Undecided", undecided_words(one)),
        ("Audible", one.audible),
        ("To confirm", confirm if confirm_words(one) else ""),
    ]
    return Article(
        told=one,
        sentence=sentence_of(finding),
        facts=tuple((name, words) for name, words in facts if words),
        panels=its_panels,
        play=sound if isinstance(sound, Play) else None,
        no_play=sound if isinstance(sound, str) else "",
    )


def sections_of_findings(story: Sequence[Told], conditions: Sequence[ConditionResults]) -> list[Section]:
    """The folded ones: dips and peaks, the evidence, what can be heard; those that there is something for."""
    dips = [
        (results.findings.condition, anomaly_table(results.findings.anomalies, results.findings.condition))
        for results in conditions
        if results.findings.anomalies
    ]
    evidence = [(f"{one.number}. {one.finding.headline}", evidence_table(one)) for one in story if one.finding.evidence]
    heard = [(results.findings.condition, found) for results in conditions if (found := hearing_table(results)).rows]
    sections = []
    if story[MOST_TOLD:]:
        sections.append(Section("more", "More findings", "more", [article(one) for one in story[MOST_TOLD:]]))
    if dips:
        sections.append(Section("dips", "Dips and peaks of the response", "tables", dips))
    if evidence:
        sections.append(Section("evidence", "Evidence behind each finding", "evidence", evidence[:MOST_TOLD]))
    if heard:
        sections.append(Section("hearing", "What can be heard", "hearing", heard))
    return sections


def evidence_table(one: Told) -> PageTable:
    """The readings behind a finding, those that speak first, the largest first."""
    ordered = sorted(one.finding.evidence, key=lambda row: (row.speaks == "silent", -abs(row.rise_db)))
    left = len(ordered) - MOST_ROWS
    more = f"; {left} more readings are in findings.json" if left > 0 else ""
    return PageTable(
        headers=(
            "Reading",
            "Level, dB",
            "At",
            "Rise, dB",
            "\u00b1",
            "Fundamental",
            "Response at n\u00b7f",
            "Loudspeaker",
            "Speaks",
        ),
        rows=[
            [
                short(from_findings(row.quantity)),
                level_name(row.level_db_spl),
                hertz_words(row.frequency_hz),
                *(
                    "" if value is None else f"{round(value, 1) + 0.0:.1f}"
                    for value in (
                        row.rise_db,
                        row.interval_db,
                        row.fundamental_db,
                        row.response_at_product_db,
                        row.source_db,
                    )
                ),
                row.speaks,
            ]
            for row in ordered[:MOST_ROWS]
        ],
        caption=f"Evidence for finding {one.number}, {one.conditions[0]}{more}",
        look="numeric",
    )


def anomaly_table(anomalies: Sequence[Anomaly], condition: str) -> PageTable:
    """One row a dip or peak."""
    return PageTable(
        headers=("Letter", "Kind", "At", "Re the trend", "Width", "Shape", "Minimum phase", "Correctable by EQ"),
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
                f"{top.excitation_db:+.0f} dB",
                f"{top.schroeder_db:+.0f} dB",
                top.verdict,
            ]
        )
    return PageTable(
        headers=("Level (nominal)", "Distortion", "Of the tone at", "Heard at", "By filters", "By spread", "Audible?"),
        rows=rows,
        caption=f"Audibility {BACKGROUND_WORDS[background]}, {results.findings.condition}",
    )
