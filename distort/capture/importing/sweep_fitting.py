"""An exponential sweep that another program made: what it is, read from its samples, and whether it is one.

The analytic signal gives phase and amplitude. An exponential sweep has the phase `2 pi f1 L exp(t / L) + c`; its three
unknowns are fitted to the phase where it is at full level, and what is left of the samples says how good the fit is.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import scipy

from distort.errors import RecordingError
from signals import Reel, SampledSweep, SignalError, Silence, hold_samples
from signals.levels import amplitude_to_db

FloatArray = npt.NDArray[np.float64]

STILL = 10.0 ** (-80.0 / 20.0)
"""Share of the peak below which the file counts as silent before and after the sweep: dither of 16 bits is less."""

MIDDLE = (0.15, 0.85)
"""Share of the sweep's time that is fitted first: beyond common fades."""

LEAST_OCTAVES = 2.0
"""Within the middle: less is a tone that drifts."""

FULL = 0.98
"""Of the steady amplitude, from which a fade counts as over."""

LARGEST_RESIDUAL_DB = -40.0
"""Left of the samples in the middle, re the sweep: 1 %. Sweeps of other programs leave their rounding (under -80 dB);
through any loudspeaker, or as an equal-rate sweep, more than -10 dB is left."""

SETTLE_S = 0.95
"""After the sweep a room rings on: noise is read from there."""


@dataclass(frozen=True, kw_only=True)
class FittedSweep:
    """What a file holds."""

    sweep: SampledSweep
    reel: Reel
    """The sweep between the silences of the file, as far as it has any."""
    residual_db: float
    """What the fit leaves of the samples over the middle of the sweep, re the sweep."""


@dataclass(frozen=True)
class _Fit:
    start_hz: float
    rate_s: float
    offset: float

    def phase(self, time_s: FloatArray) -> FloatArray:
        return np.asarray(2.0 * np.pi * self.start_hz * self.rate_s * np.expm1(time_s / self.rate_s) + self.offset)


def fit_sweep(samples: FloatArray, sample_rate: int, *, what: str) -> FittedSweep:
    """The exponential sweep in `samples` `(n,)`, full scale 1, perhaps between silences; `what` names it in errors.

    Raises RecordingError when it is silent, too short, falls in frequency, or is no exponential sweep of steady level.
    """
    first, end = _sounding(samples, sample_rate, what)
    sound = samples[first:end]
    time_s = np.asarray(np.arange(sound.size) / sample_rate)
    analytic = _analytic(sound)
    fit = _fitted(analytic, time_s, what)
    carried = analytic * np.exp(-1j * fit.phase(time_s))
    middle = slice(round(MIDDLE[0] * sound.size), round(MIDDLE[1] * sound.size))
    amplitude = float(np.median(np.abs(carried[middle])))
    left = np.real((carried - amplitude) * np.exp(1j * fit.phase(time_s)))[middle]
    residual_db = float(amplitude_to_db(math.sqrt(float(np.mean(np.square(left)))) / (amplitude / math.sqrt(2.0))))
    if residual_db > LARGEST_RESIDUAL_DB:
        raise RecordingError(
            f"{what} is no exponential sweep of steady level: the best fit, from {fit.start_hz:.3g} Hz with "
            f"{fit.rate_s * math.log(2.0):.3g} s an octave, leaves {residual_db:.0f} dB of it, where "
            f"{LARGEST_RESIDUAL_DB:.0f} dB is allowed; give the file that was played, not its recording"
        )
    sweep = _described(sound, fit, np.abs(carried), amplitude=amplitude, sample_rate=sample_rate, what=what)
    return FittedSweep(
        sweep=sweep,
        reel=_between_silences(sweep, before=first, after=samples.size - end),
        residual_db=residual_db,
    )


def _sounding(samples: FloatArray, sample_rate: int, what: str) -> tuple[int, int]:
    loud = np.flatnonzero(np.abs(samples) > STILL * float(np.max(np.abs(samples), initial=0.0)))
    if loud.size == 0:
        raise RecordingError(f"{what} is silent: name the file of the sweep")
    first, end = int(loud[0]), int(loud[-1]) + 1
    if end - first < 0.1 * sample_rate:
        raise RecordingError(f"{what} sounds for {(end - first) / sample_rate:.3f} s only: that is no sweep")
    margin = round(1e-3 * sample_rate)  # the first and last turns of a fade lie below the limit
    return max(first - margin, 0), min(end + margin, samples.size)


