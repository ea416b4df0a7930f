"""Ways, filters and paths of a synthesis in closed form, and the edges of what counts as predicted."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from distort.analysis.common.grid import grid_hz
from distort.analysis.sweep.deconvolution import inverse_filter
from distort.analysis.sweep.orders import SeparatedOrders, WindowedSpectrum
from distort.analysis.sweep.windows import order_window
from distort.analysis.synthesis.choosing import misfit_db
from distort.analysis.synthesis.kernels import Step, highest_drive_dbfs, step_of
from distort.analysis.synthesis.path import fundamental_changes, impulse_samples, path_spectrum
from distort.analysis.synthesis.predicted import LevelPredicted, PartMisfit, Prediction
from distort.analysis.synthesis.prediction import _part
from distort.analysis.synthesis.programme import _moment_dbfs, loudest_dbfs
from distort.analysis.synthesis.structure import AFTER, RATE, Smooth, kernel_of
from distort.analysis.synthesis.ways import Form, Way, ways_of
from signals import Sweep

RATE_HZ = 16000
SWEEP = Sweep(start_hz=50.0, full_level_hz=60.0, stop_hz=7000.0, seconds=1.0, sample_rate=RATE_HZ, drive_dbfs=0.0)
N = 4096


def spectrum(values, *, first_s: float = -0.01) -> WindowedSpectrum:
    """`values` re the arrival, as a window keeps them that begins `first_s` after it."""
    bins = np.full(N // 2 + 1, 1.0 + 0j) * values
    turns = np.arange(bins.size) * (RATE_HZ / N * first_s)
    return WindowedSpectrum(
        window=order_window(SWEEP, 1),
        values=bins * np.exp(2j * np.pi * turns),
        bin_hz=RATE_HZ / N,
        energy=1.0,
        first_s=first_s,
    )


# --- ways -------------------------------------------------------------------------------------------------------------


def test_both_ways_of_a_crossover_share_the_signal() -> None:
    """`1 / (1 + 2^4)` an octave above it, a half at it; the upper way has the rest (Linkwitz and Riley's size)."""
    at_hz = np.array([1000.0, 2000.0, 4000.0])
    lower, upper = (Way(kernels=(), crossover_hz=2000.0, upper=each) for each in (False, True))
    np.testing.assert_allclose(lower.share(at_hz), [16.0 / 17.0, 0.5, 1.0 / 17.0])
    np.testing.assert_allclose(upper.share(at_hz), [1.0 / 17.0, 0.5, 16.0 / 17.0])
    assert Way(kernels=(), crossover_hz=None).share(at_hz).tolist() == [1.0, 1.0, 1.0]


def test_a_way_has_the_kernels_of_its_own_part_of_the_axis() -> None:
    """Of size 1 up to the crossover and 2 above it: each way sees one of them alone."""
    values = np.where(grid_hz() <= 2000.0, 1.0, 2.0).astype(np.complex128)
    lower, upper = ways_of({2: values}, 2000.0)
    assert (lower.upper, upper.upper) == (False, True)
    for way, size in ((lower, 1.0), (upper, 2.0)):
        (kernel,) = way.kernels
        np.testing.assert_allclose(np.abs(kernel.whole.curve.at(np.array([100.0, 9000.0]))), size, rtol=1e-9)
    (whole,) = ways_of({2: values}, None)
    np.testing.assert_allclose(np.abs(whole.kernels[0].whole.curve.at(np.array([100.0, 9000.0]))), [1.0, 2.0])


# --- kernels ----------------------------------------------------------------------------------------------------------


def test_below_its_first_row_a_curve_keeps_its_size_and_turns_as_a_delay_does() -> None:
    """A delay of 1 ms and 6 dB an octave up to 1 kHz: half of the first row's phase at half of its frequency. A curve
    that rises does not go on to rise beyond its last row; one that falls does."""
    hz = np.geomspace(100.0, 1000.0, 81)
    phase = -2.0 * np.pi * hz * 1e-3
    rising = Smooth(frequency_hz=hz, log_size=np.log(hz / 100.0), phase_rad=phase)
    below = rising.at(np.array([50.0, 25.0]))
    np.testing.assert_allclose(np.abs(below), 1.0)
    np.testing.assert_allclose(np.angle(below), [-0.1 * np.pi, -0.05 * np.pi])
    assert abs(rising.at(np.array([4000.0]))[0]) == pytest.approx(10.0)
    falling = replace(rising, log_size=-2.0 * np.log(hz / 100.0))
    assert abs(falling.at(np.array([4000.0]))[0]) == pytest.approx((4000.0 / 100.0) ** -2)
    assert abs(falling.root(3).at(np.array([200.0]))[0]) == pytest.approx(2.0 ** (-2.0 / 3.0), rel=1e-3)  # between rows


def test_the_filters_of_each_structure_multiply_to_the_kernel_on_the_diagonal() -> None:
    """Of a tone at f, q filtered factors and what comes after the product at n f are E_n(f) again, of every structure;
    a rate of change brings j 2 pi n f, which its filters have not. E_3 = -(f / 100)^-1 exp(-j f / 1000)."""
    grid = grid_hz()
    values = -np.exp(-1j * grid / 1000.0) / (grid / 100.0)
    kernel = kernel_of(3, values)
    assert kernel is not None
    rows = np.array([40, 120, 200])
    for q, (filtered, plain) in {AFTER: (0, 3), RATE: (3, 0), 2: (2, 1), 3: (3, 0)}.items():
        assert kernel.factors(q) == (filtered, plain)
        before = kernel.before(q, grid[rows]) ** filtered if filtered else 1.0
        np.testing.assert_allclose(before * kernel.after(q, 3.0 * grid[rows]), values[rows], rtol=1e-6)
    sizes = np.abs(kernel.before(RATE, grid[rows]))
    np.testing.assert_allclose(sizes, (np.abs(values[rows]) / (6.0 * np.pi * grid[rows])) ** (1.0 / 3.0), rtol=1e-6)


@cache
def separated() -> SeparatedOrders:
    """Orders of size 1, 0.1 and 0.05 everywhere, of a sweep played at -20 dBFS."""
    one = spectrum(1.0)
    return SeparatedOrders(
        filter=inverse_filter(SWEEP, n_fft=2 * N),
        drive_dbfs=-20.0,
        spectra=(one, spectrum(0.1), spectrum(0.05)),
        fundamental_in=(one, one, one),
        fundamental_leak=(one, one, one),
        gate_s=None,
    )


def test_a_step_is_referred_to_what_is_played_with_the_volume_turned_up() -> None:
    """|E_n| = |V_n| A^(1-n) 2^(n-1) / |H| with A = 0.1; turned up by 6 dB, A is twice that, so E_2 is halved and E_3 a
    quarter; H is half as large re what is played. An order that is not readable, or not separated, is left out."""
    every = np.ones(grid_hz().size, dtype=np.bool_)
    some = grid_hz() < 500.0
    plain = step_of(separated(), turned_db=0.0, readable={2: every, 3: some, 4: every})
    turned = step_of(separated(), turned_db=20.0 * np.log10(2.0), readable={2: every, 3: some})
    row = int(np.argmin(np.abs(grid_hz() - 300.0)))
    assert abs(plain.kernels[2][row]) == pytest.approx(0.1 * 2.0 / 0.1, rel=1e-6)
    assert abs(plain.kernels[3][row]) == pytest.approx(0.05 * 4.0 / 0.01, rel=1e-6)
    assert sorted(plain.kernels) == [2, 3]
    assert np.isnan(plain.kernels[3][~some]).all()
    assert np.isfinite(plain.kernels[2][row:][grid_hz()[row:] < 3000.0]).all()
    assert turned.drive_dbfs == pytest.approx(-20.0 + 20.0 * np.log10(2.0))
    assert abs(turned.kernels[2][row]) == pytest.approx(1.0, rel=1e-6)
    assert abs(turned.kernels[3][row]) == pytest.approx(5.0, rel=1e-6)
    np.testing.assert_allclose(np.abs(turned.response.values), 0.5)


def test_the_sign_of_a_kernel_is_that_of_its_power() -> None:
    """A cosine squared is half a cosine of twice the frequency and in phase with it. V_n is re a sweep of sines, whose
    square is -cos(2 p) / 2 = sin(2 p - pi/2) / 2: j (-j)^2 = -j. Cubed, -sin(3 p) / 4: j (-j)^3 = -1."""
    every = np.ones(grid_hz().size, dtype=np.bool_)
    step = step_of(separated(), turned_db=0.0, readable={2: every, 3: every})
    row = int(np.argmin(np.abs(grid_hz() - 300.0)))
    assert np.angle(step.kernels[2][row]) == pytest.approx(0.5 * np.pi, abs=1e-6)  # 1 / -j
    assert abs(np.angle(step.kernels[3][row])) == pytest.approx(np.pi, abs=1e-6)  # 1 / -1


def test_steps_reach_up_to_the_drive_at_which_order_5_is_read() -> None:
    """10 lg 6 dB below the loudest."""
    steps = [Step(drive_dbfs=drive, kernels={}, response=spectrum(1.0)) for drive in (-10.0, -30.0, -20.0)]
    assert highest_drive_dbfs(steps) == pytest.approx(-10.0 - 10.0 * np.log10(6.0))


# --- path -------------------------------------------------------------------------------------------------------------


def test_a_path_is_a_filter_about_the_arrival() -> None:
    """An echo of a half 20 samples after the direct sound and a quarter 3 samples before it, on a transform of another
    length."""
    turns = np.arange(N // 2 + 1) / N
    response = spectrum(1.0 + 0.5 * np.exp(-2j * np.pi * 20 * turns) + 0.25 * np.exp(2j * np.pi * 3 * turns))
    assert impulse_samples(response, RATE_HZ) == N
    impulse = np.fft.irfft(path_spectrum(response, 6000, RATE_HZ), 6000)
    expected = np.zeros(6000)
    expected[[0, 20, -3]] = 1.0, 0.5, 0.25
    np.testing.assert_allclose(impulse, expected, atol=1e-9)


def test_a_fundamental_is_held_against_that_of_the_first_step() -> None:
    """3 dB less and turned by 0.2 rad; of a sweep of another length it is not known, and counts as unchanged."""
    change = 10.0 ** (-3.0 / 20.0) * np.exp(0.2j)
    other = replace(spectrum(0.5), bin_hz=2.0 * RATE_HZ / N)
    steps = [
        Step(drive_dbfs=0.0, kernels={}, response=one)
        for one in (spectrum(2.0), spectrum(2.0 * change, first_s=-0.02), other)
    ]
    inside = grid_hz() < 6000.0
    first, second, third = (np.asarray(one)[inside] for one in fundamental_changes(steps))
    np.testing.assert_allclose(first, 1.0)
    np.testing.assert_allclose(second, change)
    np.testing.assert_allclose(third, 1.0)


def test_the_loudest_moment_lasts_an_eighth_of_a_second() -> None:
    """A full-scale sine has 0 dBFS (AES17); half of a moment of it has half the power."""
    time_s = np.arange(RATE_HZ) / RATE_HZ
    sine = np.sin(2.0 * np.pi * 1000.0 * time_s)
    assert loudest_dbfs(sine, RATE_HZ) == pytest.approx(0.0, abs=1e-6)
    for long_s, level_db in ((0.125, 0.0), (0.0625, 10.0 * np.log10(0.5)), (0.0125, -10.0)):
        burst = np.where((time_s >= 0.4) & (time_s < 0.4 + long_s), sine, 0.0)
        assert loudest_dbfs(burst, RATE_HZ) == pytest.approx(level_db, abs=0.01)
    middle = int(np.argmax(_moment_dbfs(np.where(np.abs(time_s - 0.5) < 0.0625, sine, 0.0), RATE_HZ)))
    assert middle / RATE_HZ == pytest.approx(0.5, abs=0.001)


# --- what counts as predicted -----------------------------------------------------------------------------------------


def test_a_misfit_is_the_rms_over_the_bands_that_both_know() -> None:
    measured, predicted = np.array([0.0, 3.0, np.nan, 9.0]), np.array([4.0, 0.0, 1.0, np.nan])
    assert misfit_db(measured, predicted) == pytest.approx(np.sqrt((16.0 + 9.0) / 2.0))
    assert np.isnan(misfit_db(measured, np.full(4, np.nan)))


def part(misfit_db: float, excess_db: float = 1.0) -> PartMisfit:
    return PartMisfit(misfit_db=misfit_db, excess_db=excess_db, bands=20, worst_hz=1e3, low_hz=900.0, high_hz=1100.0)


def level(
    level_db: float, even: float | None, odd: float | None, *, excess_db: float = 1.0, **fields
) -> LevelPredicted:
    made = (None if each is None else part(each, excess_db) for each in (even, odd))
    return LevelPredicted(**dict(zip(("even", "odd"), made, strict=True)), level_db_spl=level_db, **fields)


def prediction(*levels: LevelPredicted) -> Prediction:
    return Prediction(levels=levels, form=None, chosen_at_db_spl=80.0, unreached_db_spl=(), needed_db_spl=None)


@pytest.mark.parametrize(
    ("even", "odd", "fits"),
    [(2.99, 5.49, True), (3.01, 5.49, False), (2.99, 5.51, False), (None, 5.49, True), (2.99, None, True),
     (None, 5.51, False), (3.01, None, False), (None, None, None)],
)  # fmt: skip
def test_a_level_fits_within_3_db_even_and_55_db_odd(even, odd, fits) -> None:
    assert level(80.0, even, odd).fits is fits


@pytest.mark.parametrize(
    ("above", "grown"),
    [
        ({"even": 7.01, "odd": 1.0}, "even"),
        ({"even": 6.99, "odd": 1.0}, None),
        ({"even": 1.0, "odd": 8.01}, "odd"),
        ({"even": 1.0, "odd": 7.99}, None),
        ({"even": 8.0, "odd": 9.0}, "even"),
        ({"even": None, "odd": 9.0}, "odd"),
        ({"even": 9.0, "odd": 9.0, "excess_db": -0.1}, None),
    ],
)
def test_a_misfit_has_grown_that_is_6_db_larger_and_too_much(above, grown) -> None:
    """The level below has 1 dB even and 2 dB odd."""
    found = prediction(level(80.0, 1.0, 2.0), level(90.0, **above)).grown
    assert (None if found is None else (found[0].level_db_spl, found[1])) == (None if grown is None else (90.0, grown))


def test_what_grew_is_held_against_the_lowest_level_that_fits_and_lies_below() -> None:
    low, high = level(80.0, 1.0, 2.0), level(90.0, 9.0, 2.0)
    assert prediction(level(70.0, 9.0, 2.0), low, high).grown == (high, "even")
    assert prediction(replace(low, held=True), high).grown is None
    assert prediction(level(80.0, 9.0, 2.0), level(90.0, 1.0, 2.0)).grown is None
    # 2.9 dB at the lowest would not do, 1 dB at a level between does not count
    assert prediction(level(70.0, 2.9, 2.0), low, level(90.0, 8.8, 2.0)).grown is None


def test_what_took_a_finer_structure_to_fit_tells_of_no_memory() -> None:
    """It may be wrong at all levels: so the music is made up to where it fits, and that is all."""
    plain = prediction(level(70.0, 1.0, 2.0), level(80.0, 1.0, 2.0), level(90.0, 9.0, 2.0))
    finer = replace(plain, form=Form(crossover_hz=None, even=(0.5,), odd=(0.0,), even_advance_hz=2000.0))
    assert (plain.verdict, finer.verdict) == ("memory", "fits")
    assert finer.up_to_db_spl == 80.0


@pytest.mark.parametrize(("even", "fails"), [(3.01, True), (3.0, False), (None, False)])
def test_even_products_fail_at_first_over_3_db(even, fails) -> None:
    assert prediction(level(70.0, even, 2.0), level(80.0, 9.0, 2.0)).even_fails_at_first is fails


def test_a_synthesis_goes_up_to_the_last_of_two_levels_that_fit() -> None:
    fits, not_judged, fails = level(80.0, 1.0, 2.0), level(85.0, None, None), level(90.0, 4.0, 2.0)
    second = level(85.0, 1.0, 2.0)
    assert prediction(fits).up_to_db_spl is None
    assert prediction(fits).verdict == "not-checked"
    assert prediction(fits, not_judged, level(88.0, 1.0, 2.0)).up_to_db_spl == 88.0
    assert prediction(fits, second, fails, level(95.0, 1.0, 2.0)).up_to_db_spl == 85.0
    assert prediction(fits, second, level(88.0, 1.0, 2.0, held=True)).up_to_db_spl == 85.0
    assert prediction(fits, fails).up_to_db_spl is None
    assert prediction(fits, fails).verdict == "structure-unknown"
    assert prediction(fails, second, level(95.0, 1.0, 2.0)).verdict == "structure-unknown"
    assert prediction(fits, second).verdict == "fits"
    assert prediction(not_judged).verdict == "not-predicted"


def test_bands_beside_the_worst_that_exceed_by_3_db_are_its_place() -> None:
    """Third octaves of 10^(k/10) Hz, their edges a twentieth of a decade to either side (IEC 61260-1)."""
    hz = 10.0 ** (np.arange(20, 32) / 10.0)
    predicted = np.zeros(12)
    measured = np.array([4.0, 0.0, 2.9, 3.1, 9.0, 3.1, 3.1, 2.9, 5.0, np.nan, -4.0, -4.0])
    found = _part(hz, measured, predicted)
    assert found is not None
    assert found.worst_hz == pytest.approx(hz[4])
    assert (found.low_hz, found.high_hz) == pytest.approx((hz[3] * 10**-0.05, hz[6] * 10**0.05))
    assert found.bands == 11
    assert found.excess_db == pytest.approx(float(np.nansum(measured)) / 11.0)
    assert found.misfit_db == pytest.approx(np.sqrt(float(np.nansum(measured**2)) / 11.0))
    everywhere = _part(hz, np.full(12, 4.0), predicted)
    assert (everywhere.low_hz, everywhere.high_hz) == pytest.approx((hz[0] * 10**-0.05, hz[-1] * 10**0.05))


def test_eight_bands_say_enough_and_seven_do_not() -> None:
    hz = 10.0 ** (np.arange(20, 32) / 10.0)
    for count in (7, 8):
        measured = np.where(np.arange(12) < count, 1.0, np.nan)
        assert (_part(hz, measured, np.zeros(12)) is not None) == (count == 8)
