"""What a long heating says as the columns of heating.csv, and back."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from distort.analysis.heating.exponentials import Course, Term
from distort.analysis.heating.result import TIMES_S, HeatingBand, HeatingLevel, HeatingResult
from distort.session.files.names import format_level

ORDER = ("first", "second")
"""Terms, the quicker first."""

OF_A_TERM = {"change_db": "change_db", "s": "tau_s", "s_low": "low_s", "s_high": "high_s"}
"""Ends of columns, and the fields of a term that they hold."""

OF_A_LEVEL = ("loud_s", "asked_s")
"""The same in every row."""


def heating_columns(result: HeatingResult) -> Mapping[str, npt.ArrayLike]:
    """A row a third octave; of each level as many columns: `change_db_96dB`, ..."""
    columns: dict[str, npt.ArrayLike] = {"frequency_hz": result.frequency_hz}
    for level in result.levels:
        mark = f"{format_level(level.level_db_spl)}dB"
        courses = [band.course for band in level.bands]
        columns[f"change_db_{mark}"] = np.array([one.change_db for one in courses])
        columns[f"uncertainty_db_{mark}"] = np.array([one.uncertainty_db for one in courses])
        for place, word in enumerate(ORDER):
            terms = [one.terms[place] if place < len(one.terms) else None for one in courses]
            for name, field in OF_A_TERM.items():
                values = [np.nan if term is None else getattr(term, field) for term in terms]
                columns[f"{word}_{name}_{mark}"] = np.array(values)
        for index, at_s in enumerate(TIMES_S):
            columns[f"change_at_{at_s:g}s_db_{mark}"] = np.array([band.change_at_db[index] for band in level.bands])
        for index, at_s in enumerate(level.pilot_at_s):
            columns[f"left_after_{at_s:g}s_db_{mark}"] = np.array([band.left_db[index] for band in level.bands])
        for name in OF_A_LEVEL:
            columns[f"{name}_{mark}"] = np.full(len(level.bands), getattr(level, name))
    return columns


def heating_of_columns(columns: Mapping[str, Any]) -> HeatingResult:
    """The result that has these columns. Raises KeyError for one that is missing, ValueError for a name that holds no
    level or time."""
    first = "change_db_"
    marks = [name.removeprefix(first) for name in columns if name.startswith(first)]
    return HeatingResult(frequency_hz=columns["frequency_hz"], levels=tuple(_level(columns, mark) for mark in marks))


def _level(columns: Mapping[str, Any], mark: str) -> HeatingLevel:
    before, after = "left_after_", f"s_db_{mark}"
    names = [name for name in columns if name.startswith(before) and name.endswith(after)]
    rows = range(len(columns["frequency_hz"]))
    loud_s, asked_s = (float(columns[f"{name}_{mark}"][0]) for name in OF_A_LEVEL)
    return HeatingLevel(
        level_db_spl=float(mark.removesuffix("dB")),
        loud_s=loud_s,
        asked_s=asked_s,
        pilot_at_s=np.array([float(name.removeprefix(before).removesuffix(after)) for name in names]),
        bands=tuple(
            HeatingBand(
                course=_course(columns, mark, row),
                change_at_db=np.array([columns[f"change_at_{at_s:g}s_db_{mark}"][row] for at_s in TIMES_S]),
                left_db=np.array([columns[name][row] for name in names]),
            )
            for row in rows
        ),
    )


def _course(columns: Mapping[str, Any], mark: str, row: int) -> Course:
    terms = [
        Term(**{field: float(columns[f"{word}_{name}_{mark}"][row]) for name, field in OF_A_TERM.items()})
        for word in ORDER
    ]
    return Course(
        change_db=float(columns[f"change_db_{mark}"][row]),
        uncertainty_db=float(columns[f"uncertainty_db_{mark}"][row]),
        terms=tuple(term for term in terms if not np.isnan(term.tau_s)),
    )
