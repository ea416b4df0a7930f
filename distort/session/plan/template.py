"""The session.toml that `distort new` writes, once; and the short forms in which its command line takes levels."""

import math
from collections.abc import Sequence
from dataclasses import MISSING, Field, fields
from pathlib import Path
from typing import Any

from distort.errors import PlanError, UsageError, shown
from distort.session.files.atomic import write_new
from distort.session.files.folder import PLAN_FILE
from distort.session.plan import rules
from distort.session.plan.keys import FORMAT, OPTIONAL, SECTIONS, ConditionPlan, Plan, Safety
from distort.session.plan.reading import plan_from_text

COMMENT_COLUMN = 40


def plan_text(
    *, name: str, levels_db_spl: Sequence[float], distance_m: float = 1.0, conditions: Sequence[str] = ("default",)
) -> str:
    """The text of a new session.toml: every key in its order, each with its unit and meaning beside it.

    Raises UsageError when the values given cannot stand in a plan.
    """
    given = {
        ("loudspeaker", "name"): name,
        ("levels", "db_spl"): tuple(levels_db_spl),
        ("setup", "distance_m"): distance_m,
        ("setup", "conditions"): tuple(conditions),
    }
    try:
        rules.some_text(name)
    except ValueError as error:
        raise UsageError(f"the name of the loudspeaker must be {error}: say it with --name") from error
    blocks = ["# The plan of this session. Edit it freely; no command overwrites it.\n" + _line("format", FORMAT, "")]
    for section, made_by in SECTIONS.items():
        lines = [_key(key, given.get((section, key.name), key.default)) for key in fields(made_by)]
        block = [f"[{section}]", *lines]
        if section in OPTIONAL:
            block = [f"# {made_by.__doc__} Played only without the # before each line:", *(f"# {one}" for one in block)]
        blocks.append("\n".join(block))
    if len(conditions) > 1:
        blocks.append(_of_one_condition(conditions[-1]))
    text = "\n\n".join(blocks) + "\n"
    _check_ceiling(levels_db_spl)
    try:
        plan_from_text(text, source="the new plan")
    except PlanError as error:
        raise UsageError(str(error)) from error
    return text


def text_of(plan: Plan) -> str:
    """`plan` as a session.toml without a comment: what a stranger may read of it."""
    blocks = [_line("format", FORMAT, "")]
    for section, made_by in SECTIONS.items():
        values = getattr(plan, section)
        if values is None:
            continue
        given = [(key.name, getattr(values, key.name)) for key in fields(made_by)]
        lines = [_line(name, value, "") for name, value in given if value not in (None, ())]
        blocks.append("\n".join([f"[{section}]", *lines]))
    for one in plan.conditions:
        said = [(key.name, getattr(one, key.name)) for key in _keys_of_a_condition()]
        lines = [_line(name, value, "") for name, value in said if value is not None]
        blocks.append("\n".join([f"[conditions.{one.name}]", *lines]))
    return "\n\n".join(blocks) + "\n"


def write_plan(folder: Path, text: str) -> None:
    """Write `text` as session.toml of `folder`, where none may be. Raises SessionError."""
    write_new(folder / PLAN_FILE, text.encode("utf-8"))


def parse_levels(text: str) -> tuple[float, ...]:
    """Levels in dB SPL from "81,86,91", or from "81:101:5" (first, last, step).

    Raises UsageError when they are no ascending levels, or the steps do not end on the last.
    """
    try:
        numbers = [float(part) for part in text.replace(":", ",").split(",")]
        steps = _stepped(numbers) if ":" in text and "," not in text else numbers
        return rules.levels(steps)
    except ValueError as error:
        reason = "" if "could not convert" in str(error) else f" (they must be {error})"
        raise UsageError(
            f"levels {shown(text)} are not understood{reason}: write 81,86,91, or first:last:step as in 81:101:5"
        ) from error


def parse_conditions(text: str) -> tuple[str, ...]:
    """Names of conditions from "stand,desk". Raises UsageError when one cannot name a folder."""
    try:
        return rules.conditions([part.strip() for part in text.split(",")])
    except ValueError as error:
        raise UsageError(f"conditions {shown(text)} must be {error}") from error


def _stepped(numbers: list[float]) -> list[float]:
    if len(numbers) != 3 or not all(map(math.isfinite, numbers)):
        raise ValueError("three numbers, first:last:step")
    first, last, step = numbers
    if step <= 0 or last <= first:
        raise ValueError("rising from the first to the last by a step above 0")
    count = (last - first) / step
    if count > 1000 or abs(count - round(count)) > 1e-6:  # far below a hundredth of a step, far above rounding
        raise ValueError(f"a whole number of steps, but steps of {step:g} from {first:g} do not end on {last:g}")
    return [round(first + step * index, 6) for index in range(round(count) + 1)]


def _of_one_condition(name: str) -> str:
    lines = [f"[conditions.{name}]", *(_key(key, None).removeprefix("# ") for key in _keys_of_a_condition())]
    first = "# What is said of one condition. Take the # off the lines that hold:"
    return "\n".join([first, *(f"# {line}" for line in lines)])


def _keys_of_a_condition() -> list[Field[Any]]:
    return [key for key in fields(ConditionPlan) if "rule" in key.metadata]


def _check_ceiling(levels_db_spl: Sequence[float]) -> None:
    ceiling = Safety().ceiling_db_spl
    if max(levels_db_spl, default=0.0) > ceiling:
        raise UsageError(
            f"{max(levels_db_spl):g} dB SPL is above the ceiling of a new plan, {ceiling:g}: begin with lower levels, "
            f"then raise [safety] ceiling_db_spl and add to [levels] db_spl in {PLAN_FILE} by hand"
        )


def _key(key: Any, value: Any) -> str:
    about, example = key.metadata["about"], key.metadata["example"]
    if value is MISSING:
        raise UsageError(f"a new plan needs {key.name}: {about}")
    if example is not None:
        return _line(f"# {key.name}", None, about, written=example)
    return _line(key.name, value, about)


def _line(key: str, value: Any, about: str, *, written: str | None = None) -> str:
    assignment = f"{key} = {_toml(value) if written is None else written}"
    return f"{assignment:<{COMMENT_COLUMN}}  # {about}" if about else assignment


def _toml(value: Any) -> str:
    """A value as TOML writes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _quoted(value)
    if isinstance(value, int | float):
        return str(int(value)) if float(value).is_integer() else repr(float(value))
    return "[" + ", ".join(_toml(item) for item in value) + "]"


def _quoted(text: str) -> str:
    """A TOML basic string: quotes, backslashes and everything unprintable escaped."""
    escapes = {"\\": "\\\\", '"': '\\"', "\n": "\\n", "\t": "\\t"}
    plain = (
        escapes.get(character)
        or (character if character.isprintable() or ord(character) > 0xFFFF else f"\\u{ord(character):04x}")
        for character in text
    )
    return '"' + "".join(plain) + '"'
