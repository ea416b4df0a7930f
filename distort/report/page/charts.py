"""The live charts of a session, on the scales of the printed figures."""

from collections.abc import Sequence
from dataclasses import replace

from distort.analysis.common.quantities import from_findings
from distort.report.page.chart_data import Chart
from distort.report.page.charts_compression import compression_chart
from distort.report.page.charts_distortion import harmonics_chart, thd_chart
from distort.report.page.charts_multitone import multitone_chart
from distort.report.page.charts_response import response_chart
from distort.report.page.facets import Conditions
from distort.report.page.marks import Badge, badge_of
from distort.report.text.story import Told

ABOUT = {
    "response": ("response", "gain", "order", "thd", "even", "odd", "distortion", "change"),
    "thd": ("order", "thd"),
    "harmonics": ("order", "thd"),
    "multitone": ("even", "odd", "distortion"),
    "compression": ("change",),
}
"""Of which quantities a finding speaks that is marked in a chart."""


def session_charts(conditions: Conditions, story: Sequence[Told] = ()) -> tuple[Chart, ...]:
    """Every chart there is something for, with its findings marked."""
    charts = []
    if any(results.responses for results in conditions):
        charts += [response_chart(conditions), thd_chart(conditions), harmonics_chart(conditions)]
    if any(results.multitones for results in conditions):
        charts.append(multitone_chart(conditions))
    for source in ("sweep", "multitone"):
        if any(one.source == source and len(one.level_db_spl) > 1 for each in conditions for one in each.changes):
            charts.append(compression_chart(conditions, source))
    return tuple(replace(chart, badges=tuple(_badges(chart, conditions, story))) for chart in charts)


def _badges(chart: Chart, conditions: Conditions, story: Sequence[Told]) -> list[tuple[Badge, tuple[int, ...]]]:
    names = [results.findings.condition for results in conditions]
    return [
        (badge_of(one, place), tuple(names.index(name) for name in one.conditions))
        for one in story
        if _speaks_of(one, chart)
        for place in one.finding.places[:3]
    ]


def _speaks_of(one: Told, chart: Chart) -> bool:
    quantities = {from_findings(row.quantity).name for row in one.finding.evidence}
    return chart.kind == "response" or bool(quantities & set(ABOUT[chart.kind]))
