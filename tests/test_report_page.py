"""The report page as text: what it says, what it holds, what it leaves alone. tests/test_page_in_browser.py runs it."""

import base64
import hashlib
import io
import json
import os
import re
import zipfile
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest
from jinja2 import UndefinedError

from distort.analysis.common.quantities import harmonic
from distort.analysis.hearing.audibility import OctaveMargin
from distort.report.page import document
from distort.report.page.chart_data import plain_chart
from distort.report.page.charts import session_charts
from distort.report.page.document import LIBRARY, page, write_page
from distort.report.page.rendering import asset, environment, rendered
from distort.report.page.sections import PageTable
from distort.report.text.verdicts import verdicts
from distort.session.files.folder import SessionFolder
from distort.session.plan.keys import ReportPlan
from distort.session.results.audibility_results import AudibilityFound
from distort.session.results.condition_results import ConditionResults
from tests.page_examples import COMPARED_TABLE, HOSTILE, PICTURE, whole_results, write_compared, write_session
from tests.report_examples import harmonics
from tests.test_fault_changes import DIP, RISE

PUBLISHED = {
    "uPlot.iife.min.js": "19c8d4c6ad88929a79f4ae49d6f7161566dfd0ba3d15cc495e974f787eb78f1f",
    "uPlot.min.css": "df630c6a8d6f8eeaff264b50f73ce5b114f646ffd9a0bb74f049b0a00135fa04",
    "uPlot.LICENSE": "8f989229699b4fe2f1a0432d0e9edc338a8a911e250e2d1b01ecd770a5f5b1bd",
}
"""SHA-256 of the files in npm's package uplot 1.6.32 (`npm pack uplot@1.6.32`)."""


