"""Files are whole or not there, and nothing that must stay is replaced."""

import errno
import os
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest

from distort.errors import SessionError
from distort.session.files import atomic
from distort.session.files.hashing import sha256_of_file
from tests.windows import ACCESS_DENIED, SHARING_VIOLATION, windows_error

WRITER = """
import sys
from pathlib import Path
from distort.session.files.atomic import write_bytes
path = Path(sys.argv[1])
for round in range(10**6):
    write_bytes(path, bytes([65 + round % 26]) * 3_000_000)
    print(round, flush=True)
"""


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_a_file_is_written_replaced_and_nothing_is_left_beside_it(tmp_path: Path) -> None:
    path = tmp_path / "a.json"
    atomic.write_text(path, "höher\n")
    atomic.write_bytes(path, b"second")
    assert path.read_bytes() == b"second"
    assert names(tmp_path) == ["a.json"]


@pytest.mark.skipif(os.name == "nt", reason="Windows has other permissions")
def test_others_may_read_what_is_written_as_far_as_the_mask_allows(tmp_path: Path) -> None:
    old = os.umask(0o022)
    try:
        atomic.write_text(tmp_path / "a", "")
    finally:
        os.umask(old)
    assert (tmp_path / "a").stat().st_mode & 0o777 == 0o644


def test_write_new_refuses_what_exists_even_a_broken_link(tmp_path: Path) -> None:
    path = tmp_path / "take.flac"
    atomic.write_new(path, b"first")
    with pytest.raises(SessionError, match=r"take\.flac exists already and is never overwritten"):
        atomic.write_new(path, b"second")
    assert path.read_bytes() == b"first"
    (tmp_path / "link").symlink_to(tmp_path / "nowhere")
    with pytest.raises(SessionError, match="exists already"):
        atomic.write_new(tmp_path / "link", b"second")
    assert names(tmp_path) == ["link", "take.flac"]


@pytest.mark.parametrize("hard_links", [True, False])
def test_a_name_taken_while_writing_is_not_overwritten(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, hard_links: bool
) -> None:
    """Two programs at once: the second to finish must lose, not win."""
    path = tmp_path / "take.flac"

    def refuse(*_: object) -> None:
        raise OSError(errno.EPERM, os.strerror(errno.EPERM))

    if not hard_links:
        monkeypatch.setattr(os, "link", refuse)

    def write_late() -> None:
        with atomic.staged(path, replace=False) as temporary:
            temporary.write_bytes(b"late")
            path.write_bytes(b"early")

    with pytest.raises(SessionError, match="exists already"):
        write_late()
    assert path.read_bytes() == b"early"
    assert names(tmp_path) == ["take.flac"]


def test_what_exists_is_refused_before_the_work_is_done(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"")

    def write() -> None:
        with atomic.staged(tmp_path / "a", replace=False):
            pytest.fail("the work was begun")

    with pytest.raises(SessionError, match="exists already"):
        write()


@pytest.mark.parametrize("code", [errno.EPERM, errno.ENOTSUP])
def test_a_memory_card_without_hard_links_still_takes_recordings(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: int
) -> None:
    def refuse(*_: object) -> None:
        raise OSError(code, os.strerror(code))

    monkeypatch.setattr(os, "link", refuse)
    atomic.write_new(tmp_path / "a", b"1")
    assert (tmp_path / "a").read_bytes() == b"1"
    with pytest.raises(SessionError, match="exists already"):
        atomic.write_new(tmp_path / "a", b"2")


def test_an_error_inside_leaves_the_old_file_and_no_other(tmp_path: Path) -> None:
    path = tmp_path / "a"
    atomic.write_bytes(path, b"old")

    def write_half() -> None:
        with atomic.staged(path, replace=True) as temporary:
            temporary.write_bytes(b"half of the n")
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        write_half()
    assert path.read_bytes() == b"old"
    assert names(tmp_path) == ["a"]


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    with pytest.raises(SessionError, match=r"nowhere does not exist"):
        atomic.write_bytes(tmp_path / "nowhere" / "a", b"")


def test_a_file_in_place_of_a_folder_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(SessionError, match="a file stands where a folder is needed"):
        atomic.write_bytes(tmp_path / "file" / "a", b"")
    with pytest.raises(SessionError, match="a file stands where a folder is needed"):
        atomic.make_folder(tmp_path / "file" / "below")


