"""What blind tests of a session's page have said: results/listening/listeners.json, which `distort listeners` keeps."""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from distort.errors import SessionError
from distort.session.files.folder import SessionFolder
from distort.session.files.json_fields import read_json, write_json
from distort.session.results.blind_page_file import blind_note
from distort.session.results.blind_results import PairKind
from distort.session.results.heard_files import Source

KEPT = "listeners.json"

IntervalOf = Literal["these listeners", "listeners like these"]


@dataclass(frozen=True, kw_only=True)
class ListenedPair:
    """A pair, and what all answers about it say."""

    pair: str
    kind: PairKind
    frequency_hz: float | None
    """Of the dip, where one makes the difference."""
    title: str
    condition: str
    level_db_spl: float
    source: Source
    simulated: bool
    runs: int
    broken_off: int
    """Of these runs."""
    listeners: int
    right: int
    trials: int
    probability_by_guessing: float
    share_low: float
    share_high: float
    """95 % interval of the share right, 0 to 1."""
    interval_of: IntervalOf
    shown: bool
    """More than guessing, at 5 % for all pairs together."""


@dataclass(frozen=True, kw_only=True)
class Listened:
    """What all files together hold."""

    loudspeaker: str
    test: str
    """SHA-256 of what the page offered."""
    files: int
    listeners: int
    runs: int
    broken_off: int
    repeated: int
    """Runs that stood in more than one file, and count once."""
    forgetful: int
    """Files of browsers that keep nothing: earlier runs of that listener may be missing."""
    pairs: tuple[ListenedPair, ...]


def keep_listened(folder: SessionFolder, listened: Listened) -> Path:
    """Write it beside its page; returns where. Raises SessionError when another page lies there, or none."""
    note = blind_note(folder)
    if note is None or note.test != listened.test:
        raise SessionError(
            f"these files are not of the blind test that lies in {folder.root} now: its page was made anew since, or "
            f"they belong to another session"
        )
    path = folder.inside("results", "listening", KEPT)
    write_json(path, listened)
    return path


def kept_listened(folder: SessionFolder) -> Listened | None:
    """What was kept of the page that lies there now; None where nothing was, or the page was made anew since.

    Raises SessionError when the file is there and cannot be read.
    """
    path = folder.inside("results", "listening", KEPT)
    note = blind_note(folder)
    if note is None or not path.exists():
        return None
    listened = read_json(path, Listened)
    return listened if listened.test == note.test else None


def left_behind(folder: SessionFolder) -> Path | None:
    """What was kept of a page that no longer lies there, so that nothing tells it any more; None where nothing was."""
    path = folder.inside("results", "listening", KEPT)
    return path if path.exists() and kept_listened(folder) is None else None