class Reader(HTMLParser):
    """Every tag with its attributes, and the text outside scripts and styles."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.said: list[str] = []
        self._silent = False
        self.feed(text)

    def handle_starttag(self, tag, attrs) -> None:
        self.tags.append((tag, dict(attrs)))
        self._silent = tag in ("script", "style")

    def handle_endtag(self, tag) -> None:
        self._silent = False

    def handle_data(self, data) -> None:
        if not self._silent:
            self.said.append(data)


@pytest.fixture
def folder(tmp_path) -> SessionFolder:
    return write_session(tmp_path, conditions=("desk",))


def made(folder: SessionFolder, *results: ConditionResults, words: ReportPlan | None = None) -> str:
    each = results or (whole_results("desk", levels=(86.0, 96.0), conditions=("desk",)),)
    return page(folder, each, words or ReportPlan(), figures=())


@pytest.mark.parametrize("name", PUBLISHED)
def test_the_library_is_the_published_one(name) -> None:
    assert hashlib.sha256(asset(name).encode()).hexdigest() == PUBLISHED[name]


def test_the_page_carries_the_librarys_licence_and_version(folder) -> None:
    text = made(folder)
    assert "The MIT License" in text
    assert "uPlot (v1.6.32)" in text
    assert asset(LIBRARY) in text


def test_every_address_is_inside_the_page(folder) -> None:
    addresses = [
        value
        for _, attributes in Reader(made(folder)).tags
        for key, value in attributes.items()
        if key in ("href", "src", "srcset", "action", "poster", "background")
    ]
    assert addresses
    assert [each for each in addresses if not each.startswith(("#", "data:"))] == []


def test_every_anchor_leads_somewhere(folder) -> None:
    tags = Reader(made(folder)).tags
    ids = [attributes["id"] for _, attributes in tags if "id" in attributes]
    assert len(ids) == len(set(ids))
    wanted = {attributes["href"][1:] for _, attributes in tags if attributes.get("href", "").startswith("#")}
    assert wanted <= set(ids)


def test_a_users_words_are_escaped_wherever_they_stand(folder) -> None:
    results = whole_results("desk", levels=(86.0, 96.0), conditions=("desk",), name=HOSTILE)
    rejected = replace(results.findings.recordings[0], rejected=HOSTILE, file=HOSTILE)
    results = replace(results, findings=replace(results.findings, recordings=(rejected,)))
    reader = Reader(made(folder, results, words=ReportPlan(title=HOSTILE, credit=HOSTILE)))
    assert "b" not in {tag for tag, _ in reader.tags}
    assert sum(tag == "script" for tag, _ in reader.tags) == 3
    assert sum(HOSTILE in text for text in reader.said) >= 5


def test_templates_escape_text_and_attributes() -> None:
    """Every macro of parts.html.j2 passes text on; a table has it in text and in an attribute."""
    words = 'a<b "x" & {{y}}'
    table = rendered("tables.html.j2", content=[(words, PageTable(headers=[words], rows=[[words]], caption=words))])
    assert "a<b" not in table
    assert '"x"' not in table
    assert Reader(table).said.count(words) == 4
    assert Reader(table).tags[1][1]["aria-label"] == words


def test_a_template_that_lacks_a_value_does_not_go_on_without() -> None:
    with pytest.raises(UndefinedError):
        rendered("tables.html.j2")


def test_data_cannot_end_its_script() -> None:
    words = ["</script>", "<!--", "&lt;"]
    template = environment().from_string("{{ value | tojson }}")
    written = template.render(value=words)
    assert not set("<>&") & set(written)
    assert json.loads(written) == words
    with pytest.raises(ValueError, match="not JSON compliant"):
        template.render(value=float("nan"))


def test_a_chart_cannot_end_its_script(folder, monkeypatch) -> None:
    (chart, *_) = session_charts((whole_results("desk", levels=(86.0,), conditions=("desk",)),))
    title = "</script><i>&amp;"
    monkeypatch.setattr(document, "session_charts", lambda conditions, story: (replace(chart, title=title),))
    found = re.search(r'id="chart-data">(.*?)</script>', made(folder))
    assert found is not None
    assert json.loads(found[1])[0]["title"] == title


def test_simulated_is_said_and_a_measurement_is_not_called_so(folder) -> None:
    assert "Simulated loudspeaker, not a measurement." in Reader(made(folder)).said
    real = whole_results("desk", levels=(86.0,), conditions=("desk",), simulated=False)
    assert "imulated" not in "".join(Reader(made(folder, real)).said)


def test_verdicts_state_what_the_curves_hold() -> None:
    """tests/report_examples.py: flat at the level but for 6 dB at 1 kHz.

    THD at 96 dB is read from the first row above 25 Hz on, 25.12 Hz: order 2 begins at -20 dB at 20 Hz and falls
    6.02 dB an octave, so it has -20 - 20 log10(25.12 / 20) = -21.98 dB there; orders 3 to 10, 10 dB lower each, add
    0.46 dB to that: 8.39 %.
    """
    said = verdicts(whole_results("desk", levels=(86.0, 96.0), conditions=("desk",)))
    assert "runs from 80.0 dB SPL (1 kHz) to 86.0 dB SPL" in said[0]
    assert "a range of 6.0 dB" in said[0]
    assert said[2].startswith("At 96 dB SPL (nominal, measured 95.8 dB SPL) THD re the fundamental reaches 8.39 %")
    assert "at 25.1 Hz (order 2 there: -22.0 dB)" in said[2]


def test_the_worst_distortion_is_named_with_its_mark_and_from_where_the_loudspeaker_begins() -> None:
    """A response that falls by 10 dB below 100 Hz: the bass from there on is in, its mark beside it; what is lower is
    out. At 86 dB order 2 has -30 - 20 log10(100 / 20) = -43.98 dB at 100 Hz, with the others 0.46 dB more: 0.667 %."""
    results = whole_results("desk", levels=(86.0,), conditions=("desk",))
    response, curves = results.responses[0], results.harmonics[0]
    falling = response.level_db - np.where(response.frequency_hz < 99.0, 10.1, 0.0)
    marked = tuple(replace(one, doubtful=response.frequency_hz < 120.0) for one in curves.orders)
    said = verdicts(
        replace(
            results,
            responses=(replace(response, level_db=falling),),
            harmonics=(replace(curves, orders=marked),),
        )
    )
    assert "reaches ?0.667 % at 100 Hz (order 2 there: -44.0 dB); from 100 Hz on" in said[1]
    assert "without a mark" in said[1]


def test_verdicts_without_anything_to_read_say_so() -> None:
    results = whole_results("desk", levels=(86.0,), conditions=("desk",))
    buried = tuple(
        replace(each, orders=tuple(replace(order, noise_db=order.relative_db + 1.0) for order in each.orders))
        for each in results.harmonics
    )
    said = verdicts(replace(results, harmonics=buried))
    assert any("THD is not measurable: masked by noise" in sentence for sentence in said)


def heard_at(level_db_spl: float) -> tuple[AudibilityFound, ...]:
    """The third order, audible over the room's noise, and the second, which nothing can be said of."""
    octave = OctaveMargin(
        midband_hz=1000.0, frequency_hz=1200.0, excitation_db=6.0, schroeder_db=31.0, verdict="audible"
    )
    return tuple(
        AudibilityFound(quantity=quantity, level_db_spl=level_db_spl, background=background, octaves=octaves)
        for background in ("room", "silence")
        for quantity, octaves in ((harmonic(2), ()), (harmonic(3), (octave,)))
    )


