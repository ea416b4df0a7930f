"""What is made of a sweep's readings: marks, sums, bounds and limits, each by hand and just on either side of where it
turns."""

import math
from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.common.curves import Harmonics, Response
from distort.analysis.common.grid import grid_hz
from distort.analysis.common.microphone import MicrophoneResponse
from distort.analysis.sweep.chain import MicrophoneLimit, electronics_bound_db, microphone_bound_db, with_chain
from distort.analysis.sweep.deconvolution import deconvolve, inverse_filter, padded_length, pass_band
from distort.analysis.sweep.harmonics import doubtful_rows, harmonics
from distort.analysis.sweep.orders import separate
from distort.analysis.sweep.readings import Reading, readings
from distort.analysis.sweep.residual import residual_signal
from distort.analysis.sweep.response import band_mean_db, lower_limit_hz, lowest_valid_hz, response
from distort.analysis.sweep.windows import OrderWindow, window_samples
from distort.errors import AnalysisError
from signals import Sweep
from tests.devices.memoryless import sweep_with_harmonics

HZ = grid_hz()
ROWS = HZ.size
NOTHING = np.full(ROWS, np.nan)


def marked(relative_db: float = 0.0, **given: float) -> bool:
    """Whether a row of an order is marked, all rows alike."""
    columns = {"noise_db": -200.0, "leak_db": -200.0, "bias_db": 0.0, "noise_uncertainty_db": 0.0} | given
    arrays = {name: np.full(ROWS, value) for name, value in columns.items()}
    found = doubtful_rows(np.full(ROWS, relative_db), **arrays, invalid=np.zeros(ROWS, dtype=bool))
    assert found.all() == found.any()
    return bool(found[0])


@pytest.mark.parametrize(
    ("given", "doubtful"),
    [
        ({}, False),
        ({"noise_db": -10.1}, False),
        ({"noise_db": -9.9}, True),
        ({"noise_db": -10.0}, False),  # under 10 dB, not at it
        ({"leak_db": -25.1}, False),
        ({"leak_db": -24.9}, True),
        ({"leak_db": -25.0}, False),
        ({"chain_db": -10.1}, False),
        ({"chain_db": -9.9}, True),
        ({"chain_db": -10.0}, False),
        ({"bias_db": 0.29}, False),
        ({"bias_db": 0.3}, False),  # more than that
        ({"bias_db": -0.31}, True),
        ({"bias_db": 0.5, "noise_uncertainty_db": 0.24}, True),  # more than twice what noise explains
        ({"bias_db": 0.5, "noise_uncertainty_db": 0.26}, False),
        ({"bias_db": np.nan, "leak_db": np.nan, "chain_db": np.nan}, False),
        ({"noise_db": np.nan}, True),  # no floor is known
        ({"bias_db": 0.31, "noise_uncertainty_db": np.nan}, True),
    ],
)
def test_what_marks_a_row(given, doubtful):
    assert marked(**given) == doubtful


def test_a_large_bias_marks_a_quarter_of_an_octave_to_either_side():
    """24 rows an octave: six."""
    bias_db = np.zeros(ROWS)
    bias_db[100] = 1.0
    plain = {"noise_db": np.full(ROWS, -200.0), "leak_db": NOTHING, "noise_uncertainty_db": NOTHING}
    found = doubtful_rows(np.zeros(ROWS), **plain, bias_db=bias_db, invalid=HZ < 25.0)
    expected = (HZ < 25.0) | (np.abs(np.arange(ROWS) - 100) <= 6)
    np.testing.assert_array_equal(found, expected)


def reading(power: float, *, noise: float = 0.0, leak: float = 0.0, variance: float = 0.0) -> Reading:
    return Reading(
        power=np.full(ROWS, power),
        noise=np.full(ROWS, noise),
        leak=np.full(ROWS, leak),
        variance=np.full(ROWS, variance),
    )


def flat(level_db=0.0, *, hz=HZ) -> Response:
    return Response(
        frequency_hz=hz,
        level_db=np.broadcast_to(np.asarray(level_db, dtype=float), hz.shape),
        phase_deg=np.zeros(hz.size),
        noise_db=np.full(hz.size, -200.0),
        unit="db_spl",
        delay_s=0.0,
        lowest_valid_hz=25.0,
    )


