"""results/listening/blind.html, and beside it in blind.note.json its hash and whether it may leave the session."""

from dataclasses import dataclass, field
from pathlib import Path

from distort.errors import SessionError
from distort.session.files.atomic import make_folder, write_text
from distort.session.files.folder import SessionFolder
from distort.session.files.hashing import is_file_of
from distort.session.files.json_fields import later, read_json, write_json

PAGE, NOTE = "blind.html", "blind.note.json"


@dataclass(frozen=True, kw_only=True)
class BlindNote:
    """What blind.note.json holds."""

    sha256: str
    """Of the page as it was written."""
    test: str
    """What the files of its listeners call it."""
    licensed: bool
    """The licence of all music in it permitted sharing when it was made; otherwise it stays in the session."""
    music: tuple[str | None, ...] = field(default=(), metadata=later())
    """What the plan must let out with it still: as `programme_sha256` of the sounds in it."""


def blind_path(folder: SessionFolder) -> Path:
    """results/listening/blind.html. Raises SessionError when it leads out of the session."""
    return folder.inside("results", "listening", PAGE)


def note_path(folder: SessionFolder) -> Path:
    """results/listening/blind.note.json. Raises SessionError when it leads out of the session."""
    return folder.inside("results", "listening", NOTE)


def blind_note(folder: SessionFolder) -> BlindNote | None:
    """The note of the page, if the page is there as it was written; None where it is not, or nothing tells.

    Raises SessionError when it leads out of the session.
    """
    path = blind_path(folder)
    try:
        note = read_json(note_path(folder), BlindNote)
    except SessionError:  # it is missing, or none of ours
        return None
    return note if is_file_of(path, note.sha256) else None


def write_blind_file(folder: SessionFolder, text: str, note: BlindNote) -> Path:
    """Write the page and its note; returns where the page is. Raises SessionError when the folder does not allow it."""
    path = blind_path(folder)
    make_folder(path.parent)
    write_text(path, text)
    write_json(note_path(folder), note)
    return path
