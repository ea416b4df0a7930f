"""What the windows do to an order's reading besides the mean loss of a decay that is made good.

The loss is made good over a third of an octave; within the narrower band that a reading is smoothed over, a window may
keep more of a room's decay, or less. The path from the non-linearity to the microphone is the fundamental's at the same
frequency, so the fundamental, cut once more with the window of order n, shows it:

    gate_n(f) = 10 log10( kept(n f; w_n, narrow) / kept(n f; w_n, third) )

`kept` is the share of the fundamental's power that the window w_n leaves, over the smoothing's width and over a third
of an octave. It is held against the fundamental on finer bins, so that what straight lines between the bins do to a
narrow band is in it. The windows of a sweep of half the length are half as long, and lie where the long sweep's
fundamental is known: so the long sweep also shows what they do.

What comes later than the fundamental's own window nobody has seen. The fundamental cut to a half and to a quarter of
that time shows how the error falls: `r(1) = r(1/2) (r(1/2) / r(1/4))^2` for a decay that is exponential, each r a root
mean square over half an octave.

The next order's decay, whose phase against this order is as good as random, scatters a reading as noise of its power
does that is seen through the same window: `relative_variance` with the leak in place of the noise.
Own; checked in the tests in rooms whose steady answer is known.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.common.grid import ROWS_PER_OCTAVE
from distort.analysis.common.smoothing import band_width_hz
from distort.analysis.common.statistics import DB_PER_NEPER_OF_POWER
from distort.analysis.sweep.decay import Separation
from distort.analysis.sweep.orders import WindowedSpectrum, spectrum_of
from distort.analysis.sweep.readings import Reading
from distort.analysis.sweep.uncertainty import noise_averaging, relative_variance
from distort.analysis.sweep.windows import OrderWindow, cut
from signals.levels import power_to_db

FloatArray = npt.NDArray[np.float64]

NEAR_OCTAVES = 0.25
"""Errors of one kind are about as large to either side: those of the sweep's speed follow the curve of a group delay,
those of a decay its mean."""

FINER = 4
"""Bins of the steady fundamental per bin of a reading: straight lines between them then leave under 0.001 dB."""


@dataclass(frozen=True, kw_only=True)
class OrderErrors:
    """How far an order, re the fundamental, is expected from the steady answer, `(rows,)` each."""

    shift_db: FloatArray
    """What is known of it, dB; 0 where nothing is."""
    variance: FloatArray
    """Of what is not, dB squared; NaN where the noise is not known."""
    later_variance: FloatArray
    """Of what comes after the fundamental's window, dB squared; the same for a shorter sweep in the same room."""


@dataclass(frozen=True, eq=False)
class FundamentalSeen:
    """The fundamental of a sweep, to be cut again."""

    of: Separation

    @cached_property
    def finer(self) -> WindowedSpectrum:
        """On FINER times as many bins."""
        spectrum, samples = self._spectrum, self._samples
        after = samples.size // 2  # the other half is padding, or comes before the arrival
        padded = np.concatenate([samples[:after], np.zeros((FINER - 1) * samples.size), samples[after:]])
        return replace(spectrum, values=scipy.fft.rfft(padded), bin_hz=spectrum.bin_hz / FINER, first_s=0.0)

    @property
    def _spectrum(self) -> WindowedSpectrum:
        return self.of.separated.spectra[0]

    @cached_property
    def _samples(self) -> FloatArray:
        """The windowed fundamental in time, circular, from its arrival on."""
        values = self._spectrum.at_arrival()
        return np.asarray(scipy.fft.irfft(values, round(self._sample_rate / self._spectrum.bin_hz)))

    @property
    def _sample_rate(self) -> int:
        return self.of.separated.sweep.sample_rate

    def cut_by(self, window: OrderWindow) -> WindowedSpectrum:
        """The fundamental as a shorter `window` would have cut it out."""
        piece = cut(self._samples, window, arrival=0.0, sample_rate=self._sample_rate)
        return spectrum_of(piece, window, self._sample_rate)

    @cached_property
    def earlier(self) -> tuple[WindowedSpectrum, ...]:
        """Cut at a half and a quarter of its window's time; none under a time gate, which shall leave the rest out."""
        if self.of.separated.gate_s is not None:
            return ()
        window = self._spectrum.window
        return tuple(self.cut_by(replace(window, after_s=window.after_s * part)) for part in (0.5, 0.25))

    def kept_db(self, cuts: Sequence[WindowedSpectrum], at_hz: FloatArray) -> list[FloatArray]:
        """Level of what each of `cuts` holds of it over the smoothing's width, dB, `(rows,)` each; NaN where noise
        hides it."""
        shares = self.of.kept(cuts, at_hz, self.of.octaves, whole=self.finer)
        with np.errstate(invalid="ignore", divide="ignore"):
            levels_db = [power_to_db(share) for share in shares]
        return [np.where(np.isfinite(level_db), level_db, np.nan) for level_db in levels_db]


