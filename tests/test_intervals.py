"""The 95 % interval of an order holds the steady answer: in rooms, of a physical driver, and term by term."""

from dataclasses import replace

import numpy as np
import pytest
import scipy

from distort.analysis.common.curves import Harmonics
from distort.analysis.common.smoothing import band_width_hz
from distort.analysis.sweep.intervals import ShortSweep, half_width_db, with_intervals
from distort.analysis.sweep.readings import Reading
from distort.analysis.sweep.sweeps import Reference, SweepReadings, read_sweep, sweep_harmonics
from distort.analysis.sweep.uncertainty import noise_averaging
from distort.analysis.sweep.window_errors import (
    FundamentalSeen,
    OrderErrors,
    later_variance,
    mean_nearby,
    order_errors,
    takes_variance,
)
from tests.devices import moving_coil
from tests.devices.rooms_elsewhere import RATE
from tests.interval_study import (
    DRIVE_DBFS,
    HZ,
    SETTINGS,
    Readings,
    curve_in_room,
    of_curve,
    of_drivers,
    over_width,
    recorded,
    sweeps,
    table,
)
from tests.report_examples import harmonics as example

ROWS = HZ.size
FIRST_REPORTED = 1000
"""Seeds below were looked at while the method was made."""

SHARES = "{:20} {:>5} {:>8} {:>9.4f} {:>11.4f} {:>10.3f}"


def errors(shift_db: float, variance: float, later: float = 0.0) -> OrderErrors:
    """The same on every row."""
    return OrderErrors(
        shift_db=np.full(ROWS, shift_db), variance=np.full(ROWS, variance), later_variance=np.full(ROWS, later)
    )


def stated(own: OrderErrors, short: ShortSweep | None = None) -> np.ndarray:
    """Half-widths of the second order."""
    found: Harmonics = example(orders=2)
    return with_intervals(found, [own], short).orders[0].uncertainty_db


def test_a_shift_that_is_known_makes_the_interval_lopsided_not_wider_than_need_be():
    """Without one 1.96 deviations (two tails of a normal variable); of 5 deviations the shift and 1.645 (one tail)."""
    found = half_width_db(np.array([0.0, 0.5, -0.5, 0.1, np.nan]), np.array([0.04, 0.01, 0.01, 0.0, 1.0]))
    np.testing.assert_allclose(found[:4], [0.391993, 0.664485, 0.664485, 0.1], rtol=1e-5)
    assert np.isnan(found[4])
    middle = half_width_db(np.array([0.3]), np.array([0.09]))[0]
    held = scipy.stats.norm.cdf(middle, 0.3, 0.3) - scipy.stats.norm.cdf(-middle, 0.3, 0.3)
    assert held == pytest.approx(0.95, abs=1e-6)


def test_without_a_short_sweep_windows_noise_and_what_came_later_are_in_it():
    """0.3 of the shift is not sure: 1.96 sqrt(0.01 + 0.02 + 0.09 0.04) about a shift of 0.2."""
    expected = half_width_db(np.array([0.2]), np.array([0.01 + 0.02 + 0.09 * 0.04]))[0]
    np.testing.assert_allclose(stated(errors(0.2, 0.01, 0.02)), expected, rtol=1e-9)
    np.testing.assert_allclose(stated(errors(0.0, 0.01)), 0.1959964, rtol=1e-6)
    assert np.isnan(stated(errors(0.0, np.nan))).all()


def test_the_speed_of_the_sweep_is_the_part_that_both_lengths_tell():
    """A bias of 0.2 dB beside hardly any noise, k = 1.2: the reading is 0.24 dB off, 15 % of it not sure."""
    short = ShortSweep(difference_db=[np.full(ROWS, 0.2)], errors=[errors(0.0, 1e-8)], part=1.2)
    expected = half_width_db(np.array([0.24]), np.array([(0.15 * 0.24) ** 2]))[0]
    np.testing.assert_allclose(stated(errors(0.0, 1e-8), short), expected, rtol=1e-3)


def test_what_the_windows_of_the_short_sweep_add_is_no_bias_of_its_speed():
    """The difference is what the shorter windows are known to add: nothing is left but the long sweep's noise, and
    the difference between two like noises halves its variance."""
    short = ShortSweep(difference_db=[np.full(ROWS, 0.5)], errors=[errors(0.6, 1e-4)], part=1.0)
    expected = half_width_db(np.array([0.1]), np.array([0.5e-4 + 0.09 * 0.01]))[0]
    np.testing.assert_allclose(stated(errors(0.1, 1e-4), short), expected, rtol=1e-6)


def test_a_mean_nearby_is_over_six_rows_to_either_side_and_only_of_what_is_known():
    values = np.full(ROWS, np.nan)
    values[100], values[103] = 1.0, 3.0
    found = mean_nearby(values)
    assert [found[row] for row in (93, 94, 96, 97, 106, 107, 109, 110)] == [0.0, 1.0, 1.0, 2.0, 2.0, 3.0, 3.0, 0.0]


