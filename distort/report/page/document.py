"""The report page as one file: head, verdicts, figures, facts, data."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from distort.errors import SessionError
from distort.report.page.chart_data import plain_chart
from distort.report.page.charts import session_charts
from distort.report.page.comparisons import comparisons
from distort.report.page.downloads import download_of
from distort.report.page.facts import compression_words, levels_table, quality_table, setup_facts
from distort.report.page.figures import figure_sections
from distort.report.page.rendering import rendered
from distort.report.page.sections import Section
from distort.report.page.what_was_found import sections_of_findings
from distort.report.text.audibility import heard_sentences
from distort.report.text.headings import SIMULATED_WORDS, unlike_takes_sentences
from distort.report.text.mended import applied_sentence
from distort.report.text.staleness import stale_clauses
from distort.report.text.verdicts import READING, verdicts
from distort.session.files.folder import SessionFolder
from distort.session.plan.keys import ReportPlan
from distort.session.plan.reading import read_plan
from distort.session.results.analysed import staleness
from distort.session.results.comparison_files import read_comparisons
from distort.session.results.condition_results import ConditionResults, Findings
from distort.session.results.page_file import page_path, write_page_file

POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src 'unsafe-inline'; base-uri 'none'"
"""The page asks no address for anything, and the browser holds it to that (Content Security Policy Level 3)."""


LIBRARY = "uPlot.iife.min.js"
"""uPlot 1.6.32, MIT licence (uPlot.LICENSE), as npm serves it; draws curves on a canvas."""

MOST_FINDINGS = 3
"""The strongest; the first page of a report is for what matters most, and all of them have a section of their own."""


@dataclass(frozen=True, kw_only=True)
class Written:
    """Where the page lies, and whether it had to be written."""

    path: Path
    written: bool
    left_out: tuple[str, ...]
    """Files of comparisons that are not in it, because they are not as they were written; relative to the session."""


def write_page(
    folder: SessionFolder, conditions: tuple[ConditionResults, ...], words: ReportPlan, *, figures: Sequence[Path]
) -> Written:
    """Write results/report.html from the results and the `figures` that were drawn of them, unless it is the same.

    Raises SessionError when a file cannot be read or written.
    """
    path = page_path(folder)
    try:
        text = page(folder, conditions, words, figures=figures)
    except OSError as error:
        raise SessionError(f"{path} is not written: {error.filename} cannot be read ({error.strerror})") from error
    left_out = tuple(path.relative_to(folder.root).as_posix() for path in read_comparisons(folder).left_out)
    return Written(path=path, written=write_page_file(folder, text), left_out=left_out)


def page(
    folder: SessionFolder, conditions: tuple[ConditionResults, ...], words: ReportPlan, *, figures: Sequence[Path]
) -> str:
    """The whole page. Raises OSError when a figure or a table cannot be read."""
    speaker = conditions[0].findings.loudspeaker
    charts = session_charts(conditions)
    simulated = any(results.findings.simulated for results in conditions)
    stale = stale_clauses(staleness(folder, read_plan(folder.root)))
    return rendered(
        "page.html.j2",
        policy=POLICY,
        software=conditions[0].findings.software,
        title=words.title or speaker.name,
        about=", ".join(part for part in (speaker.name, speaker.unit) if part) if words.title else "",
        credit=words.credit,
        warnings=[
            *[f"{SIMULATED_WORDS}."] * simulated,
            *(f"Careful: {one}." for one in stale),
            *(said for results in conditions for said in _careful(results.findings)),
        ],
        sections=[
            _verdicts(conditions),
            *figure_sections(figures, conditions, words, charts=[chart.kind for chart in charts]),
            *_facts(folder, conditions),
        ],
        charts=[plain_chart(chart) for chart in charts],
        library=LIBRARY,
    )


def _careful(findings: Findings) -> Iterator[str]:
    """What must be known of a condition before any of it is read."""
    applied = applied_sentence(findings)
    for said in (*([applied] if applied is not None else []), *unlike_takes_sentences(findings)):
        yield f"Condition {findings.condition}: {said}"


def _verdicts(conditions: Sequence[ConditionResults]) -> Section:
    content = {
        "uncalibrated": any(level.unit == "dbfs" for results in conditions for level in results.findings.levels),
        "reading": READING,
        "conditions": [_verdicts_of(results) for results in conditions],
    }
    return Section("verdicts", "What the measurements say", "verdicts", content)


def _verdicts_of(results: ConditionResults) -> dict[str, Any]:
    found = results.findings.findings or ()
    strongest = [one.sentence for one in found if one.decided][:MOST_FINDINGS]
    return {
        "condition": results.findings.condition,
        "said": [*verdicts(results), *strongest, *heard_sentences(results)],
        "more": len(found) - len(strongest),
    }


def _facts(folder: SessionFolder, conditions: Sequence[ConditionResults]) -> list[Section]:
    """Everything below the pictures."""
    each = [results.findings for results in conditions]
    compression = [
        {
            "condition": results.findings.condition,
            "sources": compression_words(results),
            "none": results.findings.no_compression,
        }
        for results in conditions
    ]
    compared = comparisons(folder)
    return [
        Section("compression-words", "Compression in words", "compression", compression),
        *sections_of_findings(conditions),
        *([Section("comparisons", "Comparisons", "comparisons", compared)] if compared else []),
        Section("levels", "Levels", "tables", [(one.condition, levels_table(one)) for one in each]),
        Section("quality", "Recording quality", "tables", [(one.condition, quality_table(one)) for one in each]),
        Section("setup", "Set-up and calibration", "setup", [(one.condition, setup_facts(one)) for one in each]),
        Section("method", "Method and sources", "method"),
        Section("data", "Data", "data", [download_of(folder, results) for results in conditions]),
    ]
