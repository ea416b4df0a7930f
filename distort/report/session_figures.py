"""The figures of a whole session, those of a kind on one scale; what there is no result for is not drawn."""

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from distort.report.figures_coincidences import coincidences_figure
from distort.report.figures_compression import change_limits, compression_figure
from distort.report.figures_harmonics import distortion_top_db, harmonics_figure
from distort.report.figures_input_output import input_output_figure
from distort.report.figures_multitone import multitone_figure, multitone_top_db
from distort.report.figures_response import response_figure, response_limits
from distort.report.saving import save_figure
from distort.report.style import Legend
from distort.report.tables_multitone import how_it_sounds
from distort.session.condition_results import ConditionResults
from distort.session.folder import SessionFolder, format_level
from distort.session.plan import ReportPlan

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def legend_of(results: ConditionResults, words: ReportPlan) -> Legend:
    """The words around a condition's figures; the condition is named where the session has several."""
    findings = results.findings
    condition = f", {findings.condition}" if len(findings.setup.conditions) > 1 else ""
    return Legend(
        title=words.title or None,
        credit=words.credit or None,
        loudspeaker=f"{findings.loudspeaker.name}{condition}",
        simulated=findings.simulated,
        distance_m=findings.setup.distance_m,
        smoothing=None if findings.smoothing == "none" else findings.smoothing,
        gate_ms=findings.gate_ms,
        lowest_valid_hz=max((level.lowest_valid_hz for level in findings.levels), default=None),
    )


def draw_session(
    folder: SessionFolder,
    conditions: tuple[ConditionResults, ...],
    words: ReportPlan,
    *,
    progress: Callable[[str, int, int], None],
) -> tuple[Path, ...]:
    """Draw every figure into results/figures as PNG and SVG and return the paths.

    Levels and conditions share their scales, so that any two figures can be laid over one another. Raises SessionError
    when a file cannot be written.
    """
    paths: list[Path] = []
    figures = _figures(conditions, words)
    for stem, draw in figures:
        progress(f"drawing {stem}", len(paths) // 2, len(figures))
        paths += save_figure(draw(), folder.figures_folder() / stem)
    _remove_stale(folder, conditions, kept=set(paths))
    return tuple(paths)


def _remove_stale(folder: SessionFolder, conditions: tuple[ConditionResults, ...], *, kept: set[Path]) -> None:
    """Figures that an earlier run drew of these conditions and this one did not: a level that was rejected, say.

    Only names that are given here count; any other file in the folder is the user's.
    """
    names = "|".join(re.escape(results.findings.condition) for results in conditions)
    ours = re.compile(
        rf"((response|coincidences)_({names})|(harmonics|multitone)_({names})_[0-9.]+dB"
        rf"|(compression|input_output)_({names})_(sweep|multitone))\.(png|svg)"
    )
    for path in folder.figures_folder().glob("*.*"):
        if ours.fullmatch(path.name) and path not in kept:
            path.unlink()


Named = tuple[str, "Callable[[], Figure]"]
"""Name of a figure's files, and what draws it."""


def _figures(conditions: tuple[ConditionResults, ...], words: ReportPlan) -> list[Named]:
    """Every figure there is something to draw for."""
    figures: list[Named] = []
    of_sweeps = _sweep_figures(conditions, words)
    of_multitones = _multitone_figures(conditions, words)
    of_ladders = _ladder_figures(conditions, words)
    for results in conditions:
        figures += [*of_sweeps(results), *of_multitones(results), *of_ladders(results)]
        if results.findings.anomalies or results.findings.coincidences:
            legend = legend_of(results, words)
            name = f"coincidences_{results.findings.condition}"
            figures.append((name, partial(coincidences_figure, results, legend)))
    return figures


def _sweep_figures(
    conditions: tuple[ConditionResults, ...], words: ReportPlan
) -> Callable[[ConditionResults], Iterator[Named]]:
    """Response and harmonics of a condition, on the scales of all."""
    limits = response_limits([response for results in conditions for response in results.responses])
    top_db = distortion_top_db([each for results in conditions for each in results.harmonics])

    def of(results: ConditionResults) -> Iterator[Named]:
        condition, legend = results.findings.condition, legend_of(results, words)
        responses = dict(zip(results.levels_db_spl, results.responses, strict=True))
        yield f"response_{condition}", partial(response_figure, responses, legend, limits=limits)
        for level, harmonics in zip(results.levels_db_spl, results.harmonics, strict=True):
            yield (
                f"harmonics_{condition}_{format_level(level)}dB",
                partial(harmonics_figure, harmonics, legend, level_db_spl=level, top_db=top_db),
            )

    return of


def _multitone_figures(
    conditions: tuple[ConditionResults, ...], words: ReportPlan
) -> Callable[[ConditionResults], Iterator[Named]]:
    """One figure a multitone, on the scale of all."""
    tables = [bands for results in conditions for bands in results.multitones]
    top_db = multitone_top_db(tables) if tables else 0.0

    def of(results: ConditionResults) -> Iterator[Named]:
        for found, bands in zip(results.findings.multitones, results.multitones, strict=True):
            legend = replace(legend_of(results, words), stimulus=how_it_sounds(found))
            yield (
                f"multitone_{results.findings.condition}_{format_level(found.level_db_spl)}dB",
                partial(multitone_figure, bands, legend, level_db_spl=found.level_db_spl, top_db=top_db),
            )

    return of


def _ladder_figures(
    conditions: tuple[ConditionResults, ...], words: ReportPlan
) -> Callable[[ConditionResults], Iterator[Named]]:
    """Compression and input-output curves of every source; the former on the scale of all."""
    limits = change_limits([curves for results in conditions for curves in results.changes])

    def of(results: ConditionResults) -> Iterator[Named]:
        findings = results.findings
        for found, curves in zip(findings.compression, results.changes, strict=True):
            if len(found.level_db_spl) < 2:
                continue
            legend, unit = legend_of(results, words), findings.levels[0].unit
            if found.source == "multitone":
                legend = replace(legend, stimulus=how_it_sounds(findings.multitones[0]))
            name = f"{findings.condition}_{found.source}"
            yield (
                f"compression_{name}",
                partial(compression_figure, curves, legend, includes_heating=found.includes_heating, limits=limits),
            )
            yield f"input_output_{name}", partial(input_output_figure, found, legend, unit=unit)

    return of
