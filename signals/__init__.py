"""What is played: levels and stimuli, in numpy and scipy alone. No files, no devices, no printing."""

from signals.errors import SignalError
from signals.multitone import Multitone
from signals.noise import Noise
from signals.reel import Chirp, Reel, Silence, clock_chirp, framed
from signals.stimulus import Stimulus, describe, from_description
from signals.sweep import SampledSweep, Sweep, hold_samples
from signals.tones import Burst, Tone, calibration_tone

__all__ = [
    "Burst",
    "Chirp",
    "Multitone",
    "Noise",
    "Reel",
    "SampledSweep",
    "SignalError",
    "Silence",
    "Stimulus",
    "Sweep",
    "Tone",
    "calibration_tone",
    "clock_chirp",
    "describe",
    "framed",
    "from_description",
    "hold_samples",
]
