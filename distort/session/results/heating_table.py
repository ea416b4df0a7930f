"""What a long heating says as the columns of heating.csv, and back."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from distort.analysis.heating.exponentials import Course, Term
from distort.analysis.heating.result import TIMES_S, HeatingBand, HeatingLevel, HeatingResult
from distort.session.files.names import format_level

TIMES = tuple(f"{at_s:g}" for at_s in TIMES_S)

ORDER = ("first", "second")
"""Terms, the quicker first."""

OF_A_TERM = {"change_db": "change_db", "s": "tau_s", "s_low": "low_s", "s_high": "high_s"}
"""Ends of columns, and the fields of a term that they hold."""

OF_A_COURSE = ("uncertainty_db", "start_db", "scatter_db")
"""Beside its change."""

OF_A_LEVEL = ("loud_s", "asked_s", "left_out_s")
"""The same in every row."""


def heating_columns(result: HeatingResult) -> Mapping[str, npt.ArrayLike]:
    """A row a third octave; of each level as many columns: `change_db_96dB`, ..."""
    columns: dict[str, npt.ArrayLike] = {"frequency_hz": result.frequency_hz}
    for level in result.levels:
        mark = f"{format_level(level.level_db_spl)}dB"
        courses = [band.course for band in level.bands]
        columns[f"change_db_{mark}"] = np.array([one.change_db for one in courses])
        for name in OF_A_COURSE:
            columns[f"{name}_{mark}"] = np.array([getattr(one, name) for one in courses])
        for place, word in enumerate(ORDER):
            terms = [one.terms[place] if place < len(one.terms) else None for one in courses]
            for name, field in OF_A_TERM.items():
                values = [np.nan if term is None else getattr(term, field) for term in terms]
                columns[f"{word}_{name}_{mark}"] = np.array(values)
        for index, at_s in enumerate(TIMES_S):
            columns[f"change_at_{at_s:g}s_db_{mark}"] = np.array([band.change_at_db[index] for band in level.bands])
            uncertain = [band.change_at_uncertainty_db[index] for band in level.bands]
            columns[f"uncertainty_at_{at_s:g}s_db_{mark}"] = np.array(uncertain)
        for index, at_s in enumerate(level.pilot_at_s):
            columns[f"left_after_{at_s:g}s_db_{mark}"] = np.array([band.left_db[index] for band in level.bands])
            uncertain = [band.left_uncertainty_db[index] for band in level.bands]
            columns[f"uncertainty_after_{at_s:g}s_db_{mark}"] = np.array(uncertain)
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
    times = [
        name.removeprefix(before).removesuffix(after)
        for name in columns
        if name.startswith(before) and name.endswith(after)
    ]
    rows = range(len(columns["frequency_hz"]))
    of_a_level = {name: float(columns[f"{name}_{mark}"][0]) for name in OF_A_LEVEL}
    return HeatingLevel(
        level_db_spl=float(mark.removesuffix("dB")),
        **of_a_level,
        pilot_at_s=np.array([float(at_s) for at_s in times]),
        bands=tuple(
            HeatingBand(
                course=_course(columns, mark, row),
                change_at_db=_in_row(columns, row, "change_at_", times=TIMES, mark=mark),
                change_at_uncertainty_db=_in_row(columns, row, "uncertainty_at_", times=TIMES, mark=mark),
                left_db=_in_row(columns, row, before, times=times, mark=mark),
                left_uncertainty_db=_in_row(columns, row, "uncertainty_after_", times=times, mark=mark),
            )
            for row in rows
        ),
    )


def _in_row(
    columns: Mapping[str, Any], row: int, name: str, *, times: Sequence[str], mark: str
) -> npt.NDArray[np.float64]:
    return np.array([columns[f"{name}{at_s}s_db_{mark}"][row] for at_s in times])


def _course(columns: Mapping[str, Any], mark: str, row: int) -> Course:
    terms = [
        Term(**{field: float(columns[f"{word}_{name}_{mark}"][row]) for name, field in OF_A_TERM.items()})
        for word in ORDER
    ]
    return Course(
        change_db=float(columns[f"change_db_{mark}"][row]),
        terms=tuple(term for term in terms if not np.isnan(term.tau_s)),
        **{name: float(columns[f"{name}_{mark}"][row]) for name in OF_A_COURSE},
    )
