"""The tweeter: heat, then a curve of its own between two filters, then the dome's resonance."""

import numpy as np
import numpy.typing as npt

from distort.capture.simulated import filters
from distort.capture.simulated.curvature import products
from distort.capture.simulated.grid import Grid
from distort.capture.simulated.heat import Heat, heated, resistance_ohm
from distort.capture.simulated.levels import rms_pa
from distort.capture.simulated.parameters import Tweeter

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

HEAT_PASSES = 4
"""Heat and resistance act on each other slowly: each pass is closer by the share that resistance rises."""


def radiated(
    wave: ComplexArray, tweeter: Tweeter, grid: Grid, *, start: Heat, frozen: bool
) -> tuple[ComplexArray, FloatArray, FloatArray]:
    """What the dome radiates, and how warm its coil is.

    wave    spectrum `(bins,)`, Pa at 1 m, that a cold and linear dome without break-up would radiate
    start   heat at the beginning; it stays there when `frozen`

    Returns the spectrum in Pa at 1 m, and the rise in kelvin of coil and of magnet, each `(n_samples,)`.
    """
    pressure = grid.samples(wave)
    volts_per_pa = 2.83 / rms_pa(tweeter.sensitivity_db_spl)
    coil_k, magnet_k = _heat(pressure * volts_per_pa, tweeter, grid, start=start, frozen=frozen)
    pressure *= tweeter.coil.resistance_ohm / resistance_ohm(tweeter.coil, coil_k + magnet_k)
    bent = grid.spectrum(pressure)
    low_cut = filters.highpass2(grid.frequency_hz, tweeter.resonance_hz, tweeter.resonance_q)
    bent += products(bent, tweeter.curve, grid) * low_cut
    break_up = filters.peak(grid.frequency_hz, tweeter.dome_hz, q=tweeter.dome_q, gain_db=tweeter.dome_db)
    return bent * break_up, coil_k, magnet_k


def _heat(
    voltage: FloatArray, tweeter: Tweeter, grid: Grid, *, start: Heat, frozen: bool
) -> tuple[FloatArray, FloatArray]:
    coil_k, magnet_k = np.full(voltage.size, start.coil_k), np.full(voltage.size, start.magnet_k)
    if frozen:
        return coil_k, magnet_k
    for _ in range(HEAT_PASSES):
        power = voltage**2 / resistance_ohm(tweeter.coil, coil_k + magnet_k)
        coil_k, magnet_k = heated(power, tweeter.coil, start=start, rate_hz=grid.sample_rate)
    return coil_k, magnet_k