def later_variance(kept_db: Sequence[FloatArray]) -> FloatArray:
    """Of what comes after the fundamental's window, dB squared, `(rows,)`.

    kept_db   what the cuts at a half and a quarter of its time keep, dB, `(rows,)` each; none: 0
    """
    if not kept_db:
        return np.zeros(1)
    half, quarter = (mean_nearby(np.square(one_db)) for one_db in kept_db)
    falls = np.minimum(half / np.where(quarter > 0, quarter, 1.0), 1.0)
    return np.asarray(half * np.square(falls))


def order_errors(
    own: Separation, found: Sequence[Reading], *, seen: FundamentalSeen, takes_variance: Sequence[FloatArray]
) -> tuple[OrderErrors, ...]:
    """The errors of orders 2 ... N but for those of the sweep's speed.

    found            readings of `own`, orders 1 ... N
    seen             the fundamental that shows what the windows do: that of `own`, or of a longer sweep
    takes_variance   what the takes add by differing, dB squared, of orders 2 ... N; none: one take
    """
    (fundamental_db, fundamental_later), *others = (_gate(own, order, seen) for order in range(1, len(found) + 1))
    fundamental_variance = _variance(own, found, 1)
    wander = takes_variance or [np.zeros(1)] * (len(found) - 1)
    return tuple(
        OrderErrors(
            shift_db=shift_db - fundamental_db,
            variance=DB_PER_NEPER_OF_POWER**2 * (_variance(own, found, order) + fundamental_variance) + of_takes,
            later_variance=fundamental_later + later,
        )
        for order, ((shift_db, later), of_takes) in enumerate(zip(others, wander, strict=True), start=2)
    )


def takes_variance(alone: Sequence[Sequence[Reading]]) -> tuple[FloatArray, ...]:
    """What takes add to orders 2 ... N of their mean by differing, dB squared, `(rows,)` each; none of a single take.

    alone   the readings of each take, orders 1 ... N, in the same noise

    Of K takes the mean scatters by (s^2 - v) / K beyond noise: s^2 the variance of D_n over the takes, v that of the
    noise in one take, both meant over a quarter of an octave to either side.
    """
    if len(alone) < 2:
        return ()
    return tuple(_takes_add(alone, order) for order in range(2, len(alone[0]) + 1))


def _takes_add(alone: Sequence[Sequence[Reading]], order: int) -> FloatArray:
    relative_db = power_to_db(np.array([take[order - 1].power / take[0].power for take in alone]))
    of_noise = np.mean([take[order - 1].variance + take[0].variance for take in alone], axis=0)
    more = np.var(relative_db, axis=0, ddof=1) - DB_PER_NEPER_OF_POWER**2 * of_noise
    return np.asarray(np.maximum(mean_nearby(more), 0.0) / len(alone))


def _variance(own: Separation, found: Sequence[Reading], order: int) -> FloatArray:
    """From noise and from the next order's leak, relative to the squared power, `(rows,)`."""
    reading = found[order - 1]
    width_hz = band_width_hz(order * own.excitation_hz, own.octaves)
    window = own.separated.spectra[order - 1].window
    cross, square = noise_averaging(window, own.separated.sweep.sample_rate).factors(width_hz)
    of_leak = relative_variance(
        reading.power,
        np.nan_to_num(reading.leak),
        cross=cross,
        square=square,
        silence_averages=np.full_like(cross, np.inf),  # the leak is foretold, not read in a silence
    )
    return np.asarray(reading.variance + np.nan_to_num(of_leak))


def _gate(own: Separation, order: int, seen: FundamentalSeen) -> tuple[FloatArray, FloatArray]:
    """What the window of `order` in `own` adds to its reading, as `seen` shows, dB, 0 where unknown; and the variance
    of what comes later than the fundamental's window, dB squared."""
    if seen.of is own:
        spectrum = own.separated.fundamental_in[order - 1]
    else:
        spectrum = seen.cut_by(own.separated.spectra[order - 1].window)
    kept_db, *earlier_db = seen.kept_db((spectrum, *seen.earlier), order * own.excitation_hz)
    made_good, _ = own.decays[order - 1]
    return np.nan_to_num(kept_db + power_to_db(made_good)), later_variance(earlier_db)


def mean_nearby(values: FloatArray) -> FloatArray:
    """Mean of the finite `values` `(rows,)` within NEAR_OCTAVES of each row; 0 where there are none."""
    reach = round(NEAR_OCTAVES * ROWS_PER_OCTAVE)
    finite = np.isfinite(values)

    def near(of: FloatArray) -> FloatArray:
        return np.convolve(of, np.ones(2 * reach + 1))[reach : reach + of.size]

    return np.asarray(near(np.where(finite, values, 0.0)) / np.maximum(near(finite.astype(np.float64)), 1.0))
