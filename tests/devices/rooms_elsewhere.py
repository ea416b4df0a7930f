"""Static curves between filters, in rooms of image sources or of decaying noise: the steady answer in closed form.

A steady tone of amplitude a at f reaches the curve with amplitude `a |G(f)|`, G the filter before it; the curve makes
harmonics `c_n(a |G(f)|)` of it, by the Chebyshev expansion of its powers; each leaves through filter and room, `|R(n
f)|`. The recording is made otherwise: the whole signal, three times oversampled, through the same filters.
"""

import math
from dataclasses import dataclass

import numpy as np
import scipy

RATE = 24000
OVERSAMPLED = 3
"""The fifth power of 10.5 kHz folds back from 72 kHz to 19.5 kHz: above all that is read."""

SPEED_M_S = 343.0


@dataclass(frozen=True)
class Bell:
    """A second-order peak or dip: `(s^2 + g s w/Q + w^2) / (s^2 + s w/Q + w^2)`."""

    frequency_hz: float
    q: float
    gain_db: float

    def at(self, hz: np.ndarray) -> np.ndarray:
        s = 1j * hz / self.frequency_hz
        return (s**2 + 10 ** (self.gain_db / 20) * s / self.q + 1) / (s**2 + s / self.q + 1)


@dataclass(frozen=True)
class HighPass:
    """Of second order: `s^2 / (s^2 + s w/Q + w^2)`, as a closed box has it."""

    frequency_hz: float
    q: float

    def at(self, hz: np.ndarray) -> np.ndarray:
        s = 1j * hz / self.frequency_hz
        return s**2 / (s**2 + s / self.q + 1)


def noise_tail(*, rt60_s: float, direct_to_reverberant_db: float, seed: int, rate: int = RATE) -> np.ndarray:
    """Impulse response `(samples,)`: a direct sound of 1 and Gaussian noise that falls 60 dB in `rt60_s`."""
    random = np.random.default_rng(seed)
    time_s = np.arange(int(1.7 * rt60_s * rate)) / rate
    tail = random.standard_normal(time_s.size) * 10 ** (-3 * time_s / rt60_s)
    tail[: int(0.003 * rate)] = 0.0
    tail *= 10 ** (-direct_to_reverberant_db / 20) / np.sqrt(np.sum(tail**2))
    tail[0] = 1.0
    return tail


def image_sources(*, rt60_s: float, size_m: tuple[float, float, float], distance_m: float, seed: int) -> np.ndarray:
    """Impulse response of a rectangular room by image sources (Allen and Berkley, J. Acoust. Soc. Am. 65, 1979).

    Walls alike; their absorption a follows from `T = 0.161 V / (-S ln(1 - a))` (Eyring, from memory). The direct sound
    comes at time 0 with amplitude 1.
    """
    random = np.random.default_rng(seed)
    size = np.array(size_m)
    volume, x, y, z = np.prod(size), *size
    surface = 2 * (x * y + y * z + x * z)
    reflected = math.exp(-0.5 * 0.161 * volume / (surface * rt60_s))  # amplitude: sqrt(1 - a)
    source = size * random.uniform(0.25, 0.4, 3)
    way = random.standard_normal(3)
    way[2] *= 0.2
    microphone = np.clip(source + distance_m * way / np.linalg.norm(way), 0.3, size - 0.3)
    lasting_s = 1.3 * rt60_s
    reach = [int(lasting_s * SPEED_M_S / (2 * side)) + 1 for side in size]
    squared, bounces = 0.0, 0
    for axis in range(3):
        turn = np.arange(-reach[axis], reach[axis] + 1)
        along = np.concatenate([2 * turn * size[axis] + source[axis], 2 * turn * size[axis] - source[axis]])
        hits = np.concatenate([np.abs(2 * turn), np.abs(2 * turn - 1)])
        shape = [-1 if place == axis else 1 for place in range(3)]
        squared = squared + (along - microphone[axis]).reshape(shape) ** 2
        bounces = bounces + hits.reshape(shape)
    far = np.sqrt(squared).ravel()
    direct = float(np.min(far))
    delay = (far - direct) / SPEED_M_S * RATE * 8
    amplitude = direct / far * reflected ** bounces.ravel()
    kept = delay < lasting_s * RATE * 8
    fine = np.bincount(np.rint(delay[kept]).astype(int), amplitude[kept], minlength=int(lasting_s * RATE * 8) + 8)
    return 8.0 * scipy.signal.resample_poly(fine, 1, 8)


@dataclass(frozen=True, eq=False)
class CurveInRoom:
    """`powers` are those of the curve: y = sum powers[k] x^k, k from 1."""

    before: tuple[Bell | HighPass, ...]
    powers: tuple[float, ...]
    after: tuple[Bell | HighPass, ...]
    room: np.ndarray

    def answer(self, signal: np.ndarray) -> np.ndarray:
        """What arrives of `signal` `(samples,)` at RATE, until the room is silent."""
        n = int(scipy.fft.next_fast_len(signal.size + self.room.size + RATE // 2, real=True))
        n += n % 2
        spectrum = np.zeros(OVERSAMPLED * n // 2 + 1, dtype=complex)
        spectrum[: n // 2 + 1] = scipy.fft.rfft(signal, n) * OVERSAMPLED
        hz = np.arange(spectrum.size) * (RATE / n)
        for one in self.before:
            spectrum *= one.at(hz)
        driven = scipy.fft.irfft(spectrum, OVERSAMPLED * n)
        made = np.zeros_like(driven)
        for power in reversed(self.powers):
            made = (made + power) * driven
        out = scipy.fft.rfft(made)[: n // 2 + 1] / OVERSAMPLED * scipy.fft.rfft(self.room, n)
        for one in self.after:
            out *= one.at(hz[: n // 2 + 1])
        return scipy.fft.irfft(out, n)

    def steady_power(self, order: int, product_hz: np.ndarray, amplitude: float) -> np.ndarray:
        """|harmonic `order`|^2 of a tone at `product_hz / order`, amplitude squared of the tone = 1, elementwise."""
        tone_hz = product_hz / order
        reach = amplitude * np.abs(np.prod([one.at(tone_hz) for one in self.before], axis=0)) + 0 * tone_hz
        made = sum(
            power * 2.0 ** (1 - k) * math.comb(k, (k - order) // 2) * reach**k
            for k, power in enumerate(self.powers, start=1)
            if k >= order and (k - order) % 2 == 0
        )
        n = 2**17
        out = np.abs(np.interp(product_hz, np.arange(n // 2 + 1) * RATE / n, np.abs(scipy.fft.rfft(self.room, n))))
        for one in self.after:
            out = out * np.abs(one.at(product_hz))
        return np.square(made * out / amplitude)
