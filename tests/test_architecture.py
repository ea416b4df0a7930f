"""The house rules, read from the sources themselves: who imports whom, how large things are, what is documented."""

import ast
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from distort.commands.table import build_parser
from tests.program_source import nodes_of, tree_of

ROOT = Path(__file__).resolve().parent.parent
PACKAGES = ("signals", "distort")

MAY_IMPORT = {
    "signals": set(),
    "distort.errors": set(),
    "distort.system": set(),
    "distort.analysis": {"signals", "distort.errors"},
    "distort.session": {"signals", "distort.version", "distort.errors", "distort.system", "distort.analysis"},
    "distort.recording": {"signals", "distort.errors", "distort.system", "distort.analysis", "distort.session"},
    "distort.capture": {
        "signals",
        "distort.errors",
        "distort.system",
        "distort.analysis",
        "distort.session",
        "distort.recording",
    },
    "distort.assembly": {
        "signals",
        "distort.version",
        "distort.errors",
        "distort.system",
        "distort.analysis",
        "distort.session",
        "distort.recording",
        "distort.capture",
    },
    "distort.quiet": set(),
    "distort.processes": {"distort.system", "distort.quiet"},
    "distort.sharing": {"distort.errors", "distort.processes", "distort.session"},
    "distort.report": {
        "signals",
        "distort.errors",
        "distort.system",
        "distort.analysis",
        "distort.session",
        "distort.recording",
        "distort.capture",
        "distort.assembly",
        "distort.processes",
    },
    "distort.version": set(),
    "distort.pipeline": {
        "signals",
        "distort.version",
        "distort.errors",
        "distort.processes",
        "distort.sharing",
        "distort.analysis",
        "distort.session",
        "distort.recording",
        "distort.capture",
        "distort.assembly",
    },
    "distort.archive": {
        "signals",
        "distort.version",
        "distort.errors",
        "distort.session",
        "distort.pipeline",
        "distort.processes",
    },
    "distort": {"distort.version", "distort.notebook"},
    "distort.notebook": {
        "signals",
        "distort.errors",
        "distort.analysis",
        "distort.session",
        "distort.recording",
        "distort.capture",
        "distort.assembly",
        "distort.report",
        "distort.archive",
    },
    "distort.verification": {"signals", "distort.errors", "distort.analysis"},
    "distort.commands": {
        "signals",
        "distort.version",
        "distort.errors",
        "distort.analysis",
        "distort.session",
        "distort.recording",
        "distort.capture",
        "distort.assembly",
        "distort.report",
        "distort.sharing",
        "distort.pipeline",
        "distort.archive",
        "distort.verification",
    },
    "distort.__main__": {
        "signals",
        "distort.version",
        "distort.errors",
        "distort.system",
        "distort.quiet",
        "distort.commands",
        "distort.report",
    },
}
"""Each part and the parts below it. A new part of the house is added here, on purpose."""

ROOMS = {
    "distort.analysis": (
        "common",
        "sweep",
        "impulsive",
        "multitone",
        "heating",
        "level_noise",
        "hiss",
        "level_limits",
        "synthesis",
        "compression",
        "burst",
        "burst_series",
        "frames",
        "programme",
        "heard",
        "anomalies",
        "findings",
        "comparison",
        "hearing",
    ),
    "distort.session": ("files", "audio", "plan", "calibration", "recordings", "results", "published"),
    "distort.recording": ("clocks", "kinds", "alignment", "quality", "takes", "take_levels", "bursts", "reading"),
    "distort.capture": ("calibration", "devices", "simulated", "measuring", "bursts", "heating", "importing", "reel"),
    "distort.assembly": ("condition", "comparison", "kinds", "listeners"),
    "distort.report": ("kinds", "text", "figures", "page", "terminal"),
}
"""The rooms of each part, and the modules that stand in none: each may import from those before it."""

TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "pyproject.toml",
    "distort",
    "signals",
    "tests",
    "demo_recordings",
}

MODULE_LINES = 400
FUNCTION_LINES = 50
POSITIONAL_ARGUMENTS = 4

LONG_FUNCTIONS: dict[str, str] = {}
"""`module:function` of a function that is longer than the rest, and why it reads better in one piece."""


@cache
def modules() -> dict[str, Path]:
    """Every module of both packages by its dotted name."""
    found = {}
    for package in PACKAGES:
        for path in sorted((ROOT / package).rglob("*.py")):
            parts = path.relative_to(ROOT).with_suffix("").parts
            found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


@cache
def tree(name: str) -> ast.Module:
    return tree_of(modules()[name])


