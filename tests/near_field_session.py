"""A session of one loudspeaker on a stand, at its cone and at its port, as a recorder heard it; the port blows.

    v = x + 0.05 x^2 + 0.02 x^3, from 40 Hz on          what drives cone and port: its harmonics are everywhere
    w = 0.4 (x in a band of Q 3 about 160 Hz)^3         what the port makes of it

on the stand v + w in a room; at the cone 5 v; at the port 5 (v through a low-pass of 50 Hz, 12 dB an octave, + w), and
26 dB below the cone what arrives from there.
"""

from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt
import scipy.signal
import soundfile

from tests.clumsy_session import CommandLine, shorten

FloatArray = npt.NDArray[np.float64]
Place = Literal["stand", "cone", "port"]
PLACES: tuple[Place, ...] = ("stand", "cone", "port")
RATE = 16000
BLOWS_HZ = 160.0
SAID = """
[conditions.cone]
radiation = "near-field"
distance_m = 0.01
radius_m = 0.05
[conditions.port]
radiation = "near-field"
distance_m = 0.01
radius_m = 0.03
"""


def heard(played: FloatArray, place: Place, *, seed: int) -> FloatArray:
    """A stimulus file as it arrives there, in noise, between silences."""
    x = np.concatenate([np.zeros(RATE), played, np.zeros(RATE)])
    bent = x + 0.05 * np.square(x) + 0.02 * x**3
    driven = scipy.signal.lfilter(*scipy.signal.butter(2, 40.0, "highpass", fs=RATE), bent)
    blown = 0.4 * scipy.signal.lfilter(*scipy.signal.iirpeak(BLOWS_HZ, 3.0, fs=RATE), x) ** 3
    port = scipy.signal.lfilter(*scipy.signal.butter(2, 50.0, fs=RATE), driven) + blown
    port += 0.05 * np.pad(driven, (10, 0))[: x.size]
    sound = {"stand": driven + blown, "cone": 5.0 * driven, "port": 5.0 * port}[place]
    room = np.random.default_rng(1).standard_normal(400) * np.exp(-np.arange(400) / 100.0)
    room *= 0.03 if place == "stand" else 0.015
    room[0] = 1.0
    noise = 1e-5 * np.random.default_rng(seed).standard_normal(x.size)
    return np.asarray(scipy.signal.oaconvolve(sound, room)[: x.size] * 0.2 + noise)


def make(root: Path, distort: CommandLine) -> None:
    """Make the session, and bring its recordings in."""
    distort.done("new", root, "--levels", "76,86", "--conditions", ",".join(PLACES), "--name", "Monitor A")
    shorten(root, sample_rate=str(RATE), stop_hz="7200", seconds="3.0", orders="4")
    with (root / "session.toml").open("a") as plan:
        plan.write(SAID)
    distort.done("stimuli", root)
    for number, place in enumerate(PLACES):
        for level in (76, 86):
            played, _ = soundfile.read(root / f"stimuli/sweep_{level}dB.wav")
            take = root.parent / f"{place}_{level}.wav"
            soundfile.write(take, heard(played, place, seed=10 * level + number), RATE, subtype="FLOAT")
            words = ("--stimulus", "sweep", "--level", level, "--playback-change-db", 0, "--condition", place)
            distort.done("add", root, take, *words)
