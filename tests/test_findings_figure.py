"""The annotated figure: every number stands above its panel and within its width, at the ends of the band as well."""

from dataclasses import replace

import pytest

from distort.report.figures.findings import findings_figure
from distort.report.figures.session_figures import legend_of
from distort.session.plan.keys import ReportPlan
from tests.page_examples import whole_results
from tests.test_fault_changes import DIP, at


@pytest.mark.parametrize("frequency_hz", [20.0, 21.5, 1000.0, 18500.0, 19950.0])
def test_no_number_is_cut_at_the_edge_of_its_panel(frequency_hz) -> None:
    plain = whole_results("desk", levels=(86.0, 96.0), conditions=("desk",))
    found = (replace(at(frequency_hz), number=10),)
    dips = (replace(DIP, number=2, frequency_hz=frequency_hz),)
    results = replace(plain, findings=replace(plain.findings, findings=found, anomalies=dips))
    figure = findings_figure(results, legend_of(results, ReportPlan()))
    figure.canvas.draw()
    marks = [(axes.bbox, one) for axes in figure.axes for one in axes.texts if one.get_gid() == "mark"]
    assert {one.get_text() for _, one in marks} == {"10R", "B"}
    for panel, mark in marks:
        extent = mark.get_window_extent()
        assert panel.x0 <= extent.x0
        assert extent.x1 <= panel.x1
        assert extent.y0 >= panel.y1, "above its panel, so that it hides no curve"
