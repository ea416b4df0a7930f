"""What all readers of the page see is said without the words of the program's files and commands."""

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from distort.analysis.findings.finding import NextStep
from distort.report.page import document
from distort.report.text.at_home import home_sentence
from distort.session.plan.keys import ReportPlan
from distort.session.results.analysed import Staleness
from tests.page_examples import whole_results, with_findings, write_session

OF_THE_PROGRAM = re.compile(
    r"\w+\.toml|\w+\.json|\[[a-z]+\]|--[a-z]+|\bdistort (?:measure|analyze|compare)|[a-z]+_[a-z]+"
)
"""Its files, sections of the plan, options, commands, and keys."""


class Unfolded(HTMLParser):
    """The words that stand outside the folds of the details."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self._within: list[bool] = []
        self._unread = False
        self.feed(text)

    def handle_starttag(self, tag, attrs) -> None:
        if tag == "details":
            self._within.append(dict(attrs).get("class") in ("fold", "legend"))
        self._unread = tag in ("style", "script")

    def handle_endtag(self, tag) -> None:
        if tag == "details":
            self._within.pop()
        self._unread = False

    def handle_data(self, data) -> None:
        if not any(self._within) and not self._unread and data.strip():
            self.words.append(data.strip())


def test_what_all_readers_see_names_no_file_key_or_command(tmp_path, monkeypatch) -> None:
    """The plan changed since these results were made, which the page says, and a step needs something in the plan."""
    folder = write_session(tmp_path, conditions=("stand",))
    plain = with_findings(whole_results("stand", levels=(86.0, 96.0), conditions=("stand",)))
    step = NextStep(
        text="Play frames.", first="Add [frames] to session.toml first.", command="distort measure FOLDER:stand"
    )
    told = tuple(replace(one, next=step) for one in plain.findings.findings or ())
    results = replace(plain, findings=replace(plain.findings, findings=told))
    monkeypatch.setattr(document, "staleness", lambda *_: Staleness(changed=("session.toml",)))
    words = Unfolded(document.page(folder, (results,), ReportPlan(), figures=())).words
    assert "Careful: the plan of the session changed since these results were made." in words
    assert "Play frames." in words
    assert "What the loudspeaker does" in words
    assert "All tables behind this page" not in " ".join(words)  # which is folded
    assert [one for one in words if OF_THE_PROGRAM.search(one)] == []


@pytest.mark.parametrize(
    ("levels", "said"),
    [
        # 20 log10(3) = 9.54 dB and 10 log10(3) = 4.77 dB less: a point source in the open, and 3 dB a doubling
        ((86.0, 101.0), "101 dB at 1 m is some 91 to 96 at 3 m in a room"),
        ((70.0,), "70 dB at 1 m is some 60 to 65 at 3 m in a room"),
    ],
)
def test_the_loudest_level_is_told_as_a_listener_has_it(levels, said) -> None:
    each = [whole_results("stand", levels=levels[:1], conditions=("stand", "desk"))]
    each.append(whole_results("desk", levels=levels, conditions=("stand", "desk")))
    assert home_sentence(each) == f"{said}; 85 dB(A) all day endangers hearing."


def test_without_a_calibration_no_level_at_home_is_told() -> None:
    plain = whole_results("stand", levels=(86.0,), conditions=("stand",))
    levels = tuple(replace(level, unit="dbfs") for level in plain.findings.levels)
    assert home_sentence([replace(plain, findings=replace(plain.findings, levels=levels))]) == ""
