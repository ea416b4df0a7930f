"""The program's own sources as syntax trees, read once by all tests that look at them."""

import ast
from functools import cache
from pathlib import Path


@cache
def tree_of(path: Path) -> ast.Module:
    """The syntax tree of one module."""
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def nodes_of(path: Path) -> tuple[ast.AST, ...]:
    """All nodes of it, from the top down."""
    return tuple(ast.walk(tree_of(path)))
