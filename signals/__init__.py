"""What is played: levels and stimuli, in numpy and scipy alone. No files, no devices, no printing."""

from signals.burst import Burst
from signals.errors import SignalError
from signals.held import hold_samples
from signals.multitone import Multitone
from signals.noise import Noise
from signals.reel import Chirp, Reel, Silence, clock_chirp, framed
from signals.stimulus import Stimulus, as_a, describe, from_description, kind_of, sampled
from signals.sweep import SampledSweep, Sweep
from signals.tones import Tone, calibration_tone

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
    "as_a",
    "calibration_tone",
    "clock_chirp",
    "describe",
    "framed",
    "from_description",
    "hold_samples",
    "kind_of",
    "sampled",
]
