"""The figures of the page: each kind with what it shows and how it was measured, then one picture after the other."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from distort.report.figures.kinds import KINDS, OTHER, Placed, placed
from distort.report.figures.session_figures import STIMULI, legend_of
from distort.report.page.sections import Section
from distort.report.page.vector import vector_address
from distort.report.text.multitone import how_it_sounds
from distort.session.files.reading import read_text
from distort.session.plan.keys import ReportPlan
from distort.session.results.condition_results import ConditionResults

MOST_LEVELS = 4
"""Of each condition so many levels have their pictures in the page."""

MOST_CHARACTERS = 5_000_000
"""Of all pictures in the page; those of later conditions are left out beyond it, as they lie beside the page."""


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
    every = _in_order(placed(vectors, by_name), list(by_name))
    held = _addresses(every, vectors, list(by_name))
    sections = []
    for kind in (*KINDS, OTHER):
        members = [one for one in every if one.kind == kind]
        above = [index for index, stem in enumerate(charts) if stem == kind.stem]
        if not members and not above:
            continue
        content = {
            "kind": kind,
            "charts": above,
            "pictures": [_picture(one, held[one.stem], by_name, words) for one in members if one.stem in held],
            "left_out": [one.title for one in members if one.stem not in held],
        }
        sections.append(Section(f"figures-{kind.stem or 'other'}", kind.heading, "figures", content))
    return sections


def _in_order(found: Sequence[Placed], names: Sequence[str]) -> list[Placed]:
    """By kind, and within it by condition."""
    order = {name: place for place, name in enumerate(names)}
    return sorted(found, key=lambda one: order.get(one.condition or "", len(order)))


def _addresses(every: Sequence[Placed], vectors: Mapping[str, Path], names: Sequence[str]) -> dict[str, str]:
    """The pictures that have room in the page, condition after condition; those of no condition first."""
    held: dict[str, str] = {}
    room = MOST_CHARACTERS
    shown = _shown(every)
    for name in ("", *names):
        for one in shown:
            if (one.condition or "") != name:
                continue
            address = vector_address(read_text(vectors[one.stem]))
            room -= len(address)
            if room < 0:
                return held
            held[one.stem] = address
    return held


def _shown(members: Sequence[Placed]) -> list[Placed]:
    """All but the levels between: of each kind and condition the lowest and the loudest few."""
    levels = {one: float(found[1]) for one in members if (found := re.fullmatch(r"([0-9.]+)dB", one.rest))}
    series: dict[tuple[str, str | None], list[float]] = {}
    for one, level in levels.items():
        series.setdefault((one.kind.stem, one.condition), []).append(level)
    shown = []
    for one in members:
        ladder = sorted(series.get((one.kind.stem, one.condition), []))
        if one not in levels or levels[one] in (*ladder[:1], *ladder[-MOST_LEVELS + 1 :]):
            shown.append(one)
    return shown


def _picture(one: Placed, address: str, by_name: Mapping[str, ConditionResults], words: ReportPlan) -> Picture:
    results = by_name.get(one.condition or "")
    return Picture(
        address=address,
        alt=f"{one.kind.heading}: {one.title}. The data are in the tables to download at the end of this page.",
        caption=one.title if results is None else f"{one.title}. {_how(one, results, words)}",
    )


def _how(one: Placed, results: ConditionResults, words: ReportPlan) -> str:
    """The caption that the figure itself carries: distance, smoothing, gate, what was played."""
    legend = legend_of(results, words)
    if one.kind.stem in STIMULI:
        return replace(legend, stimulus=STIMULI[one.kind.stem]).caption()
    multitones = results.findings.multitones
    if multitones and (one.kind.stem == "multitone" or one.rest == "multitone"):
        levels = {f"{found.level_db_spl:g}dB": found for found in multitones}
        legend = replace(legend, stimulus=how_it_sounds(levels.get(one.rest, multitones[0])))
    return legend.caption()
