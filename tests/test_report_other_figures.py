"""THD of all levels, harmonics as levels and at the input, signal to noise: words keep apart, scales are shared."""

from dataclasses import replace

import numpy as np
import pytest

from distort.report.figures.harmonic_levels import equivalent_input_figure, harmonic_levels_figure, harmonic_top_db
from distort.report.figures.quality import margin_span_db, quality_figure
from distort.report.figures.thd import thd_figure
from tests.report_examples import harmonics, response
from tests.test_report_figures import LEGEND, LONG, assert_no_words_overlap

LADDERS = ((86.0,), (76.0, 86.0, 96.0, 102.0), (76.0, 82.0, 88.0, 94.0, 98.0, 102.0))


def with_input(lift_db: float = 0.0):
    """A straight loudspeaker: what stands at the input is what came out."""
    made = harmonics(lift_db=lift_db)
    orders = tuple(replace(order, equivalent_input_db=order.relative_db) for order in made.orders)
    return replace(made, orders=orders)


SHEETS = {
    **{
        f"thd, {len(levels)} levels, {words}": (
            lambda levels=levels, legend=legend: thd_figure(
                {level: harmonics(lift_db=level - 96.0) for level in levels}, legend
            )
        )
        for levels in LADDERS
        for words, legend in (("short", LEGEND), ("long", LONG))
    },
    **{
        f"signal to noise, {len(levels)} levels": (
            lambda levels=levels: quality_figure({level: response(level) for level in levels}, LONG)
        )
        for levels in LADDERS
    },
    "levels": lambda: harmonic_levels_figure(harmonics(), LONG, level_db_spl=96.0),
    "input": lambda: equivalent_input_figure(with_input(), LONG, level_db_spl=96.0),
}


@pytest.mark.first(2)
@pytest.mark.parametrize("name", SHEETS)
def test_no_words_overlap(name) -> None:
    assert_no_words_overlap(SHEETS[name]())


def test_harmonic_levels_are_those_of_the_orders() -> None:
    made = harmonics()
    axes = harmonic_levels_figure(made, LEGEND, level_db_spl=96.0).axes[0]
    drawn = np.concatenate([line.get_ydata() for line in axes.lines])
    second = made.orders[0].level_db
    assert np.isin(second[np.isfinite(second) & (made.frequency_hz >= 20.0)], drawn).all()
    assert axes.get_ylim() == (harmonic_top_db([made]) - 100.0, harmonic_top_db([made]))


def test_equivalent_input_floors_move_with_their_readings() -> None:
    """A loudspeaker 10 dB more sensitive at n f needs 10 dB less at its input; so does its noise."""
    made = harmonics()
    orders = tuple(replace(order, equivalent_input_db=order.relative_db - 10.0) for order in made.orders)
    axes = equivalent_input_figure(replace(made, orders=orders), LEGEND, level_db_spl=96.0).axes[0]
    top = max(path.vertices[:, 1].max() for path in axes.collections[0].get_paths())
    assert top == pytest.approx(-100.0)  # a floor of -90 dB lies on the lower edge then


def test_the_noise_axis_is_long_enough_for_every_level() -> None:
    assert margin_span_db([response(96.0, noise_db=20.0)]) == 100.0
    assert margin_span_db([response(96.0, noise_db=20.0), response(102.0, noise_db=-10.0)]) == 150.0
