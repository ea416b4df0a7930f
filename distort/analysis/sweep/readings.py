"""Smoothed powers of every order over the frequency grid, with their noise, decay losses and leaks.

Everything here is a power ratio at the frequency that the order has in the air, `n f`; what is made of it (re the
fundamental, in dB SPL, as a sum) is in `harmonics`.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.common.smoothing import PowerSpectrum, band_width_hz
from distort.analysis.sweep.noise import BLOCK_S, NoiseDensity, deconvolved_noise
from distort.analysis.sweep.orders import SeparatedOrders, WindowedSpectrum
from distort.analysis.sweep.uncertainty import noise_averaging, relative_variance

FloatArray = npt.NDArray[np.float64]

DECAY_OCTAVES = 1.0 / 3.0
"""Decay losses and leaks are means over at least a third of an octave: a room's decay has no finer meaning."""

MOST_SUBTRACTED = 0.9
"""At most 10 dB are taken off a reading as noise, so that one at its floor still has a place on the scale."""

USABLE_DECAY_SNR = 10.0
"""The fundamental must stand this far (as a power ratio) above noise before its decay is believed."""

LEAST_KEPT = 0.1
"""A window that seems to keep less of the decay than this is not made good any further."""


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One order on the grid of excitation frequencies, `(rows,)` each; NaN where `n f` is outside the stimulus.

    All are powers per squared amplitude of the stimulus at the excitation frequency.
    """

    power: FloatArray
    """Noise removed, decay loss of the window made good."""
    noise: FloatArray
    """Expected noise power within the unreduced reading; what rounding may add is in it as well."""
    leak: FloatArray
    """Expected power of the next order's decay in this window; NaN where the next order was not separated."""
    variance: FloatArray
    """Variance of `power` from noise, relative to its square."""


@dataclass(frozen=True, kw_only=True)
class _Context:
    separated: SeparatedOrders
    noise_per_energy: PowerSpectrum | None
    silence_s: float
    excitation_hz: FloatArray
    octaves: float


def readings(
    separated: SeparatedOrders,
    *,
    noise: NoiseDensity | None,
    excitation_hz: FloatArray,
    octaves: float,
) -> tuple[Reading, ...]:
    """Readings of orders 1 ... N at `excitation_hz` `(rows,)`, smoothed over `octaves` (0: not at all).

    Without `noise` (no silence recorded) nothing is subtracted, and the readings' `noise` and `variance` are NaN.
    """
    context = _Context(
        separated=separated,
        noise_per_energy=None
        if noise is None
        else deconvolved_noise(noise, separated.filter, drive_dbfs=separated.drive_dbfs),
        silence_s=0.0 if noise is None else noise.seconds,  # of all takes together
        excitation_hz=excitation_hz,
        octaves=octaves,
    )
    found = [_reading(context, order) for order in range(1, len(separated.spectra) + 1)]
    return tuple(_with_leak(context, found, order) for order in range(1, len(found) + 1))


def silence_averages(silence_s: float, width_hz: FloatArray) -> FloatArray:
    """How many independent readings of noise stand behind its power in bands `width_hz` wide, `(bands,)`."""
    return np.asarray(np.maximum(silence_s / BLOCK_S, 1.0) * np.maximum(width_hz * BLOCK_S, 1.0))


def _smooth(context: _Context, spectrum: WindowedSpectrum, at_hz: FloatArray, octaves: float) -> tuple[FloatArray, ...]:
    """Smoothed power and expected noise of one windowed spectrum."""
    power = spectrum.power.smoothed(at_hz, octaves)
    if context.noise_per_energy is None:
        return power, np.full_like(power, np.nan)
    energy = spectrum.energy / context.separated.takes  # the mean of several takes has so much less noise
    return power, energy * context.noise_per_energy.smoothed(at_hz, octaves)


def _less(power: FloatArray, noise: FloatArray) -> FloatArray:
    """Power less the expected noise, but never less MOST_SUBTRACTED of itself; unknown noise takes nothing off."""
    return np.asarray(power - np.minimum(np.nan_to_num(noise), MOST_SUBTRACTED * power))


def _reading(context: _Context, order: int) -> Reading:
    sweep = context.separated.sweep
    spectrum = context.separated.spectra[order - 1]
    at_hz = order * context.excitation_hz
    within = (at_hz <= sweep.fade_out_hz) & (context.excitation_hz >= sweep.start_hz)
    power, noise = _smooth(context, spectrum, at_hz, context.octaves)
    made_good = _decay_loss(context, order, at_hz) * np.square(sweep.envelope(at_hz))
    signal = _less(power, noise)
    width_hz = band_width_hz(at_hz, context.octaves)
    cross, square = noise_averaging(spectrum.window, sweep.sample_rate).factors(width_hz)
    averages = silence_averages(context.silence_s, width_hz)
    variance = relative_variance(signal, noise, cross=cross, square=square, silence_averages=averages)
    return Reading(
        power=np.where(within, signal * made_good, np.nan),
        noise=np.where(within, noise * made_good, np.nan),
        leak=np.full_like(power, np.nan),
        variance=np.where(within, variance, np.nan),
    )


def _decay_ratio(context: _Context, spectrum: WindowedSpectrum, at_hz: FloatArray) -> FloatArray:
    """Share of the fundamental's power that `spectrum`, a later or shorter cut of it, holds; NaN where unknown."""
    octaves = max(DECAY_OCTAVES, context.octaves)
    whole, whole_noise = _smooth(context, context.separated.spectra[0], at_hz, octaves)
    part, part_noise = _smooth(context, spectrum, at_hz, octaves)
    believed = whole > USABLE_DECAY_SNR * np.nan_to_num(whole_noise)
    with np.errstate(invalid="ignore", divide="ignore"):  # beyond the sweep there is nothing to compare
        share = _less(part, part_noise) / _less(whole, whole_noise)
    return np.where(believed, share, np.nan)


def _decay_loss(context: _Context, order: int, at_hz: FloatArray) -> FloatArray:
    """What the reading is multiplied by, because the window of `order` is shorter than the fundamental's.

    The path from the non-linearity to the microphone rings at `n f`; the fundamental at that same frequency shows which
    share of the ringing the shorter window keeps.
    """
    share = _decay_ratio(context, context.separated.fundamental_in[order - 1], at_hz)
    return np.where(share > 0, 1.0 / np.clip(share, LEAST_KEPT, 1.0), 1.0)


def _with_leak(context: _Context, found: list[Reading], order: int) -> Reading:
    """The reading of `order` with what the decay of order + 1 adds to it, as the fundamental's own decay predicts."""
    own = found[order - 1]
    if order == len(found):
        return own
    at_hz = order * context.excitation_hz
    share = _decay_ratio(context, context.separated.fundamental_leak[order - 1], at_hz)
    # order + 1 sounds at n f when the excitation is at n f / (n + 1)
    next_power = np.interp(at_hz / (order + 1), context.excitation_hz, found[order].power, left=np.nan, right=np.nan)
    return Reading(power=own.power, noise=own.noise, leak=share * next_power, variance=own.variance)
