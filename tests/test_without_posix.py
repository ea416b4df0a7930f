"""The main job where the system has nothing that only Linux and macOS have: hidden in a process of its own.

It is no Windows: files behave as they do here. What Windows does otherwise is in tests/test_system.py.
"""

import ast
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from distort.session.files.lock import LOCK_FILE
from tests.clumsy_session import contents
from tests.test_one_system_module import MODULES

pytest_plugins = ["tests.small_sessions"]

HIDDEN = """
import os, signal, socket, sys
import asyncio, ctypes, logging, multiprocessing.connection, shutil, subprocess, tempfile  # ask for some as they load

class Finder:
    def find_spec(self, name, path=None, target=None):
        if name in names:
            raise ImportError(f"{name} is hidden", name=name)

names = set(sys.argv[1].split(","))
for name in names:
    sys.modules.pop(name, None)
sys.meta_path.insert(0, Finder())
for name in names:
    try:
        __import__(name)
    except ImportError:
        pass
    else:
        raise AssertionError(f"{name} is not hidden")

import warnings
warnings.filterwarnings("ignore", "only soft file lock is available")  # so says filelock of a POSIX without flock(2)
import filelock  # its oldest version asks for os.link as it loads

for owner, words in (
    (os, "link symlink fork forkpty kill killpg pread pwrite getuid geteuid getgid mkfifo fchmod chown umask"),
    (os, "O_NOFOLLOW O_NONBLOCK O_DIRECTORY O_CLOEXEC O_SYNC"),
    (signal, "SIGKILL SIGALRM SIGHUP SIGUSR1 SIGSTOP SIGCONT setitimer alarm pause"),
    (socket, "AF_UNIX"),
):
    for word in words.split():
        delattr(owner, word)

from distort.__main__ import main

ended = []
for line in sys.stdin:
    words = line.rstrip("\\n").split("\\t")
    try:
        ended.append((words[0], main(words)))
    except SystemExit as end:
        ended.append((words[0], end.code or 0))
print(ended, file=sys.stderr)
"""
"""Its argument: modules to hide. A command a line, its words parted by tabs. At last it tells how each has ended."""


def run(*commands: tuple[object, ...]) -> tuple[list[tuple[str, int]], str]:
    """How each of the commands ended in a process without POSIX, and what they printed."""
    lines = "".join("\t".join(map(str, words)) + "\n" for words in commands)
    words = [sys.executable, "-c", HIDDEN, ",".join(sorted(MODULES))]
    done = subprocess.run(words, input=lines, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    *said, last = done.stderr.splitlines()
    return ast.literal_eval(last), done.stdout + "\n".join(said)


@pytest.mark.sample
def test_the_main_job(new: Path, tmp_path: Path) -> None:
    """From the simulated loudspeaker to published numbers."""
    session = Path(shutil.copytree(new, tmp_path / "monitor"))
    plan = (session / "session.toml").read_text(encoding="utf-8").replace("db_spl = [76, 86]", "db_spl = [86]")
    (session / "session.toml").write_text(plan, encoding="utf-8")
    ended, said = run(
        ("--help",),
        ("new", tmp_path / "other"),
        ("stimuli", session),
        ("measure", session, "--simulate"),
        ("analyze", session),
        ("show", session, "quality"),
        ("freeze", session, "spring-edition"),
        ("bundle", session, "--to", tmp_path / "monitor.zip"),
        ("bundle", session, "--to", tmp_path / "monitor.zip"),
    )
    assert [status for _, status in ended] == [0] * 8 + [1], said
    assert "exists already and is never overwritten" in said
    here = contents(session)
    assert [name for name in here if name.endswith((".tmp", LOCK_FILE))] == []
    assert {"recordings/default/sweep_86dB.flac", "results/default/findings.json"} <= set(here)


@pytest.mark.sample
def test_a_session_that_another_process_holds_is_seen(new: Path, tmp_path: Path) -> None:
    """By what its lock file says, as there is no lock to ask."""
    session = Path(shutil.copytree(new, tmp_path / "monitor"))
    (session / LOCK_FILE).write_text("12 elsewhere 2024-05-01T12:30:00+00:00\n", encoding="utf-8")
    ended, said = run(("stimuli", session))
    assert ended == [("stimuli", 1)]
    assert "is in use by process 12 on elsewhere since 2024" in said
