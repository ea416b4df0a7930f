"""Delays and gains along a recording, on lines and bands written down: closed forms, and each limit on either side."""

import itertools
import math

import numpy as np
import pytest

from distort.recording.quality.chirp_response import Markers, Path, band_edges_hz
from distort.recording.quality.continuity import Jump, _calm, _clear, _gain, _unevenness
from distort.recording.quality.track import (
    UNKNOWN_DB,
    Track,
    _best_near,
    _delays,
    _in_common,
    _line_delays,
    _line_products,
    _lines,
    _product,
    band_gains_db,
)
from tests.low_rate_reels import MULTITONE, RATE, REEL, TONES

BINS = 2001
HZ = np.arange(BINS) * RATE / (2 * (BINS - 1))
"""2 Hz apart."""


def path(values: np.ndarray, *, low_hz: float = 600.0, high_hz: float = 3400.0) -> Path:
    return Path(
        values=np.asarray(values, dtype=complex),
        noise=np.ones(BINS),
        n_fft=2 * (BINS - 1),
        rate=RATE,
        low_hz=low_hz,
        high_hz=high_hz,
    )


ONES = path(np.ones(BINS))

# --- what bands have in common ----------------------------------------------------------------------------------------


def test_what_products_have_in_common_over_chance():
    """n alike have `n^2 / 2n`: half of them are free; opposite ones have nothing."""
    assert _in_common(np.full(10, 3.0j)) == pytest.approx(5.0)
    assert _in_common(np.array([1.0, 1.0, -1.0, -1.0])) == 0.0
    assert _in_common(np.array([3.0, 4.0j])) == pytest.approx(25.0 / 50.0)
    assert _in_common(np.zeros(4)) == 0.0


@pytest.mark.parametrize(("bins", "known"), [(23, False), (25, True)])
def test_a_gain_is_known_where_twelve_times_chance_is_in_common(bins, known):
    """Of bins that agree, 24 have 12 times what chance gives."""
    edges_hz = np.array([1000.0, 1000.0 + 2.0 * bins])
    gain_db, sigma_db = band_gains_db(path(np.full(BINS, 2.0)), ONES, edges_hz)
    assert gain_db[0] == pytest.approx(6.0206, abs=1e-4)
    assert (sigma_db[0] < UNKNOWN_DB) == known
    assert sigma_db[0] == pytest.approx(0.0 if known else 1000.0, abs=1e-5)


@pytest.mark.parametrize(("bins", "known"), [(23, False), (25, True)])
def test_a_delay_is_known_where_twelve_times_chance_is_in_common(bins, known):
    """Three bands, of which the middle one has so many bins; unknown, it is none to within the longest jump, 50 ms."""
    edges_hz = np.array([700.0, 1000.0, 1000.0 + 2.0 * bins, 1400.0])
    late = path(np.exp(-2j * np.pi * HZ / RATE * 11.0))
    products = np.array([_product(late, ONES, band) for band in itertools.pairwise(edges_hz)])
    delay, sigma = _delays(products, late, edges_hz)
    assert delay[[0, 2]] == pytest.approx([11.0, 11.0], abs=1e-6)
    assert delay[1] == pytest.approx(11.0 if known else 0.0, abs=1e-6)
    assert sigma[1] == (pytest.approx(0.05 / (2.0 * np.pi * 1024.0 / RATE), rel=0.02) if known else 400.0)


