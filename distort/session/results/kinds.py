"""Result tables of the kinds of stimuli that have one of their own: one entry a kind, by the name of the recordings.

The table is results/<condition>/<name>.csv.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy.typing as npt

from distort.errors import SessionError
from distort.session.files.csv_table import read_table, read_words, write_table
from distort.session.results.burst_table import burst_columns, burst_of
from distort.session.results.frames_table import frames_columns, frames_of_columns
from distort.session.results.heating_table import heating_columns, heating_of_columns
from distort.session.results.hiss_table import hiss_columns, hiss_of_columns
from distort.session.results.impulsive_table import impulsive_columns, impulsive_of_columns
from distort.session.results.noise_table import noise_columns, noise_of_columns
from distort.session.results.programme_table import programme_columns, programme_of_columns

Columns = Mapping[str, npt.ArrayLike]
"""By name, in their order, the frequency first; equally long."""


@dataclass(frozen=True, kw_only=True)
class StoredKind:
    """How a result becomes the columns of its table, and back."""

    columns: Callable[[Any], Columns]
    result: Callable[[Mapping[str, Any]], Any]
    """Of the columns as they were read. Raises KeyError for one that is missing, ValueError for what none can hold."""
    words: tuple[str, ...] = ()
    """Columns that hold texts."""


STORED: dict[str, StoredKind] = {
    "burst": StoredKind(columns=burst_columns, result=burst_of, words=("ended_by",)),
    "frames": StoredKind(columns=frames_columns, result=frames_of_columns),
    "heating": StoredKind(columns=heating_columns, result=heating_of_columns),
    "programme": StoredKind(columns=programme_columns, result=programme_of_columns),
    "impulsive": StoredKind(columns=impulsive_columns, result=impulsive_of_columns),
    "noise": StoredKind(columns=noise_columns, result=noise_of_columns),
    "hiss": StoredKind(columns=hiss_columns, result=hiss_of_columns),
}
"""Sweeps and multitones, which everything else rests on, stand in `condition_results` itself."""


def words_in(path: Path) -> tuple[str, ...]:
    """Columns of texts in a table of results; none in most."""
    kind = STORED.get(path.stem)
    return () if kind is None else kind.words


def write_kind(path: Path, name: str, result: Any) -> None:
    """Write the table of `result`. Raises SessionError as `write_table` does."""
    write_table(path, STORED[name].columns(result))


def read_kind(path: Path, name: str) -> Any:
    """What `write_kind` wrote. Raises SessionError when the table is missing, or another's."""
    kind = STORED[name]
    columns: dict[str, Any] = dict(read_table(path, words=kind.words))
    columns |= {word: read_words(path, word) for word in kind.words}
    try:
        return kind.result(columns)
    except KeyError as error:
        raise SessionError(f"{path} lacks the column {error}: run `distort analyze` again") from error
    except ValueError as error:
        raise SessionError(f"{path} does not hold what it must ({error}): run `distort analyze` again") from error
