"""DEVELOPERS.md names folders, modules and things in them: all of them exist, and no folder is left out."""

import ast
import re
from functools import cache
from pathlib import Path

from tests.program_source import tree_of

ROOT = Path(__file__).resolve().parent.parent
PAGE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
CODE = ("signals", "distort", "tests")

PLACES = (ROOT, ROOT / "distort", ROOT / "demo_recordings")

OF_OTHERS = {"lock_descriptor"}
"""Names in the page that belong to a library."""

RESULTS = {"findings.json", "results/analysed.json"}
"""Files that an analysis writes."""


@cache
def things() -> frozenset[str]:
    """Every module by its dotted name, everything defined in one as `module.name`, and attributes of its classes."""
    found = set()
    for house in CODE:
        for path in (ROOT / house).rglob("*.py"):
            parts = path.relative_to(ROOT).with_suffix("").parts
            module = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
            found.add(module)
            for node in tree_of(path).body:
                found |= {f"{module}.{name}" for name in defined(node)}
    return frozenset(found)


def defined(node: ast.stmt) -> set[str]:
    """Names that a statement at the top of a module or class defines, and those inside of a class."""
    if isinstance(node, ast.ClassDef):
        inside = set().union(*(defined(each) for each in node.body))
        return {node.name} | {f"{node.name}.{name}" for name in inside}
    if isinstance(node, ast.FunctionDef):
        return {node.name}
    targets = node.targets if isinstance(node, ast.Assign) else [getattr(node, "target", None)]
    return {each.id for each in targets if isinstance(each, ast.Name)}


@cache
def endings() -> frozenset[str]:
    """Each of these things under its whole dotted name, and with parts and rooms before it left out."""
    pieces = [thing.split(".") for thing in things()]
    return frozenset(".".join(each[first:]) for each in pieces for first in range(len(each)))


def exists(name: str) -> bool:
    """Whether a name in the page stands for a file, a module, or what a module defines."""
    if "/" in name or name.endswith((".md", ".toml", ".sh", ".json")):
        return name in RESULTS or any((place / name).exists() for place in PLACES)
    return name in endings() or name in OF_OTHERS


def names_in(text: str) -> set[str]:
    return {name for name in re.findall(r"`([^`]+)`", text) if re.fullmatch(r"[A-Za-z_.][\w./]*", name)}


def outline() -> dict[Path, str]:
    """Files and folders of the tree under "The house", each with what is said of it."""
    block = PAGE.split("## The house")[1].split("\n\n")[1]
    found: dict[Path, str] = {}
    above: list[tuple[int, Path]] = [(-1, ROOT)]
    for line in block.splitlines():
        indent, name = len(line) - len(line.lstrip()), line.split()[0]
        above = [(column, path) for column, path in above if column < indent]
        above.append((indent, above[-1][1] / name))
        found[above[-1][1]] = line.strip().removeprefix(name).strip()
    return found


def test_what_the_page_names_exists() -> None:
    assert len(names_in(PAGE)) > 50
    assert {name for name in names_in(PAGE) if not exists(name)} == set()


def test_names_that_do_not_exist_are_found() -> None:
    made_up = {"capture.devices.telepathy", "analysis.sweep.orders.guessed", "windowz", "tests/test_of_nothing.py"}
    assert {name for name in names_in(" ".join(f"`{each}`" for each in made_up)) if not exists(name)} == made_up


def test_the_tree_of_the_house_is_the_house() -> None:
    assert {str(path) for path in outline() if not path.exists()} == set()


def test_every_folder_of_code_stands_in_the_tree() -> None:
    code = {path.parent for house in CODE for path in (ROOT / house).rglob("*.py")}
    assert {str(path.relative_to(ROOT)) for path in code - set(outline())} == set()


def test_everything_in_the_tree_is_explained() -> None:
    """The package itself is explained by its rooms."""
    assert {str(path.relative_to(ROOT)) for path, words in outline().items() if not words} <= {"distort", "tests"}
