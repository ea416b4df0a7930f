"""The comb that one delayed copy makes of a response: its closed form, smoothed as a curve is, and its fit to one dip.

`H = 1 + r exp(-2 pi i f tau)`, r < 1 (of two arrivals the stronger counts as 1): dips of `20 log10(1 - r)` re the
stronger at odd multiples of 1 / (2 tau), peaks of `20 log10(1 + r)` between them, on a slope that is straight in dB
over octaves. r and 1 / r have the same magnitude but for a constant; only the phase tells which arrived first.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.anomalies.dip_shapes import DB_PER_NEPER_OF_POWER, deviations_95
from distort.analysis.common.grid import OCTAVE_RATIO

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

MOST_DIPS = 4
"""A dip is tried as the first to the fourth of a comb; that it is a later one only the earlier ones can tell."""

LEAST_REFLECTION, MOST_REFLECTION = 0.15, 0.99
"""Of a comb that one dip alone tells."""


@dataclass(frozen=True, kw_only=True)
class CombFit:
    """One delayed copy, seen at one of its dips."""

    delay_s: float
    number: int
    """1 where the dip that was looked at is the first of its comb."""
    frequency_hz: float
    """Of the dip that was looked at."""
    frequency_uncertainty_hz: float
    reflection: float
    """Amplitude of the weaker arrival re the stronger."""
    depth_db: float
    """`20 log10(1 - r)`, negative."""
    depth_uncertainty_db: float
    residual_db: float


def smoothed_cosine(turns: FloatArray, smoothing_octaves: float) -> tuple[FloatArray, FloatArray]:
    """Mean of `cos(2 pi f tau)` over the band of a smoothing, and its slope over the logarithm of `turns`.

    turns   f tau, `(rows,)`; the band reaches from f / h to f h, h the root of the smoothing's width as a ratio, and
            the mean is that over frequency: `cos(a cosh b) sin(a sinh b) / (a sinh b)`, a = 2 pi f tau, b = ln h
    """
    b = 0.5 * smoothing_octaves * np.log(OCTAVE_RATIO)
    angle = 2.0 * np.pi * turns
    middle, half = angle * np.cosh(b), angle * np.sinh(b)
    narrowed = np.sinc(half / np.pi)
    slope = -middle * np.sin(middle) * narrowed + np.cos(middle) * (np.cos(half) - narrowed)
    return np.cos(middle) * narrowed, slope


def half_depth_hz(comb: CombFit) -> tuple[float, float]:
    """Where half of the depth in dB, `10 log10(1 - r)`, is left on either side of the dip.

    There `1 + r^2 + 2 r cos(a) = 1 - r`, so `cos(a) = -(1 + r) / 2`.
    """
    share = float(np.arccos((1.0 + comb.reflection) / 2.0) / np.pi)
    reach_hz = share / (2.0 * comb.delay_s)
    return comb.frequency_hz - reach_hz, comb.frequency_hz + reach_hz


def comb_fit(
    frequency_hz: FloatArray,
    level_db: FloatArray,
    *,
    centre_hz: float,
    depth_db: float,
    smoothing_octaves: float,
    numbers: Iterable[int] = range(1, MOST_DIPS + 1),
) -> tuple[CombFit, BoolArray] | None:
    """The comb that explains the dip at `centre_hz` best, and which rows it was fitted to; None where none was found.

    smoothing_octaves   band over which `level_db` is a mean power: it fills deep dips, and the model is filled alike
    numbers             tries the dip as these of its comb; each over the rows from half a comb spacing below the
                        neighbouring dips to as far above
    """
    best: tuple[CombFit, BoolArray] | None = None
    for number in numbers:
        spacing_hz = centre_hz / (number - 0.5)
        low_hz = max(centre_hz - 1.0 * spacing_hz, centre_hz / 4.0)
        rows = (frequency_hz >= low_hz) & (frequency_hz <= centre_hz + 1.5 * spacing_hz)
        reaches = frequency_hz[-1] >= centre_hz + 0.5 * spacing_hz and frequency_hz[0] <= low_hz * 1.2
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

    def model(parameters: FloatArray) -> FloatArray:
        reflection = parameters[1]
        cosine, _ = smoothed_cosine(turns * np.exp(-parameters[0]), smoothing_octaves)
        power = 1.0 + reflection**2 + 2.0 * reflection * cosine
        return np.asarray(10.0 * np.log10(power) + parameters[2] + parameters[3] * octaves - level_db)

    def slopes(parameters: FloatArray) -> FloatArray:
        reflection = parameters[1]
        cosine, by_log_turns = smoothed_cosine(turns * np.exp(-parameters[0]), smoothing_octaves)
        power = 1.0 + reflection**2 + 2.0 * reflection * cosine
        by_shift = -2.0 * reflection * by_log_turns / power
        by_reflection = 2.0 * (reflection + cosine) / power
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
    deviation = deviations_95(np.asarray(found.jac), model(found.x))
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
