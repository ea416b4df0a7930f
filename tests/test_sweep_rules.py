"""What is made of a sweep's readings: marks, sums, bounds and limits, each by hand and just on either side of where it
turns."""

import math
from dataclasses import replace

import numpy as np
import pytest
import scipy.special

from distort.analysis.curves import Harmonics, Response
from distort.analysis.grid import grid_hz, midbands_hz
from distort.analysis.microphone import MicrophoneResponse
from distort.analysis.microphone_removal import blocks_in_air, noise_in_air, only_covered, orders_in_air
from distort.analysis.multitone.blocks import BlockSpectra, statistics
from distort.analysis.smoothing import PowerSpectrum
from distort.analysis.sweep.chain import MicrophoneLimit, electronics_bound_db, microphone_bound_db, with_chain
from distort.analysis.sweep.deconvolution import deconvolve, inverse_filter, padded_length, pass_band
from distort.analysis.sweep.harmonics import doubtful_rows, harmonics
from distort.analysis.sweep.noise import NoiseDensity
from distort.analysis.sweep.orders import mean_of_takes, separate
from distort.analysis.sweep.readings import Reading, readings
from distort.analysis.sweep.residual import residual_power, residual_signal
from distort.analysis.sweep.response import band_mean_db, lowest_valid_hz, response
from distort.analysis.sweep.rounding import Rounding, first_crest, step_of
from distort.analysis.wavelength import delayed_copy_dips_hz, speed_of_sound_m_s
from distort.errors import AnalysisError
from signals import Multitone, Sweep
from tests.devices.memoryless import sweep_with_harmonics

HZ = grid_hz()
ROWS = HZ.size
NOTHING = np.full(ROWS, np.nan)


def marked(relative_db: float = 0.0, **given: float) -> bool:
    """Whether a row of an order is marked, all rows alike."""
    columns = {"noise_db": -200.0, "leak_db": -200.0, "bias_db": 0.0, "uncertainty_db": 0.0} | given
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
        ({"bias_db": -0.31}, True),
        ({"bias_db": 0.5, "uncertainty_db": 0.24}, True),  # more than twice what noise explains
        ({"bias_db": 0.5, "uncertainty_db": 0.26}, False),
        ({"bias_db": np.nan, "noise_db": np.nan, "leak_db": np.nan, "chain_db": np.nan}, False),
        ({"bias_db": 0.31, "uncertainty_db": np.nan}, True),
    ],
)
def test_what_marks_a_row(given, doubtful):
    assert marked(**given) == doubtful