def test_findings_and_hearing_show_where_they_are_there(folder) -> None:
    plain = whole_results("desk", levels=(86.0, 96.0), conditions=("desk",))
    assert "Findings: " not in Reader(made(folder, plain)).said
    found = replace(RISE, sentence="Near 1 kHz the third harmonic rises by 6.0 dB, since the fundamental dips.")
    findings = replace(plain.findings, anomalies=(DIP,), findings=(found,), audibility=heard_at(96.0))
    reader = Reader(made(folder, replace(plain, findings=findings)))
    assert "What is undecided" in reader.said  # one condition alone cannot tell whose a reflection is
    assert RISE.headline in reader.said
    for text in ("Dips and peaks of the response at the lowest level, desk", "-8.0 dB", "reflection, 17.0 cm longer"):
        assert text in reader.said, text
    assert reader.said.count(RISE.next.text) == 1
    assert reader.said.count("not known; it takes a listening test") == 1
    assert [text.startswith(found.sentence) for text in reader.said].count(True) == 1
    assert any("Probability 0.97 of this cause; 1 reading speaks for it, none against." in text for text in reader.said)
    for text in ("Third order", "1.2 kHz", "3.6 kHz", "+6 dB", "+31 dB", "audible"):
        assert text in reader.said, text
    assert any(text.startswith("An estimate, as if the room were silent: an average listener") for text in reader.said)
    assert "Audibility as if the room were silent, desk" in reader.said
    (sentence,) = [text for text in reader.said if text.startswith("Estimated at 96 dB SPL (nominal)")]
    assert "Third order" in sentence
    assert not any("{" in text for text in reader.said)  # no figure stands there as the program holds it


@pytest.mark.parametrize("named", [True, False])
def test_comparisons_show_where_somebody_compared(folder, named) -> None:
    assert "Comparisons" not in Reader(made(folder)).said
    write_compared(folder, "stand__desk", named=named)
    reader = Reader(made(folder))
    assert "Comparisons" in reader.said
    (picture,) = (attributes["src"] for tag, attributes in reader.tags if tag == "img")
    (table,) = (a["href"] for tag, a in reader.tags if tag == "a" and a.get("download") == "stand__desk.csv")
    for address, content in ((picture, PICTURE), (table, COMPARED_TABLE)):
        assert base64.b64decode(address.partition("base64,")[2]) == content


def test_what_a_comparison_said_stands_beside_its_pictures(folder) -> None:
    """Each file with the comparison that names it; a caution once the session was analysed again."""
    compare = folder.root / "results" / "compare"
    for name, words in (("stand__desk", "H3 <fell> by 3 dB."), ("stand__desk_low", "No change.")):
        write_compared(folder, name, heading=f"{name} compared", changes=[words], faults=["gone: dip A 1 kHz, -8.0 dB"])
    text = made(folder)
    reader = Reader(text)
    for sentence in ("stand__desk compared", "H3 <fell> by 3 dB.", "stand__desk_low compared", "No change."):
        assert reader.said.count(sentence) == 1
    assert "<fell>" not in text
    low = text.index("stand__desk_low compared")
    assert [text.count(f'download="{name}.csv"') for name in ("stand__desk", "stand__desk_low")] == [1, 1]
    assert text.index('download="stand__desk.csv"') < low < text.index('download="stand__desk_low.csv"')
    caution = "Careful: the session was analysed again after this was compared."
    assert caution not in reader.said
    findings = folder.findings_path("desk")
    findings.parent.mkdir(parents=True, exist_ok=True)
    findings.touch()
    later = 10**9 + (compare / "stand__desk_low.json").stat().st_mtime_ns
    os.utime(findings, ns=(later, later))
    assert Reader(made(folder)).said.count(caution) == 2


