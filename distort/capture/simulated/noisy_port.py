"""Air in the port of the simulated loudspeaker: noise that swells twice a cycle, with the speed of the air."""

import numpy as np
import numpy.typing as npt

from distort.capture.simulated.grid import Grid
from distort.capture.simulated.levels import rms_pa
from distort.capture.simulated.parameters import NoisyPort

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]


def port_noise(port_m_s: FloatArray, port: NoisyPort, grid: Grid, random: np.random.Generator) -> ComplexArray:
    """What it adds, spectrum `(bins,)` on the grid, Pa at 1 m.

    port_m_s   speed of the air, `(n_woofer,)`
    random     no two takes have the same noise
    """
    noise = grid.samples(grid.spectrum(random.standard_normal(grid.n_samples)) * _band(grid.frequency_hz, port))
    noise *= rms_pa(port.db_spl) / np.sqrt(np.mean(np.square(noise)))
    at = np.arange(grid.n_samples) / grid.step
    speed = np.interp(at, np.arange(grid.n_woofer), np.abs(port_m_s)) / port.at_m_s
    return np.asarray(grid.spectrum(noise * speed**port.power))


def _band(frequency_hz: FloatArray, port: NoisyPort) -> ComplexArray:
    """Second-order band-pass, 1 in its middle, `(bins,)`."""
    ratio = np.maximum(frequency_hz, 1e-3) / port.middle_hz
    return np.asarray(1.0 / (1.0 + 1j * port.q * (ratio - 1.0 / ratio)))
