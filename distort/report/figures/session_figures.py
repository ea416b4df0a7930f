"""The figures of a whole session, those of a kind on one scale; what there is no result for is not drawn."""

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from distort.analysis.burst_series.result import BurstResult
from distort.analysis.heating.result import HeatingResult
from distort.report.figures.burst import burst_compression_figure, burst_figure, shown_levels
from distort.report.figures.compression import change_limits, compression_figure
from distort.report.figures.dips import dips_among
from distort.report.figures.drawing import Drawers, Drawn, Named, draw_figures, forget, up_to_date
from distort.report.figures.findings import findings_figure
from distort.report.figures.formats import FormatName, formats_of
from distort.report.figures.frames import frames_figure
from distort.report.figures.harmonic_levels import equivalent_input_figure, harmonic_levels_figure, harmonic_top_db
from distort.report.figures.harmonics import distortion_top_db, harmonics_figure
from distort.report.figures.heating import has_heating, heating_figure
from distort.report.figures.impulsive import impulsive_figure
from distort.report.figures.input_output import input_output_figure
from distort.report.figures.kinds import KINDS
from distort.report.figures.multitone import multitone_figure, multitone_top_db
from distort.report.figures.noise import has_noise, noise_figure
from distort.report.figures.quality import has_margin, margin_span_db, quality_figure
from distort.report.figures.response import response_figure, response_limits
from distort.report.figures.saving import FileKind
from distort.report.figures.style import Legend
from distort.report.figures.thd import thd_figure
from distort.report.text.multitone import how_it_sounds
from distort.session.files.folder import SessionFolder, format_level
from distort.session.plan.keys import NEAR_FIELD, ReportPlan
from distort.session.results.condition_results import ConditionResults
from distort.system import patiently

if TYPE_CHECKING:
    from matplotlib.figure import Figure


STIMULI = {
    "burst": "tone bursts of a few periods",
    "burst-compression": "tone bursts of a few periods",
    "frames": "a sine, quiet, loud and quiet again",
    "heating": "a multitone for minutes without a break, and quiet ones before and after it",
}
"""What was played where that is no sweep, by the kind of figure."""


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
        near_field=findings.setup.radiation == NEAR_FIELD,
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
    kinds: Sequence[FileKind] = ("png", "svg"),
    dark: bool = False,
    form: FormatName | None = None,
    drawers: Drawers | None = None,
) -> Drawn:
    """Draw what changed since it was drawn last into results/figures, or the folder of its format, or of dark ones.

    Levels and conditions share their scales, so that any two figures can be laid over one another.

    drawers   processes that may help; None: some of its own

    Raises SessionError when a file cannot be written.
    """
    where = folder.figures_folder(dark=dark, form=form)
    figures = [one for one in _figures(conditions, words) if form is None or formats_of(one[0], [form])]
    drawn = draw_figures(figures, where, kinds=kinds, dark=dark, form=form, progress=progress, drawers=drawers)
    _remove_stale(where, conditions, stems={stem for stem, _ in figures})
    return drawn


def _remove_stale(where: Path, conditions: tuple[ConditionResults, ...], *, stems: set[str]) -> None:
    """Figures that an earlier run drew of these conditions and this one did not: a level that was rejected, say.

    Only names that are given here count; any other file in the folder is the user's.
    """
    names = "|".join(re.escape(results.findings.condition) for results in conditions)
    stem_of_ours = "|".join(re.escape(kind.stem) for kind in KINDS)
    ours = re.compile(rf"({stem_of_ours})_({names})(_[0-9.]+dB|_sweep|_multitone)?\.(png|svg|pdf)")
    forget(where, {path.stem for path in where.glob("*.*") if ours.fullmatch(path.name)} - stems)
    known = up_to_date(where)
    for path in where.glob("*.*"):
        if ours.fullmatch(path.name) and path.name not in known and not path.is_dir():
            patiently(path.unlink)


def figures_of(conditions: tuple[ConditionResults, ...], words: ReportPlan) -> "dict[str, Callable[[], Figure]]":
    """Every figure that `draw_session` would draw, by the name of its files."""
    return dict(_figures(conditions, words))


