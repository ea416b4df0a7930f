"""Sounds of something else in the room, while the loudspeaker is measured."""

import numpy as np
import scipy.signal

from tests.families.filters import FloatArray


def sound(kind: str, sample_rate: int, random: np.random.Generator) -> FloatArray:
    """A "click", some seconds of "speech", or a "door", peak 1. Raises KeyError for another kind."""
    made = {"click": _click, "speech": _speech, "door": _door}[kind](sample_rate, random)
    return np.asarray(made / np.max(np.abs(made)))


def _click(sample_rate: int, random: np.random.Generator) -> FloatArray:
    """Three knocks: each rings for 2 ms at 1.5 to 4 kHz."""
    samples = np.zeros(round(0.5 * sample_rate))
    time_s = np.arange(round(0.02 * sample_rate)) / sample_rate
    for at_s in random.uniform(0.0, 0.4, 3):
        knock = np.exp(-time_s / 0.002) * np.sin(2.0 * np.pi * random.uniform(1500.0, 4000.0) * time_s)
        first = round(at_s * sample_rate)
        samples[first : first + knock.size] += random.uniform(0.4, 1.0) * knock
    return samples


def _speech(sample_rate: int, random: np.random.Generator) -> FloatArray:
    """Syllables, four a second: noise and a gliding buzz between 150 Hz and 4 kHz."""
    n = round(1.0 * sample_rate)
    time_s = np.arange(n) / sample_rate
    pitch = 120.0 * (1.0 + 0.15 * np.sin(2.0 * np.pi * 0.7 * time_s + random.uniform(0.0, 6.0)))
    buzz = scipy.signal.sawtooth(2.0 * np.pi * np.cumsum(pitch) / sample_rate)
    voiced = buzz + 0.3 * random.standard_normal(n)
    sections = scipy.signal.butter(2, [150.0, 4000.0], "bandpass", fs=sample_rate, output="sos")
    syllables = np.maximum(np.sin(2.0 * np.pi * 4.0 * time_s), 0.0) ** 0.7
    return np.asarray(scipy.signal.sosfilt(sections, voiced) * syllables)


def _door(sample_rate: int, random: np.random.Generator) -> FloatArray:
    """A thump that rings at 40 to 120 Hz, and the latch before it."""
    time_s = np.arange(round(0.8 * sample_rate)) / sample_rate
    thump = np.exp(-time_s / 0.12) * np.sin(2.0 * np.pi * random.uniform(40.0, 120.0) * time_s)
    rattle = 0.3 * np.exp(-time_s / 0.05) * random.standard_normal(time_s.size)
    return np.asarray(thump + rattle)
