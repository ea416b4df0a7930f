"""Responses known in closed form, seen as an analysis sees them: smoothed in power, with the phase of the middle."""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
Amplitude = Callable[[FloatArray], npt.NDArray[np.complex128]]


def amplitude_of_comb(first_dip_hz: float, reflection: float) -> Amplitude:
    """Direct sound plus a copy `1 / (2 first_dip_hz)` later."""
    return lambda f: np.asarray(1.0 + reflection * np.exp(-1j * np.pi * f / first_dip_hz))


def amplitude_of_bell(centre_hz: float, q: float, gain_db: float) -> Amplitude:
    """A bell with poles of Q `q` (gain above 0), or its inverse with zeros of that Q."""
    gain = 10.0 ** (abs(gain_db) / 20.0)

    def bell(f: FloatArray) -> npt.NDArray[np.complex128]:
        s = 1j * f / centre_hz
        ratio = (1.0 + gain * s / q + s**2) / (1.0 + s / q + s**2)
        return np.asarray(ratio if gain_db > 0 else 1.0 / ratio)

    return bell


def as_measured(amplitude: Amplitude) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Level on the grid of results (1/12 octave), and rows, level (1/48 octave) and unwrapped phase of a fine curve."""
    rows_hz = 1000.0 * 10.0 ** (np.arange(-136, 105) / 80.0)
    fine_hz = 25.0 * 10.0 ** (0.3 * np.arange(460) / 48.0)
    bins_hz = np.linspace(0.0, 24000.0, 200001)
    phase_rad = np.interp(fine_hz, bins_hz, np.unwrap(np.angle(amplitude(bins_hz))))
    return _smoothed(amplitude, rows_hz, 1.0 / 12.0), fine_hz, _smoothed(amplitude, fine_hz, 1.0 / 48.0), phase_rad


def _smoothed(amplitude: Amplitude, f: FloatArray, octaves: float) -> FloatArray:
    """Mean power over frequency in a band of `octaves` (base ten), by the rule of the middles of 200 equal pieces."""
    half = 10.0 ** (0.15 * octaves)
    pieces = (np.arange(200) + 0.5) / 200.0
    power = np.mean(
        [np.abs(amplitude(f * (1.0 / half + (half - 1.0 / half) * piece))) ** 2 for piece in pieces], axis=0
    )
    return np.asarray(10.0 * np.log10(power))
