"""Loudspeakers whose orders have a structure that is known: what is played, and products of it, through one response.

    y = h * (x + sum over branches of size f(w * x, x)),    f(u, x) = u^q x^(n-q), or w * x^n where q = 0,
                                                            or the rate of change of u^n re 1 kHz where q = -1,
                                                            or u (x + the rate of change of x re 2 kHz) where q = -2

w is a first-order low pass `1 / (1 + jf/fc)`, h a high pass of second order. Everything is made as one FFT at twice
the rate, so that nothing folds. `without_pairs` f holds no lower order for Gaussian x, each written out by hand:
u^2 - <uu>, u x - <ux>, u^3 - 3 <uu> u, u^2 x - <uu> x - 2 <ux> u, x^2 - <xx>, x^3 - 3 <xx> x.
"""

from dataclasses import dataclass

import numpy as np
import scipy.fft

from signals import Multitone
from signals.levels import db_to_amplitude
from signals.sweep import Sweep
from tests.devices.cascade import Resonator

OVERSAMPLING = 2
"""Third orders of 22 kHz fold to 30 kHz, which is cut off."""
RATE, ADVANCED = -1, -2
"""In the place of q."""
ADVANCE_HZ = 2000.0
RESPONSE = Resonator(hz=50.0, q=0.8, kind="highpass")


@dataclass(frozen=True, kw_only=True)
class Branch:
    order: int
    filtered: int
    size: float
    corner_hz: float

    def low_pass(self, frequency_hz: np.ndarray) -> np.ndarray:
        """w, complex."""
        return 1.0 / (1.0 + 1j * frequency_hz / self.corner_hz)

    def diagonal(self, frequency_hz: np.ndarray) -> np.ndarray:
        """E_n(f), the closed form: size w(f)^q, or size w(n f), or size j n f / (1 kHz) w(f)^n, or size w(f) (1 + j f /
        (2 kHz))."""
        if self.filtered == ADVANCED:
            return self.size * self.low_pass(frequency_hz) * (1.0 + 1j * frequency_hz / ADVANCE_HZ)
        if self.filtered == RATE:
            return self.size * 1e-3j * self.order * frequency_hz * self.low_pass(frequency_hz) ** self.order
        if self.filtered:
            return self.size * self.low_pass(frequency_hz) ** self.filtered
        return self.size * self.low_pass(self.order * frequency_hz)

    def made(self, x: np.ndarray, rate: float, *, without_pairs: bool) -> np.ndarray:
        """f, `(samples,)`."""
        at_hz = np.arange(x.size // 2 + 1) * (rate / x.size)

        def filtered(signal: np.ndarray) -> np.ndarray:
            return scipy.fft.irfft(scipy.fft.rfft(signal) * self.low_pass(at_hz), signal.size)

        if self.filtered == ADVANCED:
            faster = scipy.fft.rfft(x) * (1.0 + 1j * at_hz / ADVANCE_HZ)
            faster[-1] = 0.0
            product = filtered(x) * scipy.fft.irfft(faster, x.size)
            return self.size * (product - np.mean(product) * without_pairs)
        u = filtered(x) if self.filtered else x
        uu, ux = (np.mean(u * u), np.mean(u * x)) if without_pairs else (0.0, 0.0)
        product = {
            (2, 2): u * u - uu,
            (2, RATE): u * u - uu,
            (3, RATE): u**3 - 3.0 * uu * u,
            (2, 1): u * x - ux,
            (3, 3): u**3 - 3.0 * uu * u,
            (3, 2): u * u * x - uu * x - 2.0 * ux * u,
            (2, 0): x * x - uu,
            (3, 0): x**3 - 3.0 * uu * x,
        }[self.order, self.filtered]
        if self.filtered == RATE:
            changing = scipy.fft.rfft(product) * 1e-3j * at_hz
            changing[-1] = 0.0  # of half the rate nobody knows which way it turns
            return self.size * scipy.fft.irfft(changing, product.size)
        return self.size * (product if self.filtered else filtered(product))


@dataclass(frozen=True, kw_only=True)
class Branched:
    """Response of second order, and branches before it."""

    branches: tuple[Branch, ...]

    def answer(self, sweep: Sweep, *, silence_s: float) -> np.ndarray:
        """The answer to a sweep and the silence after it, at the sweep's rate."""
        rate = sweep.sample_rate * OVERSAMPLING
        n_out = int(scipy.fft.next_fast_len(sweep.n_samples + round(silence_s * sweep.sample_rate), real=True))
        time_s = np.arange(n_out * OVERSAMPLING) / rate
        growth = np.exp(np.minimum(time_s, sweep.duration_s) / sweep.rate_s)
        envelope = np.where(time_s < sweep.duration_s, sweep.envelope(sweep.start_hz * growth), 0.0)
        phase = 2.0 * np.pi * sweep.start_hz * sweep.rate_s * (growth - 1.0)
        played = db_to_amplitude(sweep.drive_dbfs) * envelope * np.sin(phase)
        made = played + sum(one.made(played, rate, without_pairs=False) for one in self.branches)
        at_hz = np.arange(n_out // 2 + 1) * (sweep.sample_rate / n_out)
        through = scipy.fft.rfft(made)[: n_out // 2 + 1] / OVERSAMPLING * RESPONSE.response(at_hz)
        return scipy.fft.irfft(through, n_out)

    def products(self, tone: Multitone) -> np.ndarray:
        """What the branches make of one period of a multitone, as played: complex amplitudes of its bins."""
        points = OVERSAMPLING * tone.period_samples
        spectrum = np.zeros(points // 2 + 1, dtype=complex)
        spectrum[tone.line_bins] = tone.line_amplitudes * np.exp(1j * tone.line_phases_rad) * (points / 2)
        x = scipy.fft.irfft(spectrum, points)
        rate = OVERSAMPLING * tone.sample_rate
        made = sum(one.made(x, rate, without_pairs=True) for one in self.branches)
        return scipy.fft.rfft(made)[: tone.period_samples // 2] * (2.0 / points)
