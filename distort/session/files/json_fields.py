"""Frozen dataclasses as JSON files and back, strictly: no key missing or unknown, no value of another type.

Field types may be str, int, float, bool, `X | None`, `tuple[X, ...]`, a Literal of texts, or such a dataclass again. A
field may instead carry its own pair of functions in its metadata, see `by`; or be one that older files lack, see
`later`.
"""

import dataclasses
import functools
import json
import re
import types
import typing
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

from distort.errors import SessionError, shown
from distort.session.files.atomic import write_text
from distort.session.files.reading import MOST_BYTES, read_text

T = TypeVar("T")

MOST_CHARACTERS = 10_000
"""Of a text: five times the longest that a plan may hold, and no sentence of this program is as long."""

LARGEST = {"db": 1000.0, "hz": 1e9, "": 1e15}
"""Of a number with that unit, either way: the power of four times as many decibels is beyond what Python can hold."""

_UNIT = re.compile(r"(?<![a-z])(db|hz)(?=_spl$|fs$|$)")
"""At the end of a field's name: `source_db`, `level_db_spl`, `drive_dbfs`, `low_hz`."""

_HALF = re.compile("[\ud800-\udfff]")
"""A surrogate, which is half of a character."""

LARGEST_WHOLE = 2**63
"""Of a whole number: times in nanoseconds are the largest."""

FORMAT = 1
"""Version of the JSON files that this program writes and reads."""


def by(write: Callable[[Any], Any], read: Callable[[Any], Any]) -> dict[str, Any]:
    """Metadata of a field with its own way into JSON and back; `read` raises ValueError for what it cannot take."""
    return {"write": write, "read": read}


def later(*, only_if_said: bool = False, instead_of: str | None = None) -> dict[str, Any]:
    """Metadata of a field that older files lack: it then has its default.

    only_if_said   it is not written either where it has its default
    instead_of     a key of older files whose place it took; what that says is left aside
    """
    return {"later": True, "only_if_said": only_if_said, "instead_of": instead_of}


def write_json(path: Path, value: Any) -> None:
    """Write a dataclass instance to `path`, replacing what was there. Raises SessionError, also for NaN or infinity."""
    write_text(path, json_text(as_document(value), path))


def json_text(document: dict[str, Any], path: Path) -> str:
    """The document as it is written to `path`. Raises SessionError for NaN or infinity."""
    try:
        return json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
    except ValueError as error:
        raise SessionError(f"{path} is not written: a number in it is not finite") from error


def as_document(value: Any) -> dict[str, Any]:
    """The object that `write_json` would write."""
    return {"format": FORMAT, **_to_plain(value)}


def read_json(path: Path, made_by: type[T]) -> T:
    """The instance of `made_by` that `write_json` wrote to `path`.

    Raises SessionError, naming the file, when it is missing, not JSON, or not what `made_by` holds.
    """
    document = load_json_object(path)
    written = document.pop("format", None)
    if written != FORMAT or isinstance(written, bool):
        raise SessionError(
            f"{path} says format {shown(written)}, this program reads {FORMAT}: was it written by another?"
        )
    try:
        return from_plain(document, made_by)
    except ValueError as error:
        raise SessionError(f"{path} does not hold what it must: {error}") from error


def load_json_object(path: Path) -> dict[str, Any]:
    """The JSON object in `path`. Raises SessionError when it is missing, not JSON, not an object, or holds NaN."""
    try:
        text = read_text(path, MOST_BYTES[".json"])
        document = json.loads(text, parse_constant=_refuse, object_pairs_hook=_once)
    except FileNotFoundError as error:
        raise SessionError(f"{path} is missing: look whether its name and folder are right") from error
    except OSError as error:
        raise SessionError(f"{path} cannot be read: {error.strerror or error}") from error
    except UnicodeDecodeError as error:
        raise SessionError(
            f"{path} is not valid JSON, not even text: name the .json file that this program wrote"
        ) from error
    except (ValueError, RecursionError) as error:  # JSONDecodeError is a ValueError
        raise SessionError(
            f"{path} is not valid JSON ({error}): name a .json file that this program wrote, as it wrote it"
        ) from error
    if not isinstance(document, dict):
        raise SessionError(f"{path} must hold a JSON object, in braces")
    return document


def _refuse(constant: str) -> typing.NoReturn:
    raise ValueError(f"{constant} is not a number that JSON knows")


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a key stands twice in one object")
    return found


