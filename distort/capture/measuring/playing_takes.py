"""One take: played, recorded and examined."""

from dataclasses import dataclass
from datetime import datetime

import numpy as np
import numpy.typing as npt

from distort.capture.devices.device import Device
from distort.capture.devices.guard import Guard
from distort.errors import DeafError, RecordingError, TooLoudError
from distort.recording.alignment.locating import find_reel
from distort.recording.quality.examined import Examined, examine
from distort.session.audio.audio_file import write_audio
from distort.session.files.atomic import make_folder
from distort.session.files.folder import SessionFolder
from distort.session.files.names import RecordingName
from signals import Reel

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Take:
    """What a device heard, `(samples,)`, full scale 1, and what the check says of it."""

    samples: FloatArray
    examined: Examined
    began: datetime
    loopback: FloatArray | None
    """What a cable from the output brought back meanwhile, `(samples,)`; None without such a cable."""
    sound_delay_s: float | None = None
    """From that loopback to the microphone; None without one."""


def play_and_examine(
    device: Device, reel: Reel, *, what: str, guard: Guard | None = None, microphone: bool = True
) -> Take:
    """Play `reel` once.

    guard        what the microphone may hear and what it must, or the sound is stopped
    microphone   False for the electronics alone

    Raises RecordingError, naming `what`, when what was recorded must be refused or the loopback holds nothing of it,
    TooLoudError or DeafError when the guard stopped it, PausedError when the computer paused.
    """
    began = device.now()
    try:
        samples = device.play_and_record(reel.samples(), sample_rate=reel.sample_rate, guard=guard)
    except TooLoudError as error:
        raise TooLoudError(
            f"{what}: {error}. Look whether a gain or a volume was turned up; if it was a noise in the room, the same "
            f"command goes on"
        ) from error
    except DeafError as error:
        raise DeafError(f"{what}: {error}. Look at the microphone's cable, switch and gain") from error
    examined = examine(samples, reel, what=what, microphone=microphone)
    loopback = device.loopback()
    delay_s = None if loopback is None else _sound_delay_s(loopback, reel, examined, what=what)
    return Take(samples=samples, examined=examined, began=began, loopback=loopback, sound_delay_s=delay_s)


def _sound_delay_s(loopback: FloatArray, reel: Reel, examined: Examined, *, what: str) -> float:
    """How much later than the loopback the microphone heard the stimulus: whatever delays the card drops out."""
    try:
        sent = find_reel(loopback, reel).stimulus_start
    except RecordingError as error:
        raise RecordingError(
            f"{what}: the loopback does not hold what was played: look at its cable, or leave --loopback-channel out"
        ) from error
    return (examined.alignment.stimulus_start - sent) / reel.sample_rate


def save_loopback(folder: SessionFolder, take: Take, *, condition: str, name: RecordingName, rate: int) -> None:
    """Keep the loopback of a take, if there is one, as loopback/<condition>/<recording>.flac, for later use.

    Its samples lie beside those of the recording. One that is there belongs to a take that was broken off before it was
    saved, and is replaced. Raises SessionError when the folder does not allow it.
    """
    if take.loopback is None:
        return
    path = folder.loopback_path(condition, name)
    make_folder(path.parent)
    write_audio(path, take.loopback, rate, replace=True)
