"""Which tests run which lines, and for how long: found once by running the tests that stand nearest to the formulas.

Each of the nearest test files runs once under coverage, in a process of its own. What it ran is kept until it changes
or a source that it ran is gone; where a source has changed since, the functions that ran count as run as a whole.
"""

import ast
import hashlib
import json
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from tests.mutants.changes import FOLDERS, ROOT, Change, files

PINNED = {
    "tests/test_methods_text.py": "holds constants against the same numbers in a text: what is, not what is right",
    "tests/test_report_*.py": "hold the words and figures of reports, which repeat what was computed",
    "tests/test_session_*.py": "hold files against what was written into them",
    "tests/test_page_*.py": "hold pages against the results that they show",
    "tests/test_architecture.py": "reads the sources and runs none",
}
"""Tests that would turn red although nothing is known to be wrong; what they see is not counted."""

FAR = {
    "tests/test_compare_command.py": "whole sessions through the command line",
    "tests/test_hostile_files.py": "a thousand spoilt files",
    "tests/test_published.py": "whole sessions through the command line",
    "tests/test_stressed_files.py": "whole sessions through the command line",
    "tests/test_while_it_is_loud.py": "whole sessions through the command line",
}
"""Tests that import the folders and still stand too far from any one formula to be run for each slip."""

ALSO_NEAR = {
    "tests/test_reel_finding.py": "asks the finding of reels, which alone seeks chirps in long recordings",
}
"""Tests that stand next to a formula without importing the folders."""

NEEDING_MORE = "study or benchmark or sound_card or in_browser"
"""Marks of tests that take minutes, a sound card or a browser."""

LONGEST_TEST_S = 12.0
LONGEST_FILE_S = 60.0
"""Seconds of processor time under coverage: what takes longer guards no formula in the time of a change."""


@dataclass(frozen=True, eq=False)
class Near:
    """One test: how long it takes, and which lines of which files it runs."""

    name: str
    """Node id of pytest."""
    seconds: float
    """Processor time of its own."""
    shared: dict[str, float]
    """And of each fixture that it has in common with others."""
    lines: dict[str, frozenset[int]]

    @property
    def file(self) -> str:
        """The test file, relative to the repository."""
        return self.name.partition("::")[0]


def near_files() -> list[Path]:
    """Test files that import the folders themselves, less those that pin results or stand far; of `signals`, which
    everything imports, those alone that import nothing of the program."""
    left_out = {path for pattern in (*PINNED, *FAR) for path in ROOT.glob(pattern)}
    beside = {ROOT / name for name in ALSO_NEAR}
    return [
        path
        for path in sorted((ROOT / "tests").glob("test_*.py"))
        if path not in left_out and (_is_near(path) or path in beside)
    ]


def _is_near(path: Path) -> bool:
    modules = imported(path)
    if any(_within(name, FOLDERS[1:]) for name in modules):
        return True
    return any(_within(name, FOLDERS[:1]) for name in modules) and not any(
        _within(name, ("distort",)) for name in modules
    )


def _within(module: str, folders: tuple[str, ...]) -> bool:
    packages = [folder.replace("/", ".") for folder in folders]
    return any(module == one or module.startswith(f"{one}.") for one in packages)


