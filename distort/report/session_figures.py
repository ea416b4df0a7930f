"""The figures of a whole session: one response figure a condition, one harmonics figure a level, all on one scale."""

from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from distort.report.figures_harmonics import distortion_top_db, harmonics_figure
from distort.report.figures_response import response_figure, response_limits
from distort.report.saving import save_figure
from distort.report.style import Legend
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
    total = sum(1 + len(results.harmonics) for results in conditions)
    for stem, draw in _figures(conditions, words):
        progress(f"drawing {stem}", len(paths) // 2, total)
        paths += save_figure(draw(), folder.figures_folder() / stem)
    return tuple(paths)


def _figures(
    conditions: tuple[ConditionResults, ...], words: ReportPlan
) -> "Iterator[tuple[str, Callable[[], Figure]]]":
    """Name of each figure and what draws it."""
    limits = response_limits([response for results in conditions for response in results.responses])
    top_db = distortion_top_db([each for results in conditions for each in results.harmonics])
    for results in conditions:
        condition = results.findings.condition
        legend = legend_of(results, words)
        responses = dict(zip(results.levels_db_spl, results.responses, strict=True))
        yield f"response_{condition}", partial(response_figure, responses, legend, limits=limits)
        for level, harmonics in zip(results.levels_db_spl, results.harmonics, strict=True):
            yield (
                f"harmonics_{condition}_{format_level(level)}dB",
                partial(harmonics_figure, harmonics, legend, level_db_spl=level, top_db=top_db),
            )
