"""What is done to one expression: the list of slips, each a small change that reads as if it could be right.

Every function takes a node and the text of its source, and yields `(name of the slip, text that takes its place)`.
"""

import ast
from collections.abc import Callable, Iterator

OPERATORS = {
    "sign": "plus and minus exchanged, a minus, a `not` or a magnitude left out",
    "factor": "times and over exchanged",
    "term left out": "one side of a sum, a product or a quotient, one condition of several, or a whole `x += y` gone",
    "edge": "`<` and `<=`, `>` and `>=` exchanged",
    "index": "a place in an array, or either end of a slice or a range, one further on",
    "constant": "a number 10 % larger, a whole one 1 larger, 0.0 become 1.0",
    "least/most": "least and most, up and down exchanged: min, max, argmin, argmax, floor, ceil",
    "power/amplitude": "a square or a root left out, 10 and 20 lg exchanged, an exponent left out",
}
"""Every slip by name. They were listed before any was tried; a run draws from all places of all of them alike."""

Slip = tuple[str, str]
Source = Callable[[ast.AST], str]

SWAPPED_SIGNS = {ast.Add: "-", ast.Sub: "+"}
SWAPPED_FACTORS = {ast.Mult: "/", ast.Div: "*"}
SWAPPED_EDGES = {ast.Lt: "<=", ast.LtE: "<", ast.Gt: ">=", ast.GtE: ">"}
EDGES = {ast.Lt: "<", ast.LtE: "<=", ast.Gt: ">", ast.GtE: ">=", ast.Eq: "==", ast.NotEq: "!="}
OTHERWISE = {ast.Is: "is", ast.IsNot: "is not", ast.In: "in", ast.NotIn: "not in"}

LEAST_AND_MOST = {
    "min": "max",
    "minimum": "maximum",
    "fmin": "fmax",
    "nanmin": "nanmax",
    "argmin": "argmax",
    "floor": "ceil",
}
LEAST_AND_MOST |= {most: least for least, most in LEAST_AND_MOST.items()}
POWER_AND_AMPLITUDE = {"power_to_db": "amplitude_to_db", "db_to_power": "db_to_amplitude"}
POWER_AND_AMPLITUDE |= {amplitude: power for power, amplitude in POWER_AND_AMPLITUDE.items()}
LEFT_OUT = {"square": "power/amplitude", "sqrt": "power/amplitude", "abs": "sign"}

LEAST_CONSTANT = 1e-20
"""Numbers below it only keep a division or a logarithm from meeting zero: no level that double precision can tell from
nothing depends on whether such a guard is a tenth larger."""


def is_text(node: ast.AST) -> bool:
    """Whether an expression is (part of) a sentence, or another text."""
    match node:
        case ast.JoinedStr():
            return True
        case ast.Constant(value=str()):
            return True
        case ast.BinOp(left=left, right=right):
            return is_text(left) or is_text(right)
        case ast.IfExp(body=body, orelse=orelse):
            return is_sentence(body) or is_sentence(orelse)
        case _:
            return False


def is_sentence(node: ast.AST) -> bool:
    """Whether it is text for people, as opposed to a word such as a verdict or a name."""
    match node:
        case ast.Constant(value=str() as text):
            return " " in text or text in ("", ".")
        case _:
            return is_text(node)


def _is_collection(node: ast.AST) -> bool:
    match node:
        case ast.List() | ast.Tuple() | ast.ListComp() | ast.Dict() | ast.Set() | ast.DictComp() | ast.SetComp():
            return True
        case ast.Call(func=ast.Name(id=name)):
            return name in ("list", "tuple", "sorted", "set", "dict")
        case _:
            return is_text(node)


def of_sum(node: ast.BinOp, text: Source) -> Iterator[Slip]:
    """Sums, products, quotients, powers and conditions on arrays; nothing of texts and collections."""
    if _is_collection(node.left) or _is_collection(node.right):
        return
    left, right, kind = text(node.left), text(node.right), type(node.op)
    if kind in SWAPPED_SIGNS:
        yield "sign", f"{left} {SWAPPED_SIGNS[kind]} ({right})"
        yield "term left out", left
        yield "term left out", right if kind is ast.Add else f"-({right})"
    elif kind in SWAPPED_FACTORS:
        yield "factor", f"({left}) {SWAPPED_FACTORS[kind]} ({right})"
        yield "term left out", left
        if kind is ast.Mult:
            yield "term left out", right
    elif kind in (ast.BitAnd, ast.BitOr):
        yield "term left out", left
        yield "term left out", right
    elif kind is ast.Mod:
        yield "term left out", left
    elif kind is ast.Pow and isinstance(node.right, ast.Constant):
        yield "power/amplitude", left
    yield from _tens_and_twenties(node, text)


def _tens_and_twenties(node: ast.BinOp, text: Source) -> Iterator[Slip]:
    """`10 log10(...)` as `20 log10(...)`, `10 ** (x / 20)` as `10 ** (x / 10)`, and the other way round."""
    match node:
        case ast.BinOp(left=ast.Constant(value=10.0 | 20.0 as ten), op=ast.Mult(), right=ast.Call() as call):
            if _name_of(call.func) == "log10":
                yield "power/amplitude", f"{30.0 - ten} * {text(call)}"
        case ast.BinOp(
            left=ast.Constant(value=10.0) as base,
            op=ast.Pow(),
            right=ast.BinOp(left=level, op=ast.Div(), right=ast.Constant(value=10.0 | 20.0 as ten)),
        ):
            yield "power/amplitude", f"{text(base)} ** (({text(level)}) / {30.0 - ten})"


