"""Where slips can be made: every expression that computes something, in the folders whose formulas tests must guard."""

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from tests.mutants import operators

ROOT = Path(__file__).resolve().parents[2]

FOLDERS = (
    "signals",
    "distort/analysis",
    "distort/recording",
    "distort/assembly",
)
"""What computes results or decides whether a recording may be trusted."""

NAMES_OF_TYPES = ("tuple", "dict", "list", "Literal", "Callable", "Mapping", "Sequence", "NDArray", "type", "Iterator")
WORDS_ALONE = ("sentence", "name", "unit", "meaning", "what")
"""Arguments that hold words for people."""


@dataclass(frozen=True)
class Change:
    """One slip at one place of a file."""

    path: str
    """Relative to the repository."""
    where: str
    """Function or class that holds it, dotted; empty for the module itself."""
    line: int
    end_line: int
    start: int
    end: int
    """Between which bytes of the file it is made."""
    slip: str
    before: str
    after: str
    is_statement: bool
    in_function: bool
    """Otherwise it is computed when the module is imported."""
    names: tuple[str, ...] = ()
    """What the statement defines that holds it, outside functions."""

    @property
    def key(self) -> str:
        """What proofs name it by: it stays when files are moved or lines are added."""
        file = "/".join(Path(self.path).parts[-2:])
        return f"{file} {self.where or '-'}: {one_line(self.before)} -> {one_line(self.after)}"

    def applied(self, content: bytes) -> bytes:
        """The file with this slip in it; every line stays where it was."""
        after = self.after + "\n" * (self.before.count("\n") - self.after.count("\n"))
        if not self.is_statement:
            after = f"({after})"
        return content[: self.start] + after.encode() + content[self.end :]


def one_line(text: str) -> str:
    """Without line ends, and without the spaces after them."""
    return " ".join(text.split())


def files() -> list[Path]:
    """Every module in which slips are made, in order."""
    return [path for folder in FOLDERS for path in sorted((ROOT / folder).rglob("*.py"))]


def all_changes() -> list[Change]:
    """Every slip at every place, in the order of files and lines."""
    return [change for path in files() for change in changes_in(path)]


def changes_in(path: Path) -> list[Change]:
    """Every slip that can be made in one file."""
    content = path.read_bytes()
    finder = _Finder(str(path.relative_to(ROOT)), content)
    finder.visit(ast.parse(content))
    return finder.found


