"""The figure of a long heating, and what the page says of one."""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.heating.result import TIMES_S, not_heard
from distort.report.figures.dark import darken
from distort.report.figures.heating import MOST_BANDS, has_heating, heating_figure, shown_bands
from distort.report.figures.session_figures import figures_of
from distort.report.figures.style import ORDER_COLOURS
from distort.report.text.verdicts import verdicts
from distort.session.plan.keys import ReportPlan
from tests.heating_examples import AT_HZ, TAUS_S, heating
from tests.page_examples import whole_results
from tests.test_figure_colours import check_contrast
from tests.test_report_figures import LEGEND, LONG, assert_no_words_overlap, said

WHOLE = heating()
ENDED = heating(loud_s=300.0, asked_s=900.0, scale=3.0)
BROKEN_OFF = heating(loud_s=300.0, asked_s=900.0, pilots=0)
UNTOLD = heating(told=False)
CASES = {"ended": ENDED, "whole": WHOLE, "broken off": BROKEN_OFF, "untold": UNTOLD}


def drawn(result, legend=LEGEND):
    return heating_figure(result, legend, level_db_spl=96.0)


def test_those_third_octaves_are_drawn_that_changed_most() -> None:
    """They lose the more the lower they are, so of every second the lowest ones."""
    (level,) = WHOLE.levels
    assert shown_bands(level) == [0, 2, 4, 6]
    assert len(shown_bands(level)) == MOST_BANDS
    still = replace(level.bands[0], course=replace(level.bands[0].course, uncertainty_db=9.0))
    assert shown_bands(replace(level, bands=(still, *level.bands[1:]))) == [1, 3, 5, 7]


def test_means_course_time_constants_and_recovery_are_where_they_were_found() -> None:
    """Closed form: 1.2 and 0.6 dB in the long run at the lowest third octave."""
    figure = drawn(WHOLE)
    loud, after = figure.axes
    colour = ORDER_COLOURS[2]
    lines = [line for line in loud.get_lines() if line.get_color() == colour]
    (means,) = (line for line in lines if line.get_marker() == "o")
    at_s = np.array([one for one in TIMES_S if one <= 900.0])
    lost_db = (1.0 - np.exp(-at_s[:, None] / TAUS_S)) @ [1.2, 0.6]
    np.testing.assert_allclose(means.get_xdata(), at_s)
    np.testing.assert_allclose(means.get_ydata(), -lost_db, atol=1e-12)
    (course,) = (line for line in lines if len(line.get_xdata()) > 100)
    x, y = course.get_data()
    np.testing.assert_allclose(y, -(1.0 - np.exp(-x[:, None] / TAUS_S)) @ [1.2, 0.6], atol=1e-12)
    assert x[-1] == 900.0
    constants = [line for line in loud.get_lines() if line.get_gid() == "time constant"]
    assert [float(line.get_xdata()[0]) for line in constants[:2]] == list(TAUS_S)
    (left, _) = (line for line in after.get_lines() if line.get_color() == colour and line.get_marker() != "_")
    np.testing.assert_array_equal(left.get_ydata(), WHOLE.levels[0].bands[0].left_db)
    bars = loud.collections[0]  # of the first third octave
    assert [float(np.ptp(one[:, 1])) for one in bars.get_segments()] == pytest.approx([0.12] * at_s.size)
    assert f"{AT_HZ[0]:.0f} Hz: 9.0 s and 240 s" in said(figure)


@pytest.mark.sample
def test_where_it_ended_before_its_time_is_marked() -> None:
    figure = drawn(ENDED)
    assert "ended by itself at 3 dB, 5 min of 15 min" in said(figure)
    loud, _ = figure.axes
    level_lines = [line.get_ydata()[0] for line in loud.get_lines() if line.get_linestyle() == ":"]
    assert -3.0 in level_lines
    assert "broken off, 5 min of 15 min" in said(drawn(BROKEN_OFF))
    assert "ended" not in said(drawn(WHOLE))


@pytest.mark.first(1)
@pytest.mark.parametrize("name", CASES)
def test_no_words_overlap_and_all_are_readable_on_either_ground(name) -> None:
    figure = drawn(CASES[name], LONG)
    assert_no_words_overlap(figure)
    check_contrast(name, figure)
    darken(figure)
    check_contrast(name, figure)


def test_what_cannot_be_read_is_not_drawn() -> None:
    (level,) = WHOLE.levels
    nothing = replace(level, bands=tuple(not_heard(level) for _ in level.bands))
    assert not has_heating(nothing)
    with pytest.raises(ValueError, match="can be read"):
        drawn(replace(WHOLE, levels=(nothing,)))


def test_a_session_has_the_figure_and_the_page_its_sentence_where_one_was_recorded() -> None:
    without = whole_results("desk", levels=(86.0, 96.0), conditions=("desk",))
    findings = replace(without.findings, further=("heating",))
    with_one = replace(without, findings=findings, further={"heating": WHOLE})
    assert "heating_desk_96dB" in figures_of((with_one,), ReportPlan())
    assert not [name for name in figures_of((without,), ReportPlan()) if name.startswith("heating")]
    (sentence,) = (one for one in verdicts(with_one) if "for 15 min" in one)
    assert sentence.startswith("Multitone of 96 dB SPL for 15 min: -1.79 \N{PLUS-MINUS SIGN} 0.03 dB at 100 Hz")
    assert sentence.endswith("184 s after the end -0.27 dB are left.")
    assert not [one for one in verdicts(without) if one.startswith("Multitone of")]
