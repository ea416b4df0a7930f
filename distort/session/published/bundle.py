"""A session as one ZIP file for readers who check it: all that the results rest on, and nothing that is not said here.

session.toml goes in without its comments, which are the tester's own; files that no command made stay out. Times in
the archive are fixed, so that the same session gives the same bytes.
"""

import zipfile
from collections.abc import Iterator, Mapping
from pathlib import Path

from distort.session.files.atomic import staged
from distort.session.files.folder import SessionFolder
from distort.session.files.hashing import sha256_of_file
from distort.session.plan.keys import Plan
from distort.session.plan.template import text_of
from distort.session.published.inputs import inputs_of

CONTENTS = "CONTENTS.txt"

RESULTS = ("results/*/*.csv", "results/*/findings.json", "results/report.html", "results/figures/*", "frozen/**/*")
"""Beside the inputs: what was found, drawn and frozen."""

ALREADY_PACKED = {".flac", ".wav", ".png", ".pdf"}
"""Compressing these again, or noise, is slow and saves little."""

_FIXED_TIME = (1980, 1, 1, 0, 0, 0)
_PLAIN_FILE = 0o644 << 16


def write_bundle(folder: SessionFolder, plan: Plan, path: Path, *, software: str) -> tuple[str, ...]:
    """Write the ZIP file `path`, which must not exist, and return the names in it.

    Raises SessionError when it exists, an input is missing, or the folder does not allow it.
    """
    plan_text = text_of(plan).encode("utf-8")
    files = _files(folder, plan)
    prefix = f"{path.stem}/"
    with staged(path, replace=False) as temporary, zipfile.ZipFile(temporary, "w") as archive:
        _add(archive, prefix + CONTENTS, _contents(files, software).encode("utf-8"))
        _add(archive, prefix + folder.plan_path.name, plan_text)
        for name, source in files.items():
            _add(archive, prefix + name, source.read_bytes())
    return (CONTENTS, folder.plan_path.name, *files)


def _files(folder: SessionFolder, plan: Plan) -> Mapping[str, Path]:
    names = {one.file for one in inputs_of(folder, plan)} - {folder.plan_path.name}
    names |= set(_results(folder))
    return {name: folder.inside(name) for name in sorted(names)}


def _results(folder: SessionFolder) -> Iterator[str]:
    for pattern in RESULTS:
        for path in folder.root.glob(pattern):
            name = path.relative_to(folder.root)
            kept_plan = "frozen" in name.parts and path.name == folder.plan_path.name  # it has its comments still
            if path.is_file() and not any(part.startswith(".") for part in name.parts) and not kept_plan:
                yield name.as_posix()


def _contents(files: Mapping[str, Path], software: str) -> str:
    hashes = "\n".join(f"{sha256_of_file(source)}  {name}" for name, source in files.items())
    return (
        f"A session of {software}: recordings, calibration, plan and results.\n"
        f"To check it: unpack, install that version, and run 'distort analyze' on this folder.\n"
        f"session.toml is here without its comments.\n\nSHA-256\n{hashes}\n"
    )


def _add(archive: zipfile.ZipFile, name: str, content: bytes) -> None:
    entry = zipfile.ZipInfo(name, date_time=_FIXED_TIME)
    packed = Path(name).suffix in ALREADY_PACKED
    entry.compress_type = zipfile.ZIP_STORED if packed else zipfile.ZIP_DEFLATED
    entry.external_attr = _PLAIN_FILE
    entry.create_system = 3  # Unix, on every system, so that the bytes are the same
    archive.writestr(entry, content)