def _analytic(sound: FloatArray) -> npt.NDArray[np.complex128]:
    """The samples and, as imaginary part, their Hilbert transform; padded, so that the ends do not meet."""
    length = scipy.fft.next_fast_len(2 * sound.size, real=True)
    spectrum: Any = scipy.fft.rfft(sound, length)
    spectrum[1:-1] *= 2.0
    full = np.zeros(length, dtype=np.complex128)
    full[: spectrum.size] = spectrum
    return np.asarray(scipy.fft.ifft(full)[: sound.size])


def _fitted(analytic: npt.NDArray[np.complex128], time_s: FloatArray, what: str) -> _Fit:
    """First a straight line through the logarithm of the frequency, then Gauss and Newton on the phase itself."""
    inside = slice(round(MIDDLE[0] * time_s.size), round(MIDDLE[1] * time_s.size))
    phase = np.unwrap(np.angle(analytic[inside]))
    t = time_s[inside]
    frequency_hz = np.gradient(phase, t) / (2.0 * np.pi)
    rising = frequency_hz > 0.0
    if np.mean(rising) < 0.9:
        raise RecordingError(f"{what} is no exponential sweep: its frequency does not rise throughout")
    slope, log_start = np.polyfit(t[rising], np.log(frequency_hz[rising]), 1)
    if slope <= 0.0:
        raise RecordingError(f"{what} is no exponential sweep: its frequency falls, or stays; one that rises is needed")
    start_hz, rate_s = math.exp(log_start), 1.0 / slope
    offset = float(np.mean(phase - _Fit(start_hz, rate_s, 0.0).phase(t)))
    for _ in range(20):
        fit = _Fit(start_hz, rate_s, offset)
        growth = np.exp(t / rate_s)
        by_start = 2.0 * np.pi * rate_s * (growth - 1.0)
        by_rate = 2.0 * np.pi * start_hz * (growth - 1.0 - growth * t / rate_s)
        step, *_ = np.linalg.lstsq(
            np.stack([by_start * start_hz, by_rate * rate_s, np.ones(t.size)], axis=1), phase - fit.phase(t), rcond=None
        )
        start_hz, rate_s = start_hz * math.exp(step[0]), rate_s * math.exp(step[1])
        offset += float(step[2])
        if max(abs(step[0]), abs(step[1])) < 1e-13:
            break
    octaves = (t[-1] - t[0]) / rate_s / math.log(2.0)
    if not octaves > LEAST_OCTAVES:
        raise RecordingError(
            f"{what} is no exponential sweep: the best fit, from {start_hz:.4g} Hz, rises {octaves:.1f} octaves in "
            f"its middle, where {LEAST_OCTAVES:g} are the least; name the file of the sweep that was played"
        )
    return _Fit(start_hz, rate_s, offset)


def _described(
    sound: FloatArray, fit: _Fit, envelope: FloatArray, *, amplitude: float, sample_rate: int, what: str
) -> SampledSweep:
    seconds = sound.size / sample_rate
    stop_hz = min(fit.start_hz * math.exp(seconds / fit.rate_s), 0.4999 * sample_rate)
    smooth = scipy.ndimage.uniform_filter1d(envelope, max(round(2e-3 * sample_rate), 1))
    full = np.flatnonzero(smooth >= FULL * amplitude)
    fade_in_s, fade_out_s = full[0] / sample_rate, full[-1] / sample_rate
    full_level_hz = fit.start_hz * max(math.exp(fade_in_s / fit.rate_s), 1.01)
    fade_out_hz = min(fit.start_hz * math.exp(fade_out_s / fit.rate_s), stop_hz / 1.01)
    drive_dbfs = float(amplitude_to_db(amplitude))
    try:
        return SampledSweep(
            start_hz=fit.start_hz,
            full_level_hz=full_level_hz,
            stop_hz=stop_hz,
            fade_out_octaves=math.log2(stop_hz / fade_out_hz),
            seconds=seconds,
            sample_rate=sample_rate,
            drive_dbfs=drive_dbfs,
            n_given=sound.size,
            fitted_rate_s=fit.rate_s,
            filed_dbfs=drive_dbfs,
            samples_sha256=hold_samples(sound),
        )
    except SignalError as error:
        raise RecordingError(f"{what} cannot be used as a sweep: {error}") from error


def _between_silences(sweep: SampledSweep, *, before: int, after: int) -> Reel:
    items: list[Any] = [sweep]
    if before:
        items.insert(0, Silence(seconds=before / sweep.sample_rate, sample_rate=sweep.sample_rate))
    if after:
        items.append(Silence(seconds=after / sweep.sample_rate, settle_s=SETTLE_S, sample_rate=sweep.sample_rate))
    return Reel(tuple(items))