def curves(found, **given) -> Harmonics:
    plain = {"residual": np.full(ROWS, 1e-6), "level_offset_db": 80.0, "unit": "db_spl", "lowest_valid_hz": 25.0}
    return harmonics(found, frequency_hz=HZ, **(plain | given))


def test_orders_and_their_sums_by_hand():
    """Powers 4, 0.04 and 0.0004: -20 and -40 dB; r.m.s. sum sqrt(0.0101) re the fundamental, re the total over
    sqrt(1.0101)."""
    short = [reading(4.0), reading(0.05), reading(0.0004)]
    slope = flat(50.0 - 6.0 * np.log2(HZ / 1000.0))
    found = curves(
        [reading(4.0, variance=1e-4), reading(0.04, noise=4e-6, leak=4e-5, variance=3e-4), reading(0.0004)],
        linear=slope,
        driven_db=20.0,
        short=short,
    )
    second, third = found.orders
    assert (second.order, third.order) == (2, 3)
    np.testing.assert_allclose(second.relative_db, -20.0)
    np.testing.assert_allclose(third.relative_db, -40.0)
    np.testing.assert_allclose(second.noise_db, -60.0)
    np.testing.assert_allclose(second.leak_db, -50.0)
    np.testing.assert_allclose(second.level_db, 80.0 + 10 * np.log10(0.04))
    np.testing.assert_allclose(second.bias_db, 10 * np.log10(0.05 / 0.04))
    np.testing.assert_allclose(second.uncertainty_db, 1.959964 * 4.342945 * 0.02, rtol=1e-6)
    np.testing.assert_allclose(found.fundamental_db, 80.0 + 6.0206, atol=1e-4)
    np.testing.assert_allclose(found.thd_percent, 100 * math.sqrt(0.0101))
    np.testing.assert_allclose(found.thd_db, 10 * math.log10(0.0101))
    np.testing.assert_allclose(found.thd_total_percent, 100 * math.sqrt(0.0101 / 1.0101))
    np.testing.assert_array_equal(found.thd_orders, 2)
    np.testing.assert_allclose(found.residual_db, -60.0)
    # what comes out at 3 f, less what the lowest level gives there at a drive of 20 dB more
    inside = HZ[-1] > 3 * HZ
    came_db, would_come_db = 80.0 + 10 * np.log10(0.0004), 50.0 - 6.0 * np.log2(3 * HZ / 1000.0) + 20.0
    np.testing.assert_allclose(third.equivalent_input_db[inside], (came_db - would_come_db)[inside], atol=1e-9)
    assert np.isnan(third.equivalent_input_db[~inside]).all()
    alone = curves([reading(4.0), reading(0.04)])
    assert np.isnan(alone.orders[0].equivalent_input_db).all()
    assert np.isnan(alone.orders[0].bias_db).all()
    fewer = curves([reading(4.0), reading(0.04), reading(0.0004)], short=short[:2])
    assert np.isnan(fewer.orders[1].bias_db).all()
    assert np.isfinite(fewer.orders[0].bias_db).all()


def test_an_order_that_left_the_band_is_not_in_the_sum():
    third = replace(reading(0.0004), power=np.where(HZ < 1000.0, 0.0004, np.nan))
    found = curves([reading(4.0), reading(0.04), third])
    np.testing.assert_array_equal(found.thd_orders, np.where(HZ < 1000.0, 2, 1))
    np.testing.assert_allclose(found.thd_db, np.where(HZ < 1000.0, 10 * np.log10(0.0101), -20.0))
    none = curves([reading(4.0), replace(reading(1.0), power=NOTHING)])
    assert np.isnan(none.thd_db).all()
    assert none.thd_orders.sum() == 0


# --- the chain --------------------------------------------------------------------------------------------------------


