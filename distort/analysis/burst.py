"""What a series of tone bursts says: peak, compression and harmonic distortion, a value a band.

A Hann burst of m periods of f has its energy between f (1 - 2 / m) and f (1 + 2 / m), its lobe; order n of it lies
about n f. With X the spectrum of a recording from a little before a burst to a little before the next,

    E_n = integral over n f -+ 2 f / m of 2 |X|^2 df        energy of order n, full scale squared times seconds
    h_n = 10 lg (E_n / E_1)                                 order n, dB re the fundamental
    C   = (d_L - d_0) - 10 lg (E_1,L / E_1,0)               compression at drive d_L re the lowest drive d_0, dB

The noise that the silences hold is taken off every energy. What a burst itself has outside its lobe, as played and
through the response that the other bands show, is a floor of its orders: it is told, not taken off.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.common.log_frequency import over_log_frequency
from distort.analysis.common.microphone import MicrophoneResponse
from distort.analysis.sweep.noise import NoiseDensity, noise_density
from signals.burst import BurstSeries
from signals.tapers import rise

FloatArray = npt.NDArray[np.float64]

ORDERS = (2, 3, 4, 5, 6, 7, 8)
"""Those whose limits the trade states for bursts (common practice, no source)."""

BEFORE_S, RISE_S, FALL_S = 0.02, 0.005, 0.05
"""A recording of a burst begins so long before it, and its ends are faded so fast: before the burst nothing sounds, and
what is still heard so long after it is the room."""

HIGHEST_SHARE = 0.45
"""Of a sample rate: above it a converter's filter begins to act."""

LEAST_SHARE = 1e-3
"""Of the noise: an energy that is less cannot be told from nothing."""


@dataclass(frozen=True, kw_only=True)
class BurstTake:
    """One recording of a series, ready to be analysed."""

    samples: FloatArray
    """`(samples,)` at the series's sample rate, full scale 1."""
    start: float
    """Where the series arrives, samples."""
    silences: tuple[FloatArray, ...]
    recorded_hz: int
    """The sample rate at which it was recorded."""


@dataclass(frozen=True, kw_only=True)
class BurstReading:
    """One take, or the mean of several. Orders are 1 and those of `ORDERS`, `(orders, bands)`."""

    frequency_hz: FloatArray
    """`(bands,)`"""
    energy: FloatArray
    """Of each order, noise taken off; NaN above what was recorded, and where the microphone's response is not known."""
    noise: FloatArray
    """What was taken off, on average."""
    leak: FloatArray
    """What the burst as played has there, through the response of the bands; 0 for the fundamental."""
    peak: FloatArray
    """`(bands,)`: amplitude of the fundamental at the envelope's top, full scale 1."""


def read_bursts(
    takes: Sequence[BurstTake], series: BurstSeries, microphone: MicrophoneResponse | None = None
) -> BurstReading:
    """Read the takes of one series and average their energies; without `microphone`, if one is given.

    Where no take has a silence, nothing is taken off, and the floor is NaN.
    """
    bands_hz = np.array(series.bands_hz)
    silences = [one for take in takes for one in take.silences]
    noise = noise_density(silences, sample_rate=series.sample_rate) if silences else None
    lobes = [_lobes(series, band) for band in range(bands_hz.size)]
    energy, expected, peak = [], [], []
    played = [_read(_cut(series.samples(), 0.0, series, band), lobes[band], series) for band in range(bands_hz.size)]
    for band in range(bands_hz.size):
        read = [_read(_cut(take.samples, take.start, series, band), lobes[band], series) for take in takes]
        weight = float(np.sum(np.square(_window(series, band)))) / series.sample_rate
        energy.append(np.mean([each[0] for each in read], axis=0))
        expected.append([weight * _noise_between(noise, lobe) for lobe in lobes[band]])
        top = float(np.sqrt(np.mean([np.square(each[1]) for each in read])))
        peak.append(top / played[band][1] * 10.0 ** (series.drive_dbfs / 20.0))  # the lobe alone rounds the top off
    heard, floor = np.array(energy).T, np.array(expected).T
    own = np.array([each[0] for each in played]).T
    orders = np.array([1, *ORDERS])[:, np.newaxis]
    left = heard if noise is None else np.maximum(heard - floor, LEAST_SHARE * floor)
    leak = np.where(orders > 1, own * _response(bands_hz, left[0] / own[0], orders * bands_hz), 0.0)
    highest_hz = HIGHEST_SHARE * min([series.sample_rate, *(take.recorded_hz for take in takes)])
    known = orders * bands_hz <= highest_hz
    gain_db = np.zeros_like(left) if microphone is None else microphone.at(orders * bands_hz)
    scale = np.where(known, 10.0 ** (-gain_db / 10.0), np.nan)
    return BurstReading(
        frequency_hz=bands_hz,
        energy=left * scale,
        noise=floor * scale,
        leak=leak * scale,
        peak=np.array(peak) * np.sqrt(scale[0]),
    )