def test_the_tables_are_in_the_page_and_no_file_of_the_users_own(folder) -> None:
    tables = sorted(path.name for path in (folder.root / "results" / "desk").iterdir())
    for name in ("notes.csv", "response_71dB.csv", "findings.csv"):
        (folder.root / "results" / "desk" / name).write_text("frequency_hz\n", encoding="utf-8")
    links = [a for tag, a in Reader(made(folder)).tags if tag == "a" and "download" in a]
    assert [link["download"] for link in links] == ["desk_results.zip"]
    archive = zipfile.ZipFile(io.BytesIO(base64.b64decode(links[0]["href"].partition("base64,")[2])))
    assert archive.namelist() == tables
    assert len(tables) >= 8
    for name in tables:
        assert archive.read(name) == (folder.root / "results" / "desk" / name).read_bytes()


def test_the_same_results_give_the_same_page_and_it_is_written_once(folder) -> None:
    results = (whole_results("desk", levels=(86.0, 96.0), conditions=("desk",)),)
    first, second = (write_page(folder, results, ReportPlan(), figures=()) for _ in range(2))
    assert (first.written, second.written) == (True, False)
    assert write_page(folder, results, ReportPlan(title="New"), figures=()).written


def test_charts_hold_the_readings_and_their_marks() -> None:
    results = whole_results("desk", levels=(86.0, 96.0), conditions=("desk",))
    charts = {chart.title: chart for chart in session_charts((results,))}
    assert len(charts) == 6
    harmonics = charts["Harmonic distortion"]
    second = next(each for each in harmonics.series if each.name == "96 dB: H2")
    order = results.harmonics[1].orders[0]
    np.testing.assert_array_equal(second.values[0], order.relative_db)
    assert [scale.made for scale in harmonics.quantities] == ["", "percent", "level"]
    np.testing.assert_array_equal(harmonics.fundamentals[second.fundamental], results.harmonics[1].fundamental_db)
    np.testing.assert_array_equal(second.careful, order.doubtful)
    for chart in charts.values():
        assert all(len(each.at) == len(chart.facets) for each in chart.series)
        for each in chart.series:
            assert len(each.values) == len(chart.quantities)
            given = [values for values in (*each.values, each.interval) if values is not None]
            assert all(values.shape == chart.frequency_hz.shape for values in given)
            assert all(at < len(facet.options) for at, facet in zip(each.at, chart.facets, strict=True))


def test_marks_of_a_chart_are_those_of_the_tables() -> None:
    """tests/report_examples.py: at 3.16 kHz order n lies at -50 - 3 n dB, and is doubtful within 10 dB of its floor."""
    results = whole_results("desk", levels=(96.0,), conditions=("desk",))
    chart = next(
        chart
        for chart in session_charts((replace(results, harmonics=(harmonics(noise_db=-67.0),)),))
        if chart.kind == "harmonics"
    )
    marks = {each["name"]: each["marks"][176] for each in plain_chart(chart)["series"] if each["marks"]}
    assert chart.frequency_hz[176] == pytest.approx(3162.3, rel=1e-4)
    assert {name: marks[f"96 dB: H{name}"] for name in (2, 3, 5, 6)} == {2: ".", 3: "?", 5: "?", 6: "<"}


def test_of_many_levels_the_lowest_and_the_loudest_have_their_pictures(folder) -> None:
    results = whole_results("desk", levels=(86.0, 96.0), conditions=("desk",))
    drawing = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 1"/>'
    paths = [folder.root / f"harmonics_desk_{level}dB.svg" for level in (76, 82, 88, 94, 98, 102)]
    for path in (*paths, response := folder.root / "response_desk.svg"):
        path.write_text(drawing)
    reader = Reader(page(folder, (results,), ReportPlan(), figures=(*paths, response)))
    shown = [attributes["alt"] for tag, attributes in reader.tags if tag == "img"]
    assert [level for level in (76, 82, 88, 94, 98, 102) if any(f"desk, {level} dB" in alt for alt in shown)] == [
        76,
        94,
        98,
        102,
    ]
    assert any(
        "in the session's folder: desk, 82 dB SPL (nominal); desk, 88 dB SPL (nominal)." in t for t in reader.said
    )


def test_one_level_has_no_compression_and_still_a_page(folder) -> None:
    alone = whole_results("desk", levels=(86.0,), conditions=("desk",))
    text = made(folder, alone)
    assert "There is one level alone" in text
    assert not re.search(r"NaN|Infinity", text.partition("chart-data")[2].partition("</script>")[0])
