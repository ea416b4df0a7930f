"""Two processes on one session: the second is told who has it; a dead one's lock holds nobody up."""

import errno
import fcntl
import os
import re
import shutil
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from distort import system
from distort.commands import session_lock as alone
from distort.commands.table import build_parser
from distort.errors import SessionError
from distort.session.files.lock import LOCK_FILE, locked, locked_file
from tests.clumsy_session import read_only
from tests.windows import INVALID_FUNCTION, NOT_SUPPORTED, windows_error

pytest_plugins = ["tests.clumsy_fixtures"]

HOLD = """
import sys, time
from pathlib import Path
from distort.session.files.lock import locked
with locked(Path(sys.argv[1])):
    print("held", flush=True)
    time.sleep(60)
"""


@pytest.fixture
def made(made, tmp_path) -> Path:
    """A copy: whoever holds it writes a lock into it."""
    return Path(shutil.copytree(made, tmp_path / "made"))


@pytest.fixture
def holder(made):
    """A process that holds the session's lock; gone when the test ends."""
    process = subprocess.Popen([sys.executable, "-c", HOLD, made], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    assert process.stdout.readline() == "held\n"
    yield process
    process.kill()
    process.wait()
    process.stdout.close()
    (made / LOCK_FILE).unlink(missing_ok=True)


def test_every_command_says_whether_it_writes() -> None:
    named = [alone.WRITE, alone.OWN_WAY, alone.READ]
    assert sorted(build_parser().commands()) == sorted(name for names in named for name in names)


def test_the_second_process_is_told_who_holds_the_session(distort, made, tmp_path, holder) -> None:
    wav = tmp_path / "take.wav"
    for words in (
        ("measure", made, "--simulate"),
        ("add", made, wav, "--stimulus", "sweep", "--level", "86"),
        ("calibrate", made, "--spl", "94", "--from", wav),
        ("reject", made, "default/sweep_86dB", "--reason", "a lorry"),
        ("stimuli", made),
        ("analyze", made),
        ("report", made),
        ("freeze", made, "issue-12"),
        ("bundle", made),
        ("compare", made, tmp_path),
    ):
        said = distort.refused(*words, inside=made)
        assert said.startswith(f"{made} is in use by process {holder.pid} on {socket.gethostname()} since 20"), words
    assert distort("check", made).status == 1  # reads, and says what is missing
    assert "is in use" not in distort("show", made, "quality").err


OLDER = """
import fcntl, os, sys
descriptor = os.open(sys.argv[1], os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_NONBLOCK, 0o666)
try:
    fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
except BlockingIOError:
    print("held by", *os.pread(descriptor, 500, 0).decode().split()[:2], flush=True)
else:
    os.ftruncate(descriptor, 0)
    os.pwrite(descriptor, f"{os.getpid()} {os.uname().nodename} 2024-05-01T12:30:00+00:00\\n".encode(), 0)
    print("free", flush=True)
    sys.stdin.read()
"""
"""How an older version of this program locks: flock(2) itself."""


class TestAnOlderVersion:
    def test_holds_the_session_against_this_one(self, tmp_path) -> None:
        other = subprocess.Popen(
            [sys.executable, "-c", OLDER, tmp_path / LOCK_FILE],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        assert other.stdout is not None
        assert other.stdout.readline() == "free\n"
        said = f"in use by process {other.pid} on {socket.gethostname()} since 2024-05-01T12:30:00"
        with pytest.raises(SessionError, match=re.escape(said)), locked(tmp_path):
            pass
        other.communicate()
        with locked(tmp_path):
            pass

    def test_is_told_that_this_one_holds_it(self, tmp_path) -> None:
        words = [sys.executable, "-c", OLDER, tmp_path / LOCK_FILE]
        with locked(tmp_path):
            assert subprocess.check_output(words, text=True) == f"held by {os.getpid()} {socket.gethostname()}\n"
        assert subprocess.check_output(words, text=True, stdin=subprocess.DEVNULL) == "free\n"


def test_on_windows_the_first_byte_of_a_held_file_cannot_be_read(tmp_path, monkeypatch) -> None:
    """LockFileEx holds it against every other reader; what is said begins after it."""
    read = os.read

    def read_on_windows(descriptor: int, most: int) -> bytes:
        if os.lseek(descriptor, 0, os.SEEK_CUR) == 0:
            raise PermissionError(errno.EACCES, "Permission denied")
        return read(descriptor, most)

    with locked(tmp_path):
        monkeypatch.setattr(os, "read", read_on_windows)
        with (
            pytest.raises(SessionError, match=f"in use by process {os.getpid()} on {socket.gethostname()} since 20"),
            locked(tmp_path),
        ):
            pass


def test_the_lock_of_a_killed_process_says_no_more_than_who_holds_it_now(tmp_path) -> None:
    (tmp_path / LOCK_FILE).write_text("9" * 600)
    with locked(tmp_path):
        assert len((tmp_path / LOCK_FILE).read_text().split()) == 3


def test_a_killed_process_holds_nobody_up(distort, made, holder) -> None:
    holder.kill()
    holder.wait()
    assert (made / LOCK_FILE).exists()
    distort.done("stimuli", made)
    assert not (made / LOCK_FILE).exists()


def test_the_lock_goes_when_the_body_ends_badly(tmp_path) -> None:
    def fails() -> None:
        with locked(tmp_path):
            assert (tmp_path / LOCK_FILE).exists()
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        fails()
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_removed_meanwhile(tmp_path) -> None:
    folder = tmp_path / "session"
    folder.mkdir()
    with locked(folder):
        (folder / LOCK_FILE).unlink()
        folder.rmdir()


def test_a_read_only_folder_is_read_without_a_lock(distort, made, shared) -> None:
    session = Path(shutil.copytree(made, shared / "monitor"))
    with read_only(session):
        said = distort.refused("reject", session, "default/sweep_86dB", "--reason", "a lorry", inside=session)
        assert "has no recording" in said  # and nothing of a lock
        assert "86" in distort("check", session).out


def test_a_lock_file_that_its_holder_removes_meanwhile_is_made_anew(tmp_path, monkeypatch) -> None:
    """Else this process would hold a file without a name, and the next one a file of that name."""
    path = tmp_path / LOCK_FILE
    opened = system.open_to_hold
    path.touch()
    removals = iter([path.unlink, lambda: None])

    def open_and_see_it_go(path: Path) -> int:
        descriptor = opened(path)
        next(removals)()
        return descriptor

    monkeypatch.setattr(system, "open_to_hold", open_and_see_it_go)
    with locked(tmp_path):
        assert path.read_text().split()[0] == str(os.getpid())
        with pytest.raises(StopIteration):
            next(removals)


def test_a_lock_that_was_removed_and_made_anew_is_left_to_its_holder(tmp_path) -> None:
    path = tmp_path / LOCK_FILE
    with locked(tmp_path):
        path.unlink()
        path.write_text("another's")
    assert path.read_text() == "another's"


@pytest.mark.parametrize("kind", ["link", "pipe", "folder"])
def test_what_is_no_file_is_not_written_through(tmp_path, kind) -> None:
    other = tmp_path / "other"
    other.write_text("mine")
    session = tmp_path / "session"
    session.mkdir()
    path = session / LOCK_FILE
    {"link": lambda: path.symlink_to(other), "pipe": lambda: os.mkfifo(path), "folder": path.mkdir}[kind]()
    with pytest.raises(SessionError, match=r"cannot be written|is no file"), locked(session):
        pass
    assert other.read_text() == "mine"
    assert path.is_symlink() or not path.is_file()


class TestADriveWithoutLocks:
    """There the file itself is the lock."""

    @pytest.fixture(
        autouse=True,
        params=[
            OSError(errno.ENOLCK, "No locks available"),
            windows_error(INVALID_FUNCTION),
            windows_error(NOT_SUPPORTED),
        ],
        ids=str,
    )
    def no_locks(self, request, monkeypatch) -> None:
        def refuse(descriptor: int, operation: int) -> None:
            raise request.param

        monkeypatch.setattr(fcntl, "flock", refuse)

    def test_what_another_machine_may_still_write_stays(self, tmp_path) -> None:
        names = [".a.csv.00000000-1-abcdef.tmp", ".a.csv.0123456789ab.tmp"]
        for name in names:
            (tmp_path / name).touch()
        with locked(tmp_path):
            assert sorted(path.name for path in tmp_path.iterdir()) == [*names, LOCK_FILE]

    def test_it_holds_and_goes(self, tmp_path) -> None:
        with locked(tmp_path):
            said = (tmp_path / LOCK_FILE).read_text().split()
            assert said[:2] == [str(os.getpid()), socket.gethostname()]
        assert not (tmp_path / LOCK_FILE).exists()

    def test_another_machine_is_believed(self, tmp_path) -> None:
        (tmp_path / LOCK_FILE).write_text("12 elsewhere 2024-05-01T12:30:00+00:00\n")
        with pytest.raises(SessionError, match=r"process 12 on elsewhere since 2024.*or remove"), locked(tmp_path):
            pass

    def test_a_living_process_is_believed_and_a_dead_one_is_not(self, tmp_path) -> None:
        dead = subprocess.Popen([sys.executable, "-c", ""])
        dead.wait()
        for process, held in ((os.getppid(), True), (dead.pid, False), (2**40, False), (os.getpid(), False)):
            (tmp_path / LOCK_FILE).write_text(f"{process} {socket.gethostname()} 2024-05-01T12:30:00+00:00\n")
            if held:
                with pytest.raises(SessionError, match=f"process {process} on"), locked(tmp_path):
                    pass
            else:
                with locked(tmp_path):
                    pass

    @pytest.mark.parametrize("text", ["", "x", "\0" * 400, "12 here", "-5 here now", "9" * 600])
    def test_what_names_nobody_holds_nobody_up(self, tmp_path: Path, text) -> None:
        (tmp_path / LOCK_FILE).write_text(text)
        with locked(tmp_path):
            said = (tmp_path / LOCK_FILE).read_text().split()
            assert said[:2] == [str(os.getpid()), socket.gethostname()]


def test_what_a_killed_freeze_has_left_goes_and_nothing_else(distort, made) -> None:
    left = made / "frozen/.issue-12.0123456789ab.tmp"
    (left / "results/default").mkdir(parents=True)
    (left / "results/default/findings.json").write_text("{}", encoding="utf-8")
    (made / "frozen/.kept.tmp").mkdir()
    distort.done("stimuli", made)
    assert [path.name for path in (made / "frozen").iterdir()] == [".kept.tmp"]
    shutil.rmtree(made / "frozen")


def test_a_file_outside_every_session_has_one_writer_at_a_time(tmp_path) -> None:
    path = tmp_path / "all.csv"
    mine = [tmp_path / name for name in (".all.csv.mine.tmp", ".all.csv.0123456789ab.tmp.txt", "0123456789ab.tmp")]
    left = tmp_path / ".all.csv.0123456789ab.tmp"
    for other in (*mine, left):
        other.write_bytes(b"")
    with locked_file(path):
        assert not left.exists()
        with pytest.raises(SessionError, match=rf"{path} is in use by process {os.getpid()} on "), locked_file(path):
            pytest.fail("both write it")
        with locked_file(tmp_path / "other.csv"):
            pass
    assert sorted(tmp_path.iterdir()) == sorted(mine)
    with pytest.raises(SessionError, match=r"all\.csv cannot be written: the folder .*nowhere does not exist"):
        locked_file(tmp_path / "nowhere/all.csv").__enter__()
