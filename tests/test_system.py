"""What differs between systems: errors and what they mean, names given without overwriting, processes asked after."""

import errno
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import pytest

from distort import system
from distort.system import Refusal
from tests.windows import (
    ACCESS_DENIED,
    INVALID_FUNCTION,
    LOCK_VIOLATION,
    NOT_SUPPORTED,
    SHARING_VIOLATION,
    Kernel,
    system_on_windows,
    windows_error,
)


def posix_error(code: int) -> OSError:
    return OSError(code, os.strerror(code))


@pytest.fixture
def waits(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """How long this thread waited, in seconds, without waiting; others, left by tests before, wait as ever."""
    waited: list[float] = []
    sleep, here = time.sleep, threading.get_ident()
    monkeypatch.setattr(time, "sleep", lambda s: waited.append(s) if threading.get_ident() == here else sleep(s))
    return waited


def fails(times: int, error: OSError, action: Callable[..., object]) -> Callable[..., object]:
    """`action`, which fails at its first `times`."""
    left = [times]

    def failing(*arguments: object) -> object:
        left[0] -= 1
        if left[0] >= 0:
            raise error
        return action(*arguments)

    return failing


@pytest.mark.parametrize(
    ("error", "meaning"),
    [
        (windows_error(SHARING_VIOLATION), Refusal.IN_USE),
        (windows_error(LOCK_VIOLATION), Refusal.IN_USE),
        (windows_error(1224), Refusal.IN_USE),
        (posix_error(errno.EBUSY), Refusal.IN_USE),
        (posix_error(errno.ETXTBSY), Refusal.IN_USE),
        (windows_error(ACCESS_DENIED), Refusal.READ_ONLY),
        (windows_error(19), Refusal.READ_ONLY),
        (posix_error(errno.EACCES), Refusal.READ_ONLY),
        (posix_error(errno.EPERM), Refusal.READ_ONLY),
        (posix_error(errno.EROFS), Refusal.READ_ONLY),
        (windows_error(39), Refusal.FULL),
        (windows_error(112), Refusal.FULL),
        (posix_error(errno.ENOSPC), Refusal.FULL),
        (windows_error(123), Refusal.BAD_NAME),
        (windows_error(206), Refusal.BAD_NAME),
        (posix_error(errno.ENAMETOOLONG), Refusal.BAD_NAME),
        (windows_error(183), Refusal.EXISTS),
        (posix_error(errno.EIO), Refusal.OTHER),
        (OSError("without a number"), Refusal.OTHER),
    ],
)
def test_in_use_is_told_from_read_only_and_full(error: OSError, meaning: Refusal) -> None:
    assert system.refusal(error) is meaning


@pytest.mark.parametrize("error", [windows_error(SHARING_VIOLATION), windows_error(ACCESS_DENIED), posix_error(16)])
def test_what_another_program_has_open_is_tried_again(tmp_path: Path, monkeypatch, waits, error) -> None:
    (tmp_path / "new").write_text("new")
    (tmp_path / "old").write_text("old")
    monkeypatch.setattr(os, "replace", fails(3, error, os.replace))
    system.replace(tmp_path / "new", tmp_path / "old")
    assert (tmp_path / "old").read_text() == "new"
    assert waits == list(system.PATIENCE_S[:3])


def test_what_stays_open_is_given_up_after_a_second(tmp_path: Path, monkeypatch, waits) -> None:
    """Of Windows's two answers for a file that is open, "access denied" says nothing of permissions there."""
    (tmp_path / "old").write_text("old")
    for number in (SHARING_VIOLATION, ACCESS_DENIED):
        waits.clear()
        monkeypatch.setattr(os, "replace", fails(100, windows_error(number), os.replace))
        with pytest.raises(OSError, match=r"busy|Windows error 32") as caught:
            system.replace(tmp_path / "new", tmp_path / "old")
        assert system.refusal(caught.value) is Refusal.IN_USE
        assert sum(waits) == pytest.approx(1.0, abs=0.05)


def test_other_errors_are_not_tried_again(monkeypatch, waits) -> None:
    monkeypatch.setattr(os, "replace", fails(1, posix_error(errno.EACCES), os.replace))
    with pytest.raises(PermissionError):
        system.replace(Path("a"), Path("b"))
    assert waits == []


def test_a_file_that_is_marked_read_only_is_not_called_in_use(tmp_path: Path, monkeypatch, waits) -> None:
    (tmp_path / "old").write_text("old")
    monkeypatch.setattr(os, "replace", fails(100, windows_error(ACCESS_DENIED), os.replace))
    monkeypatch.setattr(os, "access", lambda path, _: path == tmp_path)
    with pytest.raises(PermissionError) as caught:
        system.replace(tmp_path / "new", tmp_path / "old")
    assert system.refusal(caught.value) is Refusal.READ_ONLY
    assert system.is_marked_read_only(tmp_path / "old")


NO_SECOND_NAMES = [
    *(posix_error(code) for code in (errno.EPERM, errno.ENOTSUP, errno.ENOSYS, errno.EMLINK, errno.EXDEV)),
    *(windows_error(number) for number in (INVALID_FUNCTION, NOT_SUPPORTED)),
]


@pytest.fixture(params=["second names", *NO_SECOND_NAMES, "no function", "Windows"], ids=str)
def namer(request, monkeypatch) -> Callable[[Path, Path], None]:
    """`name_new` on drives and systems of every kind."""
    if request.param == "Windows":
        return system_on_windows(monkeypatch).name_new  # type: ignore[no-any-return]
    if request.param == "no function":
        monkeypatch.delattr(os, "link")
    elif isinstance(request.param, OSError):
        monkeypatch.setattr(os, "link", fails(100, request.param, os.link))
    return system.name_new


def test_a_new_name_is_given(tmp_path: Path, namer) -> None:
    (tmp_path / "take.tmp").write_text("mine")
    namer(tmp_path / "take.tmp", tmp_path / "take")
    assert (tmp_path / "take").read_text() == "mine"


@pytest.mark.parametrize("kind", ["file", "empty", "folder", "broken link"])
def test_a_name_that_is_taken_is_refused(tmp_path: Path, namer, kind) -> None:
    (tmp_path / "take.tmp").write_text("mine")
    path = tmp_path / "take"
    make = {"file": lambda: path.write_text("theirs"), "empty": path.touch, "folder": path.mkdir}
    make.get(kind, lambda: path.symlink_to(tmp_path / "nowhere"))()
    before = path.lstat()
    with pytest.raises(FileExistsError):
        namer(tmp_path / "take.tmp", path)
    assert (path.lstat().st_ino, path.lstat().st_size) == (before.st_ino, before.st_size)
    assert (tmp_path / "take.tmp").read_text() == "mine"


class TestADriveWithoutSecondNames:
    """FAT and exFAT: the name is taken by an empty file, which then becomes the recording."""

    @pytest.fixture(autouse=True)
    def no_links(self, monkeypatch) -> None:
        monkeypatch.setattr(os, "link", fails(100, posix_error(errno.EPERM), os.link))

    @pytest.fixture
    def take(self, tmp_path: Path) -> Path:
        (tmp_path / "take.tmp").write_text("mine")
        return tmp_path / "take"

    def test_who_comes_second_to_the_same_name_loses(self, monkeypatch, take) -> None:
        """Both have looked and found nothing; the other is quicker by a moment."""
        opened = os.open

        def overtaken(path: object, *arguments: int) -> int:
            if path == take:
                take.write_text("theirs")
            return opened(path, *arguments)  # type: ignore[arg-type]

        monkeypatch.setattr(os, "open", overtaken)
        with pytest.raises(FileExistsError):
            system.name_new(take.with_suffix(".tmp"), take)
        assert take.read_text() == "theirs"

    def test_an_empty_file_does_not_stay_behind_a_failure(self, monkeypatch, take) -> None:
        monkeypatch.setattr(os, "replace", fails(1, posix_error(errno.EIO), os.replace))
        with pytest.raises(OSError, match=os.strerror(errno.EIO)):
            system.name_new(take.with_suffix(".tmp"), take)
        assert not take.exists()

    def test_an_interruption_right_after_the_rename_leaves_the_recording(self, monkeypatch, take) -> None:
        renamed = os.replace

        def interrupted(*names: Path) -> None:
            renamed(*names)
            raise KeyboardInterrupt

        monkeypatch.setattr(os, "replace", interrupted)
        with pytest.raises(KeyboardInterrupt):
            system.name_new(take.with_suffix(".tmp"), take)
        assert take.read_text() == "mine"


def test_only_a_file_that_holds_nothing_is_removed_as_empty(tmp_path: Path) -> None:
    full, empty, link, folder = (tmp_path / name for name in ("full", "empty", "link", "folder"))
    full.write_text("x")
    empty.touch()
    link.symlink_to(empty)
    folder.mkdir()
    for path in (full, link, folder, empty, tmp_path / "missing"):
        system.remove_if_empty(path)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["folder", "full", "link"]


def test_a_file_that_may_not_be_removed_stays(tmp_path: Path, monkeypatch, waits) -> None:
    path = tmp_path / "a"
    path.touch()
    for error in (windows_error(SHARING_VIOLATION), posix_error(errno.EROFS), posix_error(errno.EACCES)):
        with monkeypatch.context() as patch:
            patch.setattr(Path, "unlink", lambda *_, error=error, **__: fails(1, error, print)())
            system.remove_if_allowed(path)
    with monkeypatch.context() as patch:
        patch.setattr(Path, "unlink", lambda *_, **__: fails(1, posix_error(errno.EIO), print)())
        with pytest.raises(OSError, match=os.strerror(errno.EIO)):
            system.remove_if_allowed(path)
    system.remove_if_allowed(path)
    assert not path.exists()


@pytest.mark.parametrize("code", [errno.EINVAL, errno.ENOTSUP, errno.ENOSYS, errno.EIO])
def test_a_drive_that_cannot_flush_a_folder_is_told_from_one_that_fails(tmp_path: Path, monkeypatch, code) -> None:
    monkeypatch.setattr(os, "fsync", fails(1, posix_error(code), os.fsync))
    if code == errno.EIO:
        with pytest.raises(OSError, match=os.strerror(code)):
            system.flush_folder(tmp_path)
    else:
        system.flush_folder(tmp_path)


def test_a_link_is_not_followed_where_the_system_has_no_flag_for_that(tmp_path: Path, monkeypatch) -> None:
    (tmp_path / "other").write_text("mine")
    (tmp_path / "link").symlink_to(tmp_path / "other")
    for missing in ((), ("O_NOFOLLOW",), ("O_NOFOLLOW", "O_NONBLOCK")):
        for name in missing:
            monkeypatch.delattr(os, name, raising=False)
        with pytest.raises(OSError, match=os.strerror(errno.ELOOP)):
            system.open_to_hold(tmp_path / "link")


class TestProcesses:
    def test_a_process_runs_until_it_ends(self) -> None:
        process = subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE)
        assert system.process_runs(process.pid)
        process.communicate(b"\n")
        assert not system.process_runs(process.pid)

    def test_numbers_that_no_process_has(self) -> None:
        assert [system.process_runs(number) for number in (0, -1, 2**40)] == [False] * 3

    def test_on_windows_a_process_is_opened_and_not_killed(self, monkeypatch) -> None:
        """`os.kill` would end it there (Python's manual); an ended one can be opened while somebody holds it."""
        kernel = Kernel(running={4}, others={8}, ended={12})
        monkeypatch.delattr(os, "kill")
        runs = system_on_windows(monkeypatch, kernel).process_runs
        assert {number: runs(number) for number in (4, 8, 12, 16, 0, -4, 2**32 + 4)} == {
            **{4: True, 8: True},
            **{12: False, 16: False, 0: False, -4: False, 2**32 + 4: False},
        }
        assert kernel.closed == [4, 12]


