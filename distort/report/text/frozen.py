"""What is said of frozen results: that they are kept, and how today's differ from them."""

import math
from collections.abc import Iterator

from distort.report.text.numbers import hertz_words
from distort.session.published.frozen import Frozen
from distort.session.published.frozen_differences import Differences, TableDifference

MOST_TABLES = 5
"""Tables told one by one; of more, how many."""

MOST_REASONS = 8


def frozen_sentences(frozen: Frozen, where: str) -> Iterator[str]:
    """What was kept, and what for."""
    programs = ", ".join(f"{one.name} {one.version}" for one in frozen.software)
    yield (
        f"Kept {len(frozen.results)} files of results in {where}, with the SHA-256 of the {len(frozen.inputs)} files "
        f"that they rest on."
    )
    yield f"Made with {programs}."
    yield "From now on 'distort analyze' says what differs from them, and why."


def difference_sentences(found: Differences) -> Iterator[str]:
    """Whether today's results are the frozen ones; if not, where they differ most and what changed."""
    name = f"what was frozen as {found.frozen.label} on {found.frozen.date[:10]}"
    if found.same:
        yield f"Every number is the same as in {name}."
        return
    yield f"Against {name}:"
    for table in sorted(found.tables, key=lambda one: -one.changed)[:MOST_TABLES]:
        yield f"  {_table_line(table)}"
    if len(found.tables) > MOST_TABLES:
        yield f"  and {len(found.tables) - MOST_TABLES} more tables."
    for file in found.missing:
        yield f"  {file} was frozen, and is not there now."
    for file in found.added:
        yield f"  {file} is new."
    if not found.reasons:
        yield "Why: no input and no version changed, so it must be the machine, or another build of a library."
        return
    yield "Why, as far as inputs and versions tell:"
    yield from (f"  {reason}" for reason in found.reasons[:MOST_REASONS])
    if len(found.reasons) > MOST_REASONS:
        yield f"  and {len(found.reasons) - MOST_REASONS} more."


def _table_line(table: TableDifference) -> str:
    return (
        f"{table.file}: {table.changed} of {table.numbers} numbers; most in {table.column} at "
        f"{hertz_words(table.frequency_hz)}, {_number(table.then)} then, {_number(table.now)} now."
    )


def _number(value: float) -> str:
    return "empty" if math.isnan(value) else f"{value:.4f}".rstrip("0").rstrip(".")
