"""What lies beyond the tenth order, played through the sweep again: a high-pass that follows the sweep at 10.5 f."""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from distort.analysis.sweep.beyond import BEYOND_ORDER, HIGHEST_HZ, LOWEST_HZ, BeyondOrders
from distort.analysis.sweep.noise import NoiseDensity
from signals.lengths import fast_length
from signals.levels import db_to_amplitude
from signals.sweep import Sweep
from signals.tapers import log_rise

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex64]

LOWEST_HEARD_HZ = 600.0
"""Below it footsteps and ventilation come and go, and a loose part sounds higher."""

PLAYED_UP_TO_HZ = 640.0
"""Of the sweep: beyond 600 Hz no part is moved so far that it strikes or blows."""

BAND_EDGE = 1.1
"""The band begins and ends within this ratio."""

SMOOTHED_OCTAVES = 1.0 / 12.0
"""To either side: 35 bins of the silence's spectrum at 600 Hz, which knows each of them from a few blocks."""

TINY = 1e-30


@dataclass(frozen=True, kw_only=True, eq=False)
class Residual:
    """What a loudspeaker makes beyond the tenth order, against time."""

    sweep: Sweep
    """At 0 dBFS."""
    samples: FloatArray
    """`(samples,)`; whitened: a noise as that of the silence has a density of 1 per hertz. As recorded: re full
    scale."""
    first_s: float
    """Time of its first sample, seconds into the sweep as it arrives."""


@lru_cache(maxsize=8)
def _length(sweep: Sweep, n_impulse: int) -> tuple[int, int, int]:
    """First sample that is made, how many, and the length of the transforms."""
    rate = sweep.sample_rate
    first = math.floor(sweep.time_s(LOWEST_HZ) * rate)
    count = math.ceil(sweep.time_s(PLAYED_UP_TO_HZ) * rate) - first
    return first, count, fast_length(count + n_impulse)


@lru_cache(maxsize=4)
def _played(sweep: Sweep, n_impulse: int, n_before: int) -> ComplexArray:
    """Spectrum of the part of the sweep that `n_impulse` samples, the first `n_before` before the arrival, need."""
    first, count, n_fft = _length(sweep, n_impulse)
    wanted = np.arange(first + n_before - n_impulse + 1, first + n_before + count)
    samples = sweep.samples()
    inside = (wanted >= 0) & (wanted < samples.size)
    piece = np.where(inside, samples[np.clip(wanted, 0, samples.size - 1)], 0.0)
    spectrum = np.fft.rfft(piece.astype(np.float32), n_fft)
    spectrum.setflags(write=False)
    return np.asarray(spectrum)


def whitened(beyond: BeyondOrders, noise: NoiseDensity) -> Residual:
    """The residual over the noise of the silence, 0.6 to 16 kHz."""
    return _again(beyond, noise)


def as_recorded(beyond: BeyondOrders) -> Residual:
    """The residual as it stands in the recording, 0.6 to 16 kHz."""
    return _again(beyond, None)


def _again(beyond: BeyondOrders, noise: NoiseDensity | None) -> Residual:
    sweep, n_impulse = beyond.sweep, beyond.impulse.size
    rate = sweep.sample_rate
    first, count, n_fft = _length(sweep, n_impulse)
    n_before = math.ceil(-beyond.first_s * rate)
    spectrum = np.fft.rfft(beyond.impulse, n_fft)
    spectrum *= _played(sweep, n_impulse, n_before)
    spectrum *= _weights(noise, sweep, n_fft) * float(db_to_amplitude(beyond.drive_dbfs))
    made = np.fft.irfft(spectrum, n_fft)[n_impulse - 1 : n_impulse - 1 + count]
    late = beyond.first_s * rate + n_before  # its first sample lies between two of the sweep's
    return Residual(sweep=sweep, samples=np.asarray(made, dtype=np.float64), first_s=(first + late) / rate)


def _weights(noise: NoiseDensity | None, sweep: Sweep, n_fft: int) -> npt.NDArray[np.float32]:
    frequency_hz, band = _band(sweep, n_fft)
    if noise is not None:
        low_hz, high_hz = heard_hz(sweep)
        density = np.maximum(_smoothed(noise), TINY)
        heard = (noise.frequency_hz > low_hz) & (noise.frequency_hz < high_hz)
        if np.any(heard):
            density *= np.mean(noise.density[heard] / density[heard])  # so that the silence has 1 per hertz in all
        band = band * np.interp(frequency_hz, noise.frequency_hz, 1.0 / np.sqrt(density))
    return np.asarray(band, dtype=np.float32)


@lru_cache(maxsize=4)
def _band(sweep: Sweep, n_fft: int) -> tuple[FloatArray, FloatArray]:
    """Bins of the transforms, Hz, and what is let through there, 0 to 1; kept as `_played` is."""
    frequency_hz = np.asarray(np.arange(n_fft // 2 + 1) * (sweep.sample_rate / n_fft), dtype=np.float64)
    low_hz, high_hz = heard_hz(sweep)
    band = log_rise(frequency_hz, from_hz=low_hz, to_hz=BAND_EDGE * low_hz) * log_rise(
        frequency_hz, from_hz=high_hz, to_hz=high_hz / BAND_EDGE
    )
    band.setflags(write=False)
    return frequency_hz, band


def _smoothed(noise: NoiseDensity) -> FloatArray:
    """The density, but nowhere under its mean about there: a short silence scatters it, and what is read too low by
    chance would be raised; lines of hum stay as they are."""
    running = np.concatenate([[0.0], np.cumsum(noise.density)])
    bin_ = np.arange(noise.density.size)
    first = np.floor(bin_ * 2.0**-SMOOTHED_OCTAVES).astype(np.int64)
    end = np.minimum(np.ceil(bin_ * 2.0**SMOOTHED_OCTAVES).astype(np.int64) + 1, bin_.size)
    return np.asarray(np.maximum(noise.density, (running[end] - running[first]) / (end - first)))


def heard_hz(sweep: Sweep) -> tuple[float, float]:
    """The band of the residual, Hz."""
    return LOWEST_HEARD_HZ, min(HIGHEST_HZ, sweep.fade_out_hz)


def bandwidth_hz(sweep: Sweep, sweep_hz: FloatArray) -> FloatArray:
    """B: of the residual while the sweep passes `sweep_hz` (any shape); 0 where nothing is left."""
    low_hz, high_hz = heard_hz(sweep)
    return np.maximum(high_hz - np.maximum(low_hz, BEYOND_ORDER * sweep_hz), 0.0)