def test_takes_that_differ_by_more_than_their_noise_widen_it():
    """Second orders of -40 and -39 dB: variance 0.5 dB^2 over two takes; noise of 0.1 dB^2 each explains a fifth."""
    of_noise = np.full(ROWS, 0.05 / (10.0 / np.log(10.0)) ** 2)

    def take(power: float) -> list[Reading]:
        return [
            Reading(power=np.full(ROWS, each), noise=0 * of_noise, leak=0 * of_noise, variance=of_noise)
            for each in (1.0, power)
        ]

    (found,) = takes_variance([take(1e-4), take(10**-3.9)])
    np.testing.assert_allclose(found, (0.5 - 0.1) / 2, rtol=1e-9)
    assert takes_variance([take(1e-4)]) == ()


def test_a_wandering_device_is_stated_through_recordings():
    """Two takes of a curve whose even powers differ by 1 dB: the interval of their mean is 1 dB, not 0.01."""
    device, random = curve_in_room(3, "no room"), np.random.default_rng(3)
    louder = replace(device, powers=tuple(p * (10**0.05 if k % 2 else 1.0) for k, p in enumerate(device.powers)))
    sweep, _ = sweeps(10_500.0, RATE)
    takes = [recorded(one.answer(sweep.samples()), RATE, 1e-4, random) for one in (device, louder)]
    second = sweep_harmonics(read_sweep(takes, sweep, SETTINGS), Reference()).orders[0]
    rows = (HZ > 300.0) & (HZ < 2000.0)
    assert np.median(second.noise_uncertainty_db[rows]) < 0.05
    # of two takes 1 dB apart the variance is 0.5 dB^2, of their mean 0.25: 1.96 times 0.5, and noise is under a tenth
    assert np.median(second.uncertainty_db[rows]) == pytest.approx(0.98, abs=0.02)


def noise_free(place: str, seed: int) -> tuple[SweepReadings, SweepReadings, dict[int, np.ndarray]]:
    """Long and short sweep of one curve with next to no noise, and the steady power of orders 1 to 5."""
    device, random = curve_in_room(seed, place), np.random.default_rng(seed)
    long, short = (
        read_sweep([recorded(device.answer(sweep.samples()), RATE, 1e-7, random)], sweep, SETTINGS)
        for sweep in sweeps(10_500.0, RATE)
    )
    amplitude = 10.0 ** (DRIVE_DBFS / 20.0)
    truth = {
        n: over_width(lambda hz, n=n: device.steady_power(n, np.minimum(hz, RATE / 2), amplitude), n)
        for n in range(1, 6)
    }
    return long, short, truth


def rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


def test_the_windows_are_known_to_add_what_they_add():
    """In a room, without noise, order 5 is off by what the fundamental says that its window adds, for the most part."""
    long, _, truth = noise_free("image sources", 4)
    found = sweep_harmonics(long, Reference()).orders[3]
    seen = long.context
    shift_db = order_errors(seen, long.readings, seen=FundamentalSeen(seen), takes_variance=())[3].shift_db
    rows = (HZ > 60.0) & (5 * HZ < 9000.0)
    error_db = (found.relative_db - 10.0 * np.log10(truth[5] / truth[1]))[rows]
    assert np.corrcoef(error_db, shift_db[rows])[0, 1] > 0.8
    assert rms(error_db - shift_db[rows]) < 0.6 * rms(error_db)


def test_what_comes_after_the_last_window_is_foretold_within_its_size():
    """The fundamental in three rooms, 40 to 200 Hz, less what finer bins show: 0.04 dB r.m.s., half of it is foretold.

    A rectangular room rings on longer than its early decay tells; three times either way is told from nothing at all.
    """
    missed, foretold = [], []
    for seed in (4, 5, 9):
        long, _, truth = noise_free("image sources", seed)
        seen = FundamentalSeen(long.context)
        rows = (HZ > 40.0) & (HZ < 200.0)
        error_db = 10.0 * np.log10(long.readings[0].power / truth[1])
        kept_db, *earlier_db = seen.kept_db((long.separated.spectra[0], *seen.earlier), HZ)
        missed.append((error_db - kept_db)[rows])
        foretold.append(np.sqrt(later_variance(earlier_db))[rows])
    assert 1 / 3 < rms(np.concatenate(missed)) / rms(np.concatenate(foretold)) < 3.0


