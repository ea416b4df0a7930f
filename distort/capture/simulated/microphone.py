"""What the microphone hears besides the loudspeaker: the room, the mains, itself; and the sound calibrator."""

import numpy as np
import numpy.typing as npt
import scipy

from distort.capture.simulated.levels import full_scale_pa, rms_pa
from distort.capture.simulated.parameters import Microphone, Room

FloatArray = npt.NDArray[np.float64]

NOISE_BAND_HZ = (20.0, 20000.0)
"""Noise levels are stated for this band; the noise itself goes on to both sides."""


def coloured_noise(n_samples: int, sample_rate: int, *, pink: bool, random: np.random.Generator) -> FloatArray:
    """Gaussian noise `(n_samples,)`, white or pink, r.m.s. 1 between 20 Hz and 20 kHz on average.

    Pink noise is flat below 10 Hz. An even transform length is used and cut.
    """
    size = 2 * int(scipy.fft.next_fast_len(-(-n_samples // 2), real=True))
    frequency_hz = np.arange(size // 2 + 1) * (sample_rate / size)
    bins = random.standard_normal(frequency_hz.size) + 1j * random.standard_normal(frequency_hz.size)
    weight = 1.0 / np.sqrt(np.maximum(frequency_hz, 10.0)) if pink else np.ones(frequency_hz.size)
    weight[[0, -1]] = 0.0
    low_hz, high_hz = NOISE_BAND_HZ
    inside = (frequency_hz >= low_hz) & (frequency_hz <= high_hz)
    power = float(np.sum(weight[inside] ** 2)) * 2.0 * 2.0 / size**2  # both signs of frequency, both parts of a bin
    return np.asarray(scipy.fft.irfft(bins * weight / np.sqrt(power), size)[:n_samples])


def background_pa(
    n_samples: int, sample_rate: int, *, room: Room, microphone: Microphone, random: np.random.Generator
) -> FloatArray:
    """Room noise, hum and self noise in Pa, `(n_samples,)`."""
    noise = coloured_noise(n_samples, sample_rate, pink=True, random=random) * rms_pa(room.noise_db_spl)
    noise += coloured_noise(n_samples, sample_rate, pink=False, random=random) * rms_pa(microphone.noise_db_spl)
    times_s = np.arange(n_samples) / sample_rate
    for multiple, level_db_spl in enumerate(room.hum_db_spl, start=1):
        phase = random.uniform(0.0, 2.0 * np.pi)
        noise += full_scale_pa(level_db_spl) * np.sin(2.0 * np.pi * multiple * room.hum_hz * times_s + phase)
    return noise


def calibrator_pa(
    n_samples: int,
    sample_rate: int,
    *,
    frequency_hz: float,
    db_spl: float,
    microphone: Microphone,
    random: np.random.Generator,
) -> FloatArray:
    """The sound in a calibrator's cavity, with what leaks in and the microphone's noise, in Pa, `(n_samples,)`."""
    phase = random.uniform(0.0, 2.0 * np.pi)
    turns = 2.0 * np.pi * frequency_hz * np.arange(n_samples) / sample_rate
    sound = full_scale_pa(db_spl) * np.sin(turns + phase)
    leaking = coloured_noise(n_samples, sample_rate, pink=True, random=random)
    sound += leaking * rms_pa(microphone.calibrator_noise_db_spl)
    sound += coloured_noise(n_samples, sample_rate, pink=False, random=random) * rms_pa(microphone.noise_db_spl)
    return np.asarray(sound)


def converted(pressure_pa: FloatArray, microphone: Microphone) -> FloatArray:
    """Digital samples for the pressure, same shape: full scale 1, in the converter's steps, clipped as it clips.

    The microphone's own noise is larger than a step, so the steps add noise and no distortion.
    """
    steps = 2.0 ** (microphone.converter_bits - 1)
    rounded = np.rint(pressure_pa / full_scale_pa(microphone.full_scale_db_spl) * steps) / steps
    return np.clip(rounded, -1.0, 1.0)
