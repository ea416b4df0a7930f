"""A cone and a port whose strengths are known, heard near each of them and at a distance in a room.

What drives both makes the fundamental and `made` of order n; the port makes `blown` of it on its own, a while later.
With w the tuning and s = 2 pi j f,

    H_c = s^2 / (s^2 + s w / Q + w^2)      H_p = share w^2 / (s^2 + s w / Q + w^2)      R = 1 + sum a exp(-s t)

the fundamental leaves by H_c and H_p, the product by the same at n f, and each reaches the distance through a room R of
its own. So every reading has a closed form, in power over a twelfth of an octave: `relative_db` re the fundamental,
`input_db` re the input.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
import scipy.fft

from distort.analysis.sweep.sweeps import SweepTake
from signals import Sweep
from tests.devices.memoryless import sweep_with_harmonics
from tests.devices.takes import BEFORE

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]
Place = Literal["cone", "port", "stand"]

NEARER = 20.0
"""How much more a near field gives; no ratio knows of it."""


@dataclass(frozen=True, kw_only=True)
class TwoRadiators:
    """Amplitudes re the input; `rooms` of cone and port: amplitude and delay in seconds of each reflection."""

    tuning_hz: float
    q: float
    share: float
    order: int
    made: float
    blown: float
    later_s: float
    rooms: tuple[tuple[tuple[float, float], ...], tuple[tuple[float, float], ...]]

    def take(self, place: Place, sweep: Sweep, *, noise: float, seed: int) -> SweepTake:
        """What a microphone there records, in white noise of r.m.s. `noise` re full scale."""
        n = 2 * scipy.fft.next_fast_len(sweep.n_samples // 2 + sweep.sample_rate // 2, real=True)
        at_hz = scipy.fft.rfftfreq(n, 1.0 / sweep.sample_rate)
        driven = scipy.fft.rfft(sweep_with_harmonics(sweep, {1: 1.0, self.order: self.made}), n)
        own = scipy.fft.rfft(sweep_with_harmonics(sweep, {self.order: self.blown}), n)
        heard = scipy.fft.irfft(driven * self._way(place, at_hz) + own * self._own_way(place, at_hz), n)
        random = np.random.default_rng(seed)
        samples = np.concatenate([np.zeros(BEFORE), heard, np.zeros(BEFORE)])
        samples += noise * random.standard_normal(samples.size)
        silence = noise * random.standard_normal(4 * sweep.sample_rate)
        return SweepTake(samples=samples, start=float(BEFORE), silences=(silence,))

    def relative_db(self, place: Place, at_hz: float) -> float:
        """The product re the fundamental."""
        return _db(self._product(place, around(at_hz))) - _db(self._way(place, around(at_hz)))

    def input_db(self, place: Place, at_hz: float) -> float:
        """The product re the input, through the way at n f."""
        return _db(self._product(place, around(at_hz))) - _db(self._way(place, self.order * around(at_hz)))

    def _product(self, place: Place, at_hz: FloatArray) -> ComplexArray:
        there = self.order * at_hz
        return np.asarray(self.made * self._way(place, there) + self.blown * self._own_way(place, there))

    def _way(self, place: Place, at_hz: FloatArray) -> ComplexArray:
        """Of what drives both."""
        s, omega = 2j * np.pi * at_hz, 2.0 * np.pi * self.tuning_hz
        below = np.square(s) + s * omega / self.q + omega**2
        cone, port = np.square(s) / below, self.share * omega**2 / below
        if place == "stand":
            return np.asarray(cone * _room(self.rooms[0], at_hz) + port * _room(self.rooms[1], at_hz))
        return np.asarray(NEARER * (cone if place == "cone" else port))

    def _own_way(self, place: Place, at_hz: FloatArray) -> ComplexArray:
        """Of what the port makes."""
        later = np.exp(-2j * np.pi * at_hz * self.later_s)
        if place == "stand":
            return np.asarray(later * _room(self.rooms[1], at_hz))
        return np.asarray(later * (NEARER if place == "port" else 0.0))


def around(at_hz: float, octaves: float = 1.0 / 12.0) -> FloatArray:
    """Frequencies over the width that readings are smoothed over, in power."""
    return np.asarray(at_hz * 2.0 ** (octaves * np.linspace(-0.5, 0.5, 101)))


def _db(amplitudes: ComplexArray) -> float:
    return float(10.0 * np.log10(np.mean(np.square(np.abs(amplitudes)))))


def _room(reflections: tuple[tuple[float, float], ...], at_hz: FloatArray) -> ComplexArray:
    found = np.ones(at_hz.size, dtype=np.complex128)
    for amplitude, delay_s in reflections:
        found += amplitude * np.exp(-2j * np.pi * at_hz * delay_s)
    return found


def drawn(seed: int) -> tuple[TwoRadiators, float]:
    """One of many, and the r.m.s. of the noise in which it is heard."""
    random = np.random.default_rng([seed, 160])
    made_db = random.uniform(-60.0, -35.0)
    blown_db = made_db + random.uniform(-30.0, 20.0)

    def room() -> tuple[tuple[float, float], ...]:
        return tuple((random.uniform(0.05, 0.4), random.uniform(0.001, 0.012)) for _ in range(3))

    device = TwoRadiators(
        tuning_hz=random.uniform(35.0, 60.0),
        q=random.uniform(0.6, 1.5),
        share=random.uniform(0.5, 1.0),
        order=int(random.choice([2, 3])),
        made=10.0 ** (made_db / 20.0),
        blown=10.0 ** (blown_db / 20.0),
        later_s=random.uniform(0.0, 0.005),
        rooms=(room(), room()),
    )
    return device, float(10.0 ** (random.uniform(-90.0, -60.0) / 20.0))
