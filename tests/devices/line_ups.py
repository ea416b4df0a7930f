"""Curves of a block model whose causes are known: filter, non-linearity, filter, with ripple and noise.

Before the non-linearity stands A(f), after it B(f), and the direct sound may meet a delayed copy. The fundamental is
A + B at f; order n is n A(f) + g_n(f) + B(n f) (all in dB: a power law of order n). Readings are made as an analysis
makes them: complex noise is added to a fine spectrum, its power averaged over 1/12 octave, and the expected noise
taken off. Nothing here uses the code under test.
"""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

ROWS_HZ = 1000.0 * 10.0 ** (np.arange(-136, 105) / 80.0)
FINE = 8
"""Lines of the fine spectrum a row of the grid."""


@dataclass(frozen=True, kw_only=True)
class Readings:
    """What one level gives; `(rows,)` each."""

    order: int
    fundamental_db: FloatArray
    relative_db: FloatArray
    noise_db: FloatArray
    uncertainty_db: FloatArray


@dataclass(frozen=True, kw_only=True)
class Case:
    """One random device."""

    cause: str
    place_hz: float
    """Excitation frequency at which the cause acts."""
    order: int
    readings: tuple[Readings, ...]
    free_field_db: FloatArray | None = None
    change_db: FloatArray | None = None
    change_uncertainty_db: FloatArray | None = None
    notes: dict[str, float] = field(default_factory=dict)


def ripple(random: np.random.Generator, f: FloatArray, *, deviation_db: float, octaves: float) -> FloatArray:
    """Smooth Gaussian ripple `(points,)` whose correlation falls to exp(-1/2) over `octaves`."""
    step = float(np.log2(f[1] / f[0]))
    width = octaves / step / np.sqrt(2.0)
    half = int(4 * width) + 1
    kernel = np.exp(-0.5 * (np.arange(-half, half + 1) / width) ** 2)
    noise = random.standard_normal(f.size + 2 * half)
    return np.asarray(deviation_db * np.convolve(noise, kernel, "valid") / np.sqrt(np.sum(kernel**2)))


def bell_db(f: FloatArray, *, centre_hz: float, q: float, gain_db: float) -> FloatArray:
    """Second-order bell: poles of Q `q` for a peak, zeros of Q `q` for a dip."""
    u = f / centre_hz
    wide = np.hypot(1.0 - u**2, u * 10.0 ** (abs(gain_db) / 20.0) / q)
    narrow = np.hypot(1.0 - u**2, u / q)
    return np.asarray(np.sign(gain_db) * 20.0 * np.log10(wide / narrow))


def comb_db(f: FloatArray, *, first_dip_hz: float, reflection: float) -> FloatArray:
    """Direct sound plus one delayed copy."""
    return np.asarray(20.0 * np.log10(np.abs(1.0 + reflection * np.exp(-1j * np.pi * f / first_dip_hz))))


class Blocks:
    """The parts of one device on a fine axis, to be filled in, and read."""

    def __init__(self, random: np.random.Generator) -> None:
        self.random = random
        self.f = 1000.0 * 10.0 ** (np.arange(-136 * FINE, 160 * FINE) / (80.0 * FINE))  # to 100 kHz
        self.ripple_db = random.uniform(0.3, 1.5)
        octaves = random.uniform(1.0 / 12.0, 1.0 / 4.0)
        share = random.uniform(0.0, 1.0)
        made = [
            ripple(random, self.f, deviation_db=self.ripple_db * np.sqrt(part), octaves=octaves)
            for part in (share, 1.0 - share)
        ]
        broad = ripple(random, self.f, deviation_db=random.uniform(0.5, 2.0), octaves=3.0)
        self.before, self.after = made[0] + broad, made[1]
        self.shared = bool(random.integers(2))
        """Whether products leave by the way of the fundamental."""
        self.other_way = ripple(random, self.f, deviation_db=self.ripple_db * np.sqrt(1.0 - share), octaves=octaves)
        self.source: dict[int, FloatArray] = {}

    def at(self, curve: FloatArray, f: FloatArray) -> FloatArray:
        """A part at other frequencies."""
        return np.asarray(np.interp(np.log(f), np.log(self.f), curve))

    def order_db(self, n: int) -> FloatArray:
        """Level of order n re its own mean, on the fine axis of the excitation."""
        way = self.after if self.shared else self.other_way
        source = self.source.get(n, np.zeros_like(self.f))
        return np.asarray(n * self.before + source + self.at(way, np.minimum(n * self.f, self.f[-1])))

    def fundamental_db(self) -> FloatArray:
        """Of the linear device, re 90 dB."""
        return self.before + self.after

    def read(self, n: int, *, relative_db: float, margin_db: float, place_hz: float) -> Readings:
        """Order n as an analysis reads it, its level `relative_db` re the fundamental away from all features, its floor
        `margin_db` below it at `place_hz` and pink."""
        p1 = 90.0 + self.fundamental_db()
        pn = 90.0 + relative_db + self.order_db(n)
        floor = float(self.at(pn, np.array([place_hz]))[0]) - margin_db - 10.0 * np.log10(self.f / place_hz)
        quiet = 90.0 - 60.0 - 10.0 * np.log10(self.f / 1000.0)
        fundamental = self._reading(p1, quiet)[0]
        product, noise, variance = self._reading(pn, floor)
        beyond = n * ROWS_HZ > 20000.0
        u = 1.96 * 4.343 * np.sqrt(variance)
        return Readings(
            order=n,
            fundamental_db=fundamental,
            relative_db=np.where(beyond, np.nan, product - fundamental),
            noise_db=np.where(beyond, np.nan, noise - fundamental),
            uncertainty_db=np.where(beyond, np.nan, u),
        )

    def _reading(self, level_db: FloatArray, noise_db: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        random = self.random
        signal = 10.0 ** (level_db / 20.0) * np.exp(2j * np.pi * random.uniform())
        amplitude = 10.0 ** (noise_db / 20.0) / np.sqrt(2.0)
        noisy = signal + amplitude * (random.standard_normal(self.f.size) + 1j * random.standard_normal(self.f.size))
        kernel = np.ones(2 * FINE) / (2 * FINE)

        def rows(power: FloatArray) -> FloatArray:
            return np.asarray(np.convolve(power, kernel, "same")[: 241 * FINE : FINE])

        power, noise = rows(np.abs(noisy) ** 2), rows(10.0 ** (noise_db / 10.0))
        held = power - np.minimum(noise, 0.9 * power)
        variance = (2.0 * held * noise + noise**2) / (2 * FINE) / held**2
        return 10.0 * np.log10(held), 10.0 * np.log10(noise), variance