def _to_plain(value: Any) -> Any:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        plain = {}
        for field in dataclasses.fields(value):
            if field.metadata.get("only_if_said") and getattr(value, field.name) == field.default:
                continue
            write = field.metadata.get("write", _to_plain)
            plain[field.name] = write(getattr(value, field.name))
        return plain
    if isinstance(value, tuple):
        return [_to_plain(item) for item in value]
    return value


def from_plain(plain: Any, made_by: type[T]) -> T:
    """An instance of the dataclass `made_by` from a JSON object. Raises ValueError saying which key is wrong."""
    if not isinstance(plain, dict):
        raise ValueError(f"an object is needed, not {shown(plain)}")
    types_by_name, fields, later = _held_by(typing.cast(Any, made_by))
    if missing := [name for name in fields if name not in plain and name not in later]:
        raise ValueError(f"missing: {', '.join(missing)}")
    left_aside = {field.metadata.get("instead_of") for field in fields.values() if field.name not in plain}
    if unknown := [name for name in plain if name not in fields and name not in left_aside]:
        raise ValueError(f"unknown: {shown(', '.join(unknown))[1:-1]}")
    values = {}
    for name, field in fields.items():
        if name in later and name not in plain:
            continue
        try:
            read = field.metadata.get("read")
            values[name] = read(plain[name]) if read else _value(plain[name], types_by_name[name])
            _check_size(name, values[name])
        except ValueError as error:
            raise ValueError(f"{name}: {error}") from error
    return made_by(**values)


@functools.cache  # annotations are texts that Python evaluates anew each time: a third of the time that a file took
def _held_by(made_by: type) -> tuple[dict[str, Any], dict[str, dataclasses.Field[Any]], frozenset[str]]:
    """The types and the fields of a dataclass, by name, and the names of those that older files lack."""
    fields = {field.name: field for field in dataclasses.fields(made_by)}
    later = frozenset(name for name, field in fields.items() if field.metadata.get("later"))
    return typing.get_type_hints(made_by), fields, later


@functools.cache
def _made_of(wanted: Any) -> tuple[Any, tuple[Any, ...]]:
    """Of a type with others in it: what it is, and those."""
    return typing.get_origin(wanted), typing.get_args(wanted)


def _value(plain: Any, wanted: Any) -> Any:
    """`plain` as the type `wanted`. Raises ValueError."""
    origin, arguments = _made_of(wanted)
    if origin in (types.UnionType, typing.Union):
        inner = next(argument for argument in arguments if argument is not type(None))
        return None if plain is None else _value(plain, inner)
    if origin is tuple:
        if not isinstance(plain, list):
            raise ValueError(f"a list is needed, not {shown(plain)}")
        return tuple(_value(item, arguments[0]) for item in plain)
    if origin is typing.Literal:
        if plain not in arguments:
            raise ValueError(f"one of {', '.join(map(repr, arguments))} is needed, not {shown(plain)}")
        return plain
    if dataclasses.is_dataclass(wanted):
        return from_plain(plain, typing.cast(type[Any], wanted))
    return _scalar(plain, wanted)


def _scalar(plain: Any, wanted: type) -> Any:
    if wanted is float and isinstance(plain, int | float) and not isinstance(plain, bool):
        if abs(plain) > LARGEST[""]:  # JSON can write 1e999, and whole numbers of any length
            raise ValueError("the number is too large")
        return float(plain)
    if type(plain) is not wanted:  # exactly: true is no whole number here
        raise ValueError(f"{wanted.__name__} is needed, not {shown(plain)}")
    if isinstance(plain, int) and abs(plain) > LARGEST_WHOLE:
        raise ValueError("the number is too large")
    if isinstance(plain, str):
        _check_text(plain)
    return plain


def _check_text(text: str) -> None:
    if len(text) > MOST_CHARACTERS:
        raise ValueError(f"a text of at most {MOST_CHARACTERS:,} characters is needed, not of {len(text):,}")
    if _HALF.search(text):  # JSON can spell half of a pair
        raise ValueError(f"{shown(text)} is no text: it holds half a character")


@functools.cache
def _unit_of(name: str) -> str | None:
    found = _UNIT.search(name)
    return None if found is None else found[1]


def _check_size(name: str, value: Any) -> None:
    """Raise ValueError where a number of the field `name` is none that its unit, in the name, can have."""
    unit = _unit_of(name)
    if unit is None:
        return
    for number in value if isinstance(value, tuple) else (value,):
        if not isinstance(number, float):
            continue
        if abs(number) > LARGEST[unit] and "uncertainty" not in name:
            raise ValueError(f"{number:g} is impossible")
        if unit == "hz" and number < 0.0:
            raise ValueError(f"{number:g} is no frequency")
