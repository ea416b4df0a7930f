"""Results in a notebook: sessions, conditions and curves that show as tables, draw themselves and convert to pandas.

>>> import distort
>>> session = distort.analyze("demo_recordings")
>>> session.conditions
('desk', 'loose', 'stand')
>>> stand = session["stand"]
>>> stand.levels_db_spl
(81.0, 86.0, 91.0, 96.0, 101.0)
>>> orders = stand.harmonics(96)
>>> orders["h3_db"].shape
(241,)
>>> orders.columns[:2]
('frequency_hz', 'fundamental_db_spl')
>>> orders.draw().axes[0].get_xscale()
'log'
"""

import html
import io
import warnings
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import partial
from importlib import import_module
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
from rich.table import Table

from distort.archive import analyze_and_note
from distort.errors import SessionError, UsageError, did_you_mean, shown
from distort.report.figures.session_figures import figures_of
from distort.report.terminal.console import make_console, say
from distort.report.text.multitone import multitone_blocks
from distort.report.text.numbers import level_name
from distort.report.text.staleness import stale_clauses
from distort.report.text.summary import harmonics_blocks, response_blocks, summary_blocks
from distort.report.text.tables_compression import compression_blocks
from distort.session.files.csv_table import read_table
from distort.session.files.folder import SessionFolder
from distort.session.plan.keys import ReportPlan
from distort.session.plan.reading import read_plan
from distort.session.results.analysed import staleness
from distort.session.results.condition_results import ConditionResults, Findings, read_results

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FloatArray = npt.NDArray[np.float64]

Blocks = Iterator[str | Table]
"""Sentences and tables, in the order in which they are read."""


def analyze(folder: str | PathLike[str], *, condition: str | None = None) -> "Session":
    """Analyse the session in `folder` (`condition` alone, if named), write its results/ and return it.

    Raises PlanError, SessionError, RecordingError and AnalysisError as `distort.archive.analyze_and_note` does.
    """
    analyze_and_note(Path(folder), condition=condition, progress=lambda what, done, total: None)
    return load(folder)


def load(folder: str | PathLike[str]) -> "Session":
    """The session in `folder` as it was analysed last; warns where that is not what an analysis would give now.

    Raises SessionError when it is no session, or has no results, PlanError for a bad session.toml.
    """
    place = SessionFolder(Path(folder))
    place.require()
    found = {name: read_results(place, name) for name in place.conditions_analysed()}
    if not found:
        raise SessionError(f"{folder} has no results yet: distort.analyze({str(folder)!r}) makes some")
    plan = read_plan(place.root)
    for one in stale_clauses(staleness(place, plan)):
        warnings.warn(f"{one}: distort.analyze({str(folder)!r}) analyses it again", stacklevel=2)
    return Session(folder=place, results=found, words=plan.report)


class Shown(ABC):
    """Something that a terminal and a notebook show as the tables that the commands print."""

    @abstractmethod
    def _blocks(self) -> Blocks: ...

    def __repr__(self) -> str:
        text = io.StringIO()
        say(make_console(text), *self._blocks())
        return text.getvalue().rstrip()

    def _repr_html_(self) -> str:
        return f"<pre>{html.escape(repr(self))}</pre>"


@dataclass(frozen=True, repr=False)
class Session(Shown):
    """An analysed session; `session["desk"]` is one of its conditions."""

    folder: SessionFolder
    results: Mapping[str, ConditionResults]
    words: ReportPlan = field(default_factory=ReportPlan)

    @property
    def conditions(self) -> tuple[str, ...]:
        """Names of the conditions that were analysed."""
        return tuple(self.results)

    def __getitem__(self, condition: str) -> "Condition":
        """One condition. Raises UsageError when it was not analysed."""
        if condition not in self.results:
            near = did_you_mean(str(condition), self.results)
            raise UsageError(f"no condition {shown(condition)} was analysed{near}: there are {', '.join(self.results)}")
        return Condition(session=self, results=self.results[condition])

    def _blocks(self) -> Blocks:
        for results in self.results.values():
            yield from summary_blocks(results)


