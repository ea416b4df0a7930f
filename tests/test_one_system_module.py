"""No module but `distort.system` asks which operating system this is, or calls what not all of them have or mean alike.

What Linux has and others lack is found by the type checker as well: `mypy --platform win32` and `--platform darwin`.
"""

import ast
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from tests.program_source import nodes_of

ROOT = Path(__file__).resolve().parent.parent
HERE = ROOT / "distort" / "system.py"

MODULES = {
    *("_posixsubprocess", "_winapi", "curses", "fcntl", "grp", "msvcrt", "nt", "posix", "pty", "pwd", "readline"),
    *("resource", "select", "selectors", "spwd", "syslog", "termios", "tty", "winreg", "winsound"),
}
"""Of the standard library, those that its manual says one system lacks; `select` takes sockets alone on Windows."""

EVERYWHERE = {
    "os": {
        *(
            "O_RDONLY",
            "O_WRONLY",
            "O_RDWR",
            "SEEK_SET",
            "PathLike",
            "environ",
            "devnull",
            "path",
            "stat_result",
            "walk",
        ),
        *("_exit", "close", "cpu_count", "dup", "dup2", "fsencode", "fspath", "fstat", "fsync", "ftruncate", "getpid"),
        *("lseek", "open", "read", "strerror", "write"),
    },
    "signal": {"SIGINT", "SIG_DFL", "SIG_IGN", "default_int_handler", "getsignal", "signal"},
    "socket": {"gethostname"},
    "sys": {
        "argv",
        "exit",
        "float_info",
        "maxsize",
        "modules",
        "stderr",
        "stdin",
        "stdout",
        "version_info",
        "warnoptions",
    },
    "time": {"monotonic", "perf_counter", "sleep", "time", "time_ns"},
}
"""Of these modules, what every system has and means alike. Among the others: `os.kill` ends the process on Windows,
`os.rename` refuses a name that is taken there, `os.link` fails on FAT, `os.chmod` knows one bit."""

OF_STATUS = {"st_ino", "st_dev", "st_nlink", "st_uid", "st_gid", "st_ctime", "st_ctime_ns", "st_blocks"}
"""Of `os.stat_result`: 0, or of another meaning, on Windows or on FAT."""

OF_PATH = {"chmod", "lchmod", "symlink_to", "hardlink_to", "owner", "group", "is_mount", "samefile"}
"""Methods of `pathlib.Path`."""

FOLDERS = ("/proc", "/dev/", "/sys/", "/tmp", "/etc/", "/var/", "C:\\", "\\\\.\\")
"""Of one system."""

MAY = {
    # Its advice on what to install, and the library that it silences, differ by system.
    "distort/capture/devices/sound_systems.py": {"sys.platform"},
}


def found_in(nodes: Sequence[ast.AST]) -> Iterator[tuple[int, str]]:
    """Line and name of everything among `nodes` that only some systems have."""
    modules = {name.name for node in nodes if isinstance(node, ast.Import) for name in node.names}
    for node in nodes:
        if isinstance(node, ast.Import):
            yield from ((node.lineno, each.name) for each in node.names if each.name in MODULES)
        elif isinstance(node, ast.ImportFrom):
            if node.module in MODULES:
                yield node.lineno, str(node.module)
            yield from (
                (node.lineno, f"{node.module}.{each.name}") for each in node.names if _few(node.module, each.name)
            )
        elif isinstance(node, ast.Attribute):
            owner = node.value.id if isinstance(node.value, ast.Name) else ""
            if (owner in modules and _few(owner, node.attr)) or node.attr in OF_STATUS | OF_PATH:
                yield node.lineno, f"{owner}.{node.attr}"
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in {"getattr", "hasattr"}:
            owner, name = (ast.unparse(each).strip("'") for each in node.args[:2])
            if _few(owner, name):
                yield node.lineno, f"{owner}.{name}"
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and node.value.startswith(FOLDERS):
            yield node.lineno, node.value


def _few(module: str | None, name: str) -> bool:
    """Whether only few systems have `name` of `module`."""
    return module in EVERYWHERE and name not in EVERYWHERE[module]


def test_no_other_module_asks_which_system_this_is() -> None:
    wrong = []
    for package in ("distort", "signals"):
        for path in sorted((ROOT / package).rglob("*.py")):
            file = path.relative_to(ROOT).as_posix()
            if path != HERE:
                found = found_in(nodes_of(path))
                wrong += [f"{file}:{line} {name}" for line, name in found if name not in MAY.get(file, set())]
    assert wrong == []


def test_what_is_allowed_elsewhere_is_there() -> None:
    for file, names in MAY.items():
        assert names == {name for _, name in found_in(nodes_of(ROOT / file))}


@pytest.mark.parametrize(
    "line",
    [
        "import fcntl",
        "from fcntl import flock",
        "import pathlib, resource",
        "import select",
        "from os import fork",
        "import os; os.kill(1, 9)",
        "import os; os.link(a, b)",
        "import os; os.open(a, os.O_RDONLY | os.O_DIRECTORY)",
        "import os; getattr(os, 'O_NOFOLLOW', 0)",
        "import os; hasattr(os, 'fork')",
        "import os; os.uname().sysname",
        "import os; os.name == 'nt'",
        "import sys; sys.platform == 'win32'",
        "import signal; signal.setitimer(0, 1)",
        "import signal; signal.SIGKILL",
        "import socket; socket.AF_UNIX",
        "import time; time.clock_gettime(7)",
        "path.stat().st_ino",
        "status.st_ctime_ns",
        "path.chmod(0o644)",
        "open('/proc/self/status')",
        "Path('/dev/null')",
    ],
)
def test_what_only_some_systems_have_is_found(line: str) -> None:
    assert list(found_in([*ast.walk(ast.parse(line))])) != []


@pytest.mark.parametrize(
    "line",
    [
        "import os; os.path.join(a, b)",
        "import os; os.open(os.devnull, os.O_WRONLY)",
        "import scipy.signal; scipy.signal.welch(x)",
        "signal.size",
        "import signal; signal.signal(signal.SIGINT, signal.SIG_IGN)",
        "text.replace('a', 'b')",
        "getattr(values, key.name)",
    ],
)
def test_what_all_systems_have_is_not(line: str) -> None:
    assert list(found_in([*ast.walk(ast.parse(line))])) == []