def _lobes(series: BurstSeries, band: int) -> list[tuple[float, float]]:
    """(low, high) in Hz about the fundamental and each order."""
    middle_hz = series.bands_hz[band]
    reach_hz = 2.0 * middle_hz / series.periods
    return [(max(n * middle_hz - reach_hz, 0.0), n * middle_hz + reach_hz) for n in (1, *ORDERS)]


def _window(series: BurstSeries, band: int) -> FloatArray:
    """From a little before a burst to as much before the next: 1, with faded ends."""
    rate = series.sample_rate
    gap = round(series.gap_s * rate)
    length = series.bursts[band].n_samples + gap
    seconds = np.arange(length) / rate
    fall_s = min(FALL_S, series.gap_s / 4.0)
    rise_s = min(RISE_S, series.gap_s / 8.0)
    return np.asarray(rise(seconds / rise_s) * rise((length / rate - seconds) / fall_s))


def _cut(samples: FloatArray, start: float, series: BurstSeries, band: int) -> FloatArray:
    """The stretch of one burst under its window; zeros where the recording has none."""
    window = _window(series, band)
    before_s = min(BEFORE_S, series.gap_s / 4.0)
    first = round(start) + series.starts[band] - round(before_s * series.sample_rate)
    piece = samples[max(first, 0) : max(first + window.size, 0)]
    missing = min(max(-first, 0), window.size)
    return np.asarray(np.pad(piece, (missing, window.size - missing - piece.size)) * window)


def _read(piece: FloatArray, lobes: Sequence[tuple[float, float]], series: BurstSeries) -> tuple[FloatArray, float]:
    """Energy in each lobe, and the highest amplitude of what lies in the first, by its envelope."""
    size = int(scipy.fft.next_fast_len(4 * piece.size, real=False))
    spectrum = np.asarray(scipy.fft.fft(piece, size))[: size // 2]
    frequency_hz = np.asarray(np.arange(spectrum.size) * (series.sample_rate / size), dtype=np.float64)
    density: FloatArray = (2.0 * np.square(np.abs(spectrum)) / series.sample_rate**2).astype(np.float64)
    energy = np.array([_between(frequency_hz, density, lobe) for lobe in lobes])
    inside = (frequency_hz >= lobes[0][0]) & (frequency_hz <= lobes[0][1])
    analytic = scipy.fft.ifft(np.where(inside, 2.0 * spectrum, 0.0), size)
    return energy, float(np.max(np.abs(analytic)))


def _noise_between(noise: NoiseDensity | None, band_hz: tuple[float, float]) -> float:
    """Integral of the noise over a band; NaN where none is known."""
    return math.nan if noise is None else _between(noise.frequency_hz, noise.density, band_hz)


def _between(frequency_hz: FloatArray, density: FloatArray, band_hz: tuple[float, float]) -> float:
    """Integral of a density over a band from 0 Hz or higher; beyond its frequencies there is nothing."""
    inside = (frequency_hz > band_hz[0]) & (frequency_hz < band_hz[1])
    at_hz = np.concatenate([[band_hz[0]], frequency_hz[inside], [band_hz[1]]])
    return float(scipy.integrate.trapezoid(np.interp(at_hz, frequency_hz, density, right=0.0), at_hz))


def _response(bands_hz: FloatArray, gain: FloatArray, at_hz: FloatArray) -> FloatArray:
    """Power gain of the bands between them, over log frequency; that of the nearest beyond their ends."""
    return np.asarray(np.exp(over_log_frequency(at_hz, bands_hz, np.log(gain))))