class _Finder(ast.NodeVisitor):
    """Walks through a module past everything that computes nothing: texts, types, errors, decorators."""

    def __init__(self, path: str, content: bytes) -> None:
        self.path, self.content = path, content
        self.found: list[Change] = []
        self._within: list[str] = []
        self._functions = 0
        self._defines: tuple[str, ...] = ()

    @cached_property
    def _line_starts(self) -> list[int]:
        lengths = [len(line) for line in self.content.split(b"\n")]
        return [sum(lengths[:number]) + number for number in range(len(lengths))]

    def _ends(self, node: ast.AST) -> tuple[int, int]:
        """Between which bytes of the file it stands."""
        first, last = (self._line_starts[line - 1] for line in (node.lineno, node.end_lineno))
        return first + node.col_offset, last + node.end_col_offset

    def _text(self, node: ast.AST) -> str:
        start, end = self._ends(node)
        return self.content[start:end].decode()

    def _add(self, node: ast.AST, slips: Iterator[operators.Slip]) -> None:
        start, end = self._ends(node)
        for slip, after in slips:
            self.found.append(
                Change(
                    path=self.path,
                    where=".".join(self._within),
                    line=node.lineno,
                    end_line=node.end_lineno,
                    start=start,
                    end=end,
                    slip=slip,
                    before=self._text(node),
                    after=after,
                    is_statement=isinstance(node, ast.stmt),
                    in_function=self._functions > 0,
                    names=() if self._functions else self._defines,
                )
            )

    # --- what is walked past -----------------------------------------------------------------------------------------

    def _past(self, node: ast.AST) -> None:
        """Nothing in it is changed."""

    visit_Raise = visit_Assert = visit_JoinedStr = visit_Import = visit_ImportFrom = _past  # noqa: N815 - ast's names

    def visit_Expr(self, node: ast.Expr) -> None:
        if not isinstance(node.value, ast.Constant):
            self.generic_visit(node)

    def visit_IfExp(self, node: ast.IfExp) -> None:
        if not operators.is_text(node):
            self.generic_visit(node)

    def visit_keyword(self, node: ast.keyword) -> None:
        if node.arg not in WORDS_ALONE:
            self.visit(node.value)

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        outer, self._defines = self._defines, (*self._defines, node.name)
        for default in (*node.args.defaults, *filter(None, node.args.kw_defaults)):
            self.visit(default)
        self._defines = outer
        self._inside(node, functions=1)

    def visit_ClassDef(self, node: ast.ClassDef) -> None:
        self._inside(node, functions=0)

    def _inside(self, node: ast.FunctionDef | ast.ClassDef, *, functions: int) -> None:
        self._within.append(node.name)
        self._functions += functions
        outer, self._defines = self._defines, (node.name,)
        for statement in node.body:
            self.visit(statement)
        self._defines = outer
        self._functions -= functions
        self._within.pop()

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        if node.value is not None:
            self._defining([node.target], node.value)

    def visit_Assign(self, node: ast.Assign) -> None:
        if not _is_type(node.value):
            self._defining(node.targets, node.value)

    def _defining(self, targets: list[ast.expr], value: ast.expr) -> None:
        outer = self._defines
        if not self._within:
            self._defines = tuple(one.id for target in targets for one in ast.walk(target) if isinstance(one, ast.Name))
        self.visit(value)
        for target in targets:
            if not isinstance(target, ast.Name):
                self.visit(target)
        self._defines = outer

    # --- what is changed ---------------------------------------------------------------------------------------------

    def visit_BinOp(self, node: ast.BinOp) -> None:
        self._add(node, operators.of_sum(node, self._text))
        self.generic_visit(node)

    def visit_BoolOp(self, node: ast.BoolOp) -> None:
        self._add(node, operators.of_conditions(node, self._text))
        self.generic_visit(node)

    def visit_UnaryOp(self, node: ast.UnaryOp) -> None:
        self._add(node, operators.of_sign(node, self._text))
        self.generic_visit(node)

    def visit_Compare(self, node: ast.Compare) -> None:
        self._add(node, operators.of_comparison(node, self._text))
        self.generic_visit(node)

    def visit_Call(self, node: ast.Call) -> None:
        if self._text(node.func).endswith("Error"):
            return
        self._add(node, operators.of_call(node, self._text))
        self.generic_visit(node)

    def visit_Constant(self, node: ast.Constant) -> None:
        self._add(node, operators.of_constant(node))

    def visit_Subscript(self, node: ast.Subscript) -> None:
        self._add(node, operators.of_place(node, self._text))
        self.visit(node.value)
        for part in node.slice.elts if isinstance(node.slice, ast.Tuple) else [node.slice]:
            if not isinstance(part, ast.Slice | ast.Constant | ast.UnaryOp):
                self.visit(part)

    def visit_AugAssign(self, node: ast.AugAssign) -> None:
        self._add(node, operators.of_sum_in_place(node, self._text))
        self.visit(node.value)
        if not isinstance(node.target, ast.Name):
            self.visit(node.target)


def _is_type(node: ast.expr) -> bool:
    """Whether an assignment names a type: `Pair = tuple[float, float]`."""
    match node:
        case ast.Subscript(value=ast.Name(id=name) | ast.Attribute(attr=name)):
            return name in NAMES_OF_TYPES
        case ast.BinOp(op=ast.BitOr(), left=left, right=right):
            return _is_type(left) or _is_type(right)
        case _:
            return False
