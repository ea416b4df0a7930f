"""What begins within another sound, held against the cycles before it; and how levels of parts are cut out: sums by
hand, each limit from both sides."""

import math

import numpy as np
import pytest

from distort.analysis.sweep import cycles
from distort.analysis.sweep.cycles import UNKNOWN, Step, _levels, in_step
from tests.test_cycle_rules import LENGTH_S, RATE, SWEEP, cycle_at, tone


class Given:
    """Levels that a test chooses, by the number of the cycle, in place of measured ones."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.at: dict[int, float] = {}
        self.usual = 1.0
        monkeypatch.setattr(cycles, "_levels", self)
        monkeypatch.setattr(cycles, "_common_power", lambda over: (float(np.mean(over)), 0.0))

    def __call__(self, samples, rate, *, edges, band_hz):
        turns = 10.0 * LENGTH_S * np.expm1((edges - 100.5) / rate / LENGTH_S)
        self.before, self.after = round(turns[0]), round(turns[-1])
        level = np.full((self.after - self.before, 12), self.usual)
        for number, value in self.at.items():
            level[number - self.before] = value
        return level.ravel()


def look(from_s: float, to_s: float, *, within: bool = True) -> Step:
    return in_step(np.zeros(1), SWEEP, start=100.5, from_s=from_s, to_s=to_s, within=within)


FROM_S, TO_S = 2.5, 3.0
FIRST, END = cycle_at(FROM_S), cycle_at(TO_S) + 1
"""Cycles of the sound: more than eight, and more than eight before it in 0.3 s."""


@pytest.mark.parametrize(("number", "counts"), [(-9, False), (-8, True), (-1, True), (END - FIRST, False)])
def test_within_another_sound_the_last_eight_cycles_before_are_the_usual(number, counts, monkeypatch):
    """All are 1, and those of the sound 3: over by 2 re 1. One of eight at 9 makes the usual 2: over by 1 re 2."""
    given = Given(monkeypatch)
    given.at = {one: 3.0 for one in range(FIRST, END)} | {FIRST + number: 9.0}
    assert FIRST - cycle_at(FROM_S - 0.3) > 9
    assert look(FROM_S, TO_S).power == pytest.approx(0.5 if counts else 2.0)


def test_by_itself_a_sound_is_held_against_the_quieter_side(monkeypatch):
    given = Given(monkeypatch)
    given.at = {one: 3.0 for one in range(FIRST, END)} | {FIRST - 1: 9.0}
    assert look(FROM_S, TO_S, within=False).power == pytest.approx(2.0)
    given.at |= {one: 2.0 for one in range(END, cycle_at(TO_S + 0.3))}
    before = FIRST - cycle_at(FROM_S - 0.3)
    usual = (before - 1 + 9.0) / before
    assert usual < 2.0
    assert look(FROM_S, TO_S, within=False).power == pytest.approx((3.0 - usual) / usual)


@pytest.mark.parametrize(("over", "known"), [(0.19, False), (0.21, True)])
def test_what_adds_less_than_a_fifth_to_what_was_there_cannot_be_told(over, known, monkeypatch):
    given = Given(monkeypatch)
    given.at = {one: 1.0 + over for one in range(FIRST, END)}
    assert look(FROM_S, TO_S).known == known
    assert look(FROM_S, TO_S, within=False).known


@pytest.mark.parametrize("rows", [1, 2])
def test_two_cycles_before_it_are_needed_within(rows, monkeypatch):
    """Of a sound that is widened to eight cycles; by itself what comes after it would do."""
    from_s = next(one for one in np.arange(0.5, 2.0, 0.001) if cycle_at(one) - 4 - cycle_at(one - 0.3) == rows)
    first = cycle_at(from_s) - 4
    given = Given(monkeypatch)
    given.at = {one: 3.0 for one in range(first, first + 9)}
    assert look(from_s, from_s) == UNKNOWN if rows == 1 else look(from_s, from_s).known
    assert look(from_s, from_s, within=False).known


def test_the_sweep_has_no_cycle_before_its_first(monkeypatch):
    given = Given(monkeypatch)
    assert cycle_at(0.25) > 1
    look(0.25, 1.5, within=False)
    assert given.before == 0


# --- levels -----------------------------------------------------------------------------------------------------------


def test_the_parts_themselves_are_not_faded():
    """Parts of a tone's five periods hold half of its square from the first to the last; the fades lie outside, 30 ms
    long. What the band's edges leave of them is under a thousandth."""
    edges = np.arange(2000.0, 2801.0, 40.0)
    found = _levels(tone(1000.0), RATE, edges=edges, band_hz=(600.0, 2000.0))
    np.testing.assert_allclose(found, 0.5, rtol=2e-3)


def test_a_piece_far_into_a_recording_is_faded_as_smoothly():
    """30 ms: of a strong tone an octave below the band next to nothing comes through; cut off hard, it would."""
    samples = 100.0 * np.sin(2.0 * np.pi * 301.3 * np.arange(4 * RATE) / RATE + 0.4)
    edges = np.arange(28000.0, 28801.0, 40.0)
    assert np.max(_levels(samples, RATE, edges=edges, band_hz=(600.0, 2000.0))) < 1e-2


def test_a_recording_that_begins_with_its_first_part_has_no_power_from_before():
    """The fade lies over the first parts then: at its very beginning there is nothing."""
    found = _levels(tone(1000.0), RATE, edges=np.array([0.0, 4.0, 4000.0]), band_hz=(600.0, 2000.0))
    assert 0.0 <= found[0] < 1e-4
    assert found[1] == pytest.approx(0.5 * (1.0 - 240.0 * 5.0 / 8.0 / 3996.0), rel=2e-3)
    assert math.isclose(cycles.MARGIN_S * RATE, 240.0)
