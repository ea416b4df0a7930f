"""calibration/sounded.json: what this program played last, and all that it played and kept no recording of.

It is written before anything loud sounds, so a program that is ended in the middle has said it already.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from distort.errors import shown
from distort.session.files.atomic import make_folder
from distort.session.files.folder import SessionFolder
from distort.session.files.json_fields import read_json, write_json

SOUNDED_FILE = "sounded.json"


@dataclass(frozen=True, kw_only=True)
class Sounded:
    """One run of a device. Raises ValueError for a moment that is none."""

    recording: str
    """What it was to become, such as "desk/sweep_96dB"."""
    level_db_spl: float
    """Nominal, at 1 m."""
    seconds: float
    """Of its stimulus, as far as it sounded; all of it until more is known."""
    began: str
    """ISO 8601, UTC."""
    ended: str
    """When it was silent: as planned, until more is known."""
    rest_s: float
    """How long the loudspeaker rests from then on before anything is loud."""
    simulated: bool
    kept: bool = False
    """It became a recording, and counts as that."""

    def __post_init__(self) -> None:
        for moment in (self.began, self.ended):
            try:
                aware = datetime.fromisoformat(moment).utcoffset() == timedelta(0)
            except (TypeError, ValueError):
                aware = False
            if not aware:
                raise ValueError(f"{shown(moment)} is no moment in UTC")
        if not (self.seconds >= 0.0 and self.rest_s >= 0.0):
            raise ValueError("seconds and rest_s must be 0 or more")


@dataclass(frozen=True, kw_only=True)
class _File:
    played: tuple[Sounded, ...]


def read_sounded(folder: SessionFolder) -> tuple[Sounded, ...]:
    """The oldest first; nothing where nothing was played. Raises SessionError for a file that cannot be trusted."""
    path = _path(folder)
    return read_json(path, _File).played if path.exists() else ()


def note_sounded(folder: SessionFolder, one: Sounded) -> None:
    """Keep `one` as the last that was played, in the place of what was noted of the same run.

    What became a recording stays only as long as it is the last. Raises SessionError when the folder does not allow it.
    """
    before = (other for other in read_sounded(folder) if not other.kept and not _same_run(other, one))
    path = _path(folder)
    make_folder(path.parent)
    write_json(path, _File(played=(*before, one)))


def _same_run(one: Sounded, other: Sounded) -> bool:
    return (one.recording, one.began) == (other.recording, other.began)


def _path(folder: SessionFolder) -> Path:
    return folder.calibration_path(SOUNDED_FILE)
