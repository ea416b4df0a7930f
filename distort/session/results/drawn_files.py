"""results/figures/drawn.json: what each figure was drawn of, and the files that it was written into."""

from dataclasses import dataclass
from pathlib import Path

from distort.errors import SessionError
from distort.session.files.json_fields import read_json, write_json

RECORD = "drawn.json"


@dataclass(frozen=True, kw_only=True)
class DrawnFile:
    """A file of a figure."""

    name: str
    sha256: str


@dataclass(frozen=True, kw_only=True)
class DrawnFigure:
    """What a figure was drawn of, and into which files."""

    stem: str
    digest: str
    files: tuple[DrawnFile, ...]


@dataclass(frozen=True, kw_only=True)
class Record:
    """What drawn.json holds."""

    figures: tuple[DrawnFigure, ...]


def read_record(folder: Path) -> Record:
    """The record in a folder of figures; an empty one where there is none, or none that can be trusted.

    Without it every figure is drawn again, and none is packed.
    """
    path = folder / RECORD
    try:
        return Record(figures=()) if path.is_symlink() else read_json(path, Record)
    except SessionError:
        return Record(figures=())


def write_record(folder: Path, record: Record) -> None:
    """Write the record into a folder of figures. Raises SessionError when the folder does not allow it."""
    write_json(folder / RECORD, record)
