"""The report page as one file: a first screen, the findings as a story, and everything else folded."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from distort.errors import SessionError
from distort.report.page.by_itself import by_themselves
from distort.report.page.chart_data import plain_charts
from distort.report.page.charts import session_charts
from distort.report.page.comparisons import comparisons
from distort.report.page.details import folds
from distort.report.page.listening import Play, played, short_version
from distort.report.page.one_at_a_time import louder_than_music, one_at_a_time
from distort.report.page.opening import overview_table, owners, response_pictures
from distort.report.page.rendering import rendered
from distort.report.page.what_was_found import chapters
from distort.report.text.afterwards import applied_sentence
from distort.report.text.at_home import home_sentence
from distort.report.text.headings import unlike_takes_sentences
from distort.report.text.simulated import SIMULATED_WORDS
from distort.report.text.staleness import stale_clauses
from distort.report.text.story import Told, opening, told
from distort.session.files.folder import PLAN_FILE, SessionFolder
from distort.session.plan.keys import ReportPlan
from distort.session.plan.reading import read_plan
from distort.session.results.across_results import read_across
from distort.session.results.analysed import staleness
from distort.session.results.comparison_files import read_comparisons
from distort.session.results.condition_results import ConditionResults, Findings
from distort.session.results.heard_files import Heard
from distort.session.results.listened import kept_listened
from distort.session.results.page_file import page_path, write_page_file

POLICY = (
    "default-src 'none'; img-src data:; media-src data:; style-src 'unsafe-inline'; script-src 'unsafe-inline'; "
    "base-uri 'none'"
)
"""The page asks no address for anything, and the browser holds it to that (Content Security Policy Level 3)."""


LIBRARY = "uPlot.iife.min.js"
"""uPlot 1.6.32, MIT licence (uPlot.LICENSE), as npm serves it; draws curves on a canvas."""


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
    heard = played(folder, read_plan(folder.root))
    try:
        text = page(folder, conditions, words, figures=figures)
    except OSError as error:
        raise SessionError(f"{path} is not written: {error.filename} cannot be read ({error.strerror})") from error
    left_out = tuple(path.relative_to(folder.root).as_posix() for path in read_comparisons(folder).left_out)
    music = () if heard is None else (heard.programme_sha256,)
    return Written(path=path, written=write_page_file(folder, text, music=music), left_out=left_out)


def page(
    folder: SessionFolder, conditions: tuple[ConditionResults, ...], words: ReportPlan, *, figures: Sequence[Path]
) -> str:
    """The whole page. Raises OSError when a figure or a table cannot be read."""
    conditions = _as_planned(conditions)
    speaker = conditions[0].findings.loudspeaker
    plan = read_plan(folder.root)
    changed = {one.name: one.changed for one in plan.conditions if one.changed is not None}
    story = told(conditions, read_across(folder), listened=kept_listened(folder), changed=changed)
    charts = session_charts(conditions, story)
    simulated = any(results.findings.simulated for results in conditions)
    stale, compared = stale_clauses(staleness(folder, plan)), comparisons(folder)
    sounds = by_themselves(folder, story, conditions)
    return rendered(
        "page.html.j2",
        policy=POLICY,
        software=conditions[0].findings.software,
        title=words.title or speaker.name,
        about=", ".join(part for part in (speaker.name, speaker.unit) if part) if words.title else "",
        credit=words.credit,
        warnings=[
            *[f"{SIMULATED_WORDS}."] * simulated,
            *(f"Careful: {one.replace(PLAN_FILE, 'the plan of the session')}." for one in stale),
            *(said for results in conditions for said in _careful(results.findings)),
        ],
        pictures=response_pictures(conditions, story, changed=changed),
        owners=owners(story),
        at_home=home_sentence(conditions),
        sentences=opening(conditions, story),
        overview=overview_table(conditions, story),
        chapters=chapters(story, conditions, sounds=sounds),
        listening=_listening(folder, played(folder, plan), story, sounds),
        proofs=[each["proves"] for each in compared if each["proves"]],
        folds=list(
            folds(
                folder,
                conditions,
                words,
                story=story,
                figures=figures,
                charts=[chart.kind for chart in charts],
                compared=compared,
            )
        ),
        charts=plain_charts(charts),
        library=LIBRARY,
    )


def _listening(
    folder: SessionFolder, heard: Heard | None, story: Sequence[Told], sounds: Mapping[int, Play | str]
) -> dict[str, Any] | None:
    """What the page says and plays of music; None where there is none to play."""
    short = None if heard is None else short_version(folder, heard)
    if heard is None or short is None:
        return None
    ways = one_at_a_time(heard, short["test"], story, sounds)
    return {**short, "ways": ways, "louder": louder_than_music(heard, story)}


def _as_planned(conditions: tuple[ConditionResults, ...]) -> tuple[ConditionResults, ...]:
    """In the order of the plan that they were recorded by; what it does not name comes last."""
    planned = max((results.findings.setup.conditions for results in conditions), key=len)
    names = {name: place for place, name in enumerate(planned)}
    return tuple(sorted(conditions, key=lambda one: names.get(one.findings.condition, len(names))))


def _careful(findings: Findings) -> Iterator[str]:
    """What must be known of a condition before any of it is read."""
    applied = applied_sentence(findings)
    for said in (*([applied] if applied is not None else []), *unlike_takes_sentences(findings)):
        yield f"Condition {findings.condition}: {said}"