def of_conditions(node: ast.BoolOp, text: Source) -> Iterator[Slip]:
    """Each of several conditions left out."""
    word = " and " if isinstance(node.op, ast.And) else " or "
    for left_out in range(len(node.values)):
        kept = [f"({text(one)})" for place, one in enumerate(node.values) if place != left_out]
        yield "term left out", word.join(kept)


def of_sign(node: ast.UnaryOp, text: Source) -> Iterator[Slip]:
    """The minus, the `not` or the `~` left out."""
    if not isinstance(node.op, ast.UAdd):
        yield "sign", text(node.operand)


def of_comparison(node: ast.Compare, text: Source) -> Iterator[Slip]:
    """Each edge of a comparison, or of a chain of them, moved to the other side of equality."""
    values = [text(one) for one in (node.left, *node.comparators)]
    words = [(EDGES | OTHERWISE)[type(one)] for one in node.ops]
    for place, one in enumerate(node.ops):
        if type(one) in SWAPPED_EDGES:
            swapped = [*words[:place], SWAPPED_EDGES[type(one)], *words[place + 1 :]]
            pairs = zip(swapped, values[1:], strict=True)
            yield "edge", f"({values[0]})" + "".join(f" {word} ({value})" for word, value in pairs)


def of_call(node: ast.Call, text: Source) -> Iterator[Slip]:
    """A function exchanged for its counterpart, or left out; the end of a range moved."""
    name, given = _name_of(node.func), [text(one) for one in (*node.args, *node.keywords)]
    called = text(node.func)
    for table, slip in ((LEAST_AND_MOST, "least/most"), (POWER_AND_AMPLITUDE, "power/amplitude")):
        if name in table:
            yield slip, f"{_in_scope(called.removesuffix(name) + table[name], table[name])}({', '.join(given)})"
    if name in LEFT_OUT and len(given) == 1:
        yield LEFT_OUT[name], given[0]
    if name in ("range", "arange") and node.args and not isinstance(node.args[-1], ast.Constant):
        place = 0 if len(node.args) == 1 else 1
        moved = [*given[:place], f"({given[place]}) + 1", *given[place + 1 :]]
        yield "index", f"{called}({', '.join(moved)})"


def _in_scope(called: str, name: str) -> str:
    """A function of `signals.levels` by a way that holds in every module, whatever it imports."""
    if name in POWER_AND_AMPLITUDE:
        return f"__import__('signals.levels').levels.{name}"
    return called


def of_constant(node: ast.Constant) -> Iterator[Slip]:
    """A number a little larger. Whole numbers count, so they move by one."""
    value = node.value
    if isinstance(value, bool) or not isinstance(value, int | float):
        return
    if isinstance(value, int):
        yield "constant", str(value + 1)
    elif value == 0.0:
        yield "constant", "1.0"
    elif abs(value) >= LEAST_CONSTANT:
        yield "constant", repr(float(f"{1.1 * value:.12g}"))


def of_place(node: ast.Subscript, text: Source) -> Iterator[Slip]:
    """An index one further on, and either end of a slice."""
    whole, parts = text(node.value), node.slice.elts if isinstance(node.slice, ast.Tuple) else [node.slice]
    shown = [text(part) for part in parts]
    for place, part in enumerate(parts):
        for moved in _moved(part, text):
            inside = ", ".join([*shown[:place], moved, *shown[place + 1 :]])
            yield "index", f"{whole}[{inside}]"


def _moved(part: ast.expr, text: Source) -> Iterator[str]:
    if isinstance(part, ast.Slice):
        low, high, step = (None if one is None else text(one) for one in (part.lower, part.upper, part.step))
        end = f":{step}" if step else ""
        if low is not None:
            yield f"({low}) + 1:{high or ''}{end}"
        if high is not None:
            yield f"{low or ''}:({high}) {'- 1' if high == '-1' else '+ 1'}{end}"
    elif _whole_number(part) is not None:
        number = _whole_number(part)
        yield str(number - 1 if number == -1 else number + 1)  # the last one becomes the last but one


def _whole_number(node: ast.expr) -> int | None:
    try:
        value = ast.literal_eval(node)
    except (ValueError, TypeError):
        return None
    return value if isinstance(value, int) and not isinstance(value, bool) else None


def of_sum_in_place(node: ast.AugAssign, text: Source) -> Iterator[Slip]:
    """`x += y` as `x -= y`, `x *= y` as `x /= y`, and left out."""
    if _is_collection(node.value):
        return
    swapped = (SWAPPED_SIGNS | SWAPPED_FACTORS).get(type(node.op))
    if swapped is not None:
        slip = "sign" if type(node.op) in SWAPPED_SIGNS else "factor"
        yield slip, f"{text(node.target)} {swapped}= {text(node.value)}"
    yield "term left out", "pass"


def _name_of(function: ast.expr) -> str:
    match function:
        case ast.Attribute(attr=name) | ast.Name(id=name):
            return name
        case _:
            return ""
