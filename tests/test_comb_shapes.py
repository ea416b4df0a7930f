"""The closed forms behind combs and the intervals of fits, against numerical integrals and textbook series."""

import numpy as np
import pytest
import scipy.integrate
import scipy.stats

from distort.analysis.anomalies.comb_shapes import CombFit, half_depth_hz, smoothed_cosine
from distort.analysis.anomalies.dip_shapes import covariance_of_fit, rows_alike


@pytest.mark.parametrize("turns", [0.01, 0.5, 3.5, 12.0])
@pytest.mark.parametrize("octaves", [1.0 / 48.0, 1.0 / 12.0])
def test_the_mean_of_a_cosine_over_a_band(turns: float, octaves: float) -> None:
    """Against an adaptive quadrature (scipy) over frequency from f / h to f h; and the slope against a difference."""
    h = 10.0 ** (0.15 * octaves)  # half of a band in octaves of base ten (IEC 61260-1)
    total, _ = scipy.integrate.quad(lambda share: np.cos(2.0 * np.pi * turns * share), 1.0 / h, h, epsabs=1e-13)
    mean, slope = smoothed_cosine(np.array([turns]), octaves)
    assert mean[0] == pytest.approx(total / (h - 1.0 / h), abs=1e-10)  # what the quadrature leaves
    step = 1e-5
    above, below = (smoothed_cosine(np.array([turns * np.exp(way * step)]), octaves)[0][0] for way in (1.0, -1.0))
    # a central difference errs by step^2 / 6 times the third slope, about (2 pi turns)^3 here
    assert slope[0] == pytest.approx((above - below) / (2.0 * step), abs=1e-10 * (1.0 + (2.0 * np.pi * turns) ** 3))


@pytest.mark.parametrize("reflection", [0.1, 0.5, 0.9])
def test_half_of_the_depth_is_left_where_it_is_said(reflection: float) -> None:
    """|1 + r exp(-2 pi i f tau)| at both ends is the root of 1 - r, in dB half of 20 log10(1 - r) (closed form)."""
    comb = CombFit(
        delay_s=1e-3,
        number=2,
        frequency_hz=1500.0,
        frequency_uncertainty_hz=0.0,
        reflection=reflection,
        depth_db=20.0 * float(np.log10(1.0 - reflection)),
        depth_uncertainty_db=0.0,
        residual_db=0.0,
    )
    for hz in half_depth_hz(comb):
        left_db = 20.0 * np.log10(np.abs(1.0 + reflection * np.exp(-2j * np.pi * hz * comb.delay_s)))
        assert left_db == pytest.approx(comb.depth_db / 2.0, abs=1e-9)  # rounding


def test_how_many_rows_count_as_one() -> None:
    """A first-order autoregression of coefficient a has r_k = a^k: (1 + a) / (1 - a), 9 at 0.8 (textbook). The sum
    stops at the first correlation that noise makes negative: of 20,000 rows that and the scatter leave under 15 %."""
    random = np.random.default_rng(5)
    rows = np.zeros(20000)
    for index, step in enumerate(random.standard_normal(rows.size - 1), start=1):
        rows[index] = 0.8 * rows[index - 1] + step
    assert rows_alike(rows) == pytest.approx(9.0, rel=0.15)
    assert rows_alike(random.standard_normal(20000)) == pytest.approx(1.0, abs=0.1)
    assert rows_alike(np.zeros(10)) == 1.0


def test_the_covariance_of_a_fit_is_that_of_a_straight_line() -> None:
    """Standard errors of slope and intercept by scipy's linregress, with as many rows as count each for itself."""
    random = np.random.default_rng(6)
    x = np.linspace(-1.0, 2.0, 300)
    columns = np.array([x, np.ones_like(x)]).T
    y = 0.5 * x + random.standard_normal(x.size)
    line = scipy.stats.linregress(x, y)
    left = y - line.intercept - line.slope * x
    alike = rows_alike(left)
    covariance = covariance_of_fit(columns, left) * (x.size / alike - 2.0) / (x.size - 2.0)
    assert np.sqrt(covariance[0, 0]) == pytest.approx(line.stderr, rel=1e-6)
    assert np.sqrt(covariance[1, 1]) == pytest.approx(line.intercept_stderr, rel=1e-6)  # 1e-9 is added to the normal
