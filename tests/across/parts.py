"""Parts that are not in every condition, or whose place moves: beside a loudspeaker's ways, from physics alone."""

import math
from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy.fft
import scipy.signal

from tests.families.devices import Stimulus
from tests.families.filters import Band, ComplexArray, Filter, FloatArray, unity

LOWEST_DB, UNIT_DB = -12.0, 0.0
"""The lowest of three levels 6 dB apart, re the highest, which is amplitude 1."""


def _levels_above(amplitude: float) -> float:
    """0 at the lowest level, 1 at the highest."""
    return (20.0 * math.log10(amplitude) - LOWEST_DB) / (UNIT_DB - LOWEST_DB)


class Sounding(ABC):
    """A way that makes samples of what is played, and no order that a steady state could tell."""

    after: Filter

    def answers(self, played: Stimulus, amplitudes: Sequence[float]) -> list[ComplexArray]:
        """Spectrum at each amplitude."""
        heard = self.after(played.frequency_hz)
        return [np.asarray(scipy.fft.rfft(self.made(played, one)) * heard) for one in amplitudes]

    def steady(self, frequency_hz: FloatArray, amplitude: ComplexArray) -> ComplexArray:
        """Nothing."""
        return np.zeros((10, frequency_hz.size), dtype=np.complex128)

    @abstractmethod
    def made(self, played: Stimulus, amplitude: float) -> FloatArray:
        """Samples, at one amplitude."""


@dataclass(frozen=True, kw_only=True)
class Loose(Sounding):
    """What strikes once a cycle while its resonance carries it beyond a gap, and rings.

    gap        motion at which it strikes, re that of the loudest sweep at the resonance
    size       amplitude of a strike at the loudest
    regular    whether strikes repeat alike (a cabinet against a desk) or scatter in time and strength (a loose ring)
    """

    seed: int
    at_hz: float
    q: float
    gap: float
    size: float
    regular: bool
    after: Filter = unity

    def made(self, played: Stimulus, amplitude: float) -> FloatArray:
        """Samples, at one amplitude."""
        rate = played.sample_rate
        motion = amplitude * played.samples(played.spectrum * Band(at_hz=self.at_hz, q=self.q)(played.frequency_hz))
        beyond = motion > self.gap
        strikes = np.flatnonzero(beyond[1:] & ~beyond[:-1])
        clicks = np.zeros(motion.size)
        random = np.random.default_rng([self.seed, motion.size, round(1000.0 * amplitude)])
        fixed = np.random.default_rng([self.seed, 1])
        jitter, misses = fixed.uniform(0.02, 0.1), fixed.uniform(0.1, 0.4)
        for first, following in zip(strikes, np.append(strikes, motion.size)[1:], strict=True):
            cycle = min(int(following - first), rate // 20)
            strength = float(np.max(motion[first : first + cycle])) - self.gap
            at = int(first)
            if not self.regular:
                if random.random() < misses:
                    continue
                strength *= math.exp(random.normal(0.0, 0.5))
                at += round(random.normal(0.0, jitter) * cycle)
            if 0 <= at < clicks.size:
                clicks[at] += self.size * strength / (1.0 - self.gap)
        return np.asarray(scipy.signal.oaconvolve(clicks, self._ring(rate))[: motion.size])

    def _ring(self, rate: int) -> FloatArray:
        """Three decaying tones of the part, the same at every strike, with a peak of 1."""
        fixed = np.random.default_rng([self.seed, 2])
        time_s = np.arange(round(0.02 * rate)) / rate
        ring = np.zeros(time_s.size)
        for _ in range(3):
            hz, decay_s = fixed.uniform(900.0, 7000.0), fixed.uniform(5e-4, 4e-3)
            ring += fixed.normal() * np.sin(2.0 * math.pi * hz * time_s) * np.exp(-time_s / decay_s)
        return np.asarray(ring / np.max(np.abs(ring)))


@dataclass(frozen=True, kw_only=True)
class Jet(Sounding):
    """Turbulence in a port, as a power of the velocity there, whose place moves with level.

    wander_octaves  by how much, from the lowest to the highest level
    """

    seed: int
    at_hz: float
    q: float
    wander_octaves: float
    size: float
    growth: float
    after: Filter = unity

    def made(self, played: Stimulus, amplitude: float) -> FloatArray:
        """Samples, at one amplitude."""
        band = Band(at_hz=moved_hz(self.at_hz, self.wander_octaves, amplitude), q=self.q)
        velocity = amplitude * np.abs(played.samples(played.spectrum * band(played.frequency_hz)))
        random = np.random.default_rng([self.seed, velocity.size, round(1000.0 * amplitude)])
        fixed = np.random.default_rng([self.seed, 1])
        edges = [fixed.uniform(200.0, 400.0), fixed.uniform(1500.0, 4000.0)]
        hump: Any = scipy.signal.butter(1, edges, "band", fs=played.sample_rate)
        noise = scipy.signal.lfilter(*hump, random.standard_normal(velocity.size))
        return np.asarray(self.size * velocity**self.growth * noise / np.std(noise))


def moved_hz(at_hz: float, octaves: float, amplitude: float) -> float:
    """Where something stands at an amplitude that is at `at_hz` at the highest level."""
    return at_hz * 2.0 ** (octaves * (_levels_above(amplitude) - 1.0))


@dataclass(frozen=True, kw_only=True)
class Moving:
    """A loss about a place that moves with level, as the resonance of a spring that is worked harder.

    loss_db   at the highest level; it grows as the square of the amplitude
    """

    at_hz: float
    q: float
    wander_octaves: float
    loss_db: float
    before: Filter = unity
    after: Filter = unity

    def answers(self, played: Stimulus, amplitudes: Sequence[float]) -> list[ComplexArray]:
        """Spectrum at each amplitude."""
        found = []
        for one in amplitudes:
            taken = 1.0 - 10.0 ** (-self.loss_db * one**2 / 20.0)
            band = Band(at_hz=moved_hz(self.at_hz, self.wander_octaves, one), q=self.q)
            at_hz = played.frequency_hz
            found.append(
                np.asarray(-taken * one * played.spectrum * self.before(at_hz) * band(at_hz) * self.after(at_hz))
            )
        return found

    def steady(self, frequency_hz: FloatArray, amplitude: ComplexArray) -> ComplexArray:
        """Orders 1 to 10: the first alone."""
        found = np.zeros((10, frequency_hz.size), dtype=np.complex128)
        for place, one in enumerate(amplitude):
            taken = 1.0 - 10.0 ** (-self.loss_db * abs(one) ** 2 / 20.0)
            band = Band(at_hz=moved_hz(self.at_hz, self.wander_octaves, float(abs(one))), q=self.q)
            here = frequency_hz[place : place + 1]
            found[0, place] = (-taken * one * self.before(here) * band(here) * self.after(here))[0]
        return found