@cache
def imports(name: str) -> set[str]:
    """Modules of this project that `name` imports anywhere, also inside functions and for types alone."""
    found = set()
    for node in nodes_of(modules()[name]):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name}: relative import on line {node.lineno}; write the whole name"
            full = {f"{node.module}.{alias.name}" for alias in node.names}
            found |= {each if each in modules() else str(node.module) for each in full}
    return {each for each in found if each in modules()}


def part_of(name: str) -> str:
    """Which part of the house a module belongs to."""
    pieces = name.split(".")
    return pieces[0] if pieces[0] == "signals" else ".".join(pieces[:2])


def functions(name: str) -> Iterator[tuple[str, ast.FunctionDef | ast.AsyncFunctionDef, bool]]:
    """Qualified name, node, and whether a caller outside may use it, for every function and method of a module."""

    def walk(body: list[ast.stmt], prefix: str, public: bool) -> Iterator[tuple[str, ast.FunctionDef, bool]]:
        for node in body:
            if isinstance(node, ast.ClassDef):
                yield from walk(node.body, f"{prefix}{node.name}.", public and not node.name.startswith("_"))
            elif isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                yield f"{prefix}{node.name}", node, public and not node.name.startswith("_")
                yield from walk(node.body, f"{prefix}{node.name}.", False)

    yield from walk(tree(name).body, "", True)


