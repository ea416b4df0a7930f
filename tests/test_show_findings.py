"""Findings as they are shown: the story, the rows behind, and the figure."""

import io
from dataclasses import replace

import pytest
from rich.console import Console

from distort.commands.parser import Parser
from distort.commands.show import add_parser, check_words
from distort.errors import UsageError
from distort.report.figures.findings import findings_figure
from distort.report.figures.lanes import KINDS
from distort.report.figures.session_figures import legend_of
from distort.report.text.findings import BEFORE_FINDINGS, NOTHING, across_sentences, findings_blocks
from distort.session.plan.keys import ReportPlan
from distort.session.results.condition_results import ConditionResults
from tests.page_examples import whole_results
from tests.test_fault_changes import DIP, RISE
from tests.test_findings_across import CLOSED, OPEN_PORT, across

OPEN_ONE = replace(RISE, number=2, explanation="undecided", decided=False, against=("h2",))


def results(*findings: object, known: bool = True) -> ConditionResults:
    plain = whole_results("desk", levels=(86.0, 96.0), conditions=("desk",))
    told = tuple(findings) if known else None
    return replace(plain, findings=replace(plain.findings, anomalies=(DIP,), findings=told))  # type: ignore[arg-type]


def printed(what: ConditionResults, *, evidence: bool = False) -> str:
    console = Console(width=80, file=io.StringIO(), no_color=True)
    for block in findings_blocks(what, evidence=evidence):
        console.print(block, soft_wrap=isinstance(block, str), markup=False, highlight=False)
    file = console.file
    assert isinstance(file, io.StringIO)
    return file.getvalue()


def test_the_story_is_a_paragraph_a_finding() -> None:
    said = printed(results(RISE, OPEN_ONE))
    assert "1. 1 kHz: a reflection dips the fundamental" in said
    assert "Probability 0.97 of this cause; 1 reading speaks for it, none against." in said
    assert "Not decided; 1 reading speaks for it, against it h2." in said
    assert "To confirm: Move the microphone." in said
    assert "speaks\n" not in said


def test_the_rows_behind_are_shown_where_asked_for() -> None:
    said = printed(results(RISE), evidence=True)
    row = next(line for line in said.splitlines() if line.startswith("H3"))
    assert row.split() == ["H3", "96", "1k", "6.0", "0.5", "for"]
    assert max(map(len, said.splitlines())) <= 80 + len("   To confirm: ")


def test_nothing_and_not_known_are_told_apart() -> None:
    assert NOTHING in printed(results())
    assert BEFORE_FINDINGS in printed(results(known=False))


def test_conditions_are_told_with_what_a_change_proves() -> None:
    assert list(across_sentences(())) == []
    lines = list(across_sentences(across([OPEN_PORT, CLOSED])))
    assert lines[1] == f"{RISE.headline} (open)"
    assert lines[2].startswith("   With port closed, the third harmonic at 1 kHz changed by")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["our-monitor", "thd", "--evidence"], None),
        (["our-monitor", "response", "--evidence"], "--evidence goes with findings"),
        (["our-monitor", "findings", "--evidence", "--json"], "--evidence goes with findings"),
        (["our-monitor", "findings", "--evidence"], ""),
    ],
)
def test_evidence_goes_with_findings_alone(words: list[str], said: str | None) -> None:
    parser = Parser()
    add_parser(parser.add_subparsers(parser_class=Parser))
    if said is None:
        with pytest.raises(UsageError):
            parser.parse_args(["show", *words])
        return
    arguments = parser.parse_args(["show", *words])
    if said:
        with pytest.raises(UsageError, match=said):
            check_words(arguments)
    else:
        check_words(arguments)


def test_the_figure_shades_every_place_and_numbers_it() -> None:
    """What the response makes and what is not decided differ in letter and ground."""
    from matplotlib.colors import to_hex

    drawn = results(RISE, OPEN_ONE)
    figure = findings_figure(drawn, legend_of(drawn, ReportPlan()))
    distortion = figure.axes[1]
    marks = [text.get_text() for text in distortion.texts if text.get_gid() == "mark"]
    assert sorted(marks) == ["1" + KINDS["response"].letter, "2" + KINDS["open"].letter]
    shades = {to_hex(patch.get_facecolor()) for patch in distortion.patches}
    assert {KINDS[kind].style["facecolor"] for kind in ("response", "open")} <= shades
    plain = whole_results("desk", levels=(86.0,), conditions=("desk",))
    legend = legend_of(plain, ReportPlan())
    with pytest.raises(ValueError, match="at least one dip, peak or finding"):
        findings_figure(plain, legend)
