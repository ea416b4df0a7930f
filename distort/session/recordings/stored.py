"""Recordings on disk with what is known of them: found, read, saved, brought in, renamed."""

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from distort import system
from distort.errors import RecordingError, SessionError, did_you_mean, shown
from distort.session.audio.audio_file import encoder, read_audio
from distort.session.audio.kinds import Subtype
from distort.session.audio.plain_copy import copier
from distort.session.files.atomic import explained, make_folder, staged
from distort.session.files.folder import AUDIO_SUFFIXES, RecordingFiles, SessionFolder
from distort.session.files.hashing import sha256_of_file
from distort.session.files.names import RecordingName
from distort.session.recordings.pieces import give_piece
from distort.session.recordings.reel_file import WHOLE
from distort.session.recordings.sampled_stimuli import give_samples
from distort.session.recordings.sidecar import Sidecar, read_sidecar, require_same_file, write_sidecar


@dataclass(frozen=True, kw_only=True)
class Recording:
    """One recording on disk and what is known of it; sound is read when it is asked for."""

    files: RecordingFiles
    sidecar: Sidecar

    def give_stimulus(self) -> None:
        """Give a sweep made elsewhere, or music from a file, its samples. Raises SessionError and RecordingError as
        `give_samples` and `give_piece` do."""
        give_samples(self.files.session, self.sidecar)
        give_piece(self.files.session, self.sidecar.stimulus, played_for=self.files.in_session)

    def samples(self) -> npt.NDArray[np.float64]:
        """The recorded channel as float64 `(n,)`, full scale 1, at `sidecar.sample_rate`.

        The stimulus has its samples then, too. Raises SessionError when the file is not the one that was recorded,
        RecordingError when it cannot be read, and both as `give_stimulus` does.
        """
        self.give_stimulus()
        require_same_file(self.files.audio_path, self.sidecar.recording_sha256, self.files.sidecar_path)
        samples, sample_rate = read_audio(self.files.audio_path, channel=self.sidecar.channel)
        if sample_rate != self.sidecar.sample_rate:
            raise RecordingError(
                f"{self.files.audio_path} is at {sample_rate} Hz, its sidecar says {self.sidecar.sample_rate} Hz"
            )
        return samples


def load_recordings(folder: SessionFolder, condition: str) -> tuple[Recording, ...]:
    """All recordings of a condition, rejected ones too, in the order of `SessionFolder.recordings`.

    Raises SessionError when one has no sidecar, or one that cannot be read or belongs to another recording.
    """
    return tuple(load_recording(files) for files in folder.recordings(condition))


def load_recording(files: RecordingFiles) -> Recording:
    """One recording. Raises SessionError as `load_recordings` does."""
    if not files.has_sidecar:
        raise SessionError(
            f"{files.audio_path} has no sidecar {files.sidecar_path.name}: "
            f"bring it in with `distort add`, or move it away"
        )
    sidecar = read_sidecar(files.sidecar_path)
    if (sidecar.name, sidecar.condition) != (files.name, files.condition):
        raise SessionError(
            f"{files.sidecar_path} speaks of {sidecar.name.stem} in {sidecar.condition}: "
            f"it belongs to another recording"
        )
    return Recording(files=files, sidecar=sidecar)


def files_called(folder: SessionFolder, named: str) -> RecordingFiles:
    """The recording that a tester calls `named`, such as "desk/sweep_96dB_take2".

    Raises SessionError, naming those that there are, when the session has none so called.
    """
    known = {
        f"{condition}/{files.name.stem}": files
        for condition in folder.conditions_recorded()
        for files in folder.recordings(condition)
    }
    if named not in known:
        listed = ", ".join(known) or "none yet"
        near = did_you_mean(named, known)
        raise SessionError(f"{folder.root} has no recording {shown(named)}{near}: there are {listed}")
    return known[named]


def save_recording(
    folder: SessionFolder, samples: npt.NDArray[np.float64], sidecar: Sidecar, *, suffix: str = ".flac"
) -> Recording:
    """Save what was captured, `(n,)`, under the name that `sidecar` gives: 24-bit FLAC, or with ".wav" 32-bit float.

    The hash of the file is set here, whatever `sidecar.recording_sha256` says. Raises SessionError when that recording
    exists already, the sidecar's channel is not 1, or the folder does not allow it.
    """
    if sidecar.channel != 1:
        raise SessionError(f"a recording saved here has one channel, the sidecar speaks of channel {sidecar.channel}")
    files = folder.recording(sidecar.condition, sidecar.name, suffix)
    subtype: Subtype = "PCM_24" if suffix == ".flac" else "FLOAT"
    # Undithered: a converter of 24 bits has made these very steps, and any microphone's noise is dither enough.
    write = encoder(files.audio_path, samples, sidecar.sample_rate, subtype=subtype)
    return _save(files, sidecar, write)


