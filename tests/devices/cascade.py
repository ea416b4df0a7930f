"""Filter, memoryless curve, filter: simulated without folding, and its steady state in closed form."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.polynomial import Polynomial

from signals.levels import db_to_amplitude
from signals.sweep import Sweep

OVERSAMPLING = 4
"""Enough for curves up to degree 6: 6 x 22 kHz folds back to 60 kHz, which is cut off."""


@dataclass(frozen=True)
class Resonator:
    """Analogue peaking section `1 + g B(s)`, B the band pass of `hz` and `q`; its inverse when `inverse`.

    With gain `g` = 0 it is a wire. All-pole resonances are got by `kind="lowpass"`: `w0^2 / (s^2 + s w0 / q + w0^2)`.
    """

    hz: float
    q: float
    gain: float = 1.0
    kind: str = "peak"
    inverse: bool = False

    def response(self, frequency_hz: np.ndarray) -> np.ndarray:
        """Complex response at `frequency_hz`."""
        s = 1j * frequency_hz / self.hz
        below = s * s + s / self.q + 1.0
        above = {"peak": s * s + (1.0 + self.gain) * s / self.q + 1.0, "lowpass": 1.0, "highpass": s * s}[self.kind]
        return below / above if self.inverse else above / below


def chain(filters: Sequence[Resonator], frequency_hz: np.ndarray) -> np.ndarray:
    """Complex response of `filters` one after another."""
    total = np.ones(frequency_hz.shape, dtype=complex)
    for one in filters:
        total = total * one.response(frequency_hz)
    return total


@dataclass(frozen=True)
class Cascade:
    """Filters before and after a polynomial curve."""

    before: tuple[Resonator, ...]
    curve: Polynomial
    after: tuple[Resonator, ...]

    def answer(self, sweep: Sweep, *, silence_s: float) -> np.ndarray:
        """The answer to a sweep and `silence_s` of silence after it, at the sweep's rate.

        Made at four times the rate, filtered as one FFT each, and brought down by cutting the spectrum off: no
        resampling filter stands between.
        """
        rate = sweep.sample_rate * OVERSAMPLING
        n_out = int(scipy.fft.next_fast_len(sweep.n_samples + round(silence_s * sweep.sample_rate), real=True))
        time_s = np.arange(n_out * OVERSAMPLING) / rate
        growth = np.exp(np.minimum(time_s, sweep.duration_s) / sweep.rate_s)
        envelope = np.where(time_s < sweep.duration_s, sweep.envelope(sweep.start_hz * growth), 0.0)
        phase = 2.0 * np.pi * sweep.start_hz * sweep.rate_s * (growth - 1.0)
        played = db_to_amplitude(sweep.drive_dbfs) * envelope * np.sin(phase)
        frequency_hz = np.arange(played.size // 2 + 1) * (rate / played.size)
        heard = scipy.fft.irfft(scipy.fft.rfft(played) * chain(self.before, frequency_hz), played.size)
        spectrum = scipy.fft.rfft(self.curve(heard))[: n_out // 2 + 1]
        return scipy.fft.irfft(spectrum * chain(self.after, frequency_hz[: n_out // 2 + 1]), n_out) / OVERSAMPLING

    def steady_state_db(self, frequency_hz: np.ndarray, *, amplitude: float, orders: int) -> np.ndarray:
        """Level of orders 1 ... `orders` re the amplitude of a steady tone, `(orders, frequencies)`.

        A tone stays a tone through the first filter; the curve makes harmonics of it that one period's Fourier series
        gives exactly (degree below half the points); the second filter weights each at its own frequency.
        """
        phase = 2.0 * np.pi * np.arange(64) / 64.0
        into = amplitude * np.abs(chain(self.before, frequency_hz))
        series = np.abs(np.fft.rfft(self.curve(into[:, None] * np.cos(phase)), axis=1)) / 32.0
        levels = [
            20.0 * np.log10(series[:, n] * np.abs(chain(self.after, n * frequency_hz)) / amplitude)
            for n in range(1, orders + 1)
        ]
        return np.array(levels)