class TestWindows:
    """The same module, run as Windows runs it."""

    @pytest.fixture
    def windows(self, monkeypatch):
        return system_on_windows(monkeypatch)

    def test_a_new_name_is_given_by_renaming_alone(self, windows, tmp_path, monkeypatch, waits) -> None:
        """So no drive is asked for second names, and no kill leaves an empty file."""
        (tmp_path / "take.tmp").write_text("mine")
        monkeypatch.delattr(os, "link")
        monkeypatch.delattr(os, "replace")
        monkeypatch.setattr(os, "rename", fails(2, windows_error(SHARING_VIOLATION), os.rename))
        windows.name_new(tmp_path / "take.tmp", tmp_path / "take")
        assert [path.name for path in tmp_path.iterdir()] == ["take"]
        assert len(waits) == 2

    def test_a_held_file_is_closed_and_then_removed(self, windows, tmp_path, monkeypatch) -> None:
        path = tmp_path / "lock"
        happened: list[str] = []
        close, unlink = os.close, Path.unlink
        monkeypatch.setattr(os, "close", lambda one: (happened.append("close"), close(one)))
        monkeypatch.setattr(Path, "unlink", lambda one: (happened.append("remove"), unlink(one)))
        windows.close_and_remove(path, windows.open_to_hold(path))
        assert happened == ["close", "remove"]
        assert not path.exists()

    def test_a_file_that_another_has_opened_meanwhile_stays_theirs(self, windows, tmp_path, monkeypatch) -> None:
        path = tmp_path / "lock"
        descriptor = windows.open_to_hold(path)
        monkeypatch.setattr(Path, "unlink", lambda *_: fails(1, windows_error(SHARING_VIOLATION), print)())
        windows.close_and_remove(path, descriptor)
        assert path.exists()

    def test_no_folder_is_opened(self, windows, tmp_path, monkeypatch) -> None:
        monkeypatch.setattr(os, "open", fails(1, windows_error(ACCESS_DENIED), os.open))
        windows.flush_folder(tmp_path)

    def test_a_pool_takes_61_processes(self, windows) -> None:
        assert (windows.most_processes(4), windows.most_processes(96)) == (4, 61)
        assert system.most_processes(96) == 96

    def test_a_file_has_no_time_of_change_of_its_own(self, windows, tmp_path) -> None:
        path = tmp_path / "a"
        path.touch()
        os.utime(path, ns=(1, 2))
        assert windows.changed_ns(path.stat()) == 2
        assert system.changed_ns(path.stat()) > 2

    def test_a_junction_leads_elsewhere_though_it_is_no_link(self, tmp_path, monkeypatch) -> None:
        """IO_REPARSE_TAG_MOUNT_POINT of winnt.h is what `os.lstat` says on Windows of a junction, which is a folder."""
        assert not system.may_lead_elsewhere(str(tmp_path))
        junction = SimpleNamespace(st_mode=tmp_path.stat().st_mode, st_reparse_tag=0xA0000003)
        monkeypatch.setattr(os, "lstat", lambda _: junction)
        assert system.may_lead_elsewhere(str(tmp_path))

    def test_a_reader_that_has_gone_is_an_invalid_argument(self, windows) -> None:
        gone = posix_error(errno.EINVAL)
        assert (windows.is_closed_pipe(gone), system.is_closed_pipe(gone)) == (True, False)
        assert system.is_closed_pipe(posix_error(errno.EPIPE))

    def test_names_are_text(self, windows, tmp_path) -> None:
        assert windows.spelt_for_libraries(tmp_path) == tmp_path
        assert system.spelt_for_libraries(tmp_path) == os.fsencode(tmp_path)
