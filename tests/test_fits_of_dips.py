"""What is fitted to a dip, piece by piece: the closed form and its slopes, where a fit starts, how far it may go, and
what is stated of what it found."""

from collections.abc import Callable
from types import SimpleNamespace

import numpy as np
import pytest

from distort.analysis.anomalies import delayed_copies
from distort.analysis.anomalies.comb_shapes import _comb
from distort.analysis.anomalies.delayed_copies import (
    DelayedCopy,
    _correlation,
    _fitted,
    _rows,
    _trend,
    find_delayed_copy,
    numbers_in,
)
from distort.analysis.anomalies.dip_shapes import _numerator, covariance_of_fit, rows_alike, second_order_fit

Function = Callable[[np.ndarray], np.ndarray]

INF = np.inf
ROWS_HZ = 300.0 * 2.0 ** (np.arange(4 * 48) / 48.0)
ERRORS_DB = np.random.default_rng(3).standard_normal(ROWS_HZ.size)


class Asked:
    """In place of the least squares: finds `x`, and keeps what it was asked."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, x: list[float]) -> None:
        self.x = np.array(x)
        self.calls: list[SimpleNamespace] = []
        monkeypatch.setattr("scipy.optimize.least_squares", self)

    def __call__(self, fun: Function, x0: object, **given: object) -> SimpleNamespace:
        self.calls.append(SimpleNamespace(fun=fun, x0=np.asarray(x0), **given))
        return SimpleNamespace(x=self.x, fun=fun(self.x), jac=differences(fun, self.x))


def differences(fun: Function, x: np.ndarray) -> np.ndarray:
    """Slopes by central differences of 1e-5, which err by some 1e-9 of the third slope."""
    steps = 1e-5 * np.eye(x.size)
    return np.array([(fun(x + step) - fun(x - step)) / 2e-5 for step in steps]).T


def covariance(jacobian: np.ndarray, left: np.ndarray) -> np.ndarray:
    """`s^2 (J^T J)^-1` (textbook), of as many rows as count each for itself."""
    freedom = left.size / rows_alike(left) - jacobian.shape[1]
    return np.asarray(np.sum(left**2) / freedom * np.linalg.inv(jacobian.T @ jacobian))


def rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(values**2)))


# --- how sure a fit is ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "left",
    [
        [3.0, 2.0, 1.0, -4.0, 0.5, 2.5, 7.0],
        [5.0, 5.5, 5.2, 4.0, 4.1, 4.2, 5.9, 5.8],
        [1.0, -1.0, 1.0, -1.0],
        [2.0, 1.0, 0.5, -0.5, -1.0, -2.0, -1.0, 0.5, 0.5],
    ],
)
def test_rows_alike_by_the_sums_of_the_definition(left):
    """`1 + 2 (r_1 + r_2 + ...)` up to the first that is not positive, of what is left less its mean."""
    values = np.array(left) - np.mean(left)
    r = [float(np.sum(values[k:] * values[: values.size - k])) for k in range(values.size)]
    expected = 1.0
    for one in r[1:]:
        if one <= 0.0:
            break
        expected += 2.0 * one / r[0]
    assert rows_alike(np.array(left)) == pytest.approx(expected, rel=1e-9)


def test_the_covariance_counts_rows_that_are_alike_once():
    random = np.random.default_rng(1)
    jacobian = random.standard_normal((40, 3)) * np.array([1.0, 30.0, 0.2])
    left = np.convolve(random.standard_normal(44), np.ones(5), mode="valid")
    np.testing.assert_allclose(covariance_of_fit(jacobian, left), covariance(jacobian, left), rtol=1e-6)
    few = covariance_of_fit(jacobian[:4], left[:4])  # one degree of freedom at least
    expected = np.sum(left[:4] ** 2) * np.linalg.inv(jacobian[:4].T @ jacobian[:4])
    np.testing.assert_allclose(few, expected, rtol=1e-4)


# --- second-order poles -----------------------------------------------------------------------------------------------


def section_db(parameters: np.ndarray, centre_hz: float) -> np.ndarray:
    """`|b0 + b1 s + b2 s^2|^2 / |1 + s / Q + s^2|^2` in dB, s = i f / f0 (complex arithmetic)."""
    shift, log_q, b0, b2, b1 = parameters
    s = 1j * ROWS_HZ / (centre_hz * np.exp(shift))
    return np.asarray(20.0 * np.log10(np.abs((b0 + b1 * s + b2 * s**2) / (1.0 + s * np.exp(-log_q) + s**2))))


@pytest.mark.parametrize("dip", [False, True])
def test_second_order_poles_are_fitted_by_their_closed_form(dip, monkeypatch):
    """Starts from the centre, the guess and the numerator that goes with them; 0.35 nepers to either side, Q from 0.2
    to 200; errors beyond 1 dB count less and less."""
    sign = -1.0 if dip else 1.0
    start = np.array([0.0, np.log(3.0), 1.1, 0.7, 0.5])
    asked = Asked(monkeypatch, [0.05, np.log(4.0), 1.0, 0.8, 0.6])
    found = second_order_fit(ROWS_HZ, sign * section_db(start, 1100.0), centre_hz=1100.0, q_guess=3.0, dip=dip)
    (call,) = asked.calls
    np.testing.assert_allclose(call.x0, start, rtol=1e-6, atol=1e-12)
    np.testing.assert_allclose(call.bounds[0], [-0.35, np.log(0.2), -INF, -INF, -INF])
    np.testing.assert_allclose(call.bounds[1], [0.35, np.log(200.0), INF, INF, INF])
    assert (call.loss, call.f_scale) == ("soft_l1", 1.0)
    for x in (asked.x, np.array([-0.2, np.log(0.7), 0.4, 1.5, -0.3])):
        np.testing.assert_allclose(call.fun(x), section_db(x, 1100.0) - section_db(start, 1100.0), atol=1e-9)
        np.testing.assert_allclose(call.jac(x), differences(call.fun, x), rtol=1e-5, atol=1e-5)
    assert found.frequency_hz == pytest.approx(1100.0 * np.exp(0.05))
    assert found.q == pytest.approx(4.0)


def test_what_is_stated_of_second_order_poles(monkeypatch):
    """Intervals of 1.96 deviations, both relative in the fit's own parameters; what it leaves as an r.m.s."""
    x = np.array([0.05, np.log(4.0), 1.0, 0.8, 0.6])
    Asked(monkeypatch, list(x))
    level_db = section_db(x, 1100.0) + 0.3 * ERRORS_DB
    found = second_order_fit(ROWS_HZ, level_db, centre_hz=1100.0, q_guess=3.0, dip=False)
    variance = np.diag(covariance(differences(lambda at: section_db(at, 1100.0), x), 0.3 * ERRORS_DB))
    assert found.frequency_uncertainty_hz == pytest.approx(found.frequency_hz * 1.96 * np.sqrt(variance[0]), rel=1e-4)
    assert found.q_uncertainty == pytest.approx(4.0 * 1.96 * np.sqrt(variance[1]), rel=1e-4)
    assert found.residual_db == pytest.approx(0.3 * rms(ERRORS_DB))


