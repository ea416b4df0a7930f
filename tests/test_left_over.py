"""What a kill has left goes: all of it under the session's lock, else only what certainly nobody writes any more."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from distort.session.files import atomic
from distort.session.files.atomic import remove_left_over, staged, temporary_beside, write_new

KILLED = """
import os, sys
from pathlib import Path
from distort.session.files.atomic import staged
with staged(Path(sys.argv[1]), replace=sys.argv[2] == "replace") as temporary:
    temporary.write_bytes(b"half")
    print(temporary.name, flush=True)
    os.kill(os.getpid(), 9)
"""

KILLED_AT = """
import os, sys
from pathlib import Path
from distort.session.files.atomic import write_new
path, at, second_names = Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3] == "True"
if not second_names:
    def link(*_):
        raise PermissionError(1, "Operation not permitted")
    os.link = link
seen = 0
def hook(event, arguments):
    global seen
    if event in ("open", "os.rename", "os.link", "os.remove") and str(path.parent) in str(arguments[0]):
        seen += 1
        if seen == at:
            os.kill(os.getpid(), 9)
sys.addaudithook(hook)
write_new(path, b"whole")
"""
"""Killed before its n-th file operation (Python's manual, "Audit events table")."""

OF_ANOTHER_MACHINE = ".take.flac.00000000-1-abcdef.tmp"
OF_AN_OLDER_VERSION = ".take.flac.0123456789ab.tmp"
THE_USERS_OWN = [".take.tmp", "take.flac.0123456789ab.tmp", ".notes.00000000-x-abcdef.tmp", ".0123456789ab.tmp"]


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def killed(path: Path, how: str = "new") -> str:
    """A process of its own writes half of `path` and is killed; the name of what it leaves."""
    done = subprocess.run([sys.executable, "-c", KILLED, path, how], capture_output=True, text=True, check=False)
    assert done.returncode == -9
    return done.stdout.strip()


def test_the_name_tells_its_process_and_its_machine(tmp_path: Path) -> None:
    with staged(tmp_path / "take.flac", replace=False) as temporary:
        assert re.fullmatch(rf"\.take\.flac\.[0-9a-f]{{8}}-{os.getpid()}-[0-9a-f]{{6}}-new\.tmp", temporary.name)
    assert temporary_beside(tmp_path / "a", new=False) != temporary_beside(tmp_path / "a", new=False)


def test_without_the_lock_only_what_a_dead_process_of_this_machine_left(tmp_path: Path) -> None:
    left = killed(tmp_path / "take.flac"), killed(tmp_path / "table.csv", "replace")
    for name in (OF_ANOTHER_MACHINE, OF_AN_OLDER_VERSION, *THE_USERS_OWN):
        (tmp_path / name).touch()
    with staged(tmp_path / "now.csv", replace=True) as mine:
        kept = {mine.name, OF_ANOTHER_MACHINE, OF_AN_OLDER_VERSION, *THE_USERS_OWN}
        assert set(names(tmp_path)) == kept | set(left)
        remove_left_over(tmp_path, alone=False)
        assert set(names(tmp_path)) == kept
    remove_left_over(tmp_path, alone=True)
    assert names(tmp_path) == sorted(["now.csv", *THE_USERS_OWN])


def test_folders_go_alike(tmp_path: Path) -> None:
    living = temporary_beside(tmp_path / "spring", new=True)
    gone = tmp_path / killed(tmp_path / "spring")
    gone.unlink()
    for folder in (living, gone):
        (folder / "results").mkdir(parents=True)
        (folder / "results" / "a.csv").touch()
    remove_left_over(tmp_path, alone=False)
    assert names(tmp_path) == [living.name]
    remove_left_over(tmp_path, alone=True)
    assert names(tmp_path) == []


class TestADriveWithoutSecondNames:
    """There a name is first taken by an empty file, which a kill may leave."""

    @pytest.mark.parametrize("alone", [True, False])
    def test_the_empty_file_goes_with_what_should_have_become_it(self, tmp_path: Path, alone) -> None:
        killed(tmp_path / "take.flac")
        (tmp_path / "take.flac").touch()
        remove_left_over(tmp_path, alone=alone)
        assert names(tmp_path) == []
        write_new(tmp_path / "take.flac", b"whole")

    def test_a_file_that_holds_something_stays(self, tmp_path: Path) -> None:
        killed(tmp_path / "take.flac")
        (tmp_path / "take.flac").write_bytes(b"another's")
        remove_left_over(tmp_path, alone=True)
        assert (tmp_path / "take.flac").read_bytes() == b"another's"

    def test_an_empty_file_that_should_have_been_replaced_stays(self, tmp_path: Path) -> None:
        (tmp_path / "notes.txt").touch()
        killed(tmp_path / "notes.txt", "replace")
        remove_left_over(tmp_path, alone=True)
        assert names(tmp_path) == ["notes.txt"]


@pytest.mark.parametrize("second_names", [True, False])
def test_a_kill_before_any_file_operation_leaves_a_recording_whole_or_absent(tmp_path: Path, second_names) -> None:
    path = tmp_path / "take.flac"
    ends, empties = [], 0
    for at in range(1, 20):
        words = [sys.executable, "-c", KILLED_AT, path, str(at), str(second_names)]
        ends.append(subprocess.run(words, check=False).returncode)
        empties += path.exists() and path.stat().st_size == 0
        remove_left_over(tmp_path, alone=True)
        assert names(tmp_path) in ([], ["take.flac"])
        if path.exists():
            assert path.read_bytes() == b"whole"
            path.unlink()
        if ends[-1] == 0:
            break
    assert ends == [-9] * (len(ends) - 1) + [0]
    assert len(ends) > 5
    assert empties == (0 if second_names else 1)  # the moment for which there is the cleaning


def test_what_cannot_be_removed_does_not_stop_the_rest(tmp_path: Path, monkeypatch) -> None:
    for name in ("a", "b"):
        (tmp_path / f".{name}.0123456789ab.tmp").touch()
    unlink = Path.unlink

    def refuse_a(path: Path, **how: bool) -> None:
        if path.name.startswith(".a."):
            raise PermissionError(13, "Permission denied")
        unlink(path, **how)

    monkeypatch.setattr(Path, "unlink", refuse_a)
    remove_left_over(tmp_path, alone=True)
    assert names(tmp_path) == [".a.0123456789ab.tmp"]


def test_the_machine_is_known_by_its_name(monkeypatch) -> None:
    here = atomic.temporary_beside(Path("a"), new=False).name.split("-")[0]
    monkeypatch.setattr("socket.gethostname", lambda: "elsewhere")
    assert atomic.temporary_beside(Path("a"), new=False).name.split("-")[0] != here
