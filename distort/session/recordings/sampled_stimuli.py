"""Sweeps made elsewhere: their files in stimuli/, by the hash that the sidecars of their recordings state."""

import shutil
from pathlib import Path

from distort.errors import SessionError
from distort.session.files.atomic import make_folder, staged
from distort.session.files.folder import AUDIO_SUFFIXES, SessionFolder
from distort.session.files.hashing import sha256_of_file
from distort.session.recordings.long_audio import open_long
from distort.session.recordings.sidecar import Sidecar
from signals import SampledSweep, hold_samples

MADE_ELSEWHERE = "made-elsewhere_"


def keep_stimulus_file(folder: SessionFolder, source: Path) -> str:
    """Copy `source`, byte for byte, into stimuli/ unless it is there; its SHA-256. Raises SessionError."""
    digest = sha256_of_file(source)
    place = folder.inside("stimuli", f"{MADE_ELSEWHERE}{digest[:16]}{source.suffix.lower()}")
    if not place.exists():
        make_folder(place.parent)
        with staged(place, replace=False) as temporary:
            shutil.copyfile(source, temporary)
    return digest


def give_samples(folder: SessionFolder, sidecar: Sidecar) -> None:
    """Give the sweep of `sidecar` its samples, from the file in stimuli/; nothing for other stimuli.

    Raises SessionError when that file is missing or is not the one that was played, RecordingError when it cannot be
    read.
    """
    sweep = sidecar.stimulus
    if not isinstance(sweep, SampledSweep) or sweep.held:
        return
    digest = sidecar.stimulus_sha256
    places = [folder.inside("stimuli", f"{MADE_ELSEWHERE}{digest[:16]}{suffix}") for suffix in AUDIO_SUFFIXES]
    path = next((place for place in places if place.is_file()), None)
    if path is None:
        raise SessionError(f"{places[0]} is missing: bring back the sweep that was played for {sidecar.name.stem}")
    first = sidecar.reel.only_stimulus()[0]
    with open_long(path, channel=1) as file:
        held = hold_samples(file.part(first, first + sweep.n_samples))
    if sha256_of_file(path) != digest or held != sweep.samples_sha256:
        raise SessionError(f"{path} is not the sweep that was played for {sidecar.name.stem}: its SHA-256 differs")