def test_what_electronics_add_may_leave_by_a_better_way():
    """-40 dB on the input; at 2 f the response is 6 dB higher, so at most -34 dB; where it is lower, as it was. A
    reading under its noise counts as that."""
    found = [reading(1.0), reading(1e-4, noise=1e-6), reading(1e-9, noise=1e-6)]
    rising, falling = (flat(sign * 6.0 * np.log2(HZ / 1000.0)) for sign in (1.0, -1.0))
    inside = HZ[-1] > 2 * HZ
    np.testing.assert_allclose(electronics_bound_db(found, 2, rising)[inside], -34.0, atol=1e-9)
    np.testing.assert_allclose(electronics_bound_db(found, 2, falling)[inside], -40.0, atol=1e-9)
    np.testing.assert_allclose(electronics_bound_db(found, 2, None), -40.0, atol=1e-9)
    np.testing.assert_allclose(electronics_bound_db(found, 3, None), -60.0, atol=1e-9)
    np.testing.assert_allclose(
        electronics_bound_db(found, 2, rising)[~inside], -40.0, atol=1e-9
    )  # beyond nothing is known
    assert np.isnan(electronics_bound_db(found, 4, None)).all()
    limit = MicrophoneLimit(max_db_spl=130.0, percent=1.0, distance_m=10.0**-0.3)
    np.testing.assert_allclose(microphone_bound_db(4, np.array([124.0, 114.0]), limit), [-40.0, -70.0])


def test_bounds_of_the_chain_add_as_powers_and_mark():
    plain = curves([reading(1.0), reading(1e-4), reading(1e-4)])
    bounds = {2: [np.full(ROWS, -53.0), np.full(ROWS, -53.0)], 3: [np.where(HZ < 1000.0, -49.0, np.nan)]}
    found = with_chain(plain, bounds, lowest_valid_hz=30.0)
    second, third = found.orders
    np.testing.assert_allclose(second.chain_db, -50.0, atol=0.011)  # 3.0103 dB more than one
    np.testing.assert_array_equal(
        second.doubtful, np.where(HZ < 30.0, True, second.relative_db < second.chain_db + 10.0)
    )
    np.testing.assert_array_equal(third.doubtful, (HZ < 30.0) | (HZ < 1000.0))
    assert np.isnan(third.chain_db[HZ > 1000.0]).all()
    assert with_chain(plain, {}, lowest_valid_hz=30.0).orders == plain.orders


# --- the response -----------------------------------------------------------------------------------------------------

RATE = 12000
SWEEP = Sweep(seconds=3.0, sample_rate=RATE, stop_hz=5500.0, drive_dbfs=-14.0)


@pytest.fixture(scope="module")
def deconvolved():
    """Second and third order of -20 and -30 dB, with a subharmonic-free recording about it."""
    answer = sweep_with_harmonics(SWEEP, {1: 1.0, 2: 0.1, 3: 10.0**-1.5})
    return deconvolve(np.pad(answer, (6000, 9000)), SWEEP, start=6000.0, orders=4)


def test_from_where_the_fundamental_is_read(deconvolved):
    """2.5 times the start; one over the time gate; three periods before the window opens: the highest of them."""
    separated = separate(deconvolved, orders=4)
    window = separated.spectra[0].window
    assert 3.0 / window.before_s < 25.0
    assert lowest_valid_hz(separated) == 25.0
    assert lowest_valid_hz(separate(deconvolved, orders=1, gate_s=0.02)) == pytest.approx(50.0)
    short = Sweep(seconds=1.0, sample_rate=RATE, stop_hz=5500.0)
    early = separate(deconvolve(np.pad(short.samples(), 6000), short, start=6000.0, orders=1), orders=1)
    assert lowest_valid_hz(early) == pytest.approx(3.0 / (0.45 * short.rate_s * math.log(2.0)))


def test_level_and_phase_of_a_delay(deconvolved):
    """The sweep half a sample later than it is said to begin turns by -180 f / fs degrees."""
    late = deconvolve(np.pad(SWEEP.samples(), (6000, 9000)), SWEEP, start=5999.5, orders=1)
    separated = separate(late, orders=1)
    (one,) = readings(separated, noise=None, excitation_hz=HZ, octaves=1 / 12)
    found = response(separated, one, frequency_hz=HZ, level_offset_db=3.0, unit="dbfs", arrival_s=0.5)
    rows = (HZ > 30.0) & (HZ < 4500.0)
    np.testing.assert_allclose(
        found.phase_deg[rows], -180.0 * HZ[rows] / RATE, atol=0.3
    )  # straight between bins of 1 Hz
    np.testing.assert_allclose(found.level_db[rows], 3.0, atol=0.01)
    assert found.delay_s == 0.5
    assert np.isnan(found.phase_deg[HZ > 5500.0]).all()


