"""What shape a dip or a peak has: second-order poles or zeros, or the comb of one delayed copy.

Poles: `|H|^2 = ((b0 - b2 u^2)^2 + b1^2 u^2) / ((1 - u^2)^2 + u^2 / Q^2)`, u = f / f0: any second-order section, and so
resonant high-passes and low-passes as well as bells. A dip is the same with numerator and denominator exchanged.
Comb: `H = 1 + r exp(-2 pi i f tau)` with r < 1: dips of `20 log10(1 - r)` re the direct sound at odd multiples of
1 / (2 tau). Both stand on a slope that is straight in dB over octaves (the comb) or that b0 ... b2 make (the poles).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.optimize

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

WIDENED = 2.0
"""Rows of a fine response are not independent of each other: 95 % intervals of a fit are this much wider."""

TWO_SIDED_95 = 1.96

MOST_DIPS = 4
"""The dip looked at may be the first to the fourth of a comb; the later ones lie too close for 1/48 octave."""

DB_PER_NEPER_OF_POWER = 10.0 / np.log(10.0)

LEAST_REFLECTION, MOST_REFLECTION = 0.15, 0.99


@dataclass(frozen=True, kw_only=True)
class SecondOrderFit:
    """Poles of a peak, or zeros of a dip."""

    frequency_hz: float
    frequency_uncertainty_hz: float
    q: float
    q_uncertainty: float
    residual_db: float
    """r.m.s. of what the fit leaves."""


@dataclass(frozen=True, kw_only=True)
class CombFit:
    """One delayed copy."""

    delay_s: float
    number: int
    """1 where the dip that was looked at is the first of its comb."""
    frequency_hz: float
    """Of the dip that was looked at."""
    frequency_uncertainty_hz: float
    reflection: float
    depth_db: float
    """`20 log10(1 - r)`, negative."""
    depth_uncertainty_db: float
    residual_db: float


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
    deviation = _deviations(np.asarray(found.jac)[:, :2], found.fun)
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
    """b0, b2, b1 of `(b0 - b2 u^2)^2 + b1^2 u^2`, the nearest to `power` `(rows,)` by linear least squares."""
    columns = np.array([np.ones_like(u), u**2, u**4]).T / power[:, None]  # relative errors count
    c0, c1, c2 = np.linalg.lstsq(columns, np.ones_like(power), rcond=None)[0]
    b0, b2 = np.sqrt(max(c0, 1e-6 * np.min(power))), np.sqrt(max(c2, 1e-6 * np.min(power)))
    return np.array([b0, b2, np.sqrt(max(c1 + 2.0 * b0 * b2, 1e-6 * np.min(power)))])


def comb_fit(
    frequency_hz: FloatArray, level_db: FloatArray, *, centre_hz: float, depth_db: float, smoothing_octaves: float
) -> tuple[CombFit, BoolArray] | None:
    """The comb that explains the dip at `centre_hz` best, and which rows it was fitted to; None where none was found.

    smoothing_octaves   band over which `level_db` is a mean power: it fills deep dips, and the model is filled alike

    Tries the dip as first, second, ... of its comb; each over the rows from half a comb spacing below the neighbouring
    dips to as far above.
    """
    best: tuple[CombFit, BoolArray] | None = None
    for number in range(1, MOST_DIPS + 1):
        spacing_hz = centre_hz / (number - 0.5)
        low_hz = max(centre_hz - 1.0 * spacing_hz, centre_hz / 4.0)
        rows = (frequency_hz >= low_hz) & (frequency_hz <= centre_hz + 1.5 * spacing_hz)
        reaches = frequency_hz[-1] >= centre_hz + 0.5 * spacing_hz and frequency_hz[0] <= max(low_hz * 1.2, 1.0)
        if np.sum(rows) < 12 or not reaches:
            continue
        fit = _comb(
            frequency_hz[rows],
            level_db[rows],
            centre_hz,
            number=number,
            depth_db=depth_db,
            smoothing_octaves=smoothing_octaves,
        )
        if fit is not None and (best is None or fit.residual_db < best[0].residual_db):
            best = fit, rows
    return best


def _comb(
    frequency_hz: FloatArray,
    level_db: FloatArray,
    centre_hz: float,
    *,
    number: int,
    depth_db: float,
    smoothing_octaves: float,
) -> CombFit | None:
    octaves = np.log2(frequency_hz / centre_hz)
    turns = (number - 0.5) * frequency_hz / centre_hz
    # the mean of cos(phase) over the band of the smoothing is cos(phase) sin(d) / d, d half the band's width in phase
    smoothed = np.sinc(turns * (np.log(2.0) * smoothing_octaves))

    def model(parameters: FloatArray) -> FloatArray:
        reflection = parameters[1]
        phase = 2.0 * np.pi * turns * np.exp(-parameters[0])
        power = 1.0 + reflection**2 + 2.0 * reflection * smoothed * np.cos(phase)
        return np.asarray(10.0 * np.log10(power) + parameters[2] + parameters[3] * octaves - level_db)

    def slopes(parameters: FloatArray) -> FloatArray:
        reflection = parameters[1]
        phase = 2.0 * np.pi * turns * np.exp(-parameters[0])
        power = 1.0 + reflection**2 + 2.0 * reflection * smoothed * np.cos(phase)
        by_shift = 2.0 * reflection * smoothed * phase * np.sin(phase) / power
        by_reflection = 2.0 * (reflection + smoothed * np.cos(phase)) / power
        scale = DB_PER_NEPER_OF_POWER
        return np.array([scale * by_shift, scale * by_reflection, np.ones_like(octaves), octaves]).T

    guess = float(np.clip(1.0 - 10.0 ** (depth_db / 20.0), LEAST_REFLECTION + 0.01, MOST_REFLECTION - 0.01))
    start = np.array([0.0, guess, float(np.median(level_db)), 0.0])
    low, high = [-0.15, LEAST_REFLECTION, -np.inf, -20.0], [0.15, MOST_REFLECTION, np.inf, 20.0]
    found = scipy.optimize.least_squares(
        model, start, jac=slopes, bounds=(low, high), loss="soft_l1", f_scale=1.0, max_nfev=100
    )
    reflection = float(found.x[1])
    if reflection < LEAST_REFLECTION + 0.01:
        return None
    deviation = _deviations(np.asarray(found.jac)[:, :2], found.fun)
    frequency = centre_hz * float(np.exp(found.x[0]))
    return CombFit(
        delay_s=(number - 0.5) / frequency,
        number=number,
        frequency_hz=frequency,
        frequency_uncertainty_hz=frequency * deviation[0],
        reflection=reflection,
        depth_db=20.0 * float(np.log10(1.0 - reflection)),
        depth_uncertainty_db=(20.0 / np.log(10.0)) * deviation[1] / (1.0 - reflection),
        residual_db=float(np.sqrt(np.mean(np.square(model(found.x))))),
    )


def _deviations(jacobian: FloatArray, left: FloatArray) -> tuple[float, float]:
    """Half-widths of the 95 % intervals of the two parameters whose columns are given."""
    normal = jacobian.T @ jacobian + 1e-12 * np.eye(2)
    variance = float(np.mean(np.square(left))) * np.diag(np.linalg.inv(normal))
    first, second = WIDENED * TWO_SIDED_95 * np.sqrt(np.maximum(variance, 0.0))
    return float(first), float(second)
