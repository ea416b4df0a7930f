"""A user's words stay words: in the page, in the figures as drawn and as the page holds them, whatever they are."""

import json
from collections import Counter
from dataclasses import fields, is_dataclass, replace
from typing import Any, get_type_hints
from urllib.parse import unquote
from xml.etree import ElementTree as Xml

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from distort import __main__ as program
from distort.report.figures.saving import save_figure
from distort.report.figures.session_figures import legend_of
from distort.report.figures.thd import thd_figure
from distort.report.page.document import page
from distort.report.page.vector import vector_address
from distort.session.calibration.reference_responses import MicrophoneUsed, ResponseFileUsed
from distort.session.plan.keys import ReportPlan
from distort.session.results.condition_results import ConditionResults
from tests.blank_figures import unmade_figures
from tests.page_examples import whole_results, write_session
from tests.test_fault_changes import DIP, RISE
from tests.test_report_page import Reader

ENDINGS = [
    *("<script>broken()</script>", "</script>", "</style>", "<style>", "-->", "<!--", "]]>", "<![CDATA[", "<?x?>"),
    *('"><img src=x onerror="broken()">', "'><svg onload='broken()'>", "javascript:broken()", "</title>", "</table>"),
    *("{{x}}", "${x}", "$\\frac$", "$\\frac{1}{", "\\n", "%s", "[red]", "&lt;", "&#60;", "&", "\u05d0", "\n"),
]
"""What ends, begins or means something in HTML, SVG, styles, templates, TeX, or the words of a terminal."""

KEYS = {"condition", "quantity", "smoothing"}
"""What names a folder or a column, and is checked where it is read."""

PLAIN = "nothing else on the page is called so"

WORDS = st.lists(st.sampled_from([*ENDINGS, "a", " b ", "=", "1"]), min_size=1, max_size=8).map("".join)


def saying(value: Any, words: str) -> Any:
    """`value` with `words` in every field, however deep, that may hold any text; the others stay."""
    if isinstance(value, tuple):
        return tuple(saying(one, words) for one in value)
    if not is_dataclass(value) or isinstance(value, type):
        return value
    kinds = get_type_hints(type(value))
    free = {each.name for each in fields(value) if kinds[each.name] in (str, str | None)} - KEYS
    return replace(
        value,
        **{
            each.name: words if each.name in free else saying(getattr(value, each.name), words)
            for each in fields(value)
            if each.init
        },
    )


def with_words(words: str) -> tuple[ConditionResults, ReportPlan]:
    """A condition that says `words` wherever its findings can say something, and a plan that does."""
    plain = whole_results("desk", levels=(86.0, 96.0), conditions=("desk",))
    file = {"file": "curve.txt", "sha256": "0" * 64, "low_hz": 20.0, "high_hz": 20000.0}
    findings = replace(
        plain.findings,
        microphone=MicrophoneUsed(**file, response_is="response", zero_hz=1000.0),
        response_files=(ResponseFileUsed(**file),),
        anomalies=(DIP,),
        findings=(RISE,),
    )
    return replace(plain, findings=saying(findings, words)), ReportPlan(title=words, credit=words)


def read(folder, words: str) -> Reader:
    results, said = with_words(words)
    return Reader(page(folder, (results,), said, figures=()))


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return write_session(tmp_path_factory.mktemp("session"), conditions=("desk",))


@pytest.fixture(scope="module")
def plain(folder) -> Reader:
    return read(folder, PLAIN)


@pytest.mark.sample
@settings(max_examples=25, deadline=None, derandomize=True)
@given(WORDS)
def test_no_word_makes_an_element_or_an_attribute(folder, plain, words) -> None:
    reader = read(folder, words)
    assert Counter(tag for tag, _ in reader.tags) == Counter(tag for tag, _ in plain.tags)
    assert [sorted(attributes) for _, attributes in reader.tags] == [sorted(each) for _, each in plain.tags]
    assert not [key for _, attributes in reader.tags for key in attributes if key.startswith("on")]
    addresses = [value for _, each in reader.tags for key, value in each.items() if key in ("href", "src")]
    assert not [value for value in addresses if not str(value).startswith(("#", "data:"))]
    assert sum(words in text for text in reader.said) >= sum(PLAIN in text for text in plain.said)


@pytest.mark.first(3)
@pytest.mark.parametrize("words", [*ENDINGS, "".join(ENDINGS).replace("\n", " "), "--", "\x1b[31m", "\x01", "\ufffe"])
def test_figures_hold_any_words(tmp_path, words) -> None:
    """As drawn and as the page holds them, both are well-formed XML, without script or link."""
    results, said = with_words(words)
    figure = thd_figure({96.0: results.harmonics[1]}, legend_of(results, said))
    (path,) = save_figure(figure, tmp_path / "figure", kinds=("svg",))
    drawn = path.read_text(encoding="utf-8")
    shown = unquote(vector_address(drawn).partition(",")[2])
    for svg in (drawn, shown):
        kinds = {node.tag.rpartition("}")[2] for node in Xml.fromstring(svg).iter()}
        assert "path" in kinds
        assert not kinds & {"script", "a", "foreignObject", "image", "img"}


def test_a_control_character_in_edited_results_ends_no_report(tmp_path, capsys) -> None:
    """The plan takes none, but findings.json is a file like any other."""
    folder = write_session(tmp_path, conditions=("desk",))
    path = tmp_path / "results/desk/findings.json"
    found = json.loads(path.read_text(encoding="utf-8"))
    found["loudspeaker"]["name"] = "Monitor \x1b[31m\x01\ufffe\u202eA"
    path.write_text(json.dumps(found), encoding="utf-8")
    with unmade_figures():
        status = program.main(["report", str(folder.root)])
    said = capsys.readouterr()
    assert status in (0, 1)
    assert "fault in this program" not in said.err
    assert "\x1b" not in said.out + said.err
