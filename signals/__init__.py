"""What is played: levels and stimuli, in numpy and scipy alone. No files, no devices, no printing."""

from signals.chirp import Chirp
from signals.errors import SignalError
from signals.multitone import Multitone
from signals.noise import Noise
from signals.reel import Reel, clock_chirp, framed
from signals.sampled_sweep import SampledSweep, hold_samples
from signals.silence import Silence
from signals.stimulus import Stimulus, describe, from_description
from signals.sweep import Sweep
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