def test_no_term_of_a_numerator_is_under_a_thousandth_of_the_smallest_amplitude():
    """Of u^2 there is neither b0 nor b2; of `(1 - u^2 / 5)^2 - u^2 / 20` b1^2 is negative, which nothing real is."""
    u = np.geomspace(0.5, 1.5, 60)
    least = 1e-3 * 0.5
    np.testing.assert_allclose(_numerator(u, u**2), [least, least, np.sqrt(1.0 + 2.0 * least**2)], rtol=1e-6)
    power = np.square(1.0 - u**2 / 5.0) - u**2 / 20.0
    assert _numerator(u, power) == pytest.approx([1.0, 0.2, 1e-3 * np.sqrt(np.min(power))], rel=1e-6)


# --- the comb of one dip ----------------------------------------------------------------------------------------------


def comb_db(reflection: float | np.ndarray, delay_s: float, octaves: float) -> np.ndarray:
    """Mean power of `1 + r exp(-2 pi i f tau)` in dB over bands of that width, in octaves of 10^0.3, by 801 points."""
    half = 10.0 ** (0.15 * octaves)
    across = ROWS_HZ * np.linspace(1.0 / half, half, 801)[:, None]
    power = np.abs(1.0 + reflection * np.exp(-2j * np.pi * across * delay_s)) ** 2
    return np.asarray(10.0 * np.log10(np.trapezoid(power, axis=0) / 800.0))


def one_comb(level_db: np.ndarray, *, depth_db: float = -6.0, octaves: float = 0.0):
    return _comb(ROWS_HZ, level_db, 1000.0, number=2, depth_db=depth_db, smoothing_octaves=octaves)