def test_where_a_loudspeaker_begins():
    """A Butterworth high-pass of fourth order is 10 dB down where (fc / f)^8 = 9, at 0.760 fc; an octave 6 dB louder
    moves that to where it is 4 dB down, (fc / f)^8 = 1.51, 0.950 fc. Rows lie 3 % apart. A dip of 20 dB above, as a
    floor makes it, ends nothing; what noise covers, or a sweep does not hold, is not looked at."""
    for louder_db, times in ((0.0, 9.0 ** (-1 / 8)), (6.0, (10.0**0.4 - 1.0) ** (-1 / 8))):
        falling_db = -10.0 * np.log10(1.0 + (60.0 / HZ) ** 8)
        dip_db = np.where((HZ > 120.0) & (HZ < 200.0), -20.0, 0.0)
        bump_db = np.where((HZ > 990.0) & (HZ < 2100.0), louder_db, 0.0)
        level = flat(80.0 + falling_db + dip_db + bump_db)
        assert lower_limit_hz(level) == pytest.approx(60.0 * times, rel=0.03)
    assert lower_limit_hz(replace(level, lowest_valid_hz=150.0)) == pytest.approx(200.0, rel=0.03)
    assert lower_limit_hz(replace(level, noise_db=np.where(HZ < 300.0, 80.0, -200.0))) == pytest.approx(300.0, rel=0.03)
    assert lower_limit_hz(replace(level, noise_db=np.full(HZ.size, 90.0))) is None


def test_the_mean_over_a_band_is_one_of_powers_with_its_ends():
    level = flat(np.where(HZ < 999.0, 90.0, 80.0))
    two = (HZ[135], HZ[137])  # 973, 1000 and 1029 Hz: one of 90 dB, two of 80
    expected = 10 * np.log10((1e9 + 2e8) / 3)
    assert band_mean_db(level, (HZ[135], HZ[137])) == pytest.approx(expected)
    assert two[0] < 1000.0 < two[1]
    assert math.isnan(band_mean_db(level, (1.0, 2.0)))
    holed = replace(level, level_db=np.where(HZ < 999.0, np.nan, 80.0))
    assert band_mean_db(holed, (HZ[135], HZ[137])) == pytest.approx(80.0)


# --- deconvolution and what is left -----------------------------------------------------------------------------------


def test_the_pass_band_opens_just_above_the_fade_in():
    """Raised cosines over log frequency: from the start to 1.05 times the end of the fade-in, and as the fade-out."""
    low, high = SWEEP.start_hz, 1.05 * SWEEP.full_level_hz
    middle = math.sqrt(low * high), math.sqrt(SWEEP.stop_hz * SWEEP.fade_out_hz)
    found = pass_band(np.array([low, middle[0], high, 1000.0, SWEEP.fade_out_hz, middle[1], SWEEP.stop_hz]), SWEEP)
    np.testing.assert_allclose(found, [0.0, 0.5, 1.0, 1.0, 1.0, 0.5, 0.0], atol=1e-12)


def test_a_protected_low_end_is_raised_by_at_most_a_hundred_decibels():
    """The inverse is regularised at 1e-10 of what a sweep of full level has there, |X|^2 f = const: where the drive
    falls 24 dB an octave below 1280 Hz it is down by 96 dB at 80 Hz, by 120 dB at 40."""
    guarded = Sweep(seconds=3.0, sample_rate=RATE, stop_hz=5500.0, drive_dbfs=0.0, lowest_hz=1280.0)
    kept, plain = (inverse_filter(one, 48000) for one in (guarded, replace(guarded, lowest_hz=None)))
    for hz, most_db in ((160.0, 72.0), (80.0, 96.0)):
        at = round(hz * 4)
        ratio = np.mean(np.abs(kept.inverse[at - 8 : at + 9])) / np.mean(np.abs(plain.inverse[at - 8 : at + 9]))
        assert 20 * np.log10(ratio) == pytest.approx(most_db, abs=1.0)
    at = round(20.0 * 4)
    # |conj(X)| / least: what is left of the drive, 144 dB down, over 100 dB: 200 - 144
    ratio = np.median(np.abs(kept.inverse[at - 8 : at + 9])) / np.median(np.abs(plain.inverse[at - 8 : at + 9]))
    assert 20 * np.log10(ratio) == pytest.approx(200.0 - 144.0, abs=3.0)


