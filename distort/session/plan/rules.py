"""What a value in session.toml may be: each rule takes what TOML gave, returns it checked, or says what it must be.

A rule raises ValueError with a phrase that completes "[section] key must be ...".
"""

import re
from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise
from typing import Any

from distort.errors import SessionError, did_you_mean, shown
from distort.session.files.names import check_condition, format_level
from distort.session.files.portable import alike, fault_of_path, leads_out

Rule = Callable[[Any], Any]

MOST_CHARACTERS = 200
"""Of a text: about what one line of a figure holds at its smallest."""
MOST_OF_A_NOTE = 2000
"""A page of writing."""
MOST_ITEMS = 100
"""Of a list: each condition is a folder to record, each level a minute or more of playing."""


def facts(rule: Rule, about: str, example: str | None = None) -> Mapping[str, Any]:
    """`about`: unit and meaning in one line. `example`: TOML to show, commented out, for a key without a default."""
    return {"rule": rule, "about": about, "example": example}


def text(value: Any) -> str:
    """Printable text; line breaks may stand in it, other control characters would upset terminals."""
    return _text(value, MOST_CHARACTERS)


def note(value: Any) -> str:
    """The same at greater length."""
    return _text(value, MOST_OF_A_NOTE)


def _text(value: Any, most: int) -> str:
    if not isinstance(value, str):
        raise ValueError(f'a text in quotes, such as "{shown(value)}"')
    if len(value) > most:
        raise ValueError(f"a text of at most {most:,} characters, not of {len(value):,}")
    if not all(character.isprintable() or character == "\n" for character in value):
        raise ValueError("a text without control characters")
    return value


def some_text(value: Any) -> str:
    """Text that says something."""
    if not text(value).strip():
        raise ValueError("a text that is not empty")
    return text(value)


def flag(value: Any) -> bool:
    """True or false."""
    if not isinstance(value, bool):
        raise ValueError(f"true or false, without quotes, not {shown(value)}")
    return value


def number(low: float, high: float) -> Rule:
    """A finite number from `low` to `high`, both allowed."""

    def rule(value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise ValueError(f"a number, without quotes, not {shown(value)}")
        if not low <= value <= high:  # neither is NaN
            raise ValueError(f"a number from {low:g} to {high:g}, not {shown(value)}")
        return float(value)

    return rule


def whole(low: int, high: int) -> Rule:
    """A whole number from `low` to `high`, both allowed."""

    def rule(value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int):
            raise ValueError(f"a whole number, not {shown(value)}")
        if not low <= value <= high:
            raise ValueError(f"a whole number from {low} to {high}, not {value}")
        return value

    return rule


def one_of(*choices: str) -> Rule:
    """One of a few words."""

    def rule(value: Any) -> str:
        if value not in choices:
            listed = ", ".join(repr(choice) for choice in choices)
            raise ValueError(f"one of {listed}, not {shown(value)}{did_you_mean(str(value), choices)}")
        return str(value)

    return rule


def levels(value: Any) -> tuple[float, ...]:
    """Nominal levels, dB SPL: at least one, each above the one before."""
    numbers = _each(value, number(20.0, 140.0), "levels, such as [81, 86, 91]")
    for level in numbers:
        try:
            format_level(level)
        except SessionError as error:
            raise ValueError(f"levels with at most two decimals, not {shown(level)}") from error
    for lower, higher in pairwise(numbers):
        if lower == higher:
            raise ValueError(f"levels that differ, but {lower:g} is there twice")
        if lower > higher:
            raise ValueError(f"levels from the lowest to the highest, but {higher:g} comes after {lower:g}")
    return numbers


def order_limits(value: Any) -> tuple[float, ...]:
    """Limits of harmonic orders from the second on, dB re the fundamental: at least one."""
    return _each(value, number(-100.0, 0.0), "limits in dB, such as [-10, -15, -20]")


def band(value: Any) -> tuple[float, float]:
    """Two frequencies, Hz, the lower first."""
    numbers = _each(value, number(1.0, 200e3), "two frequencies, such as [300, 3000]")
    if len(numbers) != 2 or numbers[0] >= numbers[1]:
        raise ValueError(f"two frequencies, the lower first, not {shown(value)}")
    return numbers[0], numbers[1]


def frequencies(value: Any) -> tuple[float, ...]:
    """Frequencies, Hz: at least one, each above the one before."""
    numbers = _each(value, number(20.0, 20e3), "frequencies, such as [125, 1000, 4000]")
    for lower, higher in pairwise(numbers):
        if lower >= higher:
            raise ValueError(f"frequencies from the lowest to the highest, but {higher:g} comes after {lower:g}")
    return numbers


def conditions(value: Any) -> tuple[str, ...]:
    """Names of conditions: at least one, safe as folder names, different even where capitals do not count."""
    names = _each(value, text, 'names, such as ["stand", "desk"]')
    for name in names:
        try:
            check_condition(name)
        except SessionError as error:
            raise ValueError(f"names that folders can have: {error}") from error
    spelt = [alike(name) for name in names]
    for name in names:
        if spelt.count(alike(name)) > 1:
            raise ValueError(f"names that differ by more than capitals, but {shown(name)} is there twice")
    return tuple(names)


def file_inside(value: Any) -> str:
    """The path of a file inside the session folder, relative to it, with `/`, and such as every system takes."""
    path = some_text(value)
    if leads_out(path):
        raise ValueError(
            f"the path of a file inside the session folder, such as calibration/file.txt, not {shown(path)}"
        )
    if (fault := fault_of_path(path)) is not None:
        raise ValueError(f"a path that every system takes, not {shown(path)}: {fault}; rename the file, or write it so")
    return path


def files_inside(value: Any) -> tuple[str, ...]:
    """Paths of files inside the session folder; at least one."""
    return _each(value, file_inside, 'paths, such as ["calibration/free-field.csv"]')


def smoothing(value: Any) -> str:
    """Part of an octave, "1/1" to "1/96", or "none"."""
    if not isinstance(value, str):
        raise ValueError(f'a text in quotes, such as "1/12", not {shown(value)}')
    smoothing_width(value)
    return value


def smoothing_width(value: str) -> float:
    """Octaves that "1/n" stands for; 0 for "none". Raises ValueError for what is neither."""
    if value == "none":
        return 0.0
    found = re.fullmatch(r"1/([1-9][0-9]?)", value)
    if found is None or int(found[1]) > 96:
        raise ValueError(f'"none" or a part of an octave from "1/1" to "1/96", such as "1/12", not {shown(value)}')
    return 1.0 / int(found[1])


def _each(value: Any, rule: Rule, example: str) -> tuple[Any, ...]:
    if not isinstance(value, Sequence) or isinstance(value, str):
        raise ValueError(f"a list of {example}, not {shown(value)}")
    if not value:
        raise ValueError(f"a list of {example}, not an empty one")
    if len(value) > MOST_ITEMS:
        raise ValueError(f"a list of {example}, at most {MOST_ITEMS} of them, not {len(value):,}")
    try:
        return tuple(rule(item) for item in value)
    except ValueError as error:
        raise ValueError(f"a list of {example}; each is {error}") from error