def test_a_large_bias_marks_a_quarter_of_an_octave_to_either_side():
    """24 rows an octave: six."""
    bias_db = np.zeros(ROWS)
    bias_db[100] = 1.0
    plain = {"noise_db": NOTHING, "leak_db": NOTHING, "uncertainty_db": NOTHING}
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
    slope = flat(-6.0 * np.log2(HZ / 1000.0))
    found = curves(
        [reading(4.0, variance=1e-4), reading(0.04, noise=4e-6, leak=4e-5, variance=3e-4), reading(0.0004)],
        linear=slope,
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
    # the way out of 3 f is 6 lg2 3 dB lower than that of f: what would have to be fed is so much more
    inside = HZ[-1] > 3 * HZ
    np.testing.assert_allclose(third.equivalent_input_db[inside], -40.0 + 6.0 * math.log2(3.0), atol=1e-9)
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
    limit = MicrophoneLimit(max_db_spl=130.0, percent=1.0, distance_gain_db=-6.0)
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
    for first, size in ((-1.0, answer.size), (10.0, answer.size + 9)):
        with pytest.raises(AnalysisError, match="record all of it"):
            deconvolve(np.zeros(size), SWEEP, start=first)
    deconvolve(np.pad(answer, (0, 0)), SWEEP, start=0.0, orders=1)
    with pytest.raises(AnalysisError, match="not numbers"):
        deconvolve(np.full(answer.size + 10, np.nan), SWEEP, start=0.0)


def test_the_levels_of_the_orders_that_were_put_in(deconvolved):
    found = readings(separate(deconvolved, orders=3), noise=None, excitation_hz=HZ, octaves=1 / 12)
    rows = (HZ > 100.0) & (HZ < 1500.0)
    for number, level_db in ((1, 0.0), (2, -20.0), (3, -30.0)):
        np.testing.assert_allclose(10 * np.log10(found[number - 1].power[rows]), level_db, atol=0.02)
    # nothing rings: no leak, and nothing is made good
    np.testing.assert_array_less(found[0].leak[rows], 1e-8)
    assert np.isnan(found[2].leak).all()  # nobody knows of a fourth
    above = SWEEP.fade_out_hz < 3 * HZ
    assert np.isnan(found[2].power[above]).all()
    assert np.isnan(found[2].variance).all()


def test_the_mean_of_takes_is_that_of_their_arrivals(deconvolved):
    """A take that begins 0.4 samples later in its recording adds in phase; turned upside down it cancels."""
    one = separate(deconvolved, orders=2)
    answer = sweep_with_harmonics(SWEEP, {1: 1.0, 2: 0.1, 3: 10.0**-1.5})
    other = separate(deconvolve(np.pad(answer, (6400, 9000)), SWEEP, start=6400.0, orders=4), orders=2)
    both = mean_of_takes([one, other])
    assert both.takes == 2
    assert mean_of_takes([both, one]).takes == 3
    rows = (HZ > 100.0) & (HZ < 2000.0)
    alone, mean = (readings(each, noise=None, excitation_hz=HZ, octaves=1 / 12) for each in (one, both))
    np.testing.assert_allclose(mean[1].power[rows], alone[1].power[rows], rtol=1e-6)
    minus = separate(deconvolve(-np.pad(answer, (6400, 9000)), SWEEP, start=6400.0, orders=4), orders=2)
    cancelled = readings(mean_of_takes([one, minus]), noise=None, excitation_hz=HZ, octaves=1 / 12)
    assert np.max(cancelled[0].power[rows]) < 1e-12
    with pytest.raises(AnalysisError, match="cannot be averaged"):
        mean_of_takes([one, separate(deconvolved, orders=3)])
    with pytest.raises(AnalysisError, match="no take"):
        mean_of_takes([])
    for gate_s in (0.0, -0.1):
        with pytest.raises(AnalysisError, match="must be above 0 ms"):
            separate(deconvolved, orders=1, gate_s=gate_s)


def test_noise_of_the_mean_of_takes_is_so_much_less(deconvolved):
    quiet = NoiseDensity(frequency_hz=np.array([0.0, 6000.0]), density=np.full(2, 1e-12), sample_rate=RATE, seconds=4.0)
    one = separate(deconvolved, orders=1)
    found = [
        readings(each, noise=quiet, excitation_hz=HZ, octaves=1 / 12)[0].noise[120]
        for each in (one, mean_of_takes([one] * 5))
    ]
    assert found[0] / found[1] == pytest.approx(5.0)


def test_at_most_ten_decibels_are_taken_off_as_noise(deconvolved):
    loud = NoiseDensity(frequency_hz=np.array([0.0, 6000.0]), density=np.full(2, 1e-2), sample_rate=RATE, seconds=4.0)
    one = separate(deconvolved, orders=1)
    drowned, plain = (readings(one, noise=noise, excitation_hz=HZ, octaves=1 / 12)[0].power for noise in (loud, None))
    rows = (HZ > 100.0) & (HZ < 4000.0)
    np.testing.assert_allclose(drowned[rows], 0.1 * plain[rows], rtol=1e-6)


def test_what_no_order_explains_is_left_with_its_power():
    """A steady tone of 440 Hz and amplitude 0.01 besides the sweep: its power re the stimulus's is `a^2 / A^2`. It
    passes for order n while the sweep is at 440 / n Hz, so it is read outside 440 / 5 to 2 x 440 Hz; the orders leave
    nothing."""
    answer = sweep_with_harmonics(SWEEP, {1: 1.0, 2: 0.1, 3: 10.0**-1.5})
    tone = 0.01 * np.sin(2 * np.pi * 440.0 * np.arange(answer.size + 15000) / RATE)
    clean, hummed = (
        deconvolve(np.pad(answer, (6000, 9000)) + extra, SWEEP, start=6000.0, orders=4) for extra in (0.0, tone)
    )
    rows = ((HZ > 50.0) & (HZ < 80.0)) | ((HZ > 960.0) & (HZ < 4000.0))
    given = {"frequency_hz": HZ, "octaves": 1 / 12, "orders": 4}
    without, found = (residual_power(one, **given)[rows] for one in (clean, hummed))
    expected = (0.01 / 10.0 ** (-14.0 / 20.0)) ** 2
    assert np.max(without) < 1e-3 * expected
    np.testing.assert_allclose(10 * np.log10(found / expected), 0.0, atol=0.2)  # a few periods of it each
    heard_twice = MicrophoneResponse(frequency_hz=np.array([10.0, 6000.0]), level_db=np.full(2, 6.0206))
    halved = residual_power(hummed, **given, microphone=heard_twice)[rows]
    np.testing.assert_allclose(halved, found / 4.0, rtol=1e-4)
    assert residual_signal(hummed, orders=4).size == hummed.n_used


# --- smoothing, rounding, microphone, bands ---------------------------------------------------------------------------


def test_a_spectrum_is_straight_between_its_bins():
    """Integrals of a broken line by hand: 1, 3, 2, 5 at 0, 10, 20 and 30 Hz."""
    spectrum = PowerSpectrum(np.array([1.0, 3.0, 2.0, 5.0]), 10.0)
    low, high = np.array([0.0, 5.0, 12.0, 20.0, 15.0]), np.array([30.0, 15.0, 13.0, 30.0, 15.0])
    expected = [
        (20.0 + 25.0 + 35.0) / 30.0,
        (5.0 * 2.5 + 5.0 * 2.75) / 10.0,
        2.75,
        3.5,
        2.5,  # both edges at one place: the value there
    ]
    np.testing.assert_allclose(spectrum.mean(low, high), expected)
    assert np.isnan(spectrum.mean(np.array([25.0]), np.array([30.1]))).all()
    band = spectrum.smoothed(np.array([15.0]), 1.0)
    half = 10.0**0.15
    np.testing.assert_allclose(band, spectrum.mean(np.array([15.0 / half]), np.array([15.0 * half])))


def test_rounding_by_its_series():
    """Bound on order 3 of 5 steps without noise, `2 / (pi^2 sqrt(A)) sum k^-1.5` times the first crest's 1.157; 199
    terms make 2.4707 of the whole sum's 2.6124 (zeta of 1.5)."""
    step = 1e-3
    rounding = Rounding(step=step, noise_rms=0.0)
    terms = sum(k**-1.5 for k in range(1, 200))
    assert terms == pytest.approx(2.612375 * 0.946, rel=1e-3)
    crest = 0.675 * 3 ** (-1 / 3) * math.sqrt(0.5 * math.pi * (3 + 0.81 * 3 ** (1 / 3)))
    assert first_crest(3) == pytest.approx(crest)
    for order in (5, 10, 20):  # the crest itself, by scipy: a little high errs to the safe side
        place = scipy.special.jnp_zeros(order, 1)[0]
        height = scipy.special.jv(order, place) / math.sqrt(2.0 / (math.pi * place))
        assert 1.0 < first_crest(order) / height < 1.06
    drive = 10.0 ** (-6.0 / 20.0)
    expected = (crest * 2.0 / math.pi**2 / math.sqrt(5.0) * terms * step / drive) ** 2
    found = rounding.power(np.array([(5.0 * step / drive) ** 2, 0.0]), order=3, drive_dbfs=-6.0)
    assert found[0] == pytest.approx(expected)
    assert found[1] == pytest.approx((2.0 / math.pi * step / drive) ** 2)  # the most that there can be
    assert rounding.density(48000.0) == pytest.approx(step**2 / 12.0 / 24000.0)
    for noise_steps, left in ((2.9, True), (3.1, False)):
        noisy = Rounding(step=step, noise_rms=noise_steps * step)
        power = noisy.power(np.array([25e-6]), order=3, drive_dbfs=0.0)
        assert np.array_equal(power, [0.0]) != left
    one = Rounding(step=step, noise_rms=0.3 * step)
    weight = sum(k**-1.5 * math.exp(-2.0 * (math.pi * k * 0.3) ** 2) for k in range(1, 200))
    expected = (crest * 2.0 / math.pi**2 / math.sqrt(5.0) * weight * step) ** 2
    assert one.power(np.array([25e-6]), order=3, drive_dbfs=0.0)[0] == pytest.approx(expected)
    assert step_of(np.array([0.5, 0.25, np.nan, 0.3])) == pytest.approx(0.05)


MICROPHONE = MicrophoneResponse(
    frequency_hz=np.array([100.0, 1000.0, 5000.0]),
    level_db=np.array([0.0, 6.0, -6.0]),
    phase_deg=np.array([0.0, 90.0, 0.0]),
)


def test_a_microphone_is_straight_over_log_frequency_and_held_beyond_its_ends():
    middle = math.sqrt(100.0 * 1000.0)
    assert MICROPHONE.at([100.0, middle, 1000.0]) == pytest.approx([0.0, 3.0, 6.0])
    assert np.isnan(MICROPHONE.at([99.0, 5001.0])).all()
    assert MICROPHONE.covers([100.0 * (1 - 1e-10), 5000.0 * (1 + 1e-10)]).all()
    assert not MICROPHONE.covers([100.0 * (1 - 1e-8), 5000.0 * (1 + 1e-8)]).any()
    assert MICROPHONE.amplitude([1.0, 1000.0, 9000.0]) == pytest.approx([1.0, 10**0.3, 10**-0.3])
    assert MICROPHONE.complex_amplitude([1000.0])[0] == pytest.approx(10**0.3 * 1j)
    assert replace(MICROPHONE, phase_deg=None).complex_amplitude([1000.0])[0] == pytest.approx(10**0.3)


def test_a_microphone_is_taken_out_at_the_frequency_in_the_air(deconvolved):
    """Order n sounds at n f. Noise is heard through it as well; readings beyond its range are none."""
    one = separate(deconvolved, orders=2)
    aired = orders_in_air(one, MICROPHONE)
    for before, after in (
        *zip(one.spectra, aired.spectra, strict=True),
        *zip(one.fundamental_in, aired.fundamental_in, strict=True),
        *zip(one.fundamental_leak, aired.fundamental_leak, strict=True),
    ):
        at = round(700.0 / before.bin_hz)
        assert after.values[at] == pytest.approx(before.values[at] / MICROPHONE.complex_amplitude(at * before.bin_hz))
    noise = NoiseDensity(frequency_hz=np.array([100.0, 1000.0]), density=np.ones(2), sample_rate=RATE, seconds=1.0)
    np.testing.assert_allclose(noise_in_air(noise, MICROPHONE).density, [1.0, 10**-0.6])
    first, second = only_covered([reading(1.0), reading(2.0, noise=1.0, leak=1.0, variance=1.0)], HZ, MICROPHONE)
    np.testing.assert_array_equal(np.isfinite(first.power), (HZ >= 100.0) & (HZ <= 5000.0))
    known = (2 * HZ >= 100.0) & (2 * HZ <= 5000.0)
    for column, value in ((second.power, 2.0), (second.noise, 1.0), (second.leak, 1.0), (second.variance, 1.0)):
        np.testing.assert_array_equal(column, np.where(known, value, np.nan))


def test_a_microphone_is_taken_out_of_a_multitones_bins_and_halves():
    tone = Multitone(low_hz=200.0, high_hz=4000.0, period_s=0.5, sample_rate=10000, lines_per_decade=6.0)
    bins = tone.period_samples // 2 + 1
    spectra = BlockSpectra(
        mean=np.ones(bins, dtype=complex),
        scatter_noise=np.ones(bins),
        between_noise=np.ones(bins - 1),
        beside=np.zeros((5, 2, 7, 0), dtype=complex),
        statistics=statistics(16),
    )
    found = blocks_in_air(spectra, tone, MICROPHONE)
    hz = np.arange(bins) / 0.5
    np.testing.assert_allclose(found.mean, 1.0 / MICROPHONE.complex_amplitude(hz))
    np.testing.assert_allclose(found.scatter_noise, 1.0 / MICROPHONE.amplitude(hz) ** 2)
    np.testing.assert_allclose(found.between_noise, 1.0 / MICROPHONE.amplitude(hz[:-1] + 1.0) ** 2)


def test_midbands_lie_between_the_frequencies_asked_for():
    """IEC 61260-1, base ten: octaves from 31.6 Hz to 15.85 kHz, third octaves from 19.95 Hz to 19.95 kHz."""
    octaves, thirds = midbands_hz(bands_per_octave=1), midbands_hz(bands_per_octave=3)
    np.testing.assert_allclose(octaves, 1000.0 * 10.0 ** (0.3 * np.arange(-5, 5)))
    np.testing.assert_allclose(thirds, 1000.0 * 10.0 ** (0.1 * np.arange(-17, 14)))
    np.testing.assert_allclose(midbands_hz(bands_per_octave=1, from_hz=500.0, to_hz=502.0), [501.1872], rtol=1e-6)


def test_speed_of_sound_where_people_measure():
    """-40 to 60 degrees Celsius; 343.2 m/s at 20. A path of 1 m is half a wave at 171.6, 514.8, 858 Hz."""
    assert speed_of_sound_m_s(-40.0) == pytest.approx(331.3 * math.sqrt(233.15 / 273.15))
    assert speed_of_sound_m_s(60.0) == pytest.approx(331.3 * math.sqrt(333.15 / 273.15))
    for beyond in (-40.1, 60.1):
        with pytest.raises(ValueError, match=r"outside -40 \.\.\. 60"):
            speed_of_sound_m_s(beyond)
    assert delayed_copy_dips_hz(1.0) == pytest.approx((171.6, 514.8, 858.0), abs=0.2)
    assert len(delayed_copy_dips_hz(1.0, count=5)) == 5
