"""The report page as one file: head, verdicts, figures, facts, data."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from distort.errors import SessionError
from distort.report.page.charts import session_charts
from distort.report.page.comparisons import comparison_part
from distort.report.page.downloads import download_items
from distort.report.page.facts import (
    by_condition,
    compression_words,
    levels_table,
    method_part,
    quality_table,
    setup_list,
)
from distort.report.page.figures import contents, figure_sections
from distort.report.page.further import further_sections
from distort.report.page.hearing import heard_sentences
from distort.report.page.live import asset, chart_places, scripts
from distort.report.page.markup import Markup, bullets, element, markup
from distort.report.page.verdicts import READING, verdicts
from distort.report.text.headings import SIMULATED_WORDS
from distort.report.text.staleness import stale_clauses
from distort.report.text.tables_coincidences import DECIDED_CAUSES
from distort.session.files.folder import SessionFolder
from distort.session.plan.keys import ReportPlan
from distort.session.plan.reading import read_plan
from distort.session.results.analysed import staleness
from distort.session.results.comparison_files import read_comparisons
from distort.session.results.condition_results import ConditionResults
from distort.session.results.page_file import page_path, write_page_file

POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src 'unsafe-inline'; base-uri 'none'"
"""The page asks no address for anything, and the browser holds it to that (Content Security Policy Level 3)."""


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
    first = conditions[0].findings
    title = words.title or first.loudspeaker.name
    charts = session_charts(conditions)
    pictures = figure_sections(figures, conditions, words, charts=chart_places(charts))
    body = element(
        "body",
        _header(conditions, words, stale_clauses(staleness(folder, read_plan(folder.root)))),
        _main(folder, conditions, contents(figures, conditions), pictures),
        _footer(words),
        scripts(charts),
    )
    head = element(
        "head",
        element("meta", charset="utf-8"),
        element("meta", http_equiv="Content-Security-Policy", content=POLICY),
        element("meta", name="viewport", content="width=device-width, initial-scale=1"),
        element("meta", name="generator", content=first.software),
        element("title", title),
        element("style", Markup(asset("uPlot.min.css") + asset("page.css"))),
    )
    return f"<!DOCTYPE html>\n{element('html', head, body, lang='en')}\n"


def _header(conditions: Sequence[ConditionResults], words: ReportPlan, doubtful: Sequence[str]) -> Markup:
    findings = conditions[0].findings
    speaker = findings.loudspeaker
    about = ", ".join(part for part in (speaker.name, speaker.unit) if part)
    simulated = any(results.findings.simulated for results in conditions)
    return element(
        "header",
        element("a", "Skip to the results", href="#results", class_="skip"),
        element("p", f"{SIMULATED_WORDS}.", class_="simulated", role="note") if simulated else "",
        *(element("p", f"Careful: {one}.", class_="simulated", role="note") for one in doubtful),
        element("h1", words.title or speaker.name),
        element("p", about) if words.title else "",
        element("p", words.credit, class_="credit") if words.credit else "",
    )


def _main(
    folder: SessionFolder,
    conditions: tuple[ConditionResults, ...],
    anchors_of_pictures: Sequence[tuple[str, str]],
    pictures: Markup,
) -> Markup:
    each = [results.findings for results in conditions]
    further, compared = further_sections(conditions), comparison_part(folder)
    sections = [
        (
            "compression-words",
            "Compression in words",
            by_condition(conditions, [compression_words(c) for c in conditions]),
        ),
        *further,
        *([("comparisons", "Comparisons", compared)] if compared else []),
        ("levels", "Levels", by_condition(conditions, [levels_table(one) for one in each])),
        ("quality", "Recording quality", by_condition(conditions, [quality_table(one) for one in each])),
        ("setup", "Set-up and calibration", by_condition(conditions, [setup_list(one) for one in each])),
        ("method", "Method and sources", method_part()),
        ("data", "Data", _data(folder, conditions)),
    ]
    anchors = [
        ("verdicts", "What the measurements say"),
        *anchors_of_pictures,
        *((name, text) for name, text, _ in sections),
    ]
    return element(
        "main",
        element("nav", element("ul", (element("li", _to(*one)) for one in anchors)), aria_label="Contents"),
        _section("verdicts", "What the measurements say", _verdicts(conditions)),
        pictures,
        *(_section(*one) for one in sections),
        id="results",
    )


MOST_COINCIDENCES = 3
"""The strongest; the first page of a report is for what matters most, and all of them have a section of their own."""


def _to(anchor: str, heading: str) -> Markup:
    return element("a", heading, href=f"#{anchor}")


def _section(anchor: str, heading: str, content: Markup) -> Markup:
    return element("section", element("h2", heading, id=anchor), content, aria_labelledby=anchor)


def _verdicts(conditions: Sequence[ConditionResults]) -> Markup:
    parts = []
    for results in conditions:
        found = results.findings.coincidences
        strongest = [one.sentence for one in found if one.cause in DECIDED_CAUSES][:MOST_COINCIDENCES]
        said = [*verdicts(results), *strongest, *heard_sentences(results)]
        more = len(found) - len(strongest)
        link = element("p", _to("coincidences", f"{more} more that may line up")) if more > 0 else ""
        parts.append(markup([bullets(said), link]))
    uncalibrated = any(level.unit == "dbfs" for results in conditions for level in results.findings.levels)
    warning = "No calibration: levels are in dBFS, and no sound pressure level is known."
    return markup(
        [element("p", warning) if uncalibrated else "", element("p", READING), by_condition(conditions, parts)]
    )


def _data(folder: SessionFolder, conditions: Sequence[ConditionResults]) -> Markup:
    return markup(
        [
            element(
                "p",
                "All tables behind this page, as CSV, and the findings as JSON, inside this file: one archive a "
                "condition. An empty cell means that nothing could be measured there.",
            ),
            element("ul", (download_items(folder, results) for results in conditions)),
        ]
    )


def _footer(words: ReportPlan) -> Markup:
    return element("footer", element("p", words.credit, class_="credit")) if words.credit else Markup("")