def test_without_room_and_noise_the_interval_is_the_error_of_the_sweeps_speed():
    """Sweeps of 13 and 6 turns of 10 Hz: of what they differ by 6/7 is the long one's, and the interval hardly more."""
    long, short, truth = noise_free("no room", 1)
    second = sweep_harmonics(long, Reference(), short=short).orders[0]
    rows = (HZ > 100.0) & (HZ < 1000.0)
    error_db = np.abs(second.relative_db - 10.0 * np.log10(truth[2] / truth[1]))[rows]
    assert np.median(error_db / np.abs(second.bias_db[rows])) == pytest.approx(6.0 / 7.0, rel=0.02)
    # 0.15 of the speed's part is not sure: one tail of 1.645 of it adds a quarter
    assert np.median(second.uncertainty_db[rows] / error_db) == pytest.approx(1.0 + 1.645 * 0.15, rel=0.03)


def test_a_leak_scatters_as_noise_of_its_power_does():
    """A leak of a hundredth: `2 K / S c + (K / S)^2 q`, in dB squared, beside what was there."""
    long, _, _ = noise_free("no room", 1)
    own = long.context
    silent, leaking = (
        [*long.readings[:2], replace(long.readings[2], leak=share * long.readings[2].power), *long.readings[3:]]
        for share in (0.0, 0.01)
    )
    before, after = (
        order_errors(own, found, seen=FundamentalSeen(own), takes_variance=())[1].variance
        for found in (silent, leaking)
    )
    cross, square = noise_averaging(long.separated.spectra[2].window, RATE).factors(band_width_hz(3 * HZ, 1 / 12))
    rows = (HZ > 30.0) & (3 * HZ < 9000.0)
    expected = (10.0 / np.log(10.0)) ** 2 * (0.02 * cross + 1e-4 * square)
    np.testing.assert_allclose((after - before)[rows], expected[rows], rtol=1e-6)


def test_intervals_hold_in_a_room_of_image_sources():
    """One seed of the study below: 19 of 20 with room for chance, and noise alone far fewer."""
    *_, (_, _, count, held, noise_held, _) = table(list(of_curve(1, "image sources", (0.0,))))
    assert count > 150
    assert held > 0.88  # neighbours say alike: some 50 of them are independent, of which 95 % hold 0.88 in 99 of 100
    assert noise_held < 0.75


@pytest.mark.study
def test_a_driver_solved_in_steps_gives_steady_tones_as_newton_finds_them():
    """Two ways through the same equations: 1 s of a tone from rest, and the period that ends as it began."""
    drivers = moving_coil.drivers(2, 1, (2.0, 8.0))
    seconds = np.arange(3 * moving_coil.RATE) / moving_coil.RATE
    heard = moving_coil.played_through(drivers, np.sin(2 * np.pi * 60.0 * seconds))[:, -5000:-2000]
    spectrum = np.abs(np.fft.rfft(heard, axis=1))[:, 30:151:30] / 1500
    steady = moving_coil.steady_harmonics(drivers, np.array([60.0]), 1.0)[:, :, 0].T
    clear = steady > 1e-5 * steady[:, :1]
    assert clear.sum() > 14
    # the resampling to and from fine steps keeps the band within 0.02 dB
    np.testing.assert_allclose(20 * np.log10((spectrum / steady)[clear]), 0.0, atol=0.05)


@pytest.mark.sample
def test_intervals_hold_in_a_sample_of_rooms():
    found = [
        one
        for place in ("no room", "decaying noise", "image sources")
        for seed in range(FIRST_REPORTED, FIRST_REPORTED + 2)
        for one in of_curve(seed, place)
    ]
    *_, (_, _, count, held, _, _) = table(found)
    assert count > 1500
    assert 0.92 < held < 0.98  # a part of the study below: 93 to 97 %, and a hundredth for its size


def require_held(found: list[Readings]) -> None:
    """Print the table; pooled 93 to 97 %, every order and place 90 to 98 %."""
    lines = table(found)
    print("\nplace                order readings    held  noise alone  median dB")
    for line in lines:
        print(SHARES.format(*line))
    assert 0.93 <= lines[-1][3] <= 0.97
    for _, _, count, held, *_ in lines:
        assert 0.90 <= held <= 0.98 or count < 100


@pytest.mark.study
def test_intervals_of_14000_readings_in_rooms_hold():
    found = [
        one
        for place in ("decaying noise", "image sources")
        for seed in range(FIRST_REPORTED, FIRST_REPORTED + 14)
        for one in of_curve(seed, place)
    ]
    require_held(found)
    assert table(found)[-1][2] > 13_500


@pytest.mark.study
def test_intervals_of_12000_readings_of_moving_coil_drivers_hold():
    """18 drivers at three voltages each, alone and in rooms."""
    seeds = range(FIRST_REPORTED, FIRST_REPORTED + 3)
    found = [one for seed in seeds for one in of_drivers(seed, 6, (3.0, 8.0, 16.0))]
    require_held(found)
    assert table(found)[-1][2] > 11_000
