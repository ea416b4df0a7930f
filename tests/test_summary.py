"""What a condition, and a session of many, come to in the terminal: short, and with the way to the rest."""

from dataclasses import replace

import numpy as np
import pytest

from distort import __main__ as program
from distort.analysis.findings.finding import Finding
from distort.report.terminal.console import make_console, say
from distort.report.text.many_conditions import MOST_ROWS, MOST_TOLD, are_many, many_blocks, short_name
from distort.report.text.overview import HEADERS, overview, overview_blocks
from distort.report.text.summary import MOST_HEADLINES, MOST_LEVELS, next_sentences, summary_blocks
from distort.session.recordings.sidecar import Quality
from distort.session.results.condition_results import ConditionResults
from tests.page_examples import whole_results, write_session
from tests.test_overview import finding

LINES, COLUMNS = 30, 80


def condition(levels: tuple[float, ...] = (81.0, 86.0, 91.0, 96.0, 101.0), *, findings: int = 2) -> ConditionResults:
    made = whole_results("desk", levels=levels, conditions=("desk",))
    named = tuple(_headed(number) for number in range(1, findings + 1))
    return replace(made, findings=replace(made.findings, findings=named))


def _headed(number: int) -> Finding:
    return replace(finding(1000.0), number=number, headline=f"{number} " + "x" * 74)  # with its number 78 characters


def printed(capsys: pytest.CaptureFixture[str], *blocks: object) -> list[str]:
    say(make_console(), *blocks)  # type: ignore[arg-type]
    return capsys.readouterr().out.splitlines()


@pytest.mark.parametrize("levels", [5, 8, 40])
def test_a_condition_is_told_in_thirty_lines(capsys: pytest.CaptureFixture[str], levels: int) -> None:
    series = tuple(float(level) for level in np.linspace(60.0, 60.0 + levels, levels, endpoint=False))
    results = condition(series, findings=9)
    blocks = [*summary_blocks(results, session="d"), *next_sentences([results], "d")]
    lines = printed(capsys, *blocks)
    assert len(lines) <= LINES, lines
    assert max(map(len, lines)) <= COLUMNS
    assert not any("\N{HORIZONTAL ELLIPSIS}" in line for line in lines), "nothing is cut"
    assert f"{9 - MOST_HEADLINES} more, and why: distort show d:desk findings" in lines
    thinned = [line for line in lines if "levels. All of them: distort show d:desk overview" in line]
    assert bool(thinned) == (levels > MOST_LEVELS)
    rows = [line.split()[0] for line in lines[lines.index("") + 2 :][: min(levels, MOST_LEVELS)]]
    assert (rows[0], rows[-1]) == (f"{series[0]:g}", f"{series[-1]:g}"), "the lowest and the highest are always there"


def test_many_warnings_are_counted_beyond_the_first(capsys: pytest.CaptureFixture[str]) -> None:
    results = condition()
    (used,) = results.findings.recordings
    words = ("hum", "a gap", "clipping", "wind", "a step")
    troubled = tuple(
        replace(used, file=f"{word}.flac", quality=Quality(verdict="doubtful", findings=(f"There is {word}.",)))
        for word in words
    )
    lines = printed(capsys, *summary_blocks(replace(results, findings=replace(results.findings, recordings=troubled))))
    assert "2 more warnings: distort show FOLDER:desk quality" in lines


def test_a_session_of_many_conditions_is_one_table(capsys: pytest.CaptureFixture[str]) -> None:
    one = condition((86.0,))
    many = [
        replace(one, findings=replace(one.findings, condition=f"a-name-that-is-far-too-long-{number}"))
        for number in range(MOST_ROWS + 50)
    ]
    assert not are_many(many[:MOST_TOLD])
    assert are_many(many)
    lines = printed(capsys, *many_blocks(many, session="d"), *next_sentences(many, "d"))
    assert len(lines) <= 200
    assert max(map(len, lines)) <= COLUMNS
    assert any(line.startswith("50 more conditions") for line in lines)
    assert short_name("desk") == "desk"


def test_show_prints_every_level(tmp_path, capsys: pytest.CaptureFixture[str]) -> None:  # type: ignore[no-untyped-def]
    folder = write_session(tmp_path)
    assert program.main(["show", f"{folder.root}:desk", "overview"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "Monitor A, condition desk"
    assert [line.split()[0] for line in lines if line.lstrip()[:2] in ("86", "96")] == ["86", "96"]
    assert program.main(["show", f"{folder.root}:desk", "overview", "--json"]) == 0
    assert '"level_db_spl": 86.0' in capsys.readouterr().out


def test_the_widest_cells_leave_every_heading_whole(capsys: pytest.CaptureFixture[str]) -> None:
    """A cause in brackets, three digits and their marks, over all columns at once."""
    found = overview(condition((101.0,)))[0]
    widest = ("101", "31.5 Hz", "16.7", "?0.41 at 1.2 kHz (1)", "?0.096", "2.0 at 31.5 Hz", "101.4")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("distort.report.text.overview.cells", lambda _: widest)
        lines = printed(capsys, *overview_blocks([found]))
    assert all(heading in lines[0] for heading in HEADERS)
    assert all(cell in lines[1] for cell in widest)
