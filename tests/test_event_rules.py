"""What stands out of a recording of a sweep, for how long, and beside what: cells written by hand, and each limit from
both sides."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from distort.analysis.sweep import plane as planes
from distort.analysis.sweep.cycles import UNKNOWN, Step
from distort.analysis.sweep.events import (
    _at_the_same_frequency,
    _noisy_near,
    _parted,
    _place_of,
    _sound,
    _standing_out,
    _step_of,
    _stretches,
)
from distort.analysis.sweep.plane import Plane, _along, _bands, _Circle, _parts
from signals import Sweep

SWEEP = Sweep(seconds=8.0, start_hz=10.0, full_level_hz=15.9, stop_hz=20000.0)
LENGTH_S = round(10.0 * 8.0 / math.log(2000.0)) / 10.0
"""Seconds in which its frequency rises e-fold: whole periods of 10 Hz."""

MOMENTS = 400
TIME_S = 0.02 * np.arange(MOMENTS)
BANDS_HZ = 50.0 * 2.0 ** (np.arange(24) / 3.0)


def plane(density: np.ndarray | float = 1.0, *, freedom: float = 50.0, sweep: Sweep = SWEEP) -> Plane:
    cells = (MOMENTS, BANDS_HZ.size)
    return Plane(
        sweep=sweep,
        time_s=TIME_S,
        frequency_hz=BANDS_HZ,
        density=np.broadcast_to(np.asarray(density, dtype=float), cells),
        usual=np.ones(cells),
        freedom=np.full(cells, freedom),
        gain=np.ones(BANDS_HZ.size),
    )


# --- cells that stand out ---------------------------------------------------------------------------------------------


def chance(freedom: float) -> float:
    """Chi squared over its degrees of freedom, passed by chance as a normal deviate passes 5.2 (Wilson and Hilferty,
    1931, from memory)."""
    return (1.0 - 2.0 / (9.0 * freedom) + 5.2 * math.sqrt(2.0 / (9.0 * freedom))) ** 3


@pytest.mark.parametrize(
    ("freedom", "limit"), [(4.0, chance(4.0)), (10.0, chance(10.0)), (60.0, 10.0**0.6), (300.0, 10.0**0.6)]
)
def test_a_cell_stands_out_of_chance_and_by_6_decibels(freedom, limit):
    """Of few values chance is larger, of many 6 dB are."""
    assert limit == max(chance(freedom), 10.0**0.6)
    for factor, out in ((0.999, False), (1.001, True)):
        assert _standing_out(plane(factor * limit, freedom=freedom))[100].all() == out
    higher = np.full((MOMENTS, BANDS_HZ.size), 3.0 * limit)
    assert not _standing_out(plane(2.9 * limit, freedom=freedom), least=higher).any()
    assert _standing_out(plane(3.1 * limit, freedom=freedom), least=higher)[100].all()


def test_cells_are_held_against_what_is_usual_there():
    twice = replace(plane(1.9 * 10.0**0.6, freedom=300.0), usual=np.full((MOMENTS, BANDS_HZ.size), 2.0))
    assert not _standing_out(twice).any()
    assert _standing_out(replace(twice, density=2.1 * 10.0**0.6 * np.ones((MOMENTS, BANDS_HZ.size))))[100].all()


def test_a_cell_of_fewer_than_four_freedoms_never_stands_out():
    assert not _standing_out(plane(1e9, freedom=3.9)).any()


def test_nothing_stands_out_where_the_second_order_is_above_the_sweep():
    """From half of where its fade-out begins, a tenth of an octave below 20 kHz."""
    until_s = LENGTH_S * math.log(0.5 * 20000.0 * 2.0**-0.1 / 10.0)
    hits = _standing_out(plane(100.0)).all(axis=1)
    assert np.array_equal(hits, until_s >= TIME_S)


# --- stretches --------------------------------------------------------------------------------------------------------


def hits(**counts: int) -> np.ndarray:
    """So many bands at moment `m...`."""
    made = np.zeros((60, 12), dtype=bool)
    for moment, count in counts.items():
        made[int(moment[1:]), :count] = True
    return made


@pytest.mark.parametrize(
    ("counts", "found"),
    [
        ({}, []),
        ({"m5": 3, "m6": 3, "m7": 2}, [(5, 8)]),
        ({"m5": 3, "m6": 2, "m7": 2}, []),  # seven cells
        ({"m5": 3, "m6": 2, "m7": 2, "m8": 1}, []),  # one more after them does not count
        ({"m5": 2, "m6": 2, "m7": 2, "m8": 2}, []),  # never more than two bands
        ({"m5": 3, "m6": 2, "m7": 3, "m8": 1}, [(5, 8)]),
        ({"m5": 4, "m13": 4}, [(5, 14)]),  # 0.16 s apart are one
        ({"m5": 4, "m14": 4}, []),
        ({"m5": 8, "m14": 8}, [(5, 6), (14, 15)]),
    ],
)
def test_a_stretch_has_two_bands_at_a_time_three_at_one_and_eight_cells(counts, found):
    assert _stretches(hits(**counts), bands=2, cells=8) == found


def test_a_sound_is_parted_where_something_begins_in_the_middle_of_it(monkeypatch):
    """By more than 3 dB and 2.8 dB over L, five moments from either end."""
    sudden_db = 3.0 + 2.8 / LENGTH_S
    for rise_db, at, parts in (
        (0.95 * sudden_db, 20, 1),
        (1.05 * sudden_db, 20, 2),
        (9.0, 15, 2),
        (9.0, 14, 1),
        (9.0, 35, 2),
        (9.0, 36, 1),
    ):
        monkeypatch.setattr("distort.analysis.sweep.events._rise", lambda *_, of=(rise_db, at): of)
        found = list(_parted(plane(), [(10, 40)]))
        assert found == ([(10, at, False), (at, 40, True)] if parts == 2 else [(10, 40, False)])


def test_a_sound_is_told_by_what_it_has_over_the_usual_and_below_the_sweep():
    """While the sweep is about 500 Hz, third octaves under 300 Hz (0.6 of it) lie below: the most at one moment."""
    first = int(np.argmin(np.abs(plane().sweep_hz - 500.0)))
    made = plane(7.0)
    stands = np.zeros((MOMENTS, BANDS_HZ.size), dtype=bool)
    low = np.flatnonzero(BANDS_HZ < 0.6 * 500.0)
    stands[first, low[:2]] = stands[first + 1, low[-3:]] = True
    stands[first + 1, low[-1] + 1] = True  # 317 Hz
    assert BANDS_HZ[low[-1] + 1] < 0.66 * 500.0
    found = _sound(made, stands, first, first + 2, step=UNKNOWN)
    assert found.below == 3
    assert found.moments == slice(first, first + 2)
    np.testing.assert_array_equal(found.excess, np.where(stands[first : first + 2], 6.0, 0.0))


def test_a_sound_has_the_step_of_that_of_the_recording_of_which_it_has_most_moments():
    one, other = (Step(float(number), 0.0, 0.0, 0.0, 0.0) for number in (1, 2))
    heard = SimpleNamespace(
        sounds=(SimpleNamespace(first=10, end=20, step=one), SimpleNamespace(first=20, end=40, step=other))
    )
    assert _step_of(heard, 12, 24) == one
    assert _step_of(heard, 17, 24) == other
    assert _step_of(heard, 40, 50) == UNKNOWN
    assert _step_of(heard, 39, 50) == other


# --- other recordings -------------------------------------------------------------------------------------------------

SLOW = replace(SWEEP, seconds=16.0)
SLOW_LENGTH_S = round(10.0 * 16.0 / math.log(2000.0)) / 10.0


def test_the_same_frequency_of_a_sweep_of_another_speed_is_at_another_time():
    place = _place_of(plane(sweep=SLOW), plane())
    np.testing.assert_array_equal(place[:190], np.rint(TIME_S[:190] * SLOW_LENGTH_S / LENGTH_S / 0.02))
    assert place.max() == MOMENTS - 1


def beside(moment: int, band: int, *, strength: float, sweep: Sweep = SWEEP, freedom: float = 50.0) -> np.ndarray:
    density = np.ones((MOMENTS, BANDS_HZ.size))
    density[moment, band] = strength
    return _at_the_same_frequency(plane(density, sweep=sweep, freedom=freedom), plane(sweep=SWEEP))


def test_what_another_recording_has_counts_about_an_eighth_of_an_octave_away():
    """0.12 octave, or 0.12 s where that is more: of the default's speed 0.087 s, so 0.12 s, six moments; of L = 2.1 s
    0.175 s, nine moments. What is not twice the usual is the usual."""
    found = beside(100, 7, strength=4.0)
    np.testing.assert_array_equal(np.flatnonzero(found[:, 7] > 1.0), np.arange(94, 107))
    assert found[100, 7] == 4.0
    assert (np.delete(found, 7, axis=1) == 1.0).all()
    assert (beside(100, 7, strength=1.95) == 1.0).all()
    assert (beside(100, 7, strength=2.05) > 1.0).any()
    reach = round(0.12 * math.log(2.0) * SLOW_LENGTH_S / 0.02)
    assert reach == 9
    slow = beside(100, 7, strength=3.0, sweep=SLOW)
    places = np.rint(TIME_S * SLOW_LENGTH_S / LENGTH_S / 0.02)
    np.testing.assert_array_equal(slow[:, 7] > 1.0, np.abs(places - 100) <= reach)


def test_what_stands_out_at_another_speed_counts_9_decibels_more():
    assert beside(100, 7, strength=50.0, sweep=SLOW).max() == pytest.approx(50.0 * 10.0**0.9)
    assert beside(100, 7, strength=3.0, sweep=SLOW).max() == 3.0
    assert beside(100, 7, strength=50.0).max() == 50.0


def test_where_nothing_is_known_of_a_band_its_neighbours_tell():
    assert not beside(100, 7, strength=50.0, freedom=3.9).any()
    one = plane(5.0)
    freedom = np.full((MOMENTS, BANDS_HZ.size), 50.0)
    freedom[:, 7] = 0.0
    found = _at_the_same_frequency(replace(one, freedom=freedom), plane())
    assert (found == 5.0).all()
    freedom[:, 6:9] = 0.0
    found = _at_the_same_frequency(replace(one, freedom=freedom), plane())
    assert not found[:, 7].any()
    assert (np.delete(found, 7, axis=1) == 5.0).all()


def test_noise_is_near_within_four_tenths_of_an_octave():
    """0.4 ln 2 L over 0.02 s: 15 moments of the same sweep."""
    reach = round(0.4 * math.log(2.0) * LENGTH_S / 0.02)
    density = np.ones((MOMENTS, BANDS_HZ.size))
    density[100, 3] = 50.0
    near = _noisy_near(plane(density), plane())
    np.testing.assert_array_equal(np.flatnonzero(near), np.arange(100 - reach, 101 + reach))


# --- the plane --------------------------------------------------------------------------------------------------------


def test_frames_about_a_circle():
    """Of 10.4 hops once around, in 11 frames, from the fundamental at 3.2 on: the nearest, by whole hops."""
    circle = _Circle(frames=11, hops=10.4, arrival=3.2)
    found = circle.frame(np.array([0.0, 0.29, 0.31, 7.0, 7.4, -3.2, -3.3, 6.7]))
    assert found.tolist() == [3, 3, 4, 10, 0, 0, 10, 10]


def test_bands_of_a_twenty_fourth_of_an_octave_or_a_bin():
    """Of 16,000 Hz and frames of 640, bins of 25 Hz: up to 25 / (2^(1/24) - 1) = 853 Hz a band is one bin."""
    found = _bands(16000, frame=640, band_hz=(400.0, 3200.0), overlap=1.5)
    assert found.first[0] * 25.0 == 400.0
    low = found.frequency_hz < 820.0
    assert (found.bins[low] == 1.0).all()
    np.testing.assert_array_equal(found.frequency_hz[low], found.first[:-1][low] * 25.0)
    edges = found.first * 25.0
    high = edges[edges > 900.0]
    wide = np.log2(high[1:] / high[:-1])
    assert np.mean(wide) == pytest.approx(1.0 / 24.0, rel=0.05)
    np.testing.assert_allclose(found.frequency_hz, (edges[:-1] + edges[1:] - 25.0) / 2.0)
    assert edges[-1] >= 3200.0 > edges[-2]
    assert set(found.frame_s) == {0.04}
    assert set(found.overlap) == {1.5}


@pytest.mark.parametrize(
    ("fields", "lowest_hz", "highest_hz"),
    [
        ({"full_level_hz": 15.9}, 45.0, 20000.0 * 2.0**-0.1),
        ({"full_level_hz": 15.9, "stop_hz": 23900.0}, 45.0, 0.45 * 48000.0),
    ],
)
def test_long_frames_reach_from_45_to_320_hertz_and_short_ones_to_the_end_of_the_sweep(fields, lowest_hz, highest_hz):
    """0.16 s and 0.04 s: bins of 6.25 and 25 Hz, within one of which the bands end."""
    long, short = _parts(replace(SWEEP, **fields))
    assert long.first[0] == math.ceil(lowest_hz / 6.25)
    assert 320.0 <= long.first[-1] * 6.25 < 320.0 * 2.0 ** (1.0 / 24.0) + 6.25
    assert short.first[0] == math.ceil(320.0 / 25.0)
    assert highest_hz <= short.first[-1] * 25.0 < highest_hz * 2.0 ** (1.0 / 24.0) + 25.0
    assert (set(long.frame_s), set(short.frame_s)) == ({0.16}, {0.04})
    assert (set(long.overlap), set(short.overlap)) == ({6.0}, {1.5})


@pytest.mark.parametrize(("rate_s", "size"), [(1.3, 13), (2.6, 7), (0.9, 17), (10.0, 3)])
def test_what_is_along_a_delay_is_the_35th_percentile_over_what_the_sweep_passes_in_3_6_seconds(rate_s, size):
    """3.6 s over L ln 2 octaves, five at most, in third octaves, an odd number: of `size` neighbours, the number
    `0.35 size` from the lowest must be loud. Medians over time are 1."""
    octaves = min(3.6 / (rate_s * math.log(2.0)), 5.0)
    assert size == 2 * round(octaves * 3.0 / 2.0) + 1
    groups, middle = 60, 30
    for loud in range(1, size + 1):
        frames = np.ones((30, 8 * groups))
        first = middle - size // 2
        frames[0, 8 * first : 8 * (first + loud)] = 9.0
        found = _along(frames, rate_s)[0, 8 * middle]
        quiet = size - loud
        assert found == (9.0 if int(size * 35.0 / 100.0) >= quiet else 1.0)


def test_the_floor_of_a_band_is_the_median_of_every_third_frame():
    frames = np.ones((31, 80))
    frames[::3] = 5.0
    np.testing.assert_allclose(_along(frames, 1.3)[[0, 1]].mean(axis=1), [5.0, 1.0])
    assert TIME_S[1] == planes.HOP_S
