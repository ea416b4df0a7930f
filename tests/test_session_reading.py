"""The one way to open a file: what is no file, or too large, is refused at once in a sentence; nobody goes round it."""

import ast
import os
import stat
from pathlib import Path

import pytest

from distort.errors import SessionError
from distort.session.files.folder import SessionFolder
from distort.session.files.hashing import sha256_of_file
from distort.session.files.reading import LARGEST, MOST_BYTES, opened, read_bytes, read_text
from tests.program_source import nodes_of

ROOT = Path(__file__).resolve().parents[1]

OPENS_ITSELF = {
    "__main__.py": "the device that swallows everything",
    "report/figures/drawing.py": "its own sources",
    "report/page/rendering.py": "its own assets",
    "report/terminal/methods.py": "its own text",
    "session/files/atomic.py": "temporary files that it has made",
    "session/files/reading.py": "the one way",
    "session/results/software.py": "its own sources",
    "session/published/bundle.py": "an entry of the archive that it writes",
    "session/audio/integrity.py": "what audio_file.opened has opened before",
    "session/audio/plain_copy.py": "a recording that audio_file.opened has opened, to copy it",
    "session/audio/recorder_time.py": "the same, to look at what its recorder wrote",
}
"""Modules that may call `open`, `read_text` or `read_bytes` of a path, and what they open."""


@pytest.mark.parametrize(
    ("make", "kind"),
    [
        (lambda path: path.mkdir(), "a folder"),
        (os.mkfifo, "a pipe"),
        (lambda path: os.mknod(path, 0o600 | stat.S_IFSOCK), "a socket"),
        (lambda path: path.symlink_to("/dev/zero"), "a device"),
    ],
)
def test_what_is_no_file_is_told_by_its_kind(tmp_path, make, kind) -> None:
    path = tmp_path / "table.csv"
    make(path)
    for read in (read_bytes, read_text, sha256_of_file):
        with pytest.raises(SessionError, match=f"table.csv is {kind}, where a file belongs"):
            read(path)


def test_a_file_is_read_up_to_the_size_of_its_kind(tmp_path) -> None:
    path = tmp_path / "session.toml"
    path.write_bytes(b"#" * MOST_BYTES[".toml"])
    assert len(read_bytes(path)) == MOST_BYTES[".toml"]
    with path.open("ab") as file:
        file.write(b"#")
    with pytest.raises(SessionError, match=r"session\.toml is larger than 1 MB"):
        read_bytes(path)
    assert len(read_bytes(path, most_bytes=MOST_BYTES[".toml"] + 1)) == MOST_BYTES[".toml"] + 1


def test_the_hash_of_a_hole_of_two_terabytes_is_not_computed(tmp_path) -> None:
    path = tmp_path / "sweep_86dB.wav"
    path.touch()
    os.truncate(path, 2 * 10**12)
    assert path.stat().st_size > LARGEST
    with pytest.raises(SessionError, match="is larger than"):
        sha256_of_file(path)


def test_what_comes_after_a_file_was_opened_is_not_read(tmp_path) -> None:
    """As from a program that goes on writing: no more is read than was there."""
    path = tmp_path / "notes.json"
    path.write_bytes(b"{}")
    with opened(path) as file:
        with path.open("ab") as other:
            other.write(b"x" * 100)
        assert os.fstat(file.fileno()).st_size == 102
    assert len(read_bytes(path)) == 102


def test_files_in_a_folder_are_those_that_lie_in_it(tmp_path) -> None:
    folder = SessionFolder(tmp_path / "monitor")
    place = folder.root / "calibration"
    place.mkdir(parents=True)
    (tmp_path / "outside.json").write_text("{}")
    (place / "microphone.json").write_text("{}")
    (place / ".hidden.json").write_text("{}")
    (place / "link out.json").symlink_to(tmp_path / "outside.json")
    (place / "link to itself").symlink_to("link to itself")
    (place / "link inside.json").symlink_to("microphone.json")
    os.mkfifo(place / "pipe.json")
    (place / "folder.json").mkdir()
    assert [path.name for path in folder.files_in("calibration")] == ["link inside.json", "microphone.json"]
    assert folder.files_in("loopback", "desk") == ()
    (folder.root / "stimuli").symlink_to(tmp_path)
    with pytest.raises(SessionError, match="leads out of the session"):
        folder.files_in("stimuli")


def test_no_other_module_opens_a_file_to_read_it() -> None:
    """Whoever does waits for pipes and reads without end; `reading.opened` and `audio.opened` do not."""
    package = ROOT / "distort"
    found = {
        path.relative_to(package).as_posix()
        for path in package.rglob("*.py")
        for node in nodes_of(path)
        if isinstance(node, ast.Call) and _opens(node.func)
    }
    assert found == set(OPENS_ITSELF)  # one that opens no file any more leaves the list


def _opens(called: ast.expr) -> bool:
    if isinstance(called, ast.Name):
        return called.id == "open"
    is_method = isinstance(called, ast.Attribute) and ast.unparse(called.value) != "os"
    return is_method and called.attr in {"open", "read_text", "read_bytes"}
