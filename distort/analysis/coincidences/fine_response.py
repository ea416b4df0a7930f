"""The fundamental finer than the grid of the tables: 1/12 octave makes a dip shallower and wider than it is."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.grid import OCTAVE_RATIO
from distort.analysis.sweep.orders import SeparatedOrders
from signals.levels import power_to_db

FloatArray = npt.NDArray[np.float64]

FINE_ROWS_PER_OCTAVE = 48
FINE_OCTAVES = 1.0 / 48.0
"""Width of the power smoothing: rows that touch, so that nothing of the spectrum is passed over."""


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
    )