@pytest.mark.parametrize("late", [-399.4, -3.25, 0.3, 77.5, 399.0])
def test_delays_of_bands_are_those_of_their_phases(late):
    """Up to 50 ms either way, each band by its own phase; 0.05 radian at its middle is what a loudspeaker may turn."""
    edges_hz = np.array([700.0, 1000.0, 1400.0, 2000.0, 2800.0])
    heard = path(np.exp(-2j * np.pi * HZ / RATE * late))
    products = np.array([_product(heard, ONES, band) for band in itertools.pairwise(edges_hz)])
    delay, sigma = _delays(products, heard, edges_hz)
    np.testing.assert_allclose(delay, late, atol=1e-6)
    middle_hz = 0.5 * (edges_hz[:-1] + edges_hz[1:]) - 1.0
    # half a sample beside a whole one turns the edges of a band against one another: 0.5 % of the scatter
    np.testing.assert_allclose(sigma, 0.05 / (2.0 * np.pi * middle_hz / RATE), rtol=0.01)


def test_a_band_after_which_samples_were_lost_has_its_own_delay():
    edges_hz = np.array([700.0, 1000.0, 1400.0, 2000.0, 2800.0, 3400.0])
    late = np.where(HZ < 2000.0, 0.0, -37.0)
    heard = path(np.exp(-2j * np.pi * HZ / RATE * late))
    products = np.array([_product(heard, ONES, band) for band in itertools.pairwise(edges_hz)])
    delay, _ = _delays(products, heard, edges_hz)
    np.testing.assert_allclose(delay, [0.0, 0.0, 0.0, -37.0, -37.0], atol=1e-6)


def test_the_best_of_a_place_and_its_neighbours_goes_around():
    correlation = np.array([5.0, 1.0, 2.0, 7.0, 3.0, 4.0])
    assert [_best_near(correlation, place) for place in range(6)] == [5.0, 5.0, 7.0, 7.0, 7.0, 5.0]


# --- lines ------------------------------------------------------------------------------------------------------------

CHOSEN = np.array([1, 2, 4])


@pytest.mark.parametrize("start", [100.0, 100.3, -0.4])
def test_lines_are_read_from_where_a_period_arrives(start):
    """Amplitude and phase of each, as they are at the arrival, fractions of a sample included."""
    place = np.arange(3 * MULTITONE.period_samples)
    samples = np.zeros(place.size)
    for line in range(MULTITONE.line_bins.size):
        omega = 2.0 * np.pi * MULTITONE.line_bins[line] / MULTITONE.period_samples
        phase = MULTITONE.line_phases_rad[line]
        samples += MULTITONE.line_amplitudes[line] * np.cos(omega * (place - start) + phase)
    arrivals = [start, start + MULTITONE.period_samples]
    read = _lines(samples, MULTITONE, arrivals, chosen=CHOSEN, clock=0.0)
    expected = MULTITONE.line_amplitudes[CHOSEN] * np.exp(1j * MULTITONE.line_phases_rad[CHOSEN])
    np.testing.assert_allclose(read, [expected, expected], atol=1e-9)
    level = path(2.0 * np.exp(1j * np.full(BINS, 0.5)))
    products = _line_products(read, MULTITONE, level, chosen=CHOSEN)
    np.testing.assert_allclose(products, np.tile(2.0 * np.abs(expected) ** 2 * np.exp(-0.5j), (2, 1)), atol=1e-9)


def test_lines_of_a_fast_clock_are_read_at_their_own_frequencies():
    """One line alone, whose period is 0.1 % longer: over its own period the sum is whole but for a leak of 1e-3."""
    clock, line = 1e-3, 2
    omega = 2.0 * np.pi * MULTITONE.line_bins[line] / MULTITONE.period_samples / (1.0 + clock)
    samples = 0.3 * np.cos(omega * np.arange(4 * MULTITONE.period_samples) + 0.7)
    at = 5.0 * 2.0 * np.pi / omega
    ((read,),) = _lines(samples, MULTITONE, [at], chosen=np.array([line]), clock=clock)
    assert read == pytest.approx(0.3 * np.exp(0.7j), abs=1e-3)


TURNS = np.array([0.09, 0.13, 0.2, 0.33])


