"""The second-order poles of a peak, or zeros of a dip.

Poles: `|H|^2 = ((b0 - b2 u^2)^2 + b1^2 u^2) / ((1 - u^2)^2 + u^2 / Q^2)`, u = f / f0: any second-order section, and so
resonant high-passes and low-passes as well as bells. A dip is the same with numerator and denominator exchanged.
b0 ... b2 also make the slope on which it stands.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

FloatArray = npt.NDArray[np.float64]

TWO_SIDED_95 = 1.96

DB_PER_NEPER_OF_POWER = 10.0 / np.log(10.0)


@dataclass(frozen=True, kw_only=True)
class SecondOrderFit:
    """Poles of a peak, or zeros of a dip."""

    frequency_hz: float
    frequency_uncertainty_hz: float
    q: float
    q_uncertainty: float
    residual_db: float
    """r.m.s. of what the fit leaves."""


def second_order_fit(
    frequency_hz: FloatArray, level_db: FloatArray, *, centre_hz: float, q_guess: float, dip: bool
) -> SecondOrderFit:
    """Least-squares fit to `level_db` `(rows,)`; start from about `centre_hz` and `q_guess`."""
    target = -level_db if dip else level_db
    u_base = frequency_hz / centre_hz

    def poles(parameters: FloatArray) -> FloatArray:
        u2 = np.square(u_base * np.exp(-parameters[0]))
        return np.asarray(np.square(1.0 - u2) + u2 * np.exp(-2.0 * parameters[1]))

    def model(parameters: FloatArray) -> FloatArray:
        u2 = np.square(u_base * np.exp(-parameters[0]))
        top = np.square(parameters[2] - parameters[3] * u2) + np.square(parameters[4]) * u2
        return np.asarray(10.0 * np.log10(np.maximum(top, 1e-30) / poles(parameters)) - target)

    def slopes(parameters: FloatArray) -> FloatArray:
        u2 = np.square(u_base * np.exp(-parameters[0]))
        b0, b2, b1 = parameters[2:]
        straight, bottom, damping = b0 - b2 * u2, poles(parameters), np.exp(-2.0 * parameters[1])
        top = np.maximum(np.square(straight) + np.square(b1) * u2, 1e-30)
        by_u2 = (np.square(b1) - 2.0 * b2 * straight) / top - (damping - 2.0 * (1.0 - u2)) / bottom
        columns = [
            -2.0 * u2 * by_u2,
            2.0 * u2 * damping / bottom,
            2.0 * straight / top,
            -2.0 * straight * u2 / top,
            2.0 * b1 * u2 / top,
        ]
        return np.asarray(DB_PER_NEPER_OF_POWER * np.array(columns).T)

    start = np.array([0.0, np.log(q_guess), 0.0, 0.0, 0.0])
    start[2:] = _numerator(u_base, 10.0 ** (target / 10.0) * poles(start))
    low = np.array([-0.35, np.log(0.2), -np.inf, -np.inf, -np.inf])
    high = np.array([0.35, np.log(200.0), np.inf, np.inf, np.inf])
    found = scipy.optimize.least_squares(
        model, start, jac=slopes, bounds=(low, high), loss="soft_l1", f_scale=1.0, max_nfev=80
    )
    deviation = deviations_95(np.asarray(found.jac), model(found.x))
    frequency = centre_hz * float(np.exp(found.x[0]))
    q = float(np.exp(found.x[1]))
    return SecondOrderFit(
        frequency_hz=frequency,
        frequency_uncertainty_hz=frequency * deviation[0],
        q=q,
        q_uncertainty=q * deviation[1],
        residual_db=float(np.sqrt(np.mean(np.square(model(found.x))))),
    )


def _numerator(u: FloatArray, power: FloatArray) -> FloatArray:
    """b0, b2, b1 of `(b0 - b2 u^2)^2 + b1^2 u^2`, the nearest to `power` `(rows,)` by linear least squares.

    None is under a thousandth of the smallest amplitude: a fit that starts from 0 would not move it.
    """
    columns = np.array([np.ones_like(u), u**2, u**4]).T / power[:, None]  # relative errors count
    c0, c1, c2 = np.linalg.lstsq(columns, np.ones_like(power), rcond=None)[0]
    b0, b2 = np.sqrt(max(c0, 1e-6 * np.min(power))), np.sqrt(max(c2, 1e-6 * np.min(power)))
    return np.array([b0, b2, np.sqrt(max(c1 + 2.0 * b0 * b2, 1e-6 * np.min(power)))])


def deviations_95(jacobian: FloatArray, left: FloatArray) -> tuple[float, float]:
    """Half-widths of the 95 % intervals of the first two parameters of a fit, whose columns `jacobian` holds."""
    first, second = TWO_SIDED_95 * np.sqrt(np.diag(covariance_of_fit(jacobian, left))[:2])
    return float(first), float(second)


def covariance_of_fit(jacobian: FloatArray, left: FloatArray) -> FloatArray:
    """Covariance `(parameters, parameters)` of a least-squares fit.

    jacobian   `(rows, parameters)`, dB a unit of each
    left       `(rows,)`, what the fit leaves, dB

    `s^2 (J^T J)^-1`, s^2 the mean square of what is left (textbook), times how many rows are alike: neighbouring rows
    do not err independently of each other.
    """
    columns = np.maximum(np.linalg.norm(jacobian, axis=0), 1e-300)
    normal = (jacobian / columns).T @ (jacobian / columns)
    inverse = np.linalg.inv(normal + 1e-9 * np.eye(columns.size)) / np.outer(columns, columns)
    freedom = max(left.size / rows_alike(left) - columns.size, 1.0)
    return np.asarray(float(np.sum(np.square(left))) / freedom * inverse)


def rows_alike(left: FloatArray) -> float:
    """How many neighbouring rows of `left` `(rows,)` count as one: `1 + 2 (r_1 + r_2 + ...)`, at least 1.

    r_k is the correlation of rows that lie k apart, up to the first that is not positive (Priestley, Spectral Analysis
    and Time Series, 1981, 5.3.2, from memory, for the variance of a mean).
    """
    spectrum = np.fft.rfft(left - np.mean(left), 2 * left.size)
    correlation = np.fft.irfft(np.square(np.abs(spectrum)))[: left.size]
    if not correlation[0] > 0.0:
        return 1.0
    last = int(np.argmax(correlation <= 0.0))  # there is one: less its mean, `left` adds up to nothing, and so do they
    return float(1.0 + 2.0 * np.sum(correlation[1:last]) / correlation[0])
