"""The annotated figure: every number stands above its panel and within its width, at the ends of the band as well."""

from dataclasses import replace

import pytest

from distort.analysis.findings.finding import response_shows
from distort.report.figures.axes import scale_of
from distort.report.figures.findings import findings_figure, kind_of
from distort.report.figures.session_figures import legend_of
from distort.session.plan.keys import ReportPlan
from tests.page_examples import whole_results
from tests.test_fault_changes import DIP, RISE, ROW, at


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
    *upper, lowest = (scale_of(axes, "bottom").numbers() for axes in figure.axes)
    assert not any(upper), "numbers under the lowest panel alone, where no mark is in the way"
    assert len(lowest) == 12


@pytest.mark.parametrize(
    ("at_product_db", "source_db", "letter"),
    [(3.0, 6.0, "R"), (2.99, 6.0, "?"), (0.1, 7.0, "?"), (None, 7.0, "R"), (0.1, None, "R")],
)
def test_a_resonance_that_the_response_does_not_show_is_not_the_responses(at_product_db, source_db, letter) -> None:
    """From half of the rise on the response shows it; where nobody knows, nothing is said against it."""
    row = replace(ROW, rise_db=6.0, response_at_product_db=at_product_db, source_db=source_db, speaks="for")
    silent = replace(row, rise_db=9.0, response_at_product_db=0.0, source_db=9.0, speaks="silent")
    one = replace(RISE, explanation="product-on-peak", evidence=(silent, row))
    assert kind_of(one).letter == letter
    assert response_shows(()) is True
