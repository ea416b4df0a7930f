"""The figures of the page: each kind with what it shows and how it was measured, then one picture after the other."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import groupby
from pathlib import Path

from distort.report.figures.kinds import Kind, Placed, placed
from distort.report.figures.session_figures import legend_of
from distort.report.page.markup import Markup, element, markup
from distort.report.page.vector import vector_address
from distort.report.text.tables_multitone import how_it_sounds
from distort.session.files.reading import read_text
from distort.session.plan.keys import ReportPlan
from distort.session.results.condition_results import ConditionResults

MOST_LEVELS = 4
"""Of each condition so many levels have their pictures in the page."""

LEFT_OUT = "In the live chart, and as files beside this page, but not here:"


def figure_sections(
    paths: Sequence[Path], conditions: Sequence[ConditionResults], words: ReportPlan, *, charts: Mapping[str, Markup]
) -> Markup:
    """One section a kind. `charts` holds what stands above the pictures of a kind: the place of its live chart.

    Raises OSError when a picture cannot be read.
    """
    by_name = {results.findings.condition: results for results in conditions}
    vectors = {path.stem: path for path in paths if path.suffix == ".svg"}
    sections = []
    for kind, group in groupby(placed(vectors, by_name), key=lambda one: one.kind):
        members = list(group)
        shown = _shown(members)
        pictures = [_picture(one, vectors[one.stem], by_name, words) for one in shown]
        if len(shown) < len(members):
            pictures.append(element("p", f"{LEFT_OUT} {', '.join(one.title for one in members if one not in shown)}."))
        sections.append(_section(kind, pictures, charts.get(kind.stem, Markup(""))))
    return markup(sections)


def _shown(members: Sequence[Placed]) -> list[Placed]:
    """All but the levels between: of each condition the lowest and the loudest few, so that the page stays small."""
    levels = {one: float(found[1]) for one in members if (found := re.fullmatch(r"([0-9.]+)dB", one.rest))}
    shown = []
    for one in members:
        ladder = sorted(level for other, level in levels.items() if other.condition == one.condition)
        if one not in levels or levels[one] in (*ladder[:1], *ladder[-MOST_LEVELS + 1 :]):
            shown.append(one)
    return shown


def _section(kind: Kind, pictures: Sequence[Markup], chart: Markup) -> Markup:
    name = f"figures-{kind.stem or 'other'}"
    return element(
        "section",
        element("h2", kind.heading, id=name),
        element("p", kind.shows) if kind.shows else "",
        element("p", kind.measured, class_="how") if kind.measured else "",
        chart,
        element("div", pictures, class_="pictures"),
        aria_labelledby=name,
    )


def _picture(one: Placed, path: Path, by_name: Mapping[str, ConditionResults], words: ReportPlan) -> Markup:
    caption = one.title
    results = by_name.get(one.condition or "")
    if results is not None:
        caption = f"{one.title}. {_how(one, results, words)}"
    return element(
        "figure",
        element(
            "img",
            src=vector_address(read_text(path)),
            alt=f"{one.kind.heading}: {one.title}. The data are in the tables to download at the end of this page.",
            width="1280",
            height="720",
        ),
        element("figcaption", caption),
    )


def _how(one: Placed, results: ConditionResults, words: ReportPlan) -> str:
    """The caption that the figure itself carries: distance, smoothing, gate, what was played."""
    legend = legend_of(results, words)
    multitones = results.findings.multitones
    if multitones and (one.kind.stem == "multitone" or one.rest == "multitone"):
        levels = {f"{found.level_db_spl:g}dB": found for found in multitones}
        legend = replace(legend, stimulus=how_it_sounds(levels.get(one.rest, multitones[0])))
    return legend.caption()


def contents(paths: Sequence[Path], conditions: Sequence[ConditionResults]) -> list[tuple[str, str]]:
    """Anchor and heading of every section that `figure_sections` makes."""
    stems = {path.stem for path in paths if path.suffix == ".svg"}
    members = placed(stems, [results.findings.condition for results in conditions])
    kinds = dict.fromkeys(one.kind for one in members)
    return [(f"figures-{kind.stem or 'other'}", kind.heading) for kind in kinds]
