"""What a window keeps of a room's decay, read on the fundamental's own decay at the same frequency."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from distort.analysis.common.smoothing import PowerSpectrum
from distort.analysis.sweep.noise import NoiseDensity, deconvolved_noise
from distort.analysis.sweep.orders import SeparatedOrders, WindowedSpectrum

FloatArray = npt.NDArray[np.float64]

DECAY_OCTAVES = 1.0 / 3.0
"""Decay losses and leaks are means over at least a third of an octave: a room's decay has no finer meaning."""

MOST_SUBTRACTED = 0.9
"""At most 10 dB are taken off a reading as noise, so that one at its floor still has a place on the scale."""

USABLE_DECAY_SNR = 10.0
"""The fundamental must stand this far (as a power ratio) above noise before its decay is believed."""

LEAST_KEPT = 0.1
"""A window that seems to keep less of the decay than this is not made good any further."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Separation:
    """The orders of a sweep, the noise in them, and where they are read."""

    separated: SeparatedOrders
    noise_per_energy: PowerSpectrum | None
    """None where no silence was recorded."""
    silence_s: float
    """Of all takes together."""
    excitation_hz: FloatArray
    octaves: float
    """Width of the smoothing; 0: none."""

    def smoothed(
        self, spectra: Sequence[WindowedSpectrum], at_hz: FloatArray, octaves: float
    ) -> list[tuple[FloatArray, FloatArray]]:
        """Smoothed power and expected noise of windowed spectra, `(rows,)` each; the noise NaN where unknown."""
        noise = np.full_like(at_hz, np.nan)
        if self.noise_per_energy is not None:
            # the mean of several takes has so much less noise
            noise = self.noise_per_energy.smoothed(at_hz, octaves) / self.separated.takes
        return [(one.power.smoothed(at_hz, octaves), one.energy * noise) for one in spectra]

    def kept(
        self, cuts: Sequence[WindowedSpectrum], at_hz: FloatArray, octaves: float, *, whole: WindowedSpectrum
    ) -> tuple[FloatArray, ...]:
        """Share of the power of `whole` that each of `cuts`, later or shorter cuts of it, holds, `(rows,)` each.

        NaN where noise hides it.
        """
        (every, every_noise), *parts = self.smoothed((whole, *cuts), at_hz, octaves)
        believed = every > USABLE_DECAY_SNR * known(every_noise)
        with np.errstate(invalid="ignore", divide="ignore"):  # beyond the sweep there is nothing to compare
            signal = less_noise(every, every_noise)
            return tuple(np.where(believed, less_noise(part, noise) / signal, np.nan) for part, noise in parts)

    @property
    def decay_octaves(self) -> float:
        """Over how much of an octave a decay is read."""
        return max(DECAY_OCTAVES, self.octaves)

    @cached_property
    def decays(self) -> tuple[tuple[FloatArray, FloatArray], ...]:
        """`made_good_and_leak` of every order from 1 on."""
        return tuple(self.made_good_and_leak(order) for order in range(1, len(self.separated.spectra) + 1))

    def made_good_and_leak(self, order: int) -> tuple[FloatArray, FloatArray]:
        """What the reading of `order` is multiplied by, because its window is shorter than the fundamental's, and the
        share of the power of order + 1 that its decay leaves in this window.

        The path from the non-linearity to the microphone rings at `n f`; the fundamental at that same frequency shows
        which share of the ringing the shorter window keeps, and which the window that lies behind.
        """
        cuts = self.separated.fundamental_in[order - 1], self.separated.fundamental_leak[order - 1]
        at_hz = order * self.excitation_hz
        share, leak = self.kept(cuts, at_hz, self.decay_octaves, whole=self.separated.spectra[0])
        return np.where(share > 0, 1.0 / np.clip(share, LEAST_KEPT, 1.0), 1.0), leak


def separation(
    separated: SeparatedOrders, *, noise: NoiseDensity | None, excitation_hz: FloatArray, octaves: float
) -> Separation:
    """`separated` with its noise, to be read at `excitation_hz` `(rows,)`; without `noise` no silence was recorded."""
    return Separation(
        separated=separated,
        noise_per_energy=None
        if noise is None
        else deconvolved_noise(noise, separated.filter, drive_dbfs=separated.drive_dbfs),
        silence_s=0.0 if noise is None else noise.seconds,
        excitation_hz=excitation_hz,
        octaves=octaves,
    )


def less_noise(power: FloatArray, noise: FloatArray) -> FloatArray:
    """Power less the expected noise, but never less MOST_SUBTRACTED of itself; unknown noise takes nothing off."""
    return np.asarray(power - np.minimum(known(noise), MOST_SUBTRACTED * power))


def known(noise: FloatArray) -> FloatArray:
    """`noise`, 0 where it is NaN, elementwise."""
    return np.where(np.isnan(noise), 0.0, noise)
