"""From the recording of a sweep to the impulse response in which every order stands at its own time.

    h = irfft( W conj(X) / |X|^2 . rfft(recording) )

X is the spectrum of the sweep as it was played, W a pass band whose edges are smooth over log frequency: hard edges
ring, and their ringing falls into the windows of the orders. Components of order n arrive `L ln n` before the
fundamental (Farina, AES 108th Convention, 2000).
"""

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
import numpy.typing as npt

from distort.errors import AnalysisError
from signals.lengths import fast_length
from signals.levels import db_to_amplitude
from signals.sweep import Sweep
from signals.tapers import log_rise, rise

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

TAIL_S = 2.0
"""How much is used of what was recorded after the sweep: the reverberation that is looked at is shorter."""

EDGE_S = 0.05
"""Fade at either end of the part that is used, outside the sweep, so that hum and offset are not cut off hard."""

BAND_FULL_HZ_RE_FADE_IN = 1.05
"""The pass band is fully open from 1.05 times the end of the sweep's fade-in: lowest false orders of those tried."""


@dataclass(frozen=True, kw_only=True)
class InverseFilter:
    """Everything about the deconvolution that depends on the sweep and the length alone."""

    sweep: Sweep
    n_fft: int
    inverse: ComplexArray
    """W conj(X) / |X|^2 on the bins of a real FFT, `(n_fft // 2 + 1,)`."""
    spectrum: ComplexArray
    """X, on the same bins."""

    @property
    def bin_hz(self) -> float:
        """Spacing of the bins."""
        return self.sweep.sample_rate / self.n_fft

    @cached_property
    def inverse_power(self) -> FloatArray:
        """|inverse|^2."""
        return np.asarray(np.square(self.inverse.real) + np.square(self.inverse.imag))


@dataclass(frozen=True, kw_only=True)
class Deconvolved:
    """The impulse response of one recording, circular: times before the arrival wrap to the end."""

    filter: InverseFilter
    """Of the sweep at 0 dBFS, so that all drives share it; what was recorded is divided by the amplitude played."""
    impulse: FloatArray
    """`(n_fft,)`, recording's full scale per stimulus's full scale."""
    drive_dbfs: float
    """Of the sweep as it was played."""
    arrival: float
    """Where the fundamental arrives, samples; order n arrives `L ln n` earlier."""
    n_used: int
    """Samples of the recording that went in; the rest of `n_fft` is padding."""


def pass_band(frequency_hz: FloatArray, sweep: Sweep) -> FloatArray:
    """W: 0 to 1, elementwise; 1 from just above the sweep's fade-in to its fade-out."""
    return log_rise(
        frequency_hz, from_hz=sweep.start_hz, to_hz=BAND_FULL_HZ_RE_FADE_IN * sweep.full_level_hz
    ) * log_rise(frequency_hz, from_hz=sweep.stop_hz, to_hz=sweep.fade_out_hz)


@lru_cache(maxsize=8)
def inverse_filter(sweep: Sweep, n_fft: int) -> InverseFilter:
    """The inverse of `sweep` for transforms of `n_fft` samples; kept, because a session uses few of them."""
    spectrum = np.fft.rfft(sweep.samples(), n_fft)
    power = np.square(np.abs(spectrum))
    frequency_hz = np.asarray(np.arange(power.size) * (sweep.sample_rate / n_fft), dtype=np.float64)
    band = pass_band(frequency_hz, sweep)
    # Regularisation far below anything audible: it only keeps the empty bins outside the sweep from dividing by zero,
    # and a protected low end (lowest_hz) from being raised beyond 100 dB.
    least = 1e-10 * float(np.max(power * frequency_hz)) / np.maximum(frequency_hz, sweep.start_hz)
    inverse = np.asarray(band * np.conj(spectrum) / np.maximum(power, least), dtype=np.complex128)
    inverse.setflags(write=False)
    spectrum.setflags(write=False)
    return InverseFilter(sweep=sweep, n_fft=n_fft, inverse=inverse, spectrum=spectrum)


def padded_length(n_used: int, sweep: Sweep, orders: int) -> int:
    """A fast transform length that holds `n_used` samples and, circularly before them, all `orders`."""
    return fast_length(n_used + round(sweep.advance_s(orders + 1) * sweep.sample_rate))


def deconvolve(recording: FloatArray, sweep: Sweep, *, start: float, orders: int = 10) -> Deconvolved:
    """The impulse response of a recording of `sweep`.

    recording   `(samples,)` at the sweep's sample rate, full scale = 1
    start       where the sweep arrives in it, samples, fractions included (found by alignment)
    orders      how many orders there must be room for

    Raises AnalysisError when the recording does not hold the whole sweep, or holds values that are not numbers.
    """
    used, first = _used_part(recording, sweep, start)
    used /= float(db_to_amplitude(sweep.drive_dbfs))
    kept = inverse_filter(replace(sweep, drive_dbfs=0.0), padded_length(used.size, sweep, orders))
    spectrum = np.fft.rfft(used, kept.n_fft)
    spectrum *= kept.inverse
    impulse = np.fft.irfft(spectrum, kept.n_fft)
    return Deconvolved(
        filter=kept, impulse=impulse, drive_dbfs=sweep.drive_dbfs, arrival=start - first, n_used=used.size
    )


def _used_part(recording: FloatArray, sweep: Sweep, start: float) -> tuple[FloatArray, int]:
    """The sweep with a little before and `TAIL_S` after it, free of offset, faded outside the sweep; and its start."""
    edge = round(EDGE_S * sweep.sample_rate)
    begin = int(np.floor(start))
    last = begin + sweep.n_samples
    if begin < 0 or last > recording.size:
        raise AnalysisError(
            f"the sweep takes samples {begin} to {last}, but the recording has only {recording.size}: record all of it"
        )
    first = max(0, begin - edge)
    end = min(recording.size, last + round(TAIL_S * sweep.sample_rate))
    used = recording[first:end] - np.mean(recording[first:end])
    if not np.all(np.isfinite(used)):
        raise AnalysisError("the recording holds values that are not numbers: record it again")
    before, after = begin - first, min(edge, end - last)
    used[:before] *= rise(np.arange(before) / max(before, 1))
    if after:
        used[-after:] *= rise(np.arange(after)[::-1] / after)
    return used, first