@pytest.mark.parametrize("late", [-8.0, -3.3, 0.2, 7.9])
def test_the_delay_of_lines_is_the_slope_of_their_phases(late):
    products = np.array([[1.0, 5.0, 0.2, 3.0]]) * np.exp(-2j * np.pi * TURNS * late)
    delay, sigma = _line_delays(products, TURNS, reach=8)
    assert delay[0] == pytest.approx(late, abs=1e-9)
    assert sigma[0] == pytest.approx(0.05 / (2.0 * np.pi * math.sqrt(np.sum(TURNS**2))))


def test_what_the_slope_leaves_is_the_scatter_of_the_delay():
    """Phases at a right angle to the turns move no least-squares slope through 0; their r.m.s. is its scatter."""
    off = np.array([TURNS[1], -TURNS[0], TURNS[3], -TURNS[2]])
    off *= 0.2 / math.sqrt(np.mean(off**2))
    delay, sigma = _line_delays(np.exp(1j * off - 2j * np.pi * TURNS * 2.25)[np.newaxis], TURNS, reach=8)
    assert delay[0] == pytest.approx(2.25, abs=1e-9)
    assert sigma[0] == pytest.approx(0.2 / (2.0 * np.pi * math.sqrt(np.sum(TURNS**2))))


# --- jumps and gains --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("samples", "sigma", "clear"),
    [
        (0.48, 0.01, False),
        (0.5, 0.01, True),
        (-0.52, 0.01, True),
        (3.0, 0.52, False),
        (3.0, 0.5, True),
        (-3.0, 0.48, True),
    ],
)
def test_a_jump_is_half_a_sample_and_six_deviations(samples, sigma, clear):
    jump = Jump(samples=samples, sigma=sigma, low_share=0.0, high_share=1.0, misfit=0.0)
    assert _clear(jump) is (jump if clear else None)


def test_unevenness_is_what_both_chirps_show_of_it():
    """Bins of 1 + a and 1 - a in turn, from edge to edge: a of the mean; what one of them has alone falls out."""
    inside = (HZ >= 600.0) & (HZ <= 3400.0)
    turn = np.where(np.arange(BINS) % 2 == 0, 0.3, -0.3)
    both = np.where(inside, 1.0 + turn, 50.0)
    n = np.count_nonzero(inside)
    offset = np.mean(turn[inside])  # an odd number of bins
    expected = math.sqrt(np.mean((turn[inside] - offset) ** 2)) / (1.0 + offset)
    assert n == 1401
    assert _unevenness(path(both), path(2.0j * both)) == pytest.approx(expected)
    assert _unevenness(path(both), path(np.where(inside, 1.0, 50.0))) == pytest.approx(0.0, abs=1e-7)


@pytest.mark.parametrize("turned_db", [0.0, 1.0, -1.0])
@pytest.mark.parametrize(("over_db", "calm"), [(-0.005, True), (0.005, False)])
@pytest.mark.parametrize("band", [1, 5])
def test_a_stimulus_is_calm_that_has_the_level_of_one_of_the_chirps(turned_db, over_db, calm, band):
    """Within 0.06 dB and 0.12 of what changed, in its five highest bands; a sixth says nothing."""
    after_db = np.array([30.0, *[turned_db] * 5])
    for level_db in (0.0, turned_db):
        stimulus_db = np.array([9.0, *[level_db] * 5])
        stimulus_db[band] += 0.06 + 0.12 * abs(turned_db) + over_db
        assert _calm(stimulus_db, after_db) == calm


EDGES_HZ = band_edges_hz(REEL)
BANDS = EDGES_HZ.size - 1


def chirps(gains_db: np.ndarray, *, reel=REEL) -> Markers:
    """The last chirp so much louder in each band than the first, without any noise."""
    band = np.clip(np.searchsorted(EDGES_HZ, HZ, side="right") - 1, 0, BANDS - 1)
    after = path(10.0 ** (np.asarray(gains_db)[band] / 20.0))
    return Markers(reel=reel, clock=0.0, first=0.0, first_in_reel=0, distance=1, before=ONES, after=after)