@pytest.mark.parametrize("octaves", [0.0, 1.0 / 6.0])
def test_a_comb_is_fitted_by_its_closed_form(octaves, monkeypatch):
    """As the second dip, 1.5 turns at the centre; on a level and a slope in dB an octave; 0.15 nepers to either side,
    reflections from 0.15 to 0.99, slopes up to 20 dB an octave; errors beyond 1 dB count less and less."""
    asked = Asked(monkeypatch, [0.05, 0.6, 1.5, -2.0])
    one_comb(ERRORS_DB, octaves=octaves)
    (call,) = asked.calls
    assert call.bounds == ([-0.15, 0.15, -INF, -20.0], [0.15, 0.99, INF, 20.0])
    assert (call.loss, call.f_scale) == ("soft_l1", 1.0)
    np.testing.assert_allclose(call.x0, [0.0, 1.0 - 10.0**-0.3, np.median(ERRORS_DB), 0.0])
    for x in (asked.x, np.array([-0.1, 0.3, -4.0, 3.0])):
        shape_db = comb_db(x[1], 1.5 / (1000.0 * np.exp(x[0])), octaves)
        expected = shape_db + x[2] + x[3] * np.log2(ROWS_HZ / 1000.0) - ERRORS_DB
        np.testing.assert_allclose(call.fun(x), expected, atol=2e-4)  # of the 801 points
        np.testing.assert_allclose(call.jac(x), differences(call.fun, x), rtol=1e-5, atol=1e-5)


@pytest.mark.parametrize(("depth_db", "guess"), [(-0.5, 0.16), (-3.0, 1.0 - 10.0**-0.15), (-50.0, 0.98)])
def test_a_comb_is_sought_from_what_its_dip_looks_like(depth_db, guess, monkeypatch):
    asked = Asked(monkeypatch, [0.0, 0.5, 0.0, 0.0])
    one_comb(ERRORS_DB, depth_db=depth_db)
    assert asked.calls[0].x0[1] == pytest.approx(guess)


@pytest.mark.parametrize(("reflection", "told"), [(0.1595, False), (0.15 + 0.01, True), (0.1605, True)])
def test_a_fit_that_ends_at_its_least_reflection_found_none(reflection, told, monkeypatch):
    """Within 0.01 of it, 0.15."""
    Asked(monkeypatch, [0.0, reflection, 0.0, 0.0])
    assert (one_comb(ERRORS_DB) is not None) == told


def test_what_is_stated_of_a_comb(monkeypatch):
    """`20 lg(1 - r)` changes by `20 / ln 10 / (1 - r)` dB a unit of r."""
    x = np.array([0.05, 0.6, 1.5, -2.0])
    asked = Asked(monkeypatch, list(x))
    shape_db = comb_db(0.6, 1.5 / (1000.0 * np.exp(0.05)), 0.0) + 1.5 - 2.0 * np.log2(ROWS_HZ / 1000.0)
    found = one_comb(shape_db + 0.3 * ERRORS_DB)
    assert found is not None
    variance = np.diag(covariance(differences(asked.calls[0].fun, x), -0.3 * ERRORS_DB))
    assert found.frequency_hz == pytest.approx(1000.0 * np.exp(0.05))
    assert found.delay_s == pytest.approx(1.5 / found.frequency_hz)
    assert (found.number, found.reflection) == (2, pytest.approx(0.6))
    assert found.depth_db == pytest.approx(20.0 * np.log10(0.4))
    assert found.residual_db == pytest.approx(0.3 * rms(ERRORS_DB), rel=1e-6)
    assert found.frequency_uncertainty_hz == pytest.approx(found.frequency_hz * 1.96 * np.sqrt(variance[0]), rel=1e-4)
    expected = 20.0 / np.log(10.0) / 0.4 * 1.96 * np.sqrt(variance[1])
    assert found.depth_uncertainty_db == pytest.approx(expected, rel=1e-4)


# --- a copy that runs through the response ----------------------------------------------------------------------------


def beside_trend(values: np.ndarray, f: np.ndarray = ROWS_HZ) -> np.ndarray:
    """Less the polynomial of degree 4 in log frequency that lies nearest (numpy)."""
    return np.asarray(values - np.polynomial.Polynomial.fit(np.log(f), values, 4)(np.log(f)))