def _figures(conditions: tuple[ConditionResults, ...], words: ReportPlan) -> list[Named]:
    """Every figure there is something to draw for."""
    figures: list[Named] = []
    of_sweeps = _sweep_figures(conditions, words)
    of_multitones = _multitone_figures(conditions, words)
    of_ladders = _ladder_figures(conditions, words)
    for results in conditions:
        figures += [*of_sweeps(results), *of_multitones(results), *of_ladders(results)]
        impulsive = results.further.get("impulsive")
        if impulsive is not None and impulsive.places:
            name = f"impulsive_{results.findings.condition}"
            figures.append((name, partial(impulsive_figure, impulsive, legend_of(results, words))))
        bursts = results.further.get("burst")
        if bursts is not None:
            figures += _burst_figures(bursts, results.findings.condition, legend_of(results, words))
        frames = results.further.get("frames")
        if frames is not None:
            name = f"frames_{results.findings.condition}"
            legend = replace(legend_of(results, words), stimulus=STIMULI["frames"])
            figures.append((name, partial(frames_figure, frames, legend)))
        heating = results.further.get("heating")
        if heating is not None:
            figures += _heating_figures(heating, results.findings.condition, legend_of(results, words))
        noise = results.further.get("noise")
        if noise is not None and has_noise(noise):
            legend = replace(legend_of(results, words), stimulus=how_it_sounds(results.findings.multitones[0]))
            figures.append((f"noise_{results.findings.condition}", partial(noise_figure, noise, legend)))
        if results.findings.anomalies or results.findings.findings:
            legend = legend_of(results, words)
            name = f"findings_{results.findings.condition}"
            figures.append((name, partial(findings_figure, results, legend)))
    return figures


def _burst_figures(bursts: BurstResult, condition: str, legend: Legend) -> Iterator[Named]:
    """How loud each band goes, and its compression where more than one level was played."""
    legend = replace(legend, stimulus=STIMULI["burst"])
    if np.isfinite(bursts.peak_db).any():
        yield f"burst_{condition}", partial(burst_figure, bursts, legend)
    if shown_levels(bursts):
        yield f"burst-compression_{condition}", partial(burst_compression_figure, bursts, legend)


def _heating_figures(heating: HeatingResult, condition: str, legend: Legend) -> Iterator[Named]:
    """One a level."""
    legend = replace(legend, stimulus=STIMULI["heating"])
    for level in heating.levels:
        if has_heating(level):
            name = f"heating_{condition}_{format_level(level.level_db_spl)}dB"
            yield name, partial(heating_figure, heating, legend, level_db_spl=level.level_db_spl)


def _sweep_figures(
    conditions: tuple[ConditionResults, ...], words: ReportPlan
) -> Callable[[ConditionResults], Iterator[Named]]:
    """Response, noise, THD and harmonics of a condition, on the scales of all; other views of its loudest level."""
    limits = response_limits([response for results in conditions for response in results.responses])
    span_db = margin_span_db([response for results in conditions for response in results.responses])
    everything = [each for results in conditions for each in results.harmonics]
    top_db, top_level_db = distortion_top_db(everything), harmonic_top_db(everything)

    def of(results: ConditionResults) -> Iterator[Named]:
        condition, legend = results.findings.condition, legend_of(results, words)
        dips = dips_among(results.findings.anomalies)
        responses = dict(zip(results.levels_db_spl, results.responses, strict=True))
        yield f"response_{condition}", partial(response_figure, responses, legend, limits=limits)
        if has_margin(responses):
            yield f"quality_{condition}", partial(quality_figure, responses, legend, span_db=span_db)
        levels = dict(zip(results.levels_db_spl, results.harmonics, strict=True))
        yield f"thd_{condition}", partial(thd_figure, levels, legend, top_db=top_db, dips=dips)
        for level, harmonics in zip(results.levels_db_spl, results.harmonics, strict=True):
            yield (
                f"harmonics_{condition}_{format_level(level)}dB",
                partial(harmonics_figure, harmonics, legend, level_db_spl=level, top_db=top_db, dips=dips),
            )
        yield from _other_views(results, legend, top_db=top_db, top_level_db=top_level_db)

    return of


def _other_views(results: ConditionResults, legend: Legend, *, top_db: float, top_level_db: float) -> Iterator[Named]:
    """The harmonics of the loudest level as sound pressure levels, and referred to the input."""
    level = max(results.levels_db_spl)
    harmonics = results.harmonics[results.levels_db_spl.index(level)]
    name = f"{results.findings.condition}_{format_level(level)}dB"
    yield (
        f"harmonics-absolute_{name}",
        partial(harmonic_levels_figure, harmonics, legend, level_db_spl=level, top_db=top_level_db),
    )
    if any(np.isfinite(order.equivalent_input_db).any() for order in harmonics.orders):
        yield (
            f"harmonics-input_{name}",
            partial(equivalent_input_figure, harmonics, legend, level_db_spl=level, top_db=top_db),
        )


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