def test_a_folder_in_place_of_a_file_is_named(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    with pytest.raises(SessionError, match="a folder of that name exists"):
        atomic.write_bytes(tmp_path / "a", b"")
    assert names(tmp_path) == ["a"]


@pytest.mark.parametrize(
    ("code", "sentence"),
    [
        (errno.EACCES, "is read-only here; make it writable"),
        (errno.EROFS, "is read-only here; make it writable"),
        (errno.ENOSPC, "the disk is full; free some space"),
        (errno.EDQUOT, "the disk is full; free some space"),
        (errno.EBUSY, "another program has it open; close it there"),
        (errno.ENAMETOOLONG, "its drive takes no such name, or none so long"),
    ],
)
@pytest.mark.parametrize("call", ["open", "fsync", "replace"])
def test_a_refusal_of_the_system_is_one_sentence_and_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: int, sentence: str, call: str
) -> None:
    """Injected, because tests may run as a user whom no permission stops."""
    path = tmp_path / "a"
    path.write_bytes(b"old")

    def refuse(*_: object) -> None:
        raise OSError(code, os.strerror(code))

    with monkeypatch.context() as patch:
        patch.setattr(os, call, refuse)
        with pytest.raises(SessionError, match=sentence) as caught:
            atomic.write_bytes(path, b"new")
    assert str(path) in str(caught.value)
    assert path.read_bytes() == b"old"
    assert names(tmp_path) == ["a"]


def test_a_table_that_another_program_has_open_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Windows refuses to replace it; what was written instead goes."""
    path = tmp_path / "a.csv"
    path.write_bytes(b"old")
    monkeypatch.setattr(time, "sleep", lambda _: None)
    for number in (SHARING_VIOLATION, ACCESS_DENIED):

        def refuse(*_: object, number: int = number) -> None:
            raise windows_error(number)

        with monkeypatch.context() as patch:
            patch.setattr(os, "replace", refuse)
            with pytest.raises(SessionError, match=r"a\.csv cannot be written: another program has it open"):
                atomic.write_bytes(path, b"new")
    assert path.read_bytes() == b"old"
    assert names(tmp_path) == ["a.csv"]


def test_a_name_that_its_drive_does_not_take_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """exFAT, as Linux mounts it, says "no such file" of a colon."""

    def refuse(*_: object, **__: object) -> None:
        raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT))

    monkeypatch.setattr(Path, "touch", refuse)
    with pytest.raises(SessionError, match="its drive takes no such name"):
        atomic.write_bytes(tmp_path / "a:b", b"")


@pytest.mark.skipif(os.name == "nt", reason="Windows has other permissions")
def test_a_folder_that_is_really_read_only() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o555)
        user = os.geteuid()
        if user == 0:  # no permission stops this user: act as one whom they do
            os.seteuid(65534)
        try:
            with pytest.raises(SessionError, match="is read-only here; make it writable"):
                atomic.write_bytes(folder / "a", b"")
            with pytest.raises(SessionError, match="is read-only here; make it writable"):
                atomic.make_folder(folder / "recordings")
        finally:
            os.seteuid(user)
            folder.chmod(0o755)


def test_content_is_flushed_before_the_rename_and_the_folder_after(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A power cut may otherwise leave the new name with nothing in it."""
    happened: list[str] = []
    fsync, replace = os.fsync, os.replace

    def watched_fsync(descriptor: int) -> None:
        is_folder = os.path.isdir(f"/proc/self/fd/{descriptor}")
        happened.append("flush folder" if is_folder else "flush file")
        fsync(descriptor)

    def watched_replace(source: Path, target: Path) -> None:
        happened.append("rename")
        replace(source, target)

    monkeypatch.setattr(os, "fsync", watched_fsync)
    monkeypatch.setattr(os, "replace", watched_replace)
    atomic.write_bytes(tmp_path / "a", b"new")
    assert [each.split()[0] for each in happened] == ["flush", "rename", "flush"]
    if Path("/proc/self/fd").exists():
        assert happened == ["flush file", "rename", "flush folder"]


@pytest.mark.parametrize("delay_ms", [3, 7, 11])
def test_a_kill_at_any_moment_leaves_the_old_file_or_the_new(tmp_path: Path, delay_ms: int) -> None:
    """A process that does nothing but write is killed: the file is always one letter, 3,000,000 times."""
    path = tmp_path / "a"
    writer = subprocess.Popen([sys.executable, "-c", WRITER, str(path)], stdout=subprocess.PIPE)
    assert writer.stdout is not None
    with writer.stdout:
        writer.stdout.readline()  # from now on the file exists
        time.sleep(delay_ms / 1000)
        os.kill(writer.pid, getattr(signal, "SIGKILL", signal.SIGTERM))
        writer.wait()
    content = path.read_bytes()
    assert len(content) == 3_000_000
    assert len(set(content)) == 1
    assert all(name == "a" or (name.startswith(".a.") and name.endswith(".tmp")) for name in names(tmp_path))


def test_sha256_of_a_file(tmp_path: Path) -> None:
    """FIPS 180-2, appendix B.3: one million letters a; and the same across the border of two chunks."""
    path = tmp_path / "a"
    path.write_bytes(b"a" * 1_000_000)
    assert sha256_of_file(path) == "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"
    with pytest.raises(SessionError, match="cannot be read"):
        sha256_of_file(tmp_path / "missing")


def test_sha256_reads_all_chunks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("distort.session.files.hashing.CHUNK_BYTES", 7)
    path = tmp_path / "a"
    path.write_bytes(b"abc" * 5)
    (tmp_path / "b").write_bytes(b"abc" * 5 + b"d")
    assert sha256_of_file(path) != sha256_of_file(tmp_path / "b")
