"""A session of many conditions as one table, since a summary of each would be longer than anybody reads."""

from collections.abc import Iterator, Sequence

from rich.table import Table
from rich.text import Text

from distort.report.text.numbers import NOT_MEASURABLE, decibels, level_name, two_digits_hertz
from distort.report.text.overview import LevelOverview, compression_words, overview, thd_words
from distort.report.text.simulated import SIMULATED_WORDS
from distort.session.results.condition_results import ConditionResults

MOST_TOLD = 5
"""Conditions whose summaries are still printed one after another: 150 lines at most (own choice)."""

MOST_ROWS = 100
"""Conditions in the table of all: with what stands about it, under 200 lines (own choice)."""

LONGEST_NAME = 16
"""Characters of a condition's name in the table; the middle of a longer one is left out."""


def are_many(found: Sequence[ConditionResults]) -> bool:
    """Whether they are told in one table."""
    return len(found) > MOST_TOLD


def many_blocks(found: Sequence[ConditionResults], *, session: str) -> Iterator[str | Table]:
    """A row a condition, at its highest level, and where the rest is; `session` is the name that commands know."""
    first = found[0].findings
    sweeps = sum(len(one.findings.levels) for one in found)
    yield f"{first.loudspeaker.name}: {len(found)} conditions, {sweeps} levels of sweeps"
    if any(one.findings.simulated for one in found):
        yield f"{SIMULATED_WORDS}."
    yield ""
    yield _table(found[:MOST_ROWS])
    yield "Each at its highest level, dB SPL (nominal). Bass from: 10 dB below the loudest"
    yield "octave. Spread: dB, 100 Hz to 10 kHz. THD: %, and where. Loss: compression, dB."
    if len(found) > MOST_ROWS:
        yield f"{len(found) - MOST_ROWS} more conditions have results of their own, as these have."
    warned = sum(
        recording.quality.verdict != "good" and recording.rejected is None
        for one in found
        for recording in one.findings.recordings
    )
    if warned:
        yield f"{warned} recordings carry a warning: distort show {session} quality"
    yield ""
    yield f"All levels of one: distort show {session}:{first.condition} overview"
    yield f"Its findings:      distort show {session}:{first.condition} findings"


def _table(found: Sequence[ConditionResults]) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, show_edge=False, header_style="bold")
    left = ("Condition", "Worst THD", "Loss")
    for header in ("Condition", "Level", "Bass from", "Spread", "Worst THD", "Loss", "Findings"):
        table.add_column(header, justify="left" if header in left else "right", no_wrap=True)
    for one in found:
        rows = overview(one)
        findings = one.findings.findings
        table.add_row(
            Text(short_name(one.findings.condition), style="bold"),
            *_cells(rows[-1] if rows else None),
            NOT_MEASURABLE if findings is None else str(len(findings)),
        )
    return table


def _cells(one: LevelOverview | None) -> tuple[str, ...]:
    if one is None:
        return (NOT_MEASURABLE,) * 5
    return (
        level_name(one.level_db_spl),
        NOT_MEASURABLE if one.bass_limit_hz is None else two_digits_hertz(one.bass_limit_hz),
        NOT_MEASURABLE if one.response is None else decibels(one.response.range_db),
        thd_words(one.thd).partition(" (")[0],
        compression_words(one.compression).partition(" ")[0],
    )


def short_name(name: str) -> str:
    """A condition's name within `LONGEST_NAME` characters."""
    return name if len(name) <= LONGEST_NAME else f"{name[:9]}..{name[-5:]}"
