"""results/report.html, and beside it in report.json its hash: what `distort report` wrote is told from another page."""

from dataclasses import dataclass, field
from pathlib import Path

from distort.errors import SessionError
from distort.session.files.atomic import write_text
from distort.session.files.folder import SessionFolder
from distort.session.files.hashing import is_file_of, sha256_of_text
from distort.session.files.json_fields import later, read_json, write_json

PAGE, NOTE = "report.html", "report.json"


@dataclass(frozen=True, kw_only=True)
class PageNote:
    """What report.json holds."""

    sha256: str
    """Of the page as it was written."""
    music: tuple[str | None, ...] = field(default=(), metadata=later())
    """What the plan must let out with the page: as `programme_sha256` of the sounds in it."""


def page_path(folder: SessionFolder) -> Path:
    """results/report.html. Raises SessionError when it leads out of the session."""
    return folder.inside("results", PAGE)


def write_page_file(folder: SessionFolder, text: str, *, music: tuple[str | None, ...] = ()) -> bool:
    """Write the page, unless it is there already, and its note; whether it was written.

    music   whose sounds are in it

    Raises SessionError when the folder does not allow it.
    """
    digest = sha256_of_text(text)
    if page_as_written(folder) == PageNote(sha256=digest, music=music):
        return False
    write_text(page_path(folder), text)
    write_json(folder.inside("results", NOTE), PageNote(sha256=digest, music=music))
    return True


def page_as_written(folder: SessionFolder) -> PageNote | None:
    """The note of the page, if that is there and as it was written; None where it is not, or nothing tells.

    Raises SessionError when it leads out of the session.
    """
    note = folder.inside("results", NOTE)
    try:
        written = read_json(note, PageNote)
    except SessionError:  # it is missing, or none of ours
        return None
    return written if is_file_of(page_path(folder), written.sha256) else None