def bring_in_recording(
    folder: SessionFolder, source: Path, sidecar: Sidecar, *, keep_metadata: bool = False
) -> Recording:
    """Copy the sound of the audio file `source` into the session under the name that `sidecar` gives.

    Its samples are kept bit for bit, nothing else of it; with `keep_metadata` the file is kept byte for byte.

    The hash is set here. Raises SessionError as `save_recording` does, RecordingError when `source` is no recording or
    is not at the rate that `sidecar` says.
    """
    _, sample_rate = read_audio(source, channel=sidecar.channel)
    if sample_rate != sidecar.sample_rate:
        raise RecordingError(f"{source} is at {sample_rate} Hz, where {sidecar.sample_rate} Hz was said")
    suffix, write = copier(source, keep_metadata=keep_metadata)
    return _save(folder.recording(sidecar.condition, sidecar.name, suffix), sidecar, write)


def save_as_it_comes(
    folder: SessionFolder, condition: str, name: RecordingName, record: Callable[[Path], Sidecar]
) -> Recording:
    """Save what `record` writes where it is told, piece by piece as it is heard, as 24-bit FLAC; it says what it was.

    Nothing is kept where it raises. Raises SessionError as `save_recording` does, and before anything is recorded.
    """
    return _kept(folder.recording(condition, name), record)


def _save(files: RecordingFiles, sidecar: Sidecar, write: Callable[[Path], None]) -> Recording:
    def record(place: Path) -> Sidecar:
        write(place)
        return sidecar

    return _kept(files, record)


def _kept(files: RecordingFiles, record: Callable[[Path], Sidecar]) -> Recording:
    """Audio under a temporary name, then the sidecar, then the audio's own name.

    So wherever there is audio its sidecar is complete, and a sidecar without audio means nothing and may be replaced.
    """
    make_folder(files.audio_path.parent)
    _refuse_existing(files)
    with staged(files.audio_path, replace=False) as temporary:
        sidecar = record(temporary)
        complete = dataclasses.replace(sidecar, recording_sha256=sha256_of_file(temporary))
        write_sidecar(files.sidecar_path, complete)
    return Recording(files=files, sidecar=complete)


def _refuse_existing(files: RecordingFiles) -> None:
    for other in AUDIO_SUFFIXES:
        if (existing := files.audio_path.with_suffix(other)).exists():
            raise SessionError(f"{existing} exists already and is never overwritten: record another take")


def rename_recording(recording: Recording, sidecar: Sidecar) -> Recording:
    """Give a recording the name and the condition that `sidecar`, which speaks of the same sound, gives it.

    The new sidecar first, then the audio's name, and the old sidecar last: a kill in between leaves at worst a sidecar
    without audio, which means nothing. Raises SessionError when that name is taken, or the folder does not allow it.
    """
    before = recording.files
    files = before.session.recording(sidecar.condition, sidecar.name, before.audio_path.suffix)
    make_folder(files.audio_path.parent)
    _refuse_existing(files)
    write_sidecar(files.sidecar_path, sidecar)
    try:
        system.replace(before.audio_path, files.audio_path)
    except OSError as error:
        raise explained(error, files.audio_path) from error
    system.remove_if_allowed(before.sidecar_path)
    return Recording(files=files, sidecar=sidecar)


LINK_WORDS = ("wireless", "bluetooth", "wi-fi", "wifi", "wlan", "network", "ethernet", "streaming")
"""Words of [loudspeaker] input, in any case, that name a link which is likely to code what it carries."""

FROM_A_REEL = f"the reel {WHOLE}"
"""Stands in the sidecar's device of every recording that was cut out of a reel's."""


def coded_link(recordings: Sequence[Recording]) -> str | None:
    """Why a codec may be in the numbers of `recordings`, as the middle of a sentence; None when nothing says so.

    The rule: the plan's [loudspeaker] input names such a link, or a recording was cut out of that of a reel, which is
    played from anything.
    """
    for one in recordings:
        named = one.sidecar.loudspeaker.input
        if any(word in named.lower() for word in LINK_WORDS):
            return f'the input is "{named}"'
    if any(FROM_A_REEL in one.sidecar.device for one in recordings):
        return "a reel was played, from a player and over a way that nobody stated"
    return None