def test_the_trend_is_of_the_fourth_degree():
    trend = _trend(ROWS_HZ)
    np.testing.assert_allclose(trend.T @ trend, np.eye(5), atol=1e-12)
    x = np.log(ROWS_HZ)
    for degree in range(6):
        left = x**degree - trend @ (trend.T @ x**degree)
        assert (rms(left) < 1e-9 * rms(x**degree)) == (degree <= 4)


def test_rows_from_a_third_of_the_first_dip_to_the_fifth_dip_and_beyond():
    """Ends included: `100 / 300` is the same number as 1 / 3."""
    f = np.array([99.0, 100.0, 1000.0, 3000.0, 3030.0])
    assert _rows(f, 300.0).tolist() == [False, True, True, True, False]


@pytest.mark.parametrize("octaves", [0.0, 1.0 / 6.0])
def test_the_correlation_with_a_comb_is_that_of_what_trends_leave(octaves):
    """numpy's correlation coefficient of the response and `cos(2 pi f tau)`, averaged as the response is, over the
    rows that are looked at; 1 where the response is that cosine, of whatever size, on a polynomial."""
    first_hz = 600.0
    rows = (ROWS_HZ / first_hz >= 1.0 / 3.0) & (ROWS_HZ / first_hz <= 10.0)
    half = 10.0 ** (0.15 * octaves)
    across = ROWS_HZ * np.linspace(1.0 / half, half, 801)[:, None]
    cosine = np.trapezoid(np.cos(np.pi * across / first_hz), axis=0) / 800.0
    level_db = cosine + ERRORS_DB
    expected = np.corrcoef(*(beside_trend(one[rows], ROWS_HZ[rows]) for one in (cosine, level_db)))[0, 1]
    for size in (1.0, 1e-6):
        assert _correlation(ROWS_HZ, size * level_db, first_hz, octaves) == pytest.approx(expected, abs=1e-4)
    sloping = -0.3 * cosine + 5.0 * np.log(ROWS_HZ) ** 3
    assert _correlation(ROWS_HZ, sloping, first_hz, octaves) == pytest.approx(-1.0, abs=1e-4)
    assert _correlation(ROWS_HZ, np.zeros(ROWS_HZ.size), first_hz, octaves) == 0.0


@pytest.mark.parametrize(("correlation", "told"), [(0.86, False), (0.90, True)])
def test_delays_are_tried_32_an_octave_and_the_best_is_taken(correlation, told, monkeypatch):
    """First dips from twice the lowest row to 1 / 3.5 of the highest; from a correlation of 0.88 on."""
    asked: list[float] = []

    def given(f, level_db, first_hz, octaves):
        asked.append(first_hz)
        return correlation - 0.01 * abs(len(asked) - 11)

    monkeypatch.setattr(delayed_copies, "_correlation", given)
    monkeypatch.setattr(delayed_copies, "_fitted", lambda f, level_db, hz, octaves: hz)
    found = find_delayed_copy(ROWS_HZ, ERRORS_DB, smoothing_octaves=0.0)
    assert asked[0] == pytest.approx(600.0)
    np.testing.assert_allclose(np.diff(np.log2(asked)), 1.0 / 32.0)
    assert 2.0 ** (-1.0 / 32.0) < asked[-1] / (ROWS_HZ[-1] / 3.5) <= 1.0
    assert found == (pytest.approx(600.0 * 2.0 ** (10.0 / 32.0)) if told else None)


def test_a_band_too_narrow_for_any_copy_holds_none(monkeypatch):
    """Twice the lowest row and a two-sevenths of the highest meet where the band is a ratio of seven wide."""
    monkeypatch.setattr(delayed_copies, "_correlation", lambda *_: 1.0)
    monkeypatch.setattr(delayed_copies, "_fitted", lambda f, level_db, hz, octaves: hz)
    for top_hz, expected in ((690.0, None), (100.0, None), (700.0, 200.0)):
        found = find_delayed_copy(np.geomspace(100.0, top_hz, 50), np.zeros(50), smoothing_octaves=0.0)
        assert found == (None if expected is None else pytest.approx(expected))


