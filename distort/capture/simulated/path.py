"""From the loudspeaker to the microphone: the direct sound, the studio desk, the room's tail."""

import numpy as np
import numpy.typing as npt

from distort.analysis.common.sound_in_air import speed_of_sound_m_s
from distort.capture.simulated import filters
from distort.capture.simulated.grid import Grid
from distort.capture.simulated.parameters import Room

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

DESK = "desk"
"""The one condition with a reflecting surface; every other name stands for a loudspeaker on a stand."""

TAIL_LENGTH_RT60 = 1.5
"""The tail is cut where it has fallen by 90 dB."""


def desk_reflection(frequency_hz: FloatArray, room: Room) -> FloatArray:
    """Amplitude of the reflection re the direct sound, `(bins,)`, without its delay."""
    size = 1.0 / (1.0 + (room.desk_low_hz / np.maximum(frequency_hz, 1e-3)) ** 2)
    return np.asarray(room.desk_amplitude * size * np.exp(-((frequency_hz / room.desk_high_hz) ** 2)))


def direct_response(frequency_hz: FloatArray, room: Room, condition: str) -> ComplexArray:
    """Direct sound, and the desk's copy of it in that condition, re the sound at 1 m, `(bins,)`; no delay of travel."""
    response = np.ones(frequency_hz.size, dtype=np.complex128)
    if condition == DESK:
        delay_s = room.desk_path_difference_m / speed_of_sound_m_s(room.temperature_c)
        response += desk_reflection(frequency_hz, room) * np.exp(-2j * np.pi * frequency_hz * delay_s)
    return np.asarray(response / room.distance_m)


def tail_response(grid: Grid, room: Room, seed: int) -> ComplexArray:
    """The reverberant tail re the sound at 1 m, `(bins,)`; it begins after the direct sound.

    Gaussian noise that falls by 60 dB in RT60; its energy is the direct sound's at 1 m less the stated ratio. On a grid
    shorter than the tail it wraps round, as it does for a signal that repeats.
    """
    length = round(TAIL_LENGTH_RT60 * room.rt60_s * grid.sample_rate)
    times_s = np.arange(length) / grid.sample_rate
    noise = np.random.default_rng([seed, 0]).standard_normal(length) * 10.0 ** (-3.0 * times_s / room.rt60_s)
    energy = 10.0 ** (-room.direct_to_reverberant_db / 10.0)
    noise *= np.sqrt(energy / np.sum(noise**2))
    folded = np.zeros(grid.n_samples)
    np.add.at(folded, np.arange(length) % grid.n_samples, noise)
    onset = np.exp(-2j * np.pi * grid.frequency_hz * room.first_reflection_s)
    return np.asarray(grid.spectrum(folded) * onset * filters.lowpass1(grid.frequency_hz, room.tail_lowpass_hz))


def path_response(
    grid: Grid, room: Room, *, condition: str, seed: int, delay_s: float, with_tail: bool = True
) -> ComplexArray:
    """Everything between the sound at 1 m and the microphone, `(bins,)`, delayed by `delay_s`."""
    response = direct_response(grid.frequency_hz, room, condition)
    if with_tail:
        response = response + tail_response(grid, room, seed)
    return np.asarray(response * np.exp(-2j * np.pi * grid.frequency_hz * delay_s))
