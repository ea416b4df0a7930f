"""Phases of a sum of tones, and the crest factor that they give: the ratio of its peak to its r.m.s.

The tones have whole numbers of turns in one period ("bins"), amplitudes, and phases:

    x(t) = sum over k of a_k cos(2 pi b_k t + phi_k),    0 <= t < 1

The peak is that of the continuous wave: between two samples a wave may rise above both. Whoever reads a plan asks for
it, so the transforms are numpy's: scipy's give the same numbers, but take a third of a second to import.
"""

from functools import lru_cache

import numpy as np
import numpy.typing as npt
import scipy

from signals.lengths import fast_length

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
Numbers = tuple[float, ...]

POWERS = (4, 8, 16, 32)
"""The norms that are made small one after another: the higher, the more the highest peaks alone count."""

DESCENT_STEPS = 60
"""At each norm. Most end sooner, when a step gains less than 1e-7."""

POINTS_A_TURN = 5
"""Of the highest tone, during the descent. With 4 a spectrum that rises ends 3 % higher: peaks hide between points."""

PEAK_POINTS_A_TURN = 16
"""When the peak is stated: a tone's highest point is missed by at most 1 - cos(pi / 16) = 2 %; of a sum of tones over
a decade or more, whose peaks are sharp only as the highest of them, by 0.5 % as measured against 64."""


def wave(bins: IntArray, amplitudes: FloatArray, phases: FloatArray, *, points: int) -> FloatArray:
    """One period of the sum at `points` equal steps, `(points,)`; `points` is above twice the highest bin."""
    spectrum = np.zeros(points // 2 + 1, dtype=np.complex128)
    spectrum[bins] = amplitudes * np.exp(1j * phases) * (points / 2.0)
    return np.asarray(np.fft.irfft(spectrum, points))


def crest_factor(bins: IntArray, amplitudes: FloatArray, phases: FloatArray) -> float:
    """Peak over r.m.s. as a ratio (a sine: 1.414); all arguments `(tones,)`, phases in radians."""
    return _crest_factor(tuple(bins.tolist()), tuple(amplitudes.tolist()), tuple(phases.tolist()))


@lru_cache(maxsize=64)
def _crest_factor(bins: tuple[int, ...], amplitudes: Numbers, phases: Numbers) -> float:
    points = fast_length(PEAK_POINTS_A_TURN * max(bins))
    heard = wave(np.array(bins), np.array(amplitudes), np.array(phases), points=points)
    return float(np.max(np.abs(heard)) / np.sqrt(0.5 * np.sum(np.square(amplitudes))))


def random_phases(tones: int, *, seed: int, realisation: int = 0) -> FloatArray:
    """Phases in radians, `(tones,)`, even over the circle; another set for every `realisation`."""
    return np.random.default_rng([seed, realisation]).uniform(0.0, 2.0 * np.pi, tones)


def schroeder_phases(bins: IntArray, amplitudes: FloatArray) -> FloatArray:
    """Phases in radians, `(tones,)`, under which the tones pass one after another, each for a time as its power.

    `phi_n = -2 pi sum over l < n of (b_n - b_l) p_l`, p the share of the power (Schroeder, IEEE Trans. Inf. Theory
    16(1), 1970, with the bins in the place of his running number); for equal neighbouring tones `-pi n (n - 1) / N`.
    """
    share = np.square(amplitudes) / np.sum(np.square(amplitudes))
    before = np.cumsum(share) - share
    moment = np.cumsum(share * bins) - share * bins
    return np.asarray(-2.0 * np.pi * (bins * before - moment))


def low_crest_phases(bins: IntArray, amplitudes: FloatArray, *, seed: int, realisation: int = 0) -> FloatArray:
    """Phases in radians, `(tones,)`, from random ones by making the wave's L_p norm small for p = 4, 8, 16, 32.

    (Guillaume et al., IEEE Trans. Instrum. Meas. 40(6), 1991, uses the same norms.) Takes some seconds the first time,
    and is kept. The descent is long, so that another computer's rounding may end at other phases, equally good.
    """
    return np.array(_descended(tuple(bins.tolist()), tuple(amplitudes.tolist()), seed, realisation))


@lru_cache(maxsize=16)
def _descended(bins: tuple[int, ...], amplitudes: Numbers, seed: int, realisation: int) -> Numbers:
    at, weight = np.array(bins), np.array(amplitudes)
    points = fast_length(POINTS_A_TURN * max(bins))
    phases = random_phases(at.size, seed=seed, realisation=realisation)
    best, lowest = phases, crest_factor(at, weight, phases)
    for power in POWERS:
        phases = scipy.optimize.minimize(
            _log_norm,
            phases,
            args=(at, weight, power, points),
            jac=True,
            method="L-BFGS-B",
            options={"maxiter": DESCENT_STEPS, "maxcor": 20, "ftol": 1e-7, "gtol": 1e-9},
        ).x
        reached = crest_factor(at, weight, phases)
        if reached < lowest:
            best, lowest = phases, reached
    return tuple(np.mod(best, 2.0 * np.pi).tolist())


def _log_norm(phases: FloatArray, bins: IntArray, amplitudes: FloatArray, *more: int) -> tuple[float, FloatArray]:
    """Logarithm of the L_p norm of the wave, and its gradient: two transforms."""
    power, points = more
    turned = amplitudes * np.exp(1j * phases)
    spectrum = np.zeros(points // 2 + 1, dtype=np.complex128)
    spectrum[bins] = turned * (points / 2.0)
    heard = np.fft.irfft(spectrum, points)
    peak = float(np.max(np.abs(heard)))
    heard /= peak
    weighted = heard.copy()
    square, exponent = np.square(heard), power // 2 - 1  # power - 2 = 2, 6, 14, 30 by squaring: pow() takes ten times
    while exponent:
        if exponent & 1:
            weighted *= square
        square *= square
        exponent >>= 1
    mean = float(np.mean(weighted * heard))
    correlation = np.fft.rfft(weighted)[bins] / points
    gradient = -np.imag(turned * np.conj(correlation)) / (peak * mean)
    return float(np.log(mean) / power + np.log(peak)), np.asarray(gradient)
