"""Responses of analogue filters on the frequency axis: `frequency_hz` `(bins,)` in, complex `(bins,)` out."""

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]


def _s(frequency_hz: FloatArray, corner_hz: float) -> ComplexArray:
    return np.asarray(1j * frequency_hz / corner_hz)


def lowpass1(frequency_hz: FloatArray, corner_hz: float) -> ComplexArray:
    """`1 / (1 + s)`, s = j f / corner."""
    return np.asarray(1.0 / (1.0 + _s(frequency_hz, corner_hz)))


def lowpass2(frequency_hz: FloatArray, corner_hz: float, q: float) -> ComplexArray:
    """`1 / (1 + s/q + s^2)`."""
    s = _s(frequency_hz, corner_hz)
    return np.asarray(1.0 / (1.0 + s / q + s * s))


def highpass2(frequency_hz: FloatArray, corner_hz: float, q: float) -> ComplexArray:
    """`s^2 / (1 + s/q + s^2)`."""
    s = _s(frequency_hz, corner_hz)
    return np.asarray(s * s / (1.0 + s / q + s * s))


def bandpass(frequency_hz: FloatArray, centre_hz: float, q: float) -> ComplexArray:
    """`(s/q) / (1 + s/q + s^2)`: 1 at the centre."""
    s = _s(frequency_hz, centre_hz)
    return np.asarray((s / q) / (1.0 + s / q + s * s))


def peak(frequency_hz: FloatArray, centre_hz: float, *, q: float, gain_db: float) -> ComplexArray:
    """`(1 + g s/q + s^2) / (1 + s/q + s^2)`: `gain_db` at the centre, 0 dB far away."""
    s = _s(frequency_hz, centre_hz)
    gain = 10.0 ** (gain_db / 20.0)
    return np.asarray((1.0 + gain * s / q + s * s) / (1.0 + s / q + s * s))


def butterworth_highpass4(frequency_hz: FloatArray, corner_hz: float) -> ComplexArray:
    """Fourth-order Butterworth high-pass: second-order sections of Q 0.5412 and 1.3066."""
    q1, q2 = 0.5 / np.cos(np.pi / 8), 0.5 / np.cos(3 * np.pi / 8)
    return np.asarray(highpass2(frequency_hz, corner_hz, q1) * highpass2(frequency_hz, corner_hz, q2))


def crossover_lowpass(frequency_hz: FloatArray, corner_hz: float) -> ComplexArray:
    """Fourth-order Linkwitz-Riley low-pass: a second-order Butterworth twice, -6 dB at the corner."""
    return np.asarray(lowpass2(frequency_hz, corner_hz, np.sqrt(0.5)) ** 2)


def crossover_highpass(frequency_hz: FloatArray, corner_hz: float) -> ComplexArray:
    """Fourth-order Linkwitz-Riley high-pass, in phase with the low-pass at every frequency."""
    return np.asarray(highpass2(frequency_hz, corner_hz, np.sqrt(0.5)) ** 2)
