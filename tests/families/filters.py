"""Linear parts of made loudspeakers: each is a function of frequency in hertz, `(n,)`, to a complex gain, `(n,)`.

A filter is evaluated on the very grid of the FFT that it is used in, so nothing is sampled, truncated or smoothed. All
but delays and rooms are of minimum phase, which is what resonances and electric filters are.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import scipy.fft

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]
Filter = Callable[[FloatArray], ComplexArray]

SPEED_OF_SOUND_M_S = 343.2
"""At 20 degrees Celsius: 331.3 sqrt(1 + t/273.15)."""


def unity(frequency_hz: FloatArray) -> ComplexArray:
    """1 everywhere."""
    return np.ones(frequency_hz.shape, dtype=np.complex128)


@dataclass(frozen=True)
class Chain:
    """Filters one after another."""

    parts: tuple[Filter, ...]

    def __call__(self, frequency_hz: FloatArray) -> ComplexArray:
        gain = unity(frequency_hz)
        for part in self.parts:
            gain *= part(frequency_hz)
        return gain


def chain(*parts: Filter) -> Filter:
    """`parts` one after another."""
    return Chain(parts)


@dataclass(frozen=True, kw_only=True)
class Resonance:
    """A peak (above 0 dB) or dip of one pole pair, minimum phase: (s^2 + a s + 1) / (s^2 + b s + 1), s = jf / f0.

    A peak has b = 1/Q, a = g/Q; a dip of d dB is the inverse of a peak of d dB, so its Q is that of the zeros.
    """

    at_hz: float
    q: float
    gain_db: float

    def __call__(self, frequency_hz: FloatArray) -> ComplexArray:
        s = 1j * frequency_hz / self.at_hz
        narrow, wide = 1.0 / self.q, 10.0 ** (abs(self.gain_db) / 20.0) / self.q
        peak = (s * s + wide * s + 1.0) / (s * s + narrow * s + 1.0)
        return np.asarray(peak if self.gain_db >= 0.0 else 1.0 / peak)


@dataclass(frozen=True, kw_only=True)
class Band:
    """What a resonator passes: (s/Q) / (s^2 + s/Q + 1), 1 at its frequency."""

    at_hz: float
    q: float

    def __call__(self, frequency_hz: FloatArray) -> ComplexArray:
        s = 1j * frequency_hz / self.at_hz
        return np.asarray((s / self.q) / (s * s + s / self.q + 1.0))


@dataclass(frozen=True, kw_only=True)
class SecondOrder:
    """A high-pass or low-pass of second order."""

    at_hz: float
    q: float
    high: bool

    def __call__(self, frequency_hz: FloatArray) -> ComplexArray:
        s = 1j * frequency_hz / self.at_hz
        return np.asarray((s * s if self.high else 1.0) / (s * s + s / self.q + 1.0))


@dataclass(frozen=True, kw_only=True)
class Delayed:
    """A sound that comes `delay_s` later, times `gain` (negative: turned round)."""

    delay_s: float
    gain: float = 1.0

    def __call__(self, frequency_hz: FloatArray) -> ComplexArray:
        return np.asarray(self.gain * np.exp(-2j * np.pi * self.delay_s * frequency_hz))


@dataclass(frozen=True, kw_only=True)
class Reflection:
    """Direct sound and one copy of it: 1 + r exp(-j omega tau), the copy duller above `dull_hz`."""

    amplitude: float
    delay_s: float
    dull_hz: float | None = None

    def __call__(self, frequency_hz: FloatArray) -> ComplexArray:
        copy = Delayed(delay_s=self.delay_s, gain=self.amplitude)(frequency_hz)
        if self.dull_hz is not None:
            copy /= 1.0 + 1j * frequency_hz / self.dull_hz
        return 1.0 + copy


@dataclass(frozen=True, kw_only=True)
class Ripple:
    """Many weak broad resonances, three an octave: what a response has where nothing is amiss.

    rms_db   of each; neighbours overlap, so the curve's own deviation is near it
    """

    seed: int
    rms_db: float
    q: float = 2.0
    per_octave: float = 3.0

    def __call__(self, frequency_hz: FloatArray) -> ComplexArray:
        known, logarithm = _summed(self)
        place = np.log(np.maximum(frequency_hz, LOWEST_POINT_HZ))
        return np.asarray(
            np.exp(np.interp(place, known, logarithm.real) + 1j * np.interp(place, known, logarithm.imag))
        )


LOWEST_POINT_HZ = 5.0


@lru_cache(maxsize=64)
def _summed(ripple: Ripple) -> tuple[FloatArray, ComplexArray]:
    """Log of frequency, and the log of the gain there: smooth over a 50th of an octave, so read between such points."""
    points = np.geomspace(LOWEST_POINT_HZ, 3e5, 800)
    random = np.random.default_rng(ripple.seed)
    first = random.uniform(0.0, 1.0 / ripple.per_octave)
    logarithm = np.zeros(points.size, dtype=np.complex128)
    for at_hz in 20.0 * 2.0 ** (np.arange(0.0, 10.5, 1.0 / ripple.per_octave) + first):
        gain_db = ripple.rms_db * float(random.standard_normal())
        # Each stays within half a turn, so no branch of the logarithm is crossed.
        logarithm += np.log(Resonance(at_hz=float(at_hz), q=ripple.q, gain_db=gain_db)(points))
    return np.log(points), logarithm


@dataclass(frozen=True, kw_only=True)
class Room:
    """Direct sound 1, then from 3 ms on Gaussian noise that falls by 60 dB in `rt60_s`.

    drr_db   direct to reverberant energy
    """

    seed: int
    rt60_s: float
    drr_db: float
    sample_rate: int

    def __call__(self, frequency_hz: FloatArray) -> ComplexArray:
        """A grid that begins at 0 is that of a real FFT up to half `sample_rate`, at least as long as the decay.

        Between the points of such a grid, ten times closer than the room's own lines, it is interpolated.
        """
        if frequency_hz[0] == 0.0:
            return np.asarray(scipy.fft.rfft(_decay(self), 2 * (frequency_hz.size - 1)))
        n = scipy.fft.next_fast_len(round(10.0 * 1.2 * self.rt60_s * self.sample_rate), real=True)
        known, gain = scipy.fft.rfftfreq(n, 1.0 / self.sample_rate), scipy.fft.rfft(_decay(self), n)
        real, imaginary = np.interp(frequency_hz, known, gain.real), np.interp(frequency_hz, known, gain.imag)
        return np.asarray(real + 1j * imaginary)


@lru_cache(maxsize=8)
def _decay(room: Room) -> FloatArray:
    """Impulse response."""
    random = np.random.default_rng(room.seed)
    time_s = np.arange(round(1.2 * room.rt60_s * room.sample_rate)) / room.sample_rate
    tail = random.standard_normal(time_s.size) * 10.0 ** (-3.0 * time_s / room.rt60_s) * (time_s > 3e-3)
    tail *= 10.0 ** (-room.drr_db / 20.0) / np.sqrt(np.sum(np.square(tail)))
    tail[0] = 1.0
    return np.asarray(tail)
