"""Curves without memory between two filters: the iron around both coils, the surround of the cone, the dome."""

import numpy as np
import numpy.typing as npt

from distort.capture.simulated import filters
from distort.capture.simulated.grid import OVERSAMPLING, Grid
from distort.capture.simulated.parameters import Cone, Curve

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]


def products(wave: ComplexArray, curve: Curve, grid: Grid) -> ComplexArray:
    """What `curve` adds to `wave`; both are spectra `(bins,)`, Pa at 1 m.

    Computed at four times the sample rate: no product of the polynomial folds into the band. `iron z |z|` has odd
    orders without end, falling as 1/n^3; its low-pass and that fall leave what folds under -110 dB.
    """
    lowpassed = wave * filters.lowpass1(grid.frequency_hz, curve.lowpass_hz)
    z = grid.samples(lowpassed, OVERSAMPLING * grid.n_samples)
    polynomial = curve.second + z * (curve.third + z * (curve.fourth + z * curve.fifth))
    return grid.spectrum(z * (z * polynomial + curve.iron * np.abs(z)))


def edge_products(wave: ComplexArray, cone: Cone, grid: Grid) -> ComplexArray:
    """What the surround adds near its resonance: the cube of the wave there; spectra `(bins,)`, Pa at 1 m.

    The resonance leaves so little above a few kilohertz that the cube needs no higher rate.
    """
    resonant = grid.samples(wave * filters.bandpass(grid.frequency_hz, cone.edge_hz, cone.edge_q))
    return grid.spectrum(cone.edge_per_pa2 * resonant**3)
