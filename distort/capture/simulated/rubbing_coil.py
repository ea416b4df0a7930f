"""A voice coil of the simulated loudspeaker that touches its magnet: the same sharp sound in every cycle."""

import numpy as np
import numpy.typing as npt
import scipy

from distort.capture.simulated.grid import Grid
from distort.capture.simulated.levels import full_scale_pa
from distort.capture.simulated.loose_part import ringing
from distort.capture.simulated.parameters import RubbingCoil

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]


def touches(displacement_m: FloatArray, coil: RubbingCoil, grid: Grid) -> ComplexArray:
    """What it adds, spectrum `(bins,)` on the grid, Pa at 1 m; nothing in it is random.

    displacement_m   of the cone, outwards, `(n_woofer,)`
    """
    at = np.arange(grid.n_samples) / grid.step
    beyond = np.interp(at, np.arange(grid.n_woofer), displacement_m) / coil.touches_m - 1.0
    begins = np.flatnonzero((beyond[1:] > 0.0) & (beyond[:-1] <= 0.0)) + 1
    touched = np.zeros(grid.n_samples)
    for begin, after in zip(begins, np.append(begins, grid.n_samples)[1:], strict=True):
        touched[begin] = np.max(beyond[begin:after])
    ring = ringing(coil.ring_hz, coil.ring_s, grid.sample_rate) * full_scale_pa(coil.ring_db_spl)
    return np.asarray(grid.spectrum(scipy.signal.oaconvolve(touched, ring)[: grid.n_samples]))
