"""Where recordings of a loudspeaker that is switched off lie: silence/<condition>/off[_takeN], with their sidecars."""

import re
from pathlib import Path

from distort.session.files.folder import AUDIO_SUFFIXES, SessionFolder
from distort.session.files.names import may_be_condition

FOLDER = "silence"
OFF = "off"
_STEM = re.compile(rf"{OFF}(_take([2-9]|[1-9][0-9]))?")


def take_of(stem: str) -> int:
    """Which take a file is, by its name: "off" is the first."""
    return int(stem.removeprefix(OFF).removeprefix("_take") or 1)


def silence_paths(folder: SessionFolder, condition: str) -> tuple[Path, ...]:
    """Audio files of a condition, by take. Raises SessionError when the folder leads out of the session."""
    paths = folder.files_in(FOLDER, condition)
    named = [path for path in paths if path.suffix in AUDIO_SUFFIXES and _STEM.fullmatch(path.stem)]
    return tuple(sorted(named, key=lambda path: take_of(path.stem)))


def conditions_with_silence(folder: SessionFolder) -> tuple[str, ...]:
    """Conditions that have a folder there, sorted. Raises SessionError as `silence_paths` does."""
    place = folder.inside(FOLDER)
    if not place.is_dir():
        return ()
    return tuple(sorted(one.name for one in place.iterdir() if one.is_dir() and may_be_condition(one.name)))