def test_a_window_begins_and_ends_in_silence():
    """10.03 ms before and 20.07 ms after, at 1 kHz: the outermost whole samples are the first at which it is closed."""
    before, shape = window_samples(OrderWindow(order=2, before_s=0.01003, after_s=0.02007), 1000)
    assert (before, shape.size) == (11, 11 + 1 + 21)
    assert shape[0] == shape[-1] == 0.0
    assert np.all(shape[1:-1] > 0.0)


def test_there_is_room_for_the_orders_before_the_fundamental():
    for orders in (1, 10):
        length = padded_length(100_000, SWEEP, orders)
        least = 100_000 + SWEEP.rate_s * math.log(orders + 1) * RATE
        assert least - 1 <= length <= 1.05 * least


def test_what_is_used_of_a_recording():
    """50 ms before the sweep and 2 s after it, faded outside the sweep; an offset is taken off; a recording that ends
    early is refused."""
    answer = SWEEP.samples()
    found = deconvolve(np.pad(answer, (6000, 60000)) + 0.25, SWEEP, start=6000.0, orders=1)
    assert found.n_used == 600 + answer.size + 24000
    assert found.arrival == 600.0
    assert found.drive_dbfs == -14.0
    assert np.max(np.abs(found.impulse)) == pytest.approx(found.impulse[600], rel=1e-9)
    early = deconvolve(np.pad(answer, (100, 300)), SWEEP, start=100.25, orders=1)
    assert (early.n_used, early.arrival) == (answer.size + 400, 100.25)
    for first, size in ((-1.0, answer.size), (-0.5, answer.size + 9), (10.0, answer.size + 9)):
        with pytest.raises(AnalysisError, match="record all of it"):
            deconvolve(np.zeros(size), SWEEP, start=first)
    deconvolve(np.pad(answer, (0, 0)), SWEEP, start=0.0, orders=1)
    deconvolve(answer, SWEEP, start=0.5, orders=1)  # the sample in which it begins is there
    with pytest.raises(AnalysisError, match="not numbers"):
        deconvolve(np.full(answer.size + 10, np.nan), SWEEP, start=0.0)


@pytest.mark.parametrize(("share", "kept"), [(0.7, 0.0), (0.83125, 0.25), (0.951, 1.0), (1.0, 1.0)])
def test_what_comes_later_than_the_fundamentals_decay_is_left_over(deconvolved, share, kept):
    """Of what arrives alone at so many times `L ln 2` after the fundamental, where a subharmonic has 1: nothing up to
    three quarters of 0.95, half of the amplitude midway to that, all of it from there on."""
    place = round(deconvolved.arrival + share * SWEEP.rate_s * math.log(2.0) * RATE)
    impulse = np.zeros_like(deconvolved.impulse)
    impulse[place] = 1.0
    left = residual_signal(replace(deconvolved, impulse=impulse), orders=4)
    energy = float(np.sum(np.square(SWEEP.samples()))) / 10.0 ** (SWEEP.drive_dbfs / 10.0)
    assert np.sum(np.square(left)) / energy == pytest.approx(kept, abs=2e-3)  # the place is a whole sample


# --- smoothing, rounding, microphone, bands ---------------------------------------------------------------------------


MICROPHONE = MicrophoneResponse(
    frequency_hz=np.array([100.0, 1000.0, 5000.0]),
    level_db=np.array([0.0, 6.0, -6.0]),
    phase_deg=np.array([0.0, 90.0, 0.0]),
)
