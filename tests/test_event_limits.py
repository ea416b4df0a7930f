"""When a sound counts as the loudspeaker's beside other recordings, and how sudden it is: cells by hand, each limit
from both sides."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from distort.analysis.sweep import events
from distort.analysis.sweep.cycles import UNKNOWN, Step
from distort.analysis.sweep.events import Overheard, Sound, _foreign, _rise, _sound, not_of_the_loudspeaker
from tests.test_event_rules import BANDS_HZ, LENGTH_S, MOMENTS, SLOW, TIME_S, plane

NO_STEP = Step(0.0, 0.0, 0.0, 0.0, 0.0)
KEPT = Step(0.1, 0.9, 0.0, 0.5, 0.0)
OUT = 10.0**0.6
"""6 dB: what a cell of many degrees of freedom must exceed, re the usual."""


def cells(*spots: tuple[slice | int, slice | int], strength: float, rest: float = 1.0) -> np.ndarray:
    """`strength` at the spots `(moments, bands)`, `rest` elsewhere."""
    made = np.full((MOMENTS, BANDS_HZ.size), rest)
    for spot in spots:
        made[spot] = strength
    return made


def heard(density: np.ndarray, *sounds: Sound) -> Overheard:
    return Overheard(plane=plane(density, freedom=300.0), sounds=sounds, start_s=0.0)


def sound(first: int, end: int, **fields: object) -> Sound:
    made = {"below": 0, "rise_db": 0.0, "between_db": 0.0, "step": NO_STEP} | fields
    return Sound(first=first, end=end, excess=np.zeros((end - first, BANDS_HZ.size)), **made)


def spans(found: tuple[Sound, ...]) -> list[tuple[int, int]]:
    return [(one.first, one.end) for one in found]


# --- beside other recordings ------------------------------------------------------------------------------------------

SPOT = (slice(100, 104), slice(12, 15))
"""Four moments of three third octaves, from 800 Hz up, while the sweep is at 67 to 71 Hz."""


@pytest.mark.parametrize(
    ("beside", "over"),
    [
        ((1.0,), OUT),  # the usual, which stands in for the scatter of noise
        ((8.0,), 8.0 * OUT),
        ((8.0, 3.0), 8.0 * OUT),  # the loudest of all
        ((1.9,), OUT),  # no more than 3 dB over the usual
    ],
)
def test_what_another_recording_has_there_as_well_must_be_passed_by_6_decibels(beside, over):
    others = [plane(cells(SPOT, strength=one), freedom=300.0) for one in beside]
    for factor, told in ((0.95, []), (1.05, [(100, 104)])):
        assert spans(not_of_the_loudspeaker(heard(cells(SPOT, strength=factor * over)), others)) == told


def test_what_no_other_recording_knows_of_is_not_told():
    """A cell of 3.9 degrees of freedom says nothing, whatever is there."""
    blind = plane(freedom=3.9)
    assert not_of_the_loudspeaker(heard(cells(SPOT, strength=1e6)), [blind]) == ()
    assert len(not_of_the_loudspeaker(heard(cells(SPOT, strength=1e6)), [blind, plane()])) == 1


@pytest.mark.parametrize(
    ("spots", "same", "other"),
    [
        ([(slice(100, 104), slice(12, 14))], 1, 0),  # eight cells, two bands: a voice with one formant
        ([(slice(100, 103), slice(12, 14)), (103, 12)], 0, 0),  # seven cells
        ([(slice(100, 107), 12), (107, slice(12, 14))], 1, 0),  # one band for most of it
        ([(slice(100, 108), 12)], 0, 0),  # one band all the time
        ([(100, slice(12, 15)), (slice(101, 104), slice(12, 14))], 1, 1),  # nine cells, three bands at one moment
        ([(100, slice(12, 15)), (slice(101, 103), slice(12, 14))], 0, 0),
    ],
)
def test_the_very_sweep_needs_fewer_bands_than_one_of_another_speed(spots, same, other):
    one = heard(cells(*spots, strength=50.0))
    assert len(not_of_the_loudspeaker(one, [plane(freedom=300.0)])) == same
    assert len(not_of_the_loudspeaker(one, [plane(freedom=300.0, sweep=SLOW)])) == other
    assert len(not_of_the_loudspeaker(one, [plane(freedom=300.0, sweep=SLOW), plane(freedom=300.0)])) == same


def _at_in_slow(moment: int) -> int:
    """The moment at which the slow sweep is at the same frequency: `t L' / L`."""
    return round(TIME_S[moment] * round(10.0 * SLOW.seconds / math.log(2000.0)) / 10.0 / LENGTH_S / 0.02)


@pytest.mark.parametrize("near", [True, False])
@pytest.mark.parametrize(("share", "told"), [(0.47, False), (0.53, True), (1.2, True)])
def test_near_what_a_sweep_of_another_speed_has_half_of_a_sudden_rise_is_asked_for(monkeypatch, near, share, told):
    """3 dB and 2.8 dB over L are sudden. What the other one has is in other bands, 0.4 octaves away at most."""
    sudden_db = 3.0 + 2.8 / LENGTH_S
    monkeypatch.setattr(events, "_rise", lambda *_, **__: (share * sudden_db, 100))
    at = _at_in_slow(102) if near else _at_in_slow(102) + 120
    other = plane(cells((at, slice(2, 4)), strength=50.0), freedom=300.0, sweep=SLOW)
    found = not_of_the_loudspeaker(heard(cells(SPOT, strength=50.0)), [other])
    assert len(found) == (told or not near)


@pytest.mark.parametrize(
    ("fields", "standing", "told"),
    [
        ({"below": 3}, 8, [(90, 98)]),
        ({"below": 3}, 7, []),
        ({"below": 0}, 8, []),
        ({"rise_db": 40.0}, 8, [(90, 98)]),
        ({"rise_db": 40.0, "step": KEPT}, 8, []),
    ],
)
def test_a_sound_that_tells_itself_is_told_where_eight_of_its_cells_are_over_what_others_have(fields, standing, told):
    """One band at a moment is no stretch beside a sweep of another speed. At moment 140 the sweep has passed 100 Hz."""
    first = int(np.argmin(np.abs(plane().sweep_hz - 150.0)))
    one = heard(cells((slice(first, first + standing), 15), strength=50.0), sound(first, first + 8, **fields))
    found = spans(not_of_the_loudspeaker(one, [plane(freedom=300.0, sweep=SLOW)]))
    assert found == [(first, first + 8) for _ in told]


def test_what_was_told_already_is_not_told_twice_and_all_stand_in_order():
    """Of two sounds one moment in common is enough to be the same; side by side they are two."""
    first = int(np.argmin(np.abs(plane().sweep_hz - 150.0)))
    density = cells((slice(first, first + 4), slice(18, 21)), (slice(first + 4, first + 12), 15), strength=50.0)
    density[first - 20 : first - 12, 15] = density[first - 8 : first, 15] = 50.0
    loud = {"below": 3}
    one = heard(
        density,
        sound(first - 20, first - 12, **loud),
        sound(first - 8, first, **loud),
        sound(first + 4, first + 12, **loud),
    )
    other = [plane(freedom=300.0, sweep=SLOW)]
    expected = [(first - 20, first - 12), (first - 8, first), (first, first + 4), (first + 4, first + 12)]
    assert spans(not_of_the_loudspeaker(one, other)) == expected
    again = replace(one, sounds=(*one.sounds[:1], sound(first + 3, first + 12, **loud), sound(first - 8, first + 1)))
    assert spans(not_of_the_loudspeaker(again, other)) == [expected[0], expected[2]]


@pytest.mark.parametrize(
    ("sweep_hz", "fields", "share", "told"),
    [
        (200.0, {"rise_db": 0.53}, 0.5, True),
        (200.0, {"rise_db": 0.47}, 0.5, False),
        (200.0, {"rise_db": 0.53}, 1.0, False),
        (200.0, {"between_db": 1.05}, 1.0, False),  # orders that keep no step may rise between
        (200.0, {"between_db": 0.53}, 0.5, True),
        (200.0, {"between_db": 1.05, "step": UNKNOWN}, 1.0, True),
        (200.0, {"rise_db": 1.05, "between_db": 0.2, "step": UNKNOWN}, 1.0, True),
        (200.0, {"rise_db": 1.05, "step": KEPT}, 1.0, False),
        (960.0, {"rise_db": 1.05, "step": KEPT}, 1.0, False),
        (1050.0, {"rise_db": 1.05, "step": KEPT}, 1.0, True),
        (1050.0, {"between_db": 1.05, "step": KEPT}, 1.0, True),
        (1050.0, {"between_db": 0.95, "step": KEPT}, 1.0, False),
        (105.0, {"below": 3, "step": KEPT}, 1.0, True),
        (95.0, {"below": 3}, 1.0, False),
        (195.0, {"below": 2}, 1.0, False),
        (207.0, {"below": 2}, 1.0, True),
        (207.0, {"below": 1}, 1.0, False),
    ],
)
def test_what_a_sound_itself_shows(sweep_hz, fields, share, told):
    """Rises in units of a sudden one."""
    given = {name: value * (3.0 + 2.8 / LENGTH_S) if name.endswith("db") else value for name, value in fields.items()}
    made = replace(plane(), time_s=LENGTH_S * np.log(np.full(MOMENTS, sweep_hz) / 10.0))
    assert _foreign(made, sound(5, 8, **given), share=share) is told


def test_a_sounds_rise_is_that_away_from_all_orders_and_between_those_the_other(monkeypatch):
    monkeypatch.setattr(events, "_rise", lambda *_, beyond=10.0: (beyond, 1))
    found = _sound(plane(), np.zeros((MOMENTS, BANDS_HZ.size), dtype=bool), 3, 6, step=UNKNOWN)
    assert (found.rise_db, found.between_db) == (10.0, 1.5)


# --- how suddenly it rises --------------------------------------------------------------------------------------------

HIGH_HZ = np.array([60.0, 1000.0, *(1100.0 + 50.0 * np.arange(30))])
"""At 100 Hz of the sweep the first two are just not away from it: at 0.6 and 10 times."""


def rise(sooner: np.ndarray, later: np.ndarray, *, freedom: np.ndarray | float = 50.0, sweep_hz: float = 100.0):
    """From moment 15 of 40 on the density is another one; of a sound in moments 15 to 20."""
    shape = (40, HIGH_HZ.size)
    density = np.broadcast_to(sooner, shape).copy()
    density[15:] = later
    made = SimpleNamespace(
        sweep_hz=np.full(40, sweep_hz),
        frequency_hz=HIGH_HZ,
        density=density,
        usual=np.ones(shape),
        freedom=np.broadcast_to(freedom, shape),
    )
    return _rise(made, 15, 20)


def in_bands(value: float, *bands: int) -> np.ndarray:
    made = np.ones(HIGH_HZ.size)
    made[list(bands)] = value
    return made


def few_db(ratio: float, known: float) -> float:
    """Means of chi squared of `known` degrees of freedom scatter by sqrt(2 / known) each: less two deviations."""
    return 10.0 * math.log10(ratio) - 2.0 * 10.0 / math.log(10.0) * math.sqrt(4.0 / known)


@pytest.mark.parametrize(
    ("bands", "ratio"),
    [((10, 11, 12), 10.0), ((10, 11), 7.0), ((10, 12), 7.0), ((29, 30, 31), 10.0), ((2, 3, 4), 10.0)],
)
def test_three_neighbouring_third_octaves_are_looked_at_by_themselves(bands, ratio):
    """Ten times in each: 10, or 21 / 3 where one of three stays."""
    assert rise(np.ones(HIGH_HZ.size), in_bands(10.0, *bands))[0] == pytest.approx(few_db(ratio, 150.0))


def test_all_bands_together_rise_by_the_mean_that_is_known():
    everywhere = in_bands(4.0, *range(32))
    assert rise(np.ones(32), everywhere)[0] == pytest.approx(10.0 * math.log10(4.0))
    assert rise(np.ones(32), in_bands(1e3, 0, 1))[0] == pytest.approx(0.0, abs=1e-9)


def test_below_100_hertz_of_the_sweep_few_bands_say_nothing():
    three = in_bands(10.0, 10, 11, 12)
    shift = 95.0 / 100.0  # bands above 950 Hz count then
    broad = 10.0 * math.log10((28.0 + 30.0) / 31.0)
    assert rise(np.ones(32), three, sweep_hz=100.0 * shift)[0] == pytest.approx(broad)
    assert rise(np.ones(32), three, sweep_hz=100.0)[0] == pytest.approx(few_db(10.0, 150.0))


def test_what_was_quieter_than_usual_before_does_not_rise_in_few_bands():
    three = in_bands(0.1, 10, 11, 12)
    assert rise(three, np.ones(32))[0] == pytest.approx(10.0 * math.log10(30.0 / 27.3))


def test_the_same_cells_count_sooner_and_later_with_the_lesser_weight():
    """Where a cell is known at one time only it does not count; 20 degrees of freedom of 50 are 20."""
    freedom = np.full((40, HIGH_HZ.size), 50.0)
    freedom[15:] = 20.0
    freedom[:15, 20:] = 0.0
    three = in_bands(10.0, 10, 11, 12)
    three[20:] = 1e6
    assert rise(np.ones(32), three, freedom=freedom)[0] == pytest.approx(few_db(10.0, 60.0))
    freedom[:, 2:] = 4.0
    assert rise(np.ones(32), in_bands(1e3, *range(2, 32)), freedom=freedom)[0] == pytest.approx(30.0)


def test_a_rise_is_one_within_three_moments():
    """A slope of 1 dB a moment rises by 3 dB; the first moment of several is told, one before the step is whole."""
    density = 10.0 ** (np.arange(40)[:, np.newaxis] / 10.0) * np.ones(HIGH_HZ.size)
    made = SimpleNamespace(
        sweep_hz=np.full(40, 50.0),
        frequency_hz=HIGH_HZ,
        density=density,
        usual=np.ones(density.shape),
        freedom=np.full(density.shape, 50.0),
    )
    assert _rise(made, 15, 20)[0] == pytest.approx(3.0)
    assert rise(np.ones(32), in_bands(4.0, *range(32)))[1] == 13


def test_what_is_usual_may_change_with_time():
    """Twice the density where twice is usual does not rise; below 100 Hz of the sweep nothing rises by nothing."""
    density = np.ones((40, HIGH_HZ.size))
    density[15:] = 2.0
    made = SimpleNamespace(
        sweep_hz=np.full(40, 50.0),
        frequency_hz=HIGH_HZ,
        density=density,
        usual=density,
        freedom=np.full(density.shape, 50.0),
    )
    assert _rise(made, 15, 20)[0] == pytest.approx(0.0, abs=1e-12)


def test_before_the_first_moments_nothing_is_looked_for():
    density = np.ones((40, HIGH_HZ.size))
    density[1:] = 2.0
    made = SimpleNamespace(
        sweep_hz=np.full(40, 50.0),
        frequency_hz=HIGH_HZ,
        density=density,
        usual=np.ones(density.shape),
        freedom=np.full(density.shape, 50.0),
    )
    assert _rise(made, 3, 8) == (pytest.approx(10.0 * math.log10(2.0)), 1)