def body_lines(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines of a function without its signature and docstring."""
    body = node.body
    if ast.get_docstring(node) is not None:
        body = body[1:]
    return 0 if not body else (node.end_lineno or 0) - body[0].lineno + 1


def all_functions() -> Iterator[tuple[str, ast.FunctionDef | ast.AsyncFunctionDef, bool]]:
    for name in modules():
        for function, node, public in functions(name):
            yield f"{name}:{function}", node, public


def test_both_packages_are_seen() -> None:
    assert {"signals.sweep", "distort.errors", "distort.analysis.common.curves"} <= set(modules())


def test_imports_run_one_way() -> None:
    wrong = []
    for name in modules():
        here = part_of(name)
        if here == "distort":
            continue
        assert here in MAY_IMPORT, f"{name}: say in MAY_IMPORT where this part of the house stands"
        wrong += [
            f"{name} imports {other}"
            for other in imports(name)
            if part_of(other) != here and part_of(other) not in MAY_IMPORT[here]
        ]
    assert not wrong


def test_rooms_of_a_part_import_one_way() -> None:
    wrong = []
    for name in modules():
        part, *inside = part_of(name), *name.split(".")[2:]
        if part not in ROOMS or not inside:
            continue
        assert inside[0] in ROOMS[part], f"{name}: say in ROOMS where this room stands"
        later = ROOMS[part][ROOMS[part].index(inside[0]) + 1 :]
        wrong += [
            f"{name} imports {other}"
            for other in imports(name)
            if part_of(other) == part and other.split(".")[2:3] and other.split(".")[2] in later
        ]
    assert not wrong


def test_no_module_is_in_an_import_circle() -> None:
    done: set[str] = set()

    def visit(name: str, trail: tuple[str, ...]) -> None:
        assert name not in trail, f"import circle: {' -> '.join([*trail[trail.index(name) :], name])}"
        if name not in done:
            for other in sorted(imports(name)):
                visit(other, (*trail, name))
            done.add(name)

    for name in modules():
        visit(name, ())


def test_modules_have_one_purpose_and_fewer_than_400_lines() -> None:
    sizes = {name: len(path.read_text(encoding="utf-8").splitlines()) for name, path in modules().items()}
    for path in sorted((ROOT / "tests").rglob("*.py")):
        sizes[f"tests/{path.name}"] = len(path.read_text(encoding="utf-8").splitlines())
    assert {name: size for name, size in sizes.items() if size >= MODULE_LINES} == {}


def test_functions_stay_under_50_lines() -> None:
    sizes = {name: body_lines(node) for name, node, _ in all_functions()}
    assert {name: size for name, size in sizes.items() if size >= FUNCTION_LINES and name not in LONG_FUNCTIONS} == {}
    assert {name for name in LONG_FUNCTIONS if sizes.get(name, 0) < FUNCTION_LINES} == set(), "no longer exceptions"


def test_functions_take_at_most_four_positional_arguments() -> None:
    wrong = {}
    for name, node, _ in all_functions():
        arguments = [each.arg for each in (*node.args.posonlyargs, *node.args.args) if each.arg not in {"self", "cls"}]
        if len(arguments) > POSITIONAL_ARGUMENTS:
            wrong[name] = arguments
    assert wrong == {}


def test_only_reports_and_commands_print() -> None:
    def prints(node: ast.AST) -> bool:
        if isinstance(node, ast.Call):
            return isinstance(node.func, ast.Name) and node.func.id == "print"
        if isinstance(node, ast.Import):
            return any(alias.name.split(".")[0] == "rich" for alias in node.names)
        return isinstance(node, ast.ImportFrom) and str(node.module).split(".")[0] == "rich"

    may = {"distort.report", "distort.commands", "distort.notebook", "distort.__main__"}
    quiet = [name for name in modules() if part_of(name) not in may]
    assert {f"{name}:{node.lineno}" for name in quiet for node in nodes_of(modules()[name]) if prints(node)} == set()


def test_only_the_terminal_writes_to_a_terminal() -> None:
    """Page and figures take their words from `report.text`, which makes sentences and tables and shows none of them."""

    def shows(node: ast.AST) -> bool:
        if isinstance(node, ast.Call):
            return isinstance(node.func, ast.Name | ast.Attribute) and ast.unparse(node.func).endswith("print")
        if isinstance(node, ast.Import):
            return any(alias.name.split(".")[0] in ("rich", "sys") for alias in node.names)
        return isinstance(node, ast.ImportFrom) and node.module in ("rich", "rich.console", "rich.progress", "sys")

    quiet = [name for name in modules() if name.startswith("distort.report.") and ".terminal" not in name]
    assert {f"{name}:{node.lineno}" for name in quiet for node in nodes_of(modules()[name]) if shows(node)} == set()


def test_modules_and_public_things_have_docstrings() -> None:
    bare = {name for name in modules() if ast.get_docstring(tree(name)) is None and tree(name).body}
    for name in modules():
        bare |= {
            f"{name}:{node.name}"
            for node in tree(name).body
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_") and not ast.get_docstring(node)
        }
    bare |= {name for name, node, public in all_functions() if public and not ast.get_docstring(node)}
    assert bare == set()


def test_every_function_says_what_it_returns() -> None:
    assert {name for name, node, _ in all_functions() if node.returns is None} == set()


def test_dataclasses_are_frozen() -> None:
    def thawed(node: ast.ClassDef) -> bool:
        for decorator in node.decorator_list:
            called = decorator.func if isinstance(decorator, ast.Call) else decorator
            if "dataclass" in ast.unparse(called):
                keywords = decorator.keywords if isinstance(decorator, ast.Call) else []
                return not any(each.arg == "frozen" and ast.unparse(each.value) == "True" for each in keywords)
        return False

    classes = [
        (name, node) for name in modules() for node in nodes_of(modules()[name]) if isinstance(node, ast.ClassDef)
    ]
    assert {f"{name}:{node.name}" for name, node in classes if thawed(node)} == set()


def test_top_level_holds_what_the_design_names() -> None:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode == 0 and listed.stdout:
        top = {line.split("/")[0] for line in listed.stdout.splitlines()}
    else:  # an unpacked archive has no history to ask
        top = {path.name for path in ROOT.iterdir()} - {"build", "dist"}
    assert {name for name in top if not name.startswith(".")} <= TOP_LEVEL


@pytest.mark.first(6)
@pytest.mark.parametrize("words", [["--help"], *([name, "--help"] for name in build_parser().commands())])
def test_help_loads_no_heavy_library(words: list[str]) -> None:
    """A device library wakes the sound system when imported, and the others take most of a second."""
    program = (
        "import sys, runpy\n"
        f"sys.argv = ['distort', *{words!r}]\n"
        "try:\n    runpy.run_module('distort', run_name='__main__')\n"
        "except SystemExit as end:\n    assert not end.code, end.code\n"
        "heavy = {'scipy', 'numpy', 'matplotlib', 'sounddevice', 'soundfile', 'rich'} & set(sys.modules)\n"
        "sys.stderr.write(' '.join(sorted(heavy)))\n"
    )
    done = subprocess.run([sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.parametrize(
    "package",
    ["distort.report.page.document", "distort.report.terminal.documents", "signals; signals.Multitone().crest_factor"],
)
def test_what_only_reads_results_loads_no_part_of_scipy(package: str) -> None:
    """Each part takes up to half a second, and scipy loads it by itself when it is first used."""
    program = (
        f"import sys, {package}\n"
        "parts = ('fft', 'interpolate', 'ndimage', 'optimize', 'signal', 'special', 'stats')\n"
        "sys.stderr.write(' '.join(part for part in parts if f'scipy.{part}' in sys.modules))\n"
    )
    done = subprocess.run([sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
