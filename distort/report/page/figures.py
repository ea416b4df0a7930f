"""The figures of the page: each kind with what it shows and how it was measured, then one picture after the other."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from pathlib import Path

from distort.report.figures.kinds import Placed, placed
from distort.report.figures.session_figures import legend_of
from distort.report.page.sections import Section
from distort.report.page.vector import vector_address
from distort.report.text.multitone import how_it_sounds
from distort.session.files.reading import read_text
from distort.session.plan.keys import ReportPlan
from distort.session.results.condition_results import ConditionResults

MOST_LEVELS = 4
"""Of each condition so many levels have their pictures in the page."""


@dataclass(frozen=True, kw_only=True)
class Picture:
    """A figure in the page."""

    address: str
    alt: str
    caption: str


def figure_sections(
    paths: Sequence[Path], conditions: Sequence[ConditionResults], words: ReportPlan, *, charts: Sequence[str]
) -> list[Section]:
    """One section a kind. `charts` names the kind that each live chart stands above, in their order.

    Raises OSError when a picture cannot be read.
    """
    by_name = {results.findings.condition: results for results in conditions}
    vectors = {path.stem: path for path in paths if path.suffix == ".svg"}
    sections = []
    for kind, group in groupby(placed(vectors, by_name), key=lambda one: one.kind):
        members = list(group)
        shown = _shown(members)
        content = {
            "kind": kind,
            "charts": [index for index, above in enumerate(charts) if above == kind.stem],
            "pictures": [_picture(one, vectors[one.stem], by_name, words) for one in shown],
            "left_out": [one.title for one in members if one not in shown],
        }
        sections.append(Section(f"figures-{kind.stem or 'other'}", kind.heading, "figures", content))
    return sections


def _shown(members: Sequence[Placed]) -> list[Placed]:
    """All but the levels between: of each condition the lowest and the loudest few, so that the page stays small."""
    levels = {one: float(found[1]) for one in members if (found := re.fullmatch(r"([0-9.]+)dB", one.rest))}
    shown = []
    for one in members:
        ladder = sorted(level for other, level in levels.items() if other.condition == one.condition)
        if one not in levels or levels[one] in (*ladder[:1], *ladder[-MOST_LEVELS + 1 :]):
            shown.append(one)
    return shown


def _picture(one: Placed, path: Path, by_name: Mapping[str, ConditionResults], words: ReportPlan) -> Picture:
    results = by_name.get(one.condition or "")
    return Picture(
        address=vector_address(read_text(path)),
        alt=f"{one.kind.heading}: {one.title}. The data are in the tables to download at the end of this page.",
        caption=one.title if results is None else f"{one.title}. {_how(one, results, words)}",
    )


def _how(one: Placed, results: ConditionResults, words: ReportPlan) -> str:
    """The caption that the figure itself carries: distance, smoothing, gate, what was played."""
    legend = legend_of(results, words)
    multitones = results.findings.multitones
    if multitones and (one.kind.stem == "multitone" or one.rest == "multitone"):
        levels = {f"{found.level_db_spl:g}dB": found for found in multitones}
        legend = replace(legend, stimulus=how_it_sounds(levels.get(one.rest, multitones[0])))
    return legend.caption()
