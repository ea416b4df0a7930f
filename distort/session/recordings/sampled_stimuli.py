"""Sweeps made elsewhere: their sound in stimuli/, by the hash of the file that was given."""

from dataclasses import dataclass
from pathlib import Path

from distort.errors import SessionError
from distort.session.audio.long_recording import open_long
from distort.session.audio.plain_copy import copier
from distort.session.files.atomic import make_folder, staged
from distort.session.files.folder import AUDIO_SUFFIXES, SessionFolder
from distort.session.files.hashing import sha256_of_file
from distort.session.files.names import MADE_ELSEWHERE
from distort.session.recordings.sidecar import Sidecar
from signals import hold_samples, sampled


@dataclass(frozen=True, kw_only=True)
class KeptStimulus:
    """The file of a sweep made elsewhere, in stimuli/."""

    sha256: str
    """Of what is kept."""
    original_sha256: str
    """Of the file that was given, after which it is named."""


def keep_stimulus_file(folder: SessionFolder, source: Path, *, keep_metadata: bool = False) -> KeptStimulus:
    """Copy the sound of `source` into stimuli/ unless it is there; with `keep_metadata` the file, byte for byte.

    Raises SessionError when the folder does not allow it, RecordingError when `source` is not whole.
    """
    digest = sha256_of_file(source)
    place = next((there for there in _places(folder, digest) if there.exists()), None)
    if place is None:
        suffix, write = copier(source, keep_metadata=keep_metadata)
        place = folder.inside("stimuli", f"{_stem(digest)}{suffix}")
        make_folder(place.parent)
        with staged(place, replace=False) as temporary:
            write(temporary)
    return KeptStimulus(sha256=sha256_of_file(place), original_sha256=digest)


def give_samples(folder: SessionFolder, sidecar: Sidecar) -> None:
    """Give the sweep of `sidecar` its samples, from the file in stimuli/; nothing for other stimuli.

    Raises SessionError when that file is missing or is not the one that was played, RecordingError when it cannot be
    read.
    """
    sweep = sampled(sidecar.stimulus)
    if sweep is None or sweep.held:
        return
    path = path_of_samples(folder, sidecar)
    first = sidecar.reel.only_stimulus()[0]
    with open_long(path, channel=1) as file:
        held = hold_samples(file.part(first, first + sweep.n_samples))
    if sha256_of_file(path) != sidecar.stimulus_sha256 or held != sweep.samples_sha256:
        raise SessionError(f"{path} is not the sweep that was played for {sidecar.name.stem}: its SHA-256 differs")


def path_of_samples(folder: SessionFolder, sidecar: Sidecar) -> Path:
    """The file in stimuli/ of a sweep made elsewhere. Raises SessionError when it is missing."""
    places = _places(folder, sidecar.stimulus_original_sha256 or sidecar.stimulus_sha256)
    path = next((place for place in places if place.is_file()), None)
    if path is None:
        raise SessionError(f"{places[0]} is missing: bring back the sweep that was played for {sidecar.name.stem}")
    return path


def _places(folder: SessionFolder, original_sha256: str) -> list[Path]:
    return [folder.inside("stimuli", f"{_stem(original_sha256)}{suffix}") for suffix in AUDIO_SUFFIXES]


def _stem(original_sha256: str) -> str:
    return f"{MADE_ELSEWHERE}{original_sha256[:16]}"
