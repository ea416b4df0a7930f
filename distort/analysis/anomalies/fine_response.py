"""The fundamental finer than the grid of the tables: 1/12 octave makes a dip shallower and wider than it is."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.common.grid import OCTAVE_RATIO
from distort.analysis.sweep.orders import SeparatedOrders, WindowedSpectrum
from signals.levels import power_to_db
from signals.tapers import rise

FloatArray = npt.NDArray[np.float64]

FINE_ROWS_PER_OCTAVE = 48
FINE_OCTAVES = 1.0 / 48.0
"""Width of the power smoothing: rows that touch, so that nothing of the spectrum is passed over."""

FLAT_SHARE = 0.5
"""Share of the time within which the early sound is not weakened at all."""

BINS_A_PERIOD = 8
"""An early spectrum is sampled this many times finer than its length asks for, so that its phase can be followed."""

LEAST_BINS = 1 << 14


@dataclass(frozen=True, eq=False)
class Impulse:
    """The impulse response behind a fine response, its arrival at sample 0; before it counts from the end."""

    spectrum: WindowedSpectrum
    sample_rate: int

    @cached_property
    def samples(self) -> FloatArray:
        """`(samples,)`, circular."""
        n_samples = round(self.sample_rate / self.spectrum.bin_hz)
        return np.asarray(scipy.fft.irfft(self.spectrum.at_arrival(), n_samples))

    def early(self, frequency_hz: FloatArray, within_s: float) -> tuple[FloatArray, FloatArray]:
        """Level in dB and unwrapped phase in radians, `(rows,)` each, of what arrives within `within_s` of the arrival.

        Before it counts as after it: of two sounds the weaker may come first. Sound is kept whole for half of that
        time, and let go along a raised cosine.
        """
        reach = min(int(within_s * self.sample_rate), (self.samples.size - 1) // 2)
        place = np.arange(-reach, reach + 1)
        window = rise((1.0 - np.abs(place) / (reach + 1.0)) / (1.0 - FLAT_SHARE))
        n_fft = int(scipy.fft.next_fast_len(max(BINS_A_PERIOD * place.size, 2 * LEAST_BINS), real=True))
        held = np.zeros(n_fft)
        held[place] = self.samples[place] * window
        values = scipy.fft.rfft(held)
        bins_hz = np.arange(values.size) * (self.sample_rate / n_fft)
        level_db = power_to_db(np.square(values.real) + np.square(values.imag))
        phase = np.unwrap(np.angle(values))
        return np.interp(frequency_hz, bins_hz, level_db), np.interp(frequency_hz, bins_hz, phase)


@dataclass(frozen=True, kw_only=True, eq=False)
class FineResponse:
    """Level and phase on rows evenly spaced in log frequency, `(rows,)` each."""

    frequency_hz: FloatArray
    level_db: FloatArray
    """Any reference; the rows carry no trend of their own."""
    phase_rad: FloatArray | None
    """Unwrapped, less the delay at which the sound was found; None where no phase is known."""
    smoothing_octaves: float = FINE_OCTAVES
    """Width of the band over which each row is a mean power."""
    impulse: Impulse | None = None
    """What it was made from; None where it was not made from a sweep."""


def fine_response(separated: SeparatedOrders, *, lowest_hz: float, highest_hz: float) -> FineResponse:
    """Order 1 between two frequencies, from the whole window or gate.

    Level is the mean power over 1/48 octave; phase is unwrapped along the spectrum's own bins and read at the rows.
    """
    spectrum = separated.spectra[0]
    highest_hz = min(highest_hz, separated.sweep.fade_out_hz)
    rows = int(np.floor(FINE_ROWS_PER_OCTAVE * np.log(highest_hz / lowest_hz) / np.log(OCTAVE_RATIO)))
    frequency_hz = lowest_hz * OCTAVE_RATIO ** (np.arange(rows) / FINE_ROWS_PER_OCTAVE)
    values = spectrum.at_arrival()
    bins_hz = np.arange(values.size) * spectrum.bin_hz
    last = min(int(np.ceil(highest_hz / spectrum.bin_hz)) + 2, values.size)
    phase = np.unwrap(np.angle(values[:last]))
    return FineResponse(
        frequency_hz=frequency_hz,
        level_db=power_to_db(spectrum.power.smoothed(frequency_hz, FINE_OCTAVES)),
        phase_rad=np.asarray(np.interp(frequency_hz, bins_hz[:last], phase)),
        impulse=Impulse(spectrum, separated.sweep.sample_rate),
    )