@cache
def imported(path: Path) -> set[str]:
    """Modules that a file imports anywhere, and names that it imports of them, dotted."""
    found: set[str] = set()
    for node in ast.walk(_tree(path)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module} | {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def journal_of(path: Path) -> Path:
    """Where it is kept what a test file ran."""
    folder = Path(tempfile.gettempdir()) / "distort_nearest_tests"
    folder.mkdir(exist_ok=True)
    return folder / f"{path.stem}_{_digest(path)[:16]}.json"


def keep(path: Path, tests: Sequence[Near]) -> None:
    """Keep what a test file ran, by line and by function, with the digests of the sources that the lines are of."""
    ran = {file for test in tests for file in test.lines}
    kept = {
        "sources": {name: _digest(ROOT / name) for name in sorted(ran)},
        "tests": [
            {
                "name": one.name,
                "seconds": one.seconds,
                "shared": one.shared,
                "lines": {file: sorted(lines) for file, lines in one.lines.items()},
                "functions": {file: _names_of(ROOT / file, lines) for file, lines in one.lines.items()},
            }
            for one in tests
        ],
    }
    journal_of(path).write_text(json.dumps(kept), encoding="utf-8")


def known(path: Path) -> list[Near] | None:
    """What a file is known to run; None where nobody looked at it as it is, or a source that it ran is gone."""
    if not journal_of(path).exists():
        return None
    kept = json.loads(journal_of(path).read_text(encoding="utf-8"))
    if not all((ROOT / name).exists() for name in kept["sources"]):
        return None
    same = {name for name, digest in kept["sources"].items() if _digest(ROOT / name) == digest}
    return [
        Near(
            name=one["name"],
            seconds=one["seconds"],
            shared=one["shared"],
            lines={
                file: frozenset(lines) if file in same else _lines_in(ROOT / file, one["functions"][file])
                for file, lines in one["lines"].items()
            },
        )
        for one in kept["tests"]
    ]


@cache
def _functions(path: Path) -> dict[str, range]:
    """The functions of a file, dotted with the class that they are in, and the lines of their bodies."""
    found: dict[str, range] = {}
    waiting: list[tuple[str, ast.AST]] = [("", _tree(path))]
    while waiting:
        within, node = waiting.pop()
        for child in ast.iter_child_nodes(node):
            named = isinstance(child, ast.FunctionDef | ast.ClassDef)
            name = f"{within}.{child.name}".lstrip(".") if named else within
            if isinstance(child, ast.FunctionDef):
                found[name] = range(child.body[0].lineno, (child.end_lineno or child.lineno) + 1)
            waiting.append((name, child))
    return found


def _names_of(path: Path, lines: Iterable[int]) -> list[str]:
    ran = set(lines)
    return sorted(name for name, own in _functions(path).items() if not ran.isdisjoint(own))


def _lines_in(path: Path, names: Iterable[str]) -> frozenset[int]:
    own = _functions(path)
    return frozenset(line for name in names if name in own for line in own[name])


@cache
def _digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


class Nearest:
    """The tests by what they run."""

    def __init__(self, tests: Iterable[Near]) -> None:
        self.tests = list(tests)

    def to(self, change: Change, *, budget_s: float) -> list[Near]:
        """Tests that run the changed lines, the quickest first, as many as take `budget_s` together."""
        runs = [one for one in self.tests if _runs(one, _lines_of(change))]
        beside = {one.file for one in runs}
        # what a file computes once and keeps, its other tests look at as well
        others = [one for one in self.tests if one not in runs and one.file in beside]
        chosen, taken, prepared = [], 0.0, set()
        for one in (*sorted(runs, key=_seconds), *sorted(others, key=_seconds)):
            fresh = {(one.file, name): seconds for name, seconds in one.shared.items()}
            seconds = one.seconds + sum(fresh[each] for each in fresh.keys() - prepared)
            if seconds + taken <= budget_s or not chosen:
                chosen.append(one)
                prepared |= fresh.keys()
                taken += seconds
        return chosen


def in_turn(tests: Sequence[Near], files_at_once: Sequence[int]) -> Iterator[list[Near]]:
    """The tests of so many files at a time, and of all others at last: those first that run the fewest lines at all,
    because they ask for what stands in them and for little else."""
    widths: dict[str, int] = {}
    for one in tests:
        width = sum(map(len, one.lines.values()))
        widths[one.file] = min(width, widths.get(one.file, width))
    waiting = sorted(widths, key=lambda file: widths[file])
    for count in (*files_at_once, len(waiting)):
        now, waiting = waiting[:count], waiting[count:]
        if now:
            yield [one for one in tests if one.file in now]


def _seconds(test: Near) -> float:
    return test.seconds + sum(test.shared.values())


def _runs(test: Near, wanted: dict[str, frozenset[int]]) -> bool:
    return any(test.lines.get(path, frozenset()) & lines for path, lines in wanted.items())


@cache
def _lines_of(change: Change) -> dict[str, frozenset[int]]:
    """Lines that run when the change takes part: its own, or where what it defines is used."""
    if change.in_function:
        return {change.path: frozenset(range(change.line, change.end_line + 1))}
    own = ROOT / change.path
    module = change.path.removesuffix(".py").replace("/", ".")
    wanted = _made_of(own, set(change.names))
    found = {change.path: _uses(own, frozenset(wanted))}
    for path in files():
        used = frozenset(name for name in wanted if f"{module}.{name}" in imported(path))
        if path != own and used:
            found[str(path.relative_to(ROOT))] = _uses(path, frozenset(_made_of(path, set(used))))
    return found


def _made_of(path: Path, names: set[str]) -> set[str]:
    """`names` of a module, and the constants that it makes of them."""
    wanted = set(names)
    for node in _tree(path).body:
        if isinstance(node, ast.Assign | ast.AnnAssign) and node.value is not None and _names_in(node.value) & wanted:
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            wanted |= {one.id for target in targets for one in ast.walk(target) if isinstance(one, ast.Name)}
    return wanted


@cache
def _uses(path: Path, names: frozenset[str]) -> frozenset[int]:
    """Lines of the functions that are or use one of `names`, and of the methods of a class among them."""
    lines: set[int] = set()
    for node in ast.walk(_tree(path)):
        if isinstance(node, ast.FunctionDef) and (node.name in names or _names_in(node) & names):
            lines |= set(range(node.body[0].lineno, (node.end_lineno or node.lineno) + 1))
        elif isinstance(node, ast.ClassDef) and node.name in names:
            methods = [one for one in node.body if isinstance(one, ast.FunctionDef)]
            lines |= {line for one in methods for line in range(one.body[0].lineno, (one.end_lineno or 0) + 1)}
    return frozenset(lines)


@cache
def _tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def _names_in(node: ast.AST) -> set[str]:
    found = {one.id for one in ast.walk(node) if isinstance(one, ast.Name)}
    return found | {one.attr for one in ast.walk(node) if isinstance(one, ast.Attribute)}