def along(gain_db: np.ndarray) -> Track:
    points = np.arange(gain_db.size, dtype=float)
    return Track(share=points, delay=0 * points, delay_sigma=points + 1, gain_db=gain_db, common_delay_sigma=0.0)


CALM = along(np.zeros(BANDS))


def gain(gains_db, track: Track | None = CALM, **reel):
    return _gain(track, chirps(np.asarray(gains_db) * np.ones(BANDS), **reel))


def test_a_step_is_a_tenth_of_a_decibel_and_three_deviations():
    """Each band's level counts as known to 0.01 dB at best: three of the mean of three are 0.0173 dB."""
    assert gain(-0.112).verdict == "good"
    assert gain(-0.123).verdict == "usable"
    assert gain(-0.123).value == pytest.approx(-0.123)
    assert gain(-0.123, None).verdict == "good"  # of the stimulus nothing is known
    assert gain(-0.123, along(np.zeros(BANDS - 1))).verdict == "good"


@pytest.mark.parametrize(("swing_db", "uniform"), [(0.067, True), (0.076, False)])
def test_a_gain_changes_all_bands_alike(swing_db, uniform):
    """Within 0.12 of 0.5 dB and three deviations of the mean of seven bands, 0.0113 dB: 0.0713 in all."""
    turn = np.where(np.arange(BANDS) % 2 == 0, 1.0, -1.0)
    turn -= np.mean(turn)
    turn /= math.sqrt(np.mean(turn**2))
    assert BANDS == 7
    assert gain(-0.5 + swing_db * turn).verdict == ("usable" if uniform else "good")


def test_the_three_highest_bands_say_how_much():
    gains_db = [3.0, 3.0, 3.0, 3.0, 0.3, 0.6, 0.9]
    found = gain(gains_db, None)
    assert found.value == pytest.approx(0.6, abs=1e-6)
    assert (found.verdict, found.threshold) == ("usable", 0.1)
    assert gain([3.0, 3.0, 3.0, 3.0, 0.19, 0.6, 0.9], None).verdict == "good"
    assert gain([0.0, 0.0, 0.0, 0.0, 0.21, 0.6, 0.9], None).verdict == "usable"


@pytest.mark.parametrize(("gain_db", "verdict", "threshold"), [(0.97, "usable", 0.1), (1.03, "refuse", 1.0)])
def test_a_decibel_is_refused(gain_db, verdict, threshold):
    found = gain(gain_db, None)
    assert (found.verdict, found.threshold) == (verdict, threshold)
    slow = gain(-np.linspace(1.0, 2.0, BANDS), None)
    assert (slow.verdict, slow.threshold) == ("good", 0.1)  # a loudspeaker that heats


def test_how_a_multitone_comes_in_is_no_step():
    """Its first period is another: without it the level stands still, of a sweep it is a step of 0.5 dB."""
    level_db = np.array([0.5, *[0.0] * 11])
    gains_db = -0.5 * np.linspace(0.5, 1.1, BANDS)
    assert gain(gains_db, along(level_db), reel=TONES).verdict == "good"
    assert gain(gains_db, along(level_db)).verdict == "usable"


def test_a_band_of_noise_alone_has_no_weight():
    """Its products have phases that say nothing of one another; the two others say what changed."""
    found = chirps(np.full(BANDS, 0.5))
    values = found.after.values.copy()
    noise = (EDGES_HZ[-2] <= HZ) & (EDGES_HZ[-1] > HZ)
    values[noise] = 5.0 * np.exp(2j * np.pi * 0.31 * np.arange(np.count_nonzero(noise)))
    spoilt = Markers(reel=REEL, clock=0.0, first=0.0, first_in_reel=0, distance=1, before=ONES, after=path(values))
    assert _gain(None, spoilt).value == pytest.approx(0.5, abs=1e-4)
