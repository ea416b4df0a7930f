"""What a sound beside a sweep touches of the readings, for how long and how loud it was, and which of its stretches is
held against the cycles: cells written by hand."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from distort.analysis.common.grid import grid_hz
from distort.analysis.sweep import events, touched
from distort.analysis.sweep.cycles import UNKNOWN
from distort.analysis.sweep.events import Overheard, Sound, overheard
from distort.analysis.sweep.plane import Plane
from distort.analysis.sweep.touched import Touched, added_power, events_in_time, with_touched
from distort.analysis.sweep.windows import order_window
from tests.report_examples import harmonics as harmonics_example
from tests.test_event_limits import KEPT, NO_STEP, SPOT, cells, heard, sound
from tests.test_event_rules import BANDS_HZ, LENGTH_S, MOMENTS, SWEEP, plane

# --- which stretch is held against the cycles -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("parts", "asked"),
    [
        ([(100, 130, False)], [(100, 129, False)]),
        ([(100, 130, False), (130, 160, True)], [(100, 129, False), (130, 139, True)]),
        ([(100, 130, False), (130, 136, True)], [(100, 129, False), (130, 135, True)]),
    ],
)
@pytest.mark.parametrize("within_told", [True, False])
def test_of_what_begins_within_another_sound_the_first_ten_moments_are_looked_at(
    monkeypatch, parts, asked, within_told
):
    """And all of it where they tell nothing. It begins where the sweep does: sample 24,000 of 48,000 a second."""
    made = plane(cells(SPOT, strength=50.0), freedom=300.0)
    found = []

    def in_step(samples, sweep, *, start, from_s, to_s, within=False):
        found.append((round(from_s / 0.02), round(to_s / 0.02), within))
        assert (start, samples.size, sweep) == (24_000.0, 7, SWEEP)
        return (KEPT if within_told else UNKNOWN) if within else NO_STEP

    monkeypatch.setattr(events, "plane_of", lambda deconvolved: made)
    monkeypatch.setattr(events, "_parted", lambda plane, stretches: iter(parts))
    monkeypatch.setattr(events, "in_step", in_step)
    told: Overheard = overheard(None, np.zeros(7), start=24_000.0)
    expected = list(asked)
    if not within_told and len(parts) > 1:
        expected.append((parts[1][0], parts[1][1] - 1, False))
    assert found == expected
    assert told.start_s == 0.5
    assert told.plane is made
    steps = [NO_STEP, KEPT if within_told else NO_STEP][: len(parts)]
    assert [(one.first, one.end, one.step) for one in told.sounds] == [
        (first, end, step) for (first, end, _), step in zip(parts, steps, strict=True)
    ]


# --- what it touches --------------------------------------------------------------------------------------------------


def with_excess(*spots: tuple[int, int, float]) -> tuple[Overheard, Sound]:
    excess = np.zeros((6, BANDS_HZ.size))
    for moment, band, density in spots:
        excess[moment, band] = density
    made = replace(sound(100, 106), excess=excess)
    return replace(heard(np.ones((MOMENTS, BANDS_HZ.size)), made), start_s=2.5), made


def test_an_event_lasts_as_long_as_what_is_high_of_it():
    """Below 1 kHz a frame is too long to time anything; the band at 1008 Hz counts, that at 800 Hz does not."""
    low, high = int(np.argmin(np.abs(BANDS_HZ - 800.0))), int(np.argmin(np.abs(BANDS_HZ - 1008.0)))
    for spots, first, last in (
        ([(0, low, 1.0), (2, high, 1.0), (3, high, 1.0), (5, low, 1.0)], 102, 103),
        ([(1, low, 1.0), (4, low, 1.0)], 101, 104),
    ):
        one, made = with_excess(*spots)
        (event,) = events_in_time(one, [made], ())
        assert (event.start_s, event.end_s) == (
            pytest.approx(2.5 + 0.02 * first),
            pytest.approx(2.5 + 0.02 * (last + 1)),
        )
        hz = 10.0 * np.exp(0.02 * np.array([first, last]) / LENGTH_S)
        assert (event.low_hz, event.high_hz) == (pytest.approx(hz[0]), pytest.approx(hz[1]))
        assert event.touched == ()


def test_the_level_of_an_event_is_that_of_its_loudest_moment():
    """Density times the width of a third octave, half of what lies between its neighbours' middles; a sine of full
    scale has 1/2 (AES17)."""
    one, made = with_excess((1, 10, 2e-6), (2, 10, 1e-6), (2, 14, 3e-6))
    (event,) = events_in_time(one, [made], ())
    powers = [
        2e-6 * (BANDS_HZ[11] - BANDS_HZ[9]) / 2.0,
        1e-6 * (BANDS_HZ[11] - BANDS_HZ[9]) / 2.0 + 3e-6 * (BANDS_HZ[15] - BANDS_HZ[13]) / 2.0,
    ]
    assert event.level_dbfs == pytest.approx(10.0 * math.log10(max(powers) / 0.5))


@pytest.mark.parametrize("takes", [1, 3])
def test_an_event_touches_what_its_power_is_within_10_decibels_of(monkeypatch, takes):
    """Of the mean of some takes one has its amplitude over their number."""
    rows = grid_hz().size
    added = np.where(np.arange(rows) < 50, 0.105, 0.095) * takes**2
    monkeypatch.setattr(touched, "added_power", lambda *_, order: added * order)
    one, made = with_excess((1, 10, 1.0))
    readings = [SimpleNamespace(power=np.full(rows, power)) for power in (1.0, 2.0)]
    (event,) = events_in_time(one, [made], readings, takes=takes)
    hz = grid_hz()
    assert event.touched == tuple(Touched(order=order, low_hz=hz[0], high_hz=hz[49]) for order in (1, 2))


@pytest.mark.parametrize("order", [1, 3])
def test_what_a_sound_adds_is_its_density_through_the_orders_window(order):
    """`density x gain x the squared window, in samples`, moment by moment, while n f lies within the bands; the window
    is about the time at which the sweep passes f."""
    gain = np.linspace(1.0, 3.0, BANDS_HZ.size)
    density = np.linspace(2.0, 4.0, BANDS_HZ.size)
    excess = np.zeros((3, BANDS_HZ.size))
    excess[1] = density
    made: Plane = replace(plane(), gain=gain)
    added = added_power(made, replace(sound(150, 153), excess=excess), order=order)
    hz = grid_hz()
    since_s = 0.02 * 151 - LENGTH_S * np.log(hz / 10.0)
    weight = np.square(order_window(SWEEP, order).at(since_s)) * 0.02 * 48000.0
    at = np.log(order * hz)
    inside = (order * hz >= BANDS_HZ[0]) & (order * hz <= BANDS_HZ[-1])
    expected = np.interp(at, np.log(BANDS_HZ), density) * np.interp(at, np.log(BANDS_HZ), gain) * weight
    assert np.max(expected[inside]) > 1.0
    np.testing.assert_allclose(added, np.where(inside, expected, 0.0))


def test_cells_of_fewer_than_four_freedoms_are_read_between_their_neighbours():
    excess = np.zeros((1, BANDS_HZ.size))
    excess[0, 10:13] = 1.0, 50.0, 3.0
    at = BANDS_HZ[11]
    row = int(np.argmin(np.abs(grid_hz() - at)))
    found = []
    for freedom in (3.9, 4.0):
        cells_of = np.full((MOMENTS, BANDS_HZ.size), 50.0)
        cells_of[:, 11] = freedom
        moment = round(LENGTH_S * math.log(at / 10.0) / 0.02)
        made = replace(plane(), freedom=cells_of)
        found.append(added_power(made, replace(sound(moment, moment + 1), excess=excess), order=1)[row])
    share = math.log(grid_hz()[row] / BANDS_HZ[10]) / math.log(BANDS_HZ[12] / BANDS_HZ[10])
    near = 50.0 + abs(math.log2(grid_hz()[row] / at)) * 3.0 * ((3.0 if grid_hz()[row] > at else 1.0) - 50.0)
    assert found[0] / found[1] == pytest.approx((1.0 + 2.0 * share) / near, rel=1e-6)
    nothing = replace(plane(), freedom=np.full((MOMENTS, BANDS_HZ.size), 3.9))
    assert not added_power(nothing, replace(sound(moment, moment + 1), excess=excess), order=1).any()


@pytest.mark.parametrize(("off", "marked"), [(0.95e-4, True), (1.05e-4, False)])
def test_marks_reach_as_far_as_four_decimals_are_rounded(off, marked):
    """Ends of a stretch are written rounded: what lies 1e-4 beside them still belongs to it."""
    plain = harmonics_example()
    plain = replace(plain, orders=tuple(replace(o, doubtful=np.zeros_like(o.doubtful)) for o in plain.orders))
    hz = plain.frequency_hz
    for given in (
        Touched(order=2, low_hz=hz[50] * (1.0 + off), high_hz=hz[60] * 1.01),
        Touched(order=2, low_hz=hz[51] * 0.99, high_hz=hz[61] * (1.0 - off)),
    ):
        found = with_touched(plain, [given]).orders[0].doubtful
        own = 50 if given.low_hz < hz[51] * 0.985 else 61
        assert found[own] == marked
        assert found[51:61].all()
        assert found.sum() == 10 + marked


def test_several_stretches_of_an_order_are_all_marked_beside_what_was():
    plain = harmonics_example()
    hz = plain.frequency_hz
    spots = [Touched(order=3, low_hz=hz[row], high_hz=hz[row]) for row in (20, 70)]
    found = with_touched(plain, spots)
    for before, after in zip(plain.orders, found.orders, strict=True):
        expected = before.doubtful.copy()
        expected[[20, 70]] |= before.order == 3
        np.testing.assert_array_equal(after.doubtful, expected)
    assert with_touched(plain, []) is plain
