"""Loudspeakers with one dip or peak of known shape, heard through a sweep: linear, with ripple, noise and a room.

The device is a product of closed forms at the bins of the recording; nothing of the analysis is in it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.fft

from distort.analysis.sweep.sweeps import SweepTake
from signals.sweep import Sweep
from tests.devices.cascade import chain
from tests.devices.line_up_sweeps import DelayedCopy, Filter, bell, pink_noise, ripple

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

SWEEP = Sweep(seconds=6.0, drive_dbfs=-12.0)
BEFORE, AFTER_S = 48000, 1.5


@dataclass(frozen=True)
class MirroredNotch:
    """The inverse of a bell with its zeros in the right half plane: the same magnitude, the opposite turn of phase."""

    hz: float
    q: float
    gain_db: float
    """Negative."""

    def response(self, frequency_hz: FloatArray) -> ComplexArray:
        s = 1j * frequency_hz / self.hz
        wide = 10.0 ** (-self.gain_db / 20.0)
        return np.asarray((1.0 - s / self.q + s**2) / (1.0 + wide * s / self.q + s**2))


@dataclass(frozen=True)
class Tail:
    """Direct sound and a reverberant tail: Gaussian noise that falls by 60 dB in `rt60_s`, from `first_s` on."""

    seed: int
    rt60_s: float = 0.3
    direct_to_reverberant_db: float = 13.0
    first_s: float = 0.006

    def response(self, frequency_hz: FloatArray) -> ComplexArray:
        rate = 2.0 * frequency_hz[-1]
        n = 2 * (frequency_hz.size - 1)
        time_s = np.arange(round(1.5 * self.rt60_s * rate)) / rate
        noise = np.random.default_rng(self.seed).standard_normal(time_s.size) * 10.0 ** (-3.0 * time_s / self.rt60_s)
        noise *= 10.0 ** (-self.direct_to_reverberant_db / 20.0) / np.linalg.norm(noise)
        impulse = np.zeros(n)
        impulse[0] = 1.0
        first = round(self.first_s * rate)
        impulse[first : first + noise.size] += noise
        return np.asarray(scipy.fft.rfft(impulse))


@dataclass(frozen=True, kw_only=True)
class Anomalous:
    """One device and what is true of it."""

    parts: tuple[Filter | MirroredNotch | Tail, ...]
    kind: str
    frequency_hz: float
    minimum_phase: bool
    ripple_db: float
    noise_dbfs: float
    reflection: float = float("nan")
    """Later arrival re the earlier."""
    q: float = float("nan")
    arrival_s: float = 0.0
    """At which of two arrivals the recording is said to begin."""

    @property
    def depth_db(self) -> float:
        """Of a comb, re the stronger arrival (closed form)."""
        return 20.0 * float(np.log10(1.0 - min(self.reflection, 1.0 / self.reflection)))

    def take(self, random: np.random.Generator) -> SweepTake:
        """A recording of it, in pink noise."""
        n = int(scipy.fft.next_fast_len(SWEEP.n_samples + round(AFTER_S * SWEEP.sample_rate), real=True))
        n += n % 2
        hz = np.arange(n // 2 + 1) * (SWEEP.sample_rate / n)
        answer = scipy.fft.irfft(scipy.fft.rfft(SWEEP.samples(), n) * chain(self.parts, hz), n)
        samples = 10.0 ** (self.noise_dbfs / 20.0) * pink_noise(random, BEFORE + n)
        samples[BEFORE:] += answer
        start = BEFORE + self.arrival_s * SWEEP.sample_rate
        return SweepTake(samples=samples, start=start, silences=(samples[: BEFORE - 2000],))


def comb(
    first_dip_hz: float,
    reflection: float,
    *,
    ripples: Sequence[Filter] = (),
    ripple_db: float = 0.0,
    noise_dbfs: float = -90.0,
    room: int | None = None,
) -> Anomalous:
    """A delayed copy; a stronger one is where the recording is said to begin, as the finder of the stimulus does.

    room   seed of a reverberant tail; None: free field
    """
    tail = () if room is None else (Tail(room),)
    return Anomalous(
        parts=(DelayedCopy(first_dip_hz, reflection), *ripples, *tail),
        kind="dip",
        frequency_hz=first_dip_hz,
        minimum_phase=reflection < 1.0,
        ripple_db=ripple_db,
        noise_dbfs=noise_dbfs,
        reflection=reflection,
        arrival_s=0.0 if reflection < 1.0 else 0.5 / first_dip_hz,
    )


def resonance(
    centre_hz: float,
    q: float,
    gain_db: float,
    *,
    mirrored: bool = False,
    ripples: Sequence[Filter] = (),
    ripple_db: float = 0.0,
    noise_dbfs: float = -90.0,
) -> Anomalous:
    """A bell, or its inverse; `mirrored`: with zeros in the right half plane, a negative gain only."""
    shape = MirroredNotch(centre_hz, q, gain_db) if mirrored else bell(centre_hz, q, gain_db)
    return Anomalous(
        parts=(shape, *ripples),
        kind="peak" if gain_db > 0.0 else "dip",
        frequency_hz=centre_hz,
        minimum_phase=not mirrored,
        ripple_db=ripple_db,
        noise_dbfs=noise_dbfs,
        q=q,
    )


def random_comb(random: np.random.Generator, *, ripple_db: float, room: bool = False) -> Anomalous:
    """First dip at 100 Hz to 4 kHz; the weaker arrival 0.1 to 0.95 of the stronger, which is the later one in half."""
    weaker = random.uniform(0.1, 0.95)
    return comb(
        float(np.exp(random.uniform(np.log(100.0), np.log(4000.0)))),
        weaker if random.integers(2) else 1.0 / weaker,
        ripples=[ripple(random, ripple_db)] if ripple_db else (),
        ripple_db=ripple_db,
        noise_dbfs=random.uniform(-90.0, -60.0),
        room=int(random.integers(1 << 30)) if room else None,
    )


def random_resonance(random: np.random.Generator, *, ripple_db: float) -> Anomalous:
    """At 50 Hz to 5 kHz, Q 1.5 to 15, 4 to 15 dB up or down; half of the dips are not minimum-phase."""
    gain_db = float(random.choice([-1.0, 1.0]) * random.uniform(4.0, 15.0))
    return resonance(
        float(np.exp(random.uniform(np.log(50.0), np.log(5000.0)))),
        float(np.exp(random.uniform(np.log(1.5), np.log(15.0)))),
        gain_db,
        mirrored=bool(gain_db < 0.0 and random.integers(2)),
        ripples=[ripple(random, ripple_db)] if ripple_db else (),
        ripple_db=ripple_db,
        noise_dbfs=random.uniform(-90.0, -60.0),
    )
