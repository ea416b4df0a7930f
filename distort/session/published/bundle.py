"""A session as one ZIP file for readers who check it: all that the results rest on, and nothing that is not said here.

session.toml goes in without its comments, which are the tester's own; files that no command made stay out. Times in
the archive are fixed, so that the same session gives the same bytes.
"""

import hashlib
import os
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from distort.errors import SessionError
from distort.session.files.atomic import staged
from distort.session.files.folder import PLAN_FILE, SessionFolder
from distort.session.files.hashing import CHUNK_BYTES
from distort.session.files.lock import locked_file
from distort.session.files.reading import opened
from distort.session.plan.keys import Plan
from distort.session.plan.template import text_of
from distort.session.published.contents import contents_of
from distort.session.results.inputs import FileHash

CONTENTS = "CONTENTS.txt"

ALREADY_PACKED = {".flac", ".wav", ".png", ".pdf"}
"""Compressing these again, or noise, is slow and saves little."""

_FIXED_TIME = (1980, 1, 1, 0, 0, 0)
_PLAIN_FILE = 0o644 << 16


@dataclass(frozen=True, kw_only=True)
class Packed:
    """What became of a session."""

    names: tuple[str, ...]
    """In the file, below its one folder."""
    left_out: tuple[str, ...]
    """Of the session, because they are not as they were written."""
    unlicensed: tuple[str, ...]
    """Recordings of music that no stated licence permits to share; they are left out, too."""


def write_bundle(folder: SessionFolder, plan: Plan, path: Path, *, software: str) -> Packed:
    """Write the ZIP file `path`, which must not exist.

    Raises SessionError when it exists, a file changes meanwhile, or the folder does not allow it, and as `contents_of`
    does.
    """
    plan_text = text_of(plan).encode("utf-8")
    contents = contents_of(folder, plan)
    prefix = f"{path.stem}/"
    with locked_file(path), staged(path, replace=False) as temporary, zipfile.ZipFile(temporary, "w") as archive:
        archive.writestr(_entry(prefix + CONTENTS), _contents(contents.files, software).encode("utf-8"))
        archive.writestr(_entry(prefix + PLAN_FILE), plan_text)
        for one in contents.files:
            _pack(archive, _entry(prefix + one.file), folder.inside(one.file), sha256=one.sha256)
    names = (CONTENTS, PLAN_FILE, *(one.file for one in contents.files))
    return Packed(names=names, left_out=contents.left_out, unlicensed=contents.unlicensed)


def _contents(files: Sequence[FileHash], software: str) -> str:
    hashes = "\n".join(f"{one.sha256}  {one.file}" for one in files)
    return (
        f"A session of {software}: recordings, calibration, plan and results.\n"
        f"To check it: unpack, install that version, and run 'distort analyze' on this folder.\n"
        f"session.toml is here without its comments.\n\nSHA-256\n{hashes}\n"
    )


def _pack(archive: zipfile.ZipFile, entry: zipfile.ZipInfo, source: Path, *, sha256: str) -> None:
    """Pack a file piece by piece. Raises SessionError when it is no longer the one of that hash."""
    digest = hashlib.sha256()
    with opened(source) as file:
        entry.file_size = os.fstat(file.fileno()).st_size  # so that one beyond 2 GiB has its wider header
        with archive.open(entry, "w") as packed:
            while chunk := file.read(CHUNK_BYTES):
                digest.update(chunk)
                packed.write(chunk)
    if digest.hexdigest() != sha256:
        raise SessionError(f"{source} changed while it was packed: pack it again")


def _entry(name: str) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name, date_time=_FIXED_TIME)
    packed = Path(name).suffix in ALREADY_PACKED
    entry.compress_type = zipfile.ZIP_STORED if packed else zipfile.ZIP_DEFLATED
    entry.external_attr = _PLAIN_FILE
    entry.create_system = 3  # Unix, on every system, so that the bytes are the same
    return entry
