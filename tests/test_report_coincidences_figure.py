"""The figure of coincidences: what stands where, and that the three panels share their axis of frequency."""

from dataclasses import replace

import matplotlib.pyplot as plt
import numpy as np
import pytest

from distort.analysis.coincidences.faults import Anomaly, Cause, Coincidence
from distort.report.figures import coincidences as figures_coincidences
from distort.report.figures.coincidences import MOST_SHADED, SHADES, coincidences_figure
from distort.report.figures.style import FILL
from distort.session.results.condition_results import ConditionResults
from tests.page_examples import whole_results
from tests.test_fault_changes import DIP, RISE
from tests.test_report_figures import LEGEND, said


def anomaly(number: int, frequency_hz: float) -> Anomaly:
    return replace(DIP, number=number, frequency_hz=frequency_hz, low_hz=0.9 * frequency_hz, high_hz=1.1 * frequency_hz)


def coincidence(number: int, frequency_hz: float, *, quantity: str = "h3", cause: Cause = "made-here") -> Coincidence:
    return replace(
        RISE,
        number=number,
        quantity=quantity,
        cause=cause,
        frequency_hz=frequency_hz,
        low_hz=0.95 * frequency_hz,
        high_hz=1.05 * frequency_hz,
    )


ANOMALIES = (anomaly(1, 300.0), anomaly(2, 1000.0))
COINCIDENCES = (
    coincidence(1, 1000.0, cause="weak-fundamental"),
    coincidence(2, 330.0),
    coincidence(3, 1000.0, quantity="compression_sweep", cause="own-compression"),
    coincidence(4, 5000.0, cause="undecided"),
)


def results(
    anomalies: tuple[Anomaly, ...] = ANOMALIES, coincidences: tuple[Coincidence, ...] = COINCIDENCES
) -> ConditionResults:
    plain = whole_results("desk", levels=(86.0, 96.0), conditions=("desk",))
    return replace(plain, findings=replace(plain.findings, anomalies=anomalies, coincidences=coincidences))


@pytest.fixture
def figure():
    made = coincidences_figure(results(), LEGEND)
    yield made
    plt.close(made)


def panels(figure):
    """Response, distortion and compression, from the top down."""
    return sorted(figure.axes, key=lambda axes: -axes.get_position().y0)[:3]


def marks(axes) -> dict[str, float]:
    """What is written at a place, and at which frequency."""
    return {text.get_text(): float(text.get_position()[0]) for text in axes.texts if text.get_gid() == "mark"}


def shades(axes) -> list[tuple[float, float, str]]:
    """Low and high end and colour of every shaded region over the whole height."""
    regions = []
    for patch in axes.patches:
        box = patch.get_extents().transformed(axes.transData.inverted())
        regions.append((box.x0, box.x1, plt.matplotlib.colors.to_hex(patch.get_facecolor())))
    return sorted(regions)


def test_letters_stand_at_the_anomalies_and_numbers_at_the_coincidences(figure) -> None:
    """Compression has its numbers in its own panel."""
    response, distortion, compression = map(marks, panels(figure))
    assert response == {"A": 300.0, "B": 1000.0}
    assert distortion == {"1": 1000.0, "2": 330.0, "4": 5000.0}
    assert compression == {"3": 1000.0}


def test_regions_are_shaded_in_the_colour_of_their_cause(figure) -> None:
    """From end to end as found; 1e-6 is what drawing in single precision leaves."""
    response, distortion, compression = map(shades, panels(figure))
    expected = {
        "response": [(270.0, 330.0, FILL), (900.0, 1100.0, FILL)],
        "distortion": [
            (313.5, 346.5, SHADES["source"]),
            (950.0, 1050.0, SHADES["fundamental"]),
            (4750.0, 5250.0, SHADES["other"]),
        ],
        "compression": [(950.0, 1050.0, SHADES["source"])],
    }
    for found, wanted in zip((response, distortion, compression), expected.values(), strict=True):
        assert [colour for *_, colour in found] == [colour for *_, colour in wanted]
        np.testing.assert_allclose([ends for *ends, _ in found], [ends for *ends, _ in wanted], rtol=1e-6)


def test_the_panels_share_their_axis_of_frequency(figure) -> None:
    first, *others = panels(figure)
    assert first.get_xscale() == "log"
    for axes in others:
        assert axes.get_shared_x_axes().joined(first, axes)
        assert axes.get_xlim() == first.get_xlim()
        assert axes.get_position().x0 == first.get_position().x0
        assert axes.get_position().x1 == first.get_position().x1


def test_the_curves_are_those_of_the_results(figure) -> None:
    """Response of the lowest level, and orders 2 to 5 of the level at which most lines up."""
    of = results()
    response, distortion, _ = panels(figure)
    np.testing.assert_array_equal(response.lines[0].get_xdata(), of.responses[0].frequency_hz)
    assert np.nanmax(response.lines[0].get_ydata()) == np.nanmax(of.responses[0].level_db)
    assert [line.get_label() for line in distortion.lines] == [f"H{n}, 96 dB" for n in (2, 3, 4, 5)]
    third = of.harmonics[1].orders[1]
    np.testing.assert_array_equal(distortion.lines[1].get_ydata(), np.where(third.doubtful, np.nan, third.relative_db))


def test_a_broad_region_is_a_line_and_marks_side_by_side_do_not_cover_each_other() -> None:
    broad = replace(coincidence(2, 60.0, quantity="compression_sweep", cause="own-compression"), low_hz=30.0)
    close = (coincidence(1, 1000.0), replace(broad, high_hz=200.0), coincidence(3, 1030.0, quantity="h2"))
    made = coincidences_figure(results(coincidences=close), LEGEND)
    _, distortion, compression = panels(made)
    assert shades(compression) == []
    one, other = (text.get_window_extent() for text in distortion.texts if text.get_gid() == "mark")
    assert not one.overlaps(other)
    plt.close(made)


def test_only_the_first_are_shaded() -> None:
    many = tuple(coincidence(number, 100.0 * 1.3**number) for number in range(1, MOST_SHADED + 4))
    made = coincidences_figure(results(coincidences=many), LEGEND)
    assert len(shades(panels(made)[1])) == MOST_SHADED
    assert f"The first {MOST_SHADED} of {MOST_SHADED + 3} are marked." in said(made)
    plt.close(made)


def test_nothing_to_draw_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one"):
        figures_coincidences.coincidences_figure(results(anomalies=(), coincidences=()), LEGEND)
