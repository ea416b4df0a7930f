"""What is cut out of an impulse response, and where: orders, decays and what no order explains; and from which row on a
response counts. Closed forms and sums by hand."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from distort.analysis.sweep.chain import electronics_bound_db, with_chain
from distort.analysis.sweep.decay import separation
from distort.analysis.sweep.deconvolution import _used_part, deconvolve, inverse_filter, padded_length, pass_band
from distort.analysis.sweep.orders import separate
from distort.analysis.sweep.residual import residual_power, residual_signal
from distort.analysis.sweep.response import lower_limit_hz
from distort.analysis.sweep.windows import OrderWindow, most_orders, window_samples
from signals import Sweep
from tests.test_sweep_rules import HZ, curves, flat, reading

RATE = 16000
SWEEP = Sweep(seconds=4.0, start_hz=20.0, full_level_hz=30.0, stop_hz=7000.0, sample_rate=RATE)
LENGTH_S = round(20.0 * 4.0 / math.log(350.0)) / 20.0
"""Seconds in which its frequency rises e-fold: whole periods of 20 Hz."""
SIZE = 60_000


def response_of(impulse: np.ndarray, *, arrival: float) -> SimpleNamespace:
    """A deconvolved recording whose sweep is a single sample, so that what is left of it is the response itself."""
    spectrum = np.ones(SIZE // 2 + 1, dtype=complex)
    kept = SimpleNamespace(sweep=SWEEP, n_fft=SIZE, spectrum=spectrum, bin_hz=RATE / SIZE)
    return SimpleNamespace(filter=kept, impulse=impulse, arrival=arrival, n_used=50_000, drive_dbfs=-6.0)


def rise(position: np.ndarray) -> np.ndarray:
    return 0.5 - 0.5 * np.cos(np.pi * np.clip(position, 0.0, 1.0))


@pytest.mark.parametrize(("orders", "arrival"), [(3, 30_000.4), (2, 5_000.0), (3, 58_000.0)])
def test_the_response_is_emptied_from_the_highest_order_to_the_end_of_the_decay(orders, arrival):
    """From where the window of that order opens, `L ln n + 0.45 L ln((n + 1) / n)` before the arrival, to 0.95 L ln 2
    after it; over half of the time before that order and a quarter of that behind, as raised cosines; it goes round."""
    opens_s = 0.45 * LENGTH_S * math.log((orders + 1) / orders)
    before_s, after_s = LENGTH_S * math.log(orders) + opens_s, 0.95 * LENGTH_S * math.log(2.0)
    time_s = (np.arange(-SIZE // 2, SIZE // 2) + round(arrival) - arrival) / RATE
    inside = (time_s > -before_s) & (time_s < after_s)
    emptied = np.where(
        inside, rise((time_s + before_s) / (0.5 * opens_s)) * rise((after_s - time_s) / (0.25 * after_s)), 0.0
    )
    expected = np.ones(SIZE)
    expected[(np.arange(-SIZE // 2, SIZE // 2) + round(arrival)) % SIZE] -= emptied
    found = residual_signal(response_of(np.ones(SIZE), arrival=arrival), orders=orders)
    np.testing.assert_allclose(found, expected[:50_000], atol=1e-9)


def test_rows_beyond_the_recording_hold_nothing_and_a_tone_its_half():
    """The mean square is 1/2 of the squared amplitude; the sweep is at f `L ln(f / f1)` after its arrival."""
    impulse = np.zeros(SIZE)
    at_s = LENGTH_S * math.log(300.0 / 20.0)
    place = 10_000 + round(at_s * RATE)
    impulse[place - 300 : place + 300] = 0.2
    power = residual_power(
        response_of(impulse, arrival=10_000.0), frequency_hz=np.array([1.0, 300.0, 1e5]), octaves=1.0 / 48.0, orders=2
    )
    assert place - 300 > 10_000 + 0.95 * LENGTH_S * math.log(2.0) * RATE
    # a twelfth of an octave, of 10^0.3, is passed at least: 645 samples
    span = LENGTH_S * 0.3 * math.log(10.0) / 12.0 * RATE
    assert power[1] == pytest.approx(2.0 * 0.04 * 600.0 / span, rel=2.0 / span)
    assert (power[0], power[2]) == (0.0, 0.0)


@pytest.mark.parametrize("gate_s", [None, 0.03])
def test_orders_and_decays_are_cut_out_where_they_stand(gate_s):
    """Order n `L ln n` before the arrival; the fundamental with the window of each order; and as late as that window
    lies behind order n + 1, `L ln((n + 1) / n)` after the arrival. The sum of a piece is its spectrum at 0 Hz."""
    impulse = np.random.default_rng(0).standard_normal(SIZE)
    arrival = 30_000.3
    found = separate(response_of(impulse, arrival=arrival), orders=3, gate_s=gate_s)
    assert (found.gate_s, found.drive_dbfs, found.takes) == (gate_s, -6.0, 1)
    for n in (1, 2, 3):
        after_s = 0.6 * LENGTH_S * math.log(2.0 if n == 1 else n / (n - 1))
        window = OrderWindow(
            order=n,
            before_s=0.45 * LENGTH_S * math.log((n + 1) / n),
            after_s=after_s if gate_s is None else gate_s,
        )
        before, shape = window_samples(window, RATE)
        for spectra, later_s in (
            (found.spectra, -LENGTH_S * math.log(n)),
            (found.fundamental_in, 0.0),
            (found.fundamental_leak, LENGTH_S * math.log((n + 1) / n)),
        ):
            own = spectra[n - 1]
            at = arrival + later_s * RATE
            first = round(at) - before
            piece = impulse[first : first + shape.size] * shape
            assert own.values[0].real == pytest.approx(np.sum(piece))
            assert own.first_s == pytest.approx((first - at) / RATE)
            assert own.energy == pytest.approx(np.sum(np.square(shape)))
            n_fft = round(RATE / own.bin_hz)
            assert 2 * shape.size <= n_fft < 2.1 * shape.size
            turned = own.values[7] * np.exp(-2j * np.pi * 7 * own.bin_hz * own.first_s)
            time_s = (np.arange(shape.size) + first - at) / RATE
            assert own.at_arrival()[7] == pytest.approx(turned)
            assert turned == pytest.approx(np.sum(piece * np.exp(-2j * np.pi * 7 * own.bin_hz * time_s)))


@pytest.mark.parametrize("seconds", [0.9, 4.0])
def test_as_many_orders_as_stand_30_milliseconds_apart(seconds):
    """`L ln((n + 1) / n) >= 0.03` gives `n <= 1 / (exp(0.03 / L) - 1)`."""
    sweep = replace(SWEEP, seconds=seconds)
    length_s = round(20.0 * seconds / math.log(350.0)) / 20.0
    assert most_orders(sweep) == math.floor(1.0 / (math.exp(0.03 / length_s) - 1.0))


# --- what goes in, and what is divided by -----------------------------------------------------------------------------


@pytest.mark.parametrize(("before", "after"), [(800, 1000), (300, 200), (0, 0), (2000, 40_000)])
def test_a_recording_is_faded_over_50_milliseconds_beside_the_sweep(before, after):
    """Or as much as there is of it: 800 samples; two seconds after it at most. The mean of all that is used is taken
    off, its first and its last sample too. Plus and minus one by turns, and 0.5."""
    recording = np.tile([1.5, -0.5], (before + SWEEP.n_samples + after) // 2 + 1)[: before + SWEEP.n_samples + after]
    used, first = _used_part(recording, SWEEP, before + 0.4)
    assert first == max(before - 800, 0)
    own = recording[first : before + SWEEP.n_samples + min(after, 32_000)]
    shape = np.ones(own.size)
    faded, late = min(before, 800), min(after, 800)
    shape[:faded] = rise(np.arange(faded) / max(faded, 1))
    if late:
        shape[-late:] = rise(np.arange(late)[::-1] / late)
    np.testing.assert_allclose(used, (own - np.mean(own)) * shape, atol=1e-12)
    spiked = recording.copy()
    spiked[[first, first + own.size - 1]] += 1e6
    again, _ = _used_part(spiked, SWEEP, before + 0.4)
    middle = own.size // 2
    assert used[middle] - again[middle] == pytest.approx(2e6 / own.size)


@pytest.mark.parametrize("n_fft", [80_000, 100_000])
def test_the_inverse_leaves_the_pass_band_and_no_more_than_a_hundred_decibels(n_fft):
    """`X W conj(X) / |X|^2 = W` while `|X|^2` is over 1e-10 of what a sweep of full level has there; below, that takes
    its place."""
    guarded = replace(SWEEP, lowest_hz=1500.0, drive_dbfs=0.0)
    kept = inverse_filter(guarded, n_fft)
    hz = np.arange(n_fft // 2 + 1) * (RATE / n_fft)
    power = np.abs(np.fft.rfft(guarded.samples(), n_fft)) ** 2
    least = 1e-10 * np.max(power * hz) / np.maximum(hz, 20.0)
    band = pass_band(hz, guarded)
    np.testing.assert_allclose(kept.inverse * kept.spectrum, band * power / np.maximum(power, least), atol=1e-9)
    low = (hz > 35.0) & (hz < 60.0)
    assert np.median(power[low] / least[low]) < 0.1
    np.testing.assert_allclose(np.abs(kept.inverse[low]), np.sqrt(power[low]) / least[low], rtol=1e-6)


def test_there_is_room_for_ten_orders_unless_others_are_asked_for():
    recording = np.pad(SWEEP.samples(), (1000, 3000))
    found = deconvolve(recording, SWEEP, start=1000.0)
    assert len(separate(response_of(np.zeros(SIZE), arrival=30_000.0)).spectra) == 10
    assert found.filter.n_fft == padded_length(found.n_used, SWEEP, 10) != padded_length(found.n_used, SWEEP, 11)


def test_without_a_silence_there_is_none():
    own = separation(SimpleNamespace(), noise=None, excitation_hz=HZ, octaves=0.1)
    assert (own.silence_s, own.noise_per_energy) == (0.0, None)


def test_electronics_are_bounded_re_their_own_fundamental():
    """-40 dB re a fundamental of a power of 4; what was not read is not known."""
    found = [reading(4.0), reading(4e-4)]
    np.testing.assert_allclose(electronics_bound_db(found, 2, None), -40.0)
    assert np.isnan(electronics_bound_db(found, 3, None)).all()
    plain = curves([reading(1.0), reading(1e-4)])
    bounded = with_chain(plain, {2: [np.full(HZ.size, -80.0)]}, lowest_valid_hz=HZ[30])
    np.testing.assert_array_equal(bounded.orders[0].doubtful, np.arange(HZ.size) < 30)


# --- from which row on ------------------------------------------------------------------------------------------------


def test_the_row_at_the_lowest_frequency_holds():
    found = curves([reading(1.0), reading(0.1)], lowest_valid_hz=HZ[30])
    np.testing.assert_array_equal(found.orders[0].doubtful, np.arange(HZ.size) < 30)
    level = flat(80.0)
    assert lower_limit_hz(replace(level, lowest_valid_hz=HZ[30])) == HZ[30]


def test_the_loudest_octave_ends_just_under_twice_its_first_row():
    """100 and 150 Hz of 70 dB are the only whole octave, 200 Hz of 90 dB is not in it; of 150 and 200 Hz alone there is
    none, so all rows together count."""
    level = flat(np.array([70.0, 70.0, 90.0]), hz=np.array([100.0, 150.0, 200.0]))
    assert lower_limit_hz(level) == 100.0
    short = flat(np.array([70.0, 90.0]), hz=np.array([150.0, 200.0]))
    assert lower_limit_hz(short) == 200.0


def test_without_a_difference_of_the_drives_the_input_is_the_response_itself():
    """-20 dB re a fundamental of 80 dB, over 75 dB at 2 f."""
    found = curves([reading(1.0), reading(0.01)], linear=flat(75.0))
    inside = HZ[-1] >= 2 * HZ
    np.testing.assert_allclose(found.orders[0].equivalent_input_db[inside], 60.0 - 75.0)