@dataclass(frozen=True, repr=False)
class Condition(Shown):
    """All results of one condition."""

    session: Session
    results: ConditionResults

    @property
    def findings(self) -> Findings:
        """What findings.json holds."""
        return self.results.findings

    @property
    def levels_db_spl(self) -> tuple[float, ...]:
        """Nominal levels of the sweeps."""
        return self.results.levels_db_spl

    def response(self, level_db_spl: float) -> "Curves":
        """The response at one nominal level. Raises UsageError for a level that was not analysed."""
        self._require(level_db_spl, self.levels_db_spl)
        return self._of_level("response", level_db_spl, response_blocks, figure="response")

    def harmonics(self, level_db_spl: float) -> "Curves":
        """The harmonics at one nominal level. Raises UsageError for a level that was not analysed."""
        self._require(level_db_spl, self.levels_db_spl)
        return self._of_level("harmonics", level_db_spl, partial(harmonics_blocks, level_db_spl=level_db_spl))

    def multitone(self, level_db_spl: float) -> "Curves":
        """Multitone distortion at one nominal level. Raises UsageError for a level that was not analysed."""
        self._require(level_db_spl, tuple(one.level_db_spl for one in self.findings.multitones))
        return self._of_level("multitone", level_db_spl, partial(multitone_blocks, level_db_spl=level_db_spl))

    def compression(self, source: str = "sweep") -> "Curves":
        """Change against the lowest level, from "sweep" or "multitone". Raises UsageError when there is none."""
        known = [one.source for one in self.findings.compression]
        if source not in known:
            raise UsageError(f"there is no compression from {shown(source)}: there is {', '.join(known) or 'none'}")
        path = self.session.folder.compression_path(self.findings.condition, source)
        return self._curves(path, compression_blocks, figure=f"compression_{self.findings.condition}_{source}")

    def _blocks(self) -> Blocks:
        return summary_blocks(self.results)

    def _require(self, level_db_spl: float, known: tuple[float, ...]) -> None:
        if level_db_spl not in known:
            names = ", ".join(map(level_name, known)) or "none"
            raise UsageError(f"no level of {level_name(level_db_spl)} dB SPL was analysed: there are {names}")

    def _of_level(
        self,
        kind: str,
        level_db_spl: float,
        blocks: Callable[[ConditionResults], Blocks],
        *,
        figure: str | None = None,
    ) -> "Curves":
        condition = self.findings.condition
        path = self.session.folder.level_result_path(condition, kind, level_db_spl)
        name = f"{kind}_{condition}_{level_name(level_db_spl)}dB" if figure is None else f"{figure}_{condition}"
        return self._curves(path, blocks, figure=name)

    def _curves(self, path: Path, blocks: Callable[[ConditionResults], Blocks], *, figure: str) -> "Curves":
        return Curves(
            values=read_table(path),
            blocks=lambda: blocks(self.results),
            figure=figures_of(tuple(self.session.results.values()), self.session.words)[figure],
        )


@dataclass(frozen=True, repr=False)
class Curves(Shown):
    """One table of results; `curves["h3_db"]` is a column, `(rows,)`, NaN where nothing is measurable."""

    values: Mapping[str, FloatArray]
    blocks: Callable[[], Blocks]
    figure: "Callable[[], Figure]"

    @property
    def columns(self) -> tuple[str, ...]:
        """Names of the columns, those of the CSV file."""
        return tuple(self.values)

    def __getitem__(self, column: str) -> FloatArray:
        """One column as a copy. Raises UsageError when there is none of that name."""
        if column not in self.values:
            raise UsageError(f"there is no column {shown(column)}: {', '.join(self.values)}")
        return self.values[column].copy()

    def to_pandas(self) -> Any:
        """A pandas.DataFrame, frequency as its index. Raises UsageError where pandas is not installed."""
        try:
            pandas = import_module("pandas")
        except ImportError as error:
            raise UsageError("pandas is not installed: pip install pandas") from error
        return pandas.DataFrame(dict(self.values)).set_index("frequency_hz")

    def draw(self) -> "Figure":
        """The figure that `distort report` makes of it, on the scales of the whole session."""
        return self.figure()

    def _blocks(self) -> Blocks:
        return self.blocks()
