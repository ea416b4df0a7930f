"""The folded part of the page: all curves, what stands behind the findings, tables, set-up, method, data."""

from collections.abc import Iterator, Sequence
from pathlib import Path

from distort.report.page.downloads import downloads_of
from distort.report.page.facts import compression_words, levels_table, quality_table, setup_facts
from distort.report.page.figures import figure_sections
from distort.report.page.sections import Fold, Section
from distort.report.page.what_was_found import sections_of_findings
from distort.report.text.audibility import heard_sentences
from distort.report.text.story import Told
from distort.report.text.verdicts import READING, verdicts
from distort.session.files.folder import SessionFolder
from distort.session.plan.keys import ReportPlan
from distort.session.results.condition_results import ConditionResults


def folds(
    folder: SessionFolder,
    conditions: tuple[ConditionResults, ...],
    words: ReportPlan,
    *,
    story: Sequence[Told],
    figures: Sequence[Path],
    charts: Sequence[str],
    compared: Sequence[object],
) -> Iterator[Fold]:
    """All of them. Raises OSError when a figure or a table cannot be read."""
    yield Fold(
        "curves",
        "All curves",
        "live: levels, conditions and orders to choose, readings at any frequency, and the figures as printed",
        figure_sections(figures, conditions, words, charts=charts),
    )
    if compared:
        section = Section("compared", "Each comparison", "comparisons", compared)
        yield Fold(
            "comparisons", "Comparisons", "what changed from one condition to another, and by how much", [section]
        )
    if behind := sections_of_findings(story, conditions):
        yield Fold("behind", "Behind the findings", "dips and peaks, the evidence in numbers, audibility", behind)
    yield Fold(
        "numbers",
        "Numbers",
        "levels, distortion and compression in words, recordings and their checks",
        _numbers(conditions),
    )
    each = [results.findings for results in conditions]
    setup = Section(
        "setup-facts", "As the plan states it", "setup", [(one.condition, setup_facts(one)) for one in each]
    )
    yield Fold("setup", "Set-up and calibration", "loudspeaker, place, microphone, gate, smoothing", [setup])
    method = Section("method-words", "How it was measured", "method")
    yield Fold("method", "Method and sources", "what the numbers mean, and where the method comes from", [method])
    data = Section("tables", "Tables", "data", downloads_of(folder, conditions))
    yield Fold("data", "Data", "all tables as CSV and the findings as JSON, inside this file", [data])


def _numbers(conditions: Sequence[ConditionResults]) -> list[Section]:
    each = [results.findings for results in conditions]
    in_words = {
        "reading": READING,
        "conditions": [
            {"condition": results.findings.condition, "said": [*verdicts(results), *heard_sentences(results)]}
            for results in conditions
        ],
    }
    compression = [
        {
            "condition": results.findings.condition,
            "sources": compression_words(results),
            "none": results.findings.no_compression,
        }
        for results in conditions
    ]
    return [
        Section("verdicts", "What the measurements say", "verdicts", in_words),
        Section("compression-words", "Compression in words", "compression", compression),
        Section("levels", "Levels", "tables", [(one.condition, levels_table(one)) for one in each]),
        Section("quality", "Recording quality", "tables", [(one.condition, quality_table(one)) for one in each]),
    ]
