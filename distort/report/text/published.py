"""What is said of what is published: frozen results and how they differ from today's, and what stays out."""

import json
import math
from collections.abc import Iterator, Sequence

from distort.report.text.licence import NO_LICENCE
from distort.report.text.numbers import hertz_words
from distort.session.published.frozen import Frozen
from distort.session.published.frozen_differences import Differences, Reason, TableDifference

MOST_TABLES = 5
"""Tables told one by one; of more, how many."""

MOST_REASONS, MOST_VALUES = 8, 3
"""Told one by one, and of each file its values."""

COMPARED = "results/compare/"


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
    yield from (f"  {reason_words(one)}" for one in found.reasons[:MOST_REASONS])
    if len(found.reasons) > MOST_REASONS:
        yield f"  and {len(found.reasons) - MOST_REASONS} more."


def reason_words(one: Reason) -> str:
    """What changed of one file or program."""
    match one.how:
        case "gone" | "new" | "another file":
            return f"{one.of} is {one.how}"
        case "renamed":
            return f"{one.of} is {one.values[0].now} by now: see its sidecar"
        case "layout alone":
            return f"{one.of}: only its comments or its layout"
        case "other values":
            shown = [f"{each.key} was {_said(each.then)}, is {_said(each.now)}" for each in one.values[:MOST_VALUES]]
            more = f"; and {len(one.values) - MOST_VALUES} more" if len(one.values) > MOST_VALUES else ""
            return f"{one.of}: {'; '.join(shown)}{more}"
        case _:
            (version,) = one.values
            return f"{one.of} was {version.then or 'not there'}, is {version.now}"


def _said(value: object) -> str:
    """A value as a file spells it, shortened."""
    if value is None:
        return "nothing"
    text = json.dumps(value, ensure_ascii=False, default=str)
    return text if len(text) <= 40 else f"{text[:37]}..."


def _table_line(table: TableDifference) -> str:
    return (
        f"{table.file}: {table.changed} of {table.numbers} numbers; most in {table.column} at "
        f"{hertz_words(table.frequency_hz)}, {_number(table.then)} then, {_number(table.now)} now."
    )


def _number(value: float) -> str:
    return "empty" if math.isnan(value) else f"{value:.4f}".rstrip("0").rstrip(".")


def left_out_sentences(names: Sequence[str], folder: str) -> Iterator[str]:
    """A sentence for what each command would write anew; `names` are relative to the session `folder`."""
    compared = [name for name in names if name.startswith(COMPARED)]
    others = [name for name in names if not name.startswith(COMPARED)]
    for those, command in ((others, f"distort report {folder}"), (compared, "distort compare")):
        if len(those) == 1:
            yield f"Careful: {those[0]} may not be as it was written, so it stays out: '{command}' writes it anew."
        elif those:
            which = f"{those[0]} and {len(those) - 1} more"
            yield f"Careful: {which} may not be as they were written, so they stay out: '{command}' writes them anew."


def unlicensed_sentences(names: Sequence[str]) -> Iterator[str]:
    """Which recordings of music, and pages that play it, stay out of a bundle; nothing where none does."""
    if names:
        which = names[0] if len(names) == 1 else f"{names[0]} and {len(names) - 1} more"
        yield (f"Careful: {which} {'stays' if len(names) == 1 else 'stay'} out: {NO_LICENCE}.")


def carried_sentence(names: Sequence[str]) -> str:
    """Which files of a bundle tell more than their sound, and what to do."""
    one = len(names) == 1
    return (
        f"Careful: {len(names)} of them still {'carries' if one else 'carry'} notes of a recorder or the name of the "
        f"file that was brought in ({', '.join(names)}): what a session holds is never rewritten, so to leave that "
        f"behind, bring the originals in once more, into a new session."
    )
