"""Matched filters: where a known signal lies in a longer recording, to a fraction of a sample.

Two kinds. Correlation with the signal itself (the matched filter proper) is best in white noise and right for chirps
and tones. Division by its spectrum gives every frequency of the band the same weight, so an exponential sweep, whose
energy falls by 10 dB a decade, still ends in a sharp peak. Lags count from the recording's first sample; negative lags
are kept, so that a signal whose beginning was cut off is found before the recording.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from signals.levels import amplitude_to_db
from signals.tapers import log_rise, rise

FloatArray = npt.NDArray[np.float64]

REGULARISATION = 1e-3
"""Share of the band's mean energy added before dividing: 30 dB under the mean, where a sweep's top octave still lies
above it (a sweep over three decades spans 30 dB) and the gaps in a noise spectrum are not blown up."""

PEAK_REACH = 256
"""Samples on either side of a peak from which its summit is interpolated."""


@dataclass(frozen=True)
class Lags:
    """A filter's output: `values[i]` belongs to lag `first + i` in samples of the recording."""

    values: FloatArray
    first: int

    def between(self, first_lag: float, end_lag: float) -> "Lags":
        """The part from `first_lag` up to before `end_lag`, as far as it exists (possibly empty)."""
        low = min(max(round(first_lag) - self.first, 0), self.values.size)
        high = max(min(round(end_lag) - self.first, self.values.size), low)
        return Lags(self.values[low:high], self.first + low)

    def about(self, lag: int, reach: int) -> FloatArray:
        """Values from `lag - reach` to `lag + reach`, `(2 reach + 1,)`, 0 where there are none."""
        index = np.arange(lag - reach, lag + reach + 1) - self.first
        inside = (index >= 0) & (index < self.values.size)
        return np.where(inside, self.values[np.clip(index, 0, self.values.size - 1)], 0.0)

    def highest(self) -> int:
        """Lag at which the output is largest, whatever its sign. There must be values."""
        return self.first + int(np.argmax(np.abs(self.values)))

    def at(self, lag: int) -> float:
        """Output at a whole lag, which must exist."""
        return float(self.values[lag - self.first])


def correlate(recording: FloatArray, signal: FloatArray) -> Lags:
    """Matched filter: `sum over n of recording[lag + n] signal[n]`, recording `(r,)`, signal `(s,)`, every lag."""
    return Lags(np.asarray(scipy.signal.oaconvolve(recording, signal[::-1])), 1 - signal.size)


def deconvolve(recording: FloatArray, signal: FloatArray, *, band: tuple[float, float], whole: bool = False) -> Lags:
    """Response to `signal` `(s,)` seen in `recording` `(r,)`, over a band with smooth edges.

    band    cycles a sample
    whole   True: only lags at which all of the signal lies within the recording, for half of the memory; else every lag

    A recording of the signal itself gives a peak near 2 (high - low) at its lag.
    """
    before = 0 if whole else signal.size - 1
    # a circle of the recording's own length folds what lies before it onto lags that are not wanted
    length = scipy.fft.next_fast_len(recording.size + before, real=True)
    spectrum = scipy.fft.rfft(signal, length)
    share = _band_weight(scipy.fft.rfftfreq(length), band)
    energy = np.square(np.abs(spectrum))
    energy += REGULARISATION * float(np.average(energy, weights=share))
    share /= energy
    del energy  # sweeps of minutes at high rates fill gigabytes: nothing is held twice
    spectrum *= share
    del share
    np.conj(spectrum, out=spectrum)
    spectrum *= scipy.fft.rfft(recording, length)
    response = scipy.fft.irfft(spectrum, length, overwrite_x=True)
    if whole:
        return Lags(response[: recording.size - signal.size + 1], 0)
    return Lags(np.concatenate([response[length - before :], response[: recording.size]]), -before)


def _band_weight(frequency: FloatArray, band: tuple[float, float]) -> FloatArray:
    """1 inside, raised-cosine edges over log frequency: a fifth of the band at the bottom, a twentieth at the top."""
    low, high = band
    span = high / low
    return np.asarray(
        log_rise(frequency, from_hz=low, to_hz=low * span**0.2)
        * log_rise(frequency, from_hz=high, to_hz=high / span**0.05)
    )


def summit(output: Lags, lag: int) -> float:
    """Fractional lag of the band-limited peak of `output` that lies nearest to the whole `lag`.

    The neighbourhood is read as the trigonometric polynomial through its samples, under a window flat about the middle
    (a window that sloped there would pull the peak), and Newton's rule finds where the slope is zero.
    """
    offsets = np.arange(-PEAK_REACH, PEAK_REACH)
    near = output.about(lag, PEAK_REACH)[:-1]
    near = near * rise(2.0 * (1.0 - np.abs(offsets) / PEAK_REACH))
    spectrum = scipy.fft.rfft(np.roll(near, PEAK_REACH))
    omega = 2.0 * np.pi * scipy.fft.rfftfreq(offsets.size)
    place = 0.0
    for _ in range(8):
        turned = spectrum * np.exp(1j * omega * place)
        slope = float(np.sum(-omega * turned.imag))
        curvature = float(np.sum(-(omega**2) * turned.real))
        if curvature == 0.0:
            break
        place = float(np.clip(place - slope / curvature, -1.0, 1.0))
    return lag + place


def stands_out_db(output: Lags, lag: int, *, inner: float, outer: float) -> float:
    """dB by which the peak at `lag` stands above the r.m.s. of the output between `inner` and `outer` samples off it.

    NaN where the output does not reach that far on either side.
    """
    left = output.between(lag - outer, lag - inner).values
    right = output.between(lag + inner, lag + outer).values
    around = np.concatenate([left, right])
    if around.size == 0:
        return float("nan")
    background = float(np.sqrt(np.mean(np.square(around))))
    return float(amplitude_to_db(output.at(lag)) - amplitude_to_db(background))
