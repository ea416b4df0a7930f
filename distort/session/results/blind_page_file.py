"""results/listening/blind.html, and beside it in blind.note.json its hash and whether it may leave the session."""

from dataclasses import dataclass
from pathlib import Path

from distort.session.files.atomic import make_folder, write_text
from distort.session.files.folder import SessionFolder
from distort.session.files.hashing import sha256_of_text
from distort.session.files.json_fields import write_json

PAGE, NOTE = "blind.html", "blind.note.json"


@dataclass(frozen=True, kw_only=True)
class BlindNote:
    """What blind.note.json holds."""

    sha256: str
    """Of the page as it was written."""
    licensed: bool
    """A licence is stated for all music in it, or it is this program's own; without one it stays in the session."""


def blind_path(folder: SessionFolder) -> Path:
    """results/listening/blind.html. Raises SessionError when it leads out of the session."""
    return folder.inside("results", "listening", PAGE)


def write_blind_file(folder: SessionFolder, text: str, *, licensed: bool) -> Path:
    """Write the page and its note; returns where the page is. Raises SessionError when the folder does not allow it."""
    path = blind_path(folder)
    make_folder(path.parent)
    write_text(path, text)
    write_json(path.with_name(NOTE), BlindNote(sha256=sha256_of_text(text), licensed=licensed))
    return path
