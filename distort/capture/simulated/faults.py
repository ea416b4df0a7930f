"""What may be wrong with the simulated loudspeaker: one fault in the condition that is called like it, else none."""

from collections.abc import Callable, Mapping

import numpy as np
import numpy.typing as npt

from distort.capture.simulated.grid import Grid
from distort.capture.simulated.loose_part import strikes
from distort.capture.simulated.loudspeaker import Sound
from distort.capture.simulated.noisy_port import port_noise
from distort.capture.simulated.parameters import Parameters
from distort.capture.simulated.rubbing_coil import touches

ComplexArray = npt.NDArray[np.complex128]


def _loose(sound: Sound, parameters: Parameters, grid: Grid, random: np.random.Generator) -> ComplexArray:
    return strikes(sound.pressure, parameters.loose_part, grid, random)


def _noisy_port(sound: Sound, parameters: Parameters, grid: Grid, random: np.random.Generator) -> ComplexArray:
    return port_noise(sound.port_m_s, parameters.noisy_port, grid, random)


def _rubbing_coil(sound: Sound, parameters: Parameters, grid: Grid, random: np.random.Generator) -> ComplexArray:
    return touches(sound.displacement_m, parameters.rubbing_coil, grid)


FAULTS: Mapping[str, Callable[[Sound, Parameters, Grid, np.random.Generator], ComplexArray]] = {
    "loose": _loose,
    "noisy-port": _noisy_port,
    "rubbing-coil": _rubbing_coil,
}
"""By the condition that has it: the spectrum `(bins,)` that it adds to a sound, Pa at 1 m."""

WORDS: Mapping[str, str] = {
    "loose": "a loose part that rattles",
    "noisy-port": "a port whose air is heard",
    "rubbing-coil": "a voice coil that touches its magnet",
}
"""What is in, by condition; the truth for whoever looks for it."""