def test_a_copy_is_fitted_with_a_reflection_that_slopes(monkeypatch):
    """`1 + r^2 + 2 r cos`, r = reflection (f / first dip)^slope, 0.98 at most, less its trend. The slope counts as one
    more reading, of the deviation 0.15, as uncertain as all rows together."""
    first_hz, x = 700.0, np.array([0.02, np.log(0.3), 0.4])
    asked = Asked(monkeypatch, list(x))
    found = _fitted(ROWS_HZ, ERRORS_DB, first_hz, 1.0 / 6.0)
    assert found is not None
    rows = _rows(ROWS_HZ, first_hz)
    plain, known = asked.calls

    def closed(x: np.ndarray) -> np.ndarray:
        reflection = np.minimum(np.exp(x[1]) * (ROWS_HZ / first_hz) ** x[2], 0.98)
        shape_db = comb_db(reflection, 0.5 / (first_hz * np.exp(x[0])), 1.0 / 6.0)
        return beside_trend((shape_db - ERRORS_DB)[rows], ROWS_HZ[rows])

    for at in (x, np.array([-0.03, np.log(0.8), 0.6])):
        np.testing.assert_allclose(plain.fun(at), closed(at), atol=5e-4)  # of the 801 points
    left = plain.fun(x)
    for call in (plain, known):
        np.testing.assert_allclose(call.bounds, [[-0.05, np.log(0.03), -0.7], [0.05, np.log(0.98), 0.7]])
    np.testing.assert_allclose(plain.x0, [0.0, np.log(0.2), 0.0])
    np.testing.assert_allclose(known.x0, x)
    reading = rms(left) * np.sqrt(rows_alike(left)) / 0.15 * x[2]
    np.testing.assert_allclose(known.fun(x), [*left, reading])
    jacobian = differences(known.fun, x)
    freedom = left.size / rows_alike(left) - 3.0
    expected = np.sum(left**2) / freedom * np.linalg.inv(jacobian.T @ jacobian)
    assert found.first_dip_hz == pytest.approx(first_hz * np.exp(0.02))
    assert found.first_dip_uncertainty == pytest.approx(1.96 * np.sqrt(expected[0, 0]), rel=1e-5)
    assert (found.reflection, found.slope) == (pytest.approx(0.3), pytest.approx(0.4))
    np.testing.assert_allclose(found.covariance, expected[1:, 1:], rtol=1e-5)
    assert found.residual_db == pytest.approx(rms(left))


def copy(**other: float) -> DelayedCopy:
    given = {"reflection": 0.3, "slope": 0.2} | other
    covariance = np.array([[0.02, -0.003], [-0.003, 0.001]])
    return DelayedCopy(first_dip_hz=500.0, first_dip_uncertainty=0.01, covariance=covariance, residual_db=0.4, **given)


@pytest.mark.parametrize("number", [1, 2, 4])
def test_the_dips_of_a_copy(number):
    """At odd multiples of the first, with `r odd^slope`. `20 lg(1 - r)` has the slope `20 / ln 10 r / (1 - r)` over
    ln r, whose variance is `v_rr + 2 v_rs ln odd + v_ss ln^2 odd`; its deviation counts 1.6 times."""
    odd = 2 * number - 1
    reflection = 0.3 * odd**0.2
    variance = 0.02 - 2.0 * 0.003 * np.log(odd) + 0.001 * np.log(odd) ** 2
    found = copy().dip(number)
    assert (found.delay_s, found.number) == (pytest.approx(1e-3), number)
    assert found.frequency_hz == pytest.approx(500.0 * odd)
    assert found.frequency_uncertainty_hz == pytest.approx(5.0 * odd)
    assert found.reflection == pytest.approx(reflection)
    assert found.depth_db == pytest.approx(20.0 * np.log10(1.0 - reflection))
    expected = 20.0 / np.log(10.0) * reflection / (1.0 - reflection) * 1.6 * 1.96 * np.sqrt(variance)
    assert found.depth_uncertainty_db == pytest.approx(expected)
    assert found.residual_db == 0.4
    assert copy(reflection=0.9, slope=0.5).dip(2).reflection == 0.98


@pytest.mark.parametrize(
    ("highest_hz", "numbers"), [(999.0, []), (1000.0, [1]), (1990.0, [1]), (2000.0, [1, 2]), (9e3, [1, 2, 3, 4])]
)
def test_dips_lie_in_the_band_with_room_beside_the_last(highest_hz, numbers):
    """A band up to twice a whole number of first dips ends in the peak behind that dip; four at most."""
    assert list(numbers_in(copy(), np.array([100.0, highest_hz]))) == numbers
