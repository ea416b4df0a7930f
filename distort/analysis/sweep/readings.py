"""Smoothed powers of every order over the frequency grid, with their noise, decay losses and leaks.

Everything here is a power ratio at the frequency that the order has in the air, `n f`; what is made of it (re the
fundamental, in dB SPL, as a sum) is in `harmonics`.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from distort.analysis.common.smoothing import band_width_hz
from distort.analysis.sweep.decay import Separation, less_noise, separation
from distort.analysis.sweep.noise import BLOCK_S, NoiseDensity
from distort.analysis.sweep.orders import SeparatedOrders
from distort.analysis.sweep.uncertainty import noise_averaging, relative_variance

FloatArray = npt.NDArray[np.float64]


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
    return readings_in(separation(separated, noise=noise, excitation_hz=excitation_hz, octaves=octaves))


def readings_in(context: Separation) -> tuple[Reading, ...]:
    """The same of orders whose noise is known already."""
    made_good, leaks = zip(*context.decays, strict=True)
    found = [_reading(context, order, made) for order, made in enumerate(made_good, start=1)]
    return tuple(_with_leak(context, found, order, leak) for order, leak in enumerate(leaks, start=1))


def silence_averages(silence_s: float, width_hz: FloatArray) -> FloatArray:
    """How many independent readings of noise stand behind its power in bands `width_hz` wide, `(bands,)`."""
    return np.asarray(np.maximum(silence_s / BLOCK_S, 1.0) * np.maximum(width_hz * BLOCK_S, 1.0))


def _reading(context: Separation, order: int, made_good: FloatArray) -> Reading:
    sweep = context.separated.sweep
    spectrum = context.separated.spectra[order - 1]
    at_hz = order * context.excitation_hz
    within = (at_hz <= sweep.fade_out_hz) & (context.excitation_hz >= sweep.start_hz)
    ((power, noise),) = context.smoothed([spectrum], at_hz, context.octaves)
    times = made_good * np.square(sweep.envelope(at_hz))
    signal = less_noise(power, noise)
    width_hz = band_width_hz(at_hz, context.octaves)
    cross, square = noise_averaging(spectrum.window, sweep.sample_rate).factors(width_hz)
    averages = silence_averages(context.silence_s, width_hz)
    variance = relative_variance(signal, noise, cross=cross, square=square, silence_averages=averages)
    return Reading(
        power=np.where(within, signal * times, np.nan),
        noise=np.where(within, noise * times, np.nan),
        leak=np.full_like(power, np.nan),
        variance=np.where(within, variance, np.nan),
    )


def _with_leak(context: Separation, found: list[Reading], order: int, share: FloatArray) -> Reading:
    """The reading of `order` with what the decay of order + 1 adds to it, as the fundamental's own decay predicts."""
    own = found[order - 1]
    if order == len(found):
        return own
    at_hz = order * context.excitation_hz
    # order + 1 sounds at n f when the excitation is at n f / (n + 1)
    next_power = np.interp(at_hz / (order + 1), context.excitation_hz, found[order].power, left=np.nan, right=np.nan)
    return replace(own, leak=share * next_power)
