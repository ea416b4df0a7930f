"""What the page of a blind test saves: every run that a listener started. Read, and held to itself.

Such a file can be consistent or not. It cannot prove that nobody changed it.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from distort.errors import SessionError, shown
from distort.session.files.json_fields import read_json
from distort.session.results.heard_files import Source

Side = Literal["A", "B"]

PairKind = Literal["whole", "distortion", "compression", "raised", "dip", "control"]
"""What differs: everything, distortion, compression, everything made louder, one dip of the response, nothing."""


@dataclass(frozen=True, kw_only=True)
class OfferedPair:
    """Two sounds that the page offers."""

    pair: str
    kind: PairKind
    frequency_hz: float | None
    """Of the dip, where one makes the difference."""
    title: str
    condition: str
    level_db_spl: float
    source: Source
    simulated: bool


@dataclass(frozen=True, kw_only=True)
class Answer:
    """Of one trial: what X was, and what the listener said."""

    x: Side
    said: Side


@dataclass(frozen=True, kw_only=True)
class Run:
    """One run, finished or broken off."""

    number: int
    """1, 2, ...: in the order in which the listener started them."""
    run: str
    """Its own identifier: the same in two files, it is the same run."""
    pair: str
    started: str
    """UTC, as 2026-11-28T03:27:27Z."""
    trials: int
    """As many as were fixed before it began."""
    loop_s: tuple[float, ...]
    """Where the loop begins and ends."""
    gain_db: tuple[float, ...]
    """Of A and of B, which makes them equally loud."""
    answers: tuple[Answer, ...]
    right: int
    finished: bool


@dataclass(frozen=True, kw_only=True)
class BlindResult:
    """All runs of one listener."""

    test: str
    """SHA-256 of what the page offered, sounds and all."""
    loudspeaker: str
    software: str
    listener: str
    """Drawn by the browser; no name."""
    kept_by_browser: bool
    """False: the browser keeps nothing, so runs from before the page was opened anew are not here."""
    pairs: tuple[OfferedPair, ...]
    runs: tuple[Run, ...]


def read_blind_result(path: Path) -> BlindResult:
    """The file at `path`. Raises SessionError when it cannot be read, or contradicts itself."""
    result = read_json(path, BlindResult)
    fault = _fault(result)
    if fault is not None:
        raise SessionError(f"{path} contradicts itself: {fault}; ask the listener for the file as the page saved it")
    return result


def _fault(result: BlindResult) -> str | None:
    """What does not go together in one file; None where all does."""
    offered = [pair.pair for pair in result.pairs]
    if len(set(offered)) != len(offered):
        return "it offers a pair twice"
    numbers = [run.number for run in result.runs]
    if numbers != list(range(1, len(numbers) + 1)):
        return f"runs are numbered 1, 2, 3 ... as they start, not {shown(numbers)}"
    if len({run.run for run in result.runs}) != len(numbers):
        return "two of its runs have one identifier"
    starts = [run.started for run in result.runs]
    if starts != sorted(starts):
        return "a later run started before an earlier one"
    return next((f"run {run.number} {fault}" for run in result.runs if (fault := _fault_of_run(run, offered))), None)


def _fault_of_run(run: Run, offered: list[str]) -> str | None:
    given = len(run.answers)
    right = sum(answer.x == answer.said for answer in run.answers)
    checks = (
        (run.pair in offered, f"is of {shown(run.pair)}, which was not offered"),
        (run.trials > 0 and given <= run.trials, f"has {given} answers of {run.trials} trials"),
        (run.finished == (given == run.trials), "is called finished and is not, or the other way round"),
        (run.right == right, f"says that {run.right} answers are right, and {right} are"),
    )
    return next((fault for holds, fault in checks if not holds), None)


def same_run(one: Run, other: Run) -> Run | None:
    """The longer of two states of one run, which a file saved in between holds; None where they contradict."""
    shorter, longer = sorted((one, other), key=lambda run: len(run.answers))
    fixed = ("number", "run", "pair", "started", "trials", "loop_s", "gain_db")
    if any(getattr(one, name) != getattr(other, name) for name in fixed):
        return None
    return longer if longer.answers[: len(shorter.answers)] == shorter.answers else None
