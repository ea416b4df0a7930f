"""The pictures of the page: where curves and marks lie, which curves show a finding, and what large sessions hold."""

import base64
import re
from dataclasses import replace
from xml.etree import ElementTree as Xml

import numpy as np
import pytest

from distort.analysis.findings.finding import PlaceFound
from distort.report.page import chart_data, downloads, figures
from distort.report.page.chart_data import packed, plain_charts
from distort.report.page.charts import session_charts
from distort.report.page.colours import level_colour
from distort.report.page.document import page
from distort.report.page.downloads import downloads_of
from distort.report.page.finding_pictures import panels, range_of
from distort.report.page.marks import Badge, badges
from distort.report.page.opening import overview_table, response_pictures
from distort.report.page.plot import Curve, Plot, Size, drawn, limits_of
from distort.report.text.story import told
from distort.session.plan.keys import ReportPlan
from tests.page_examples import whole_results, with_findings, write_session
from tests.report_examples import FREQUENCY_HZ, harmonics
from tests.test_fault_changes import DIP, RISE, ROW
from tests.test_report_page import Reader

LEVELS = (86.0, 96.0)
SIZE = Size(width=300.0, height=200.0, letters=10.0)


@pytest.fixture(scope="module")
def both():
    """A stand with three findings, and a desk on which nothing was found."""
    stand = with_findings(whole_results("stand", levels=LEVELS, conditions=("stand", "desk")))
    desk = whole_results("desk", levels=LEVELS, conditions=("stand", "desk"))
    return stand, replace(desk, findings=replace(desk.findings, findings=()))


def plotted(*curves: Curve, **more) -> Xml.Element:
    plot = Plot(says="Flat", curves=curves, low_hz=100.0, high_hz=10000.0, low=-10.0, high=10.0, **more)
    return Xml.fromstring(str(drawn(plot, SIZE)))


def numbers(path: str) -> list[float]:
    return [float(each) for each in re.findall(r"-?[0-9.]+", path)]


# ------------------------------------------------------------------ curves
def test_a_curve_lies_where_its_axes_say() -> None:
    """1 kHz is the middle of two decades from 100 Hz, and 5 dB the upper quarter of -10 to 10."""
    picture = plotted(
        Curve(frequency_hz=np.array([100.0, 1000.0, 10000.0]), values=np.array([0.0, 5.0, 0.0]), colour="#000000")
    )
    inner = picture.find("svg")
    left, top, width, height = numbers(inner.get("viewBox"))
    x0, y0, x1, y1, x2, _ = numbers(inner.find("path").get("d"))
    assert (x0, x1, x2) == pytest.approx((left, left + width / 2.0, left + width), abs=0.1)
    assert y0 == pytest.approx(top + height / 2.0, abs=0.1)
    assert y1 == pytest.approx(top + height / 4.0, abs=0.1)
    assert inner.get("overflow") == "hidden"


def test_a_gap_parts_a_curve_and_doubt_makes_it_thin() -> None:
    hz = np.geomspace(100.0, 10000.0, 6)
    gap = plotted(Curve(frequency_hz=hz, values=np.array([0, 0, np.nan, 0, 0, 0]), colour="#000000"))
    assert gap.find("svg/path").get("d").count("M") == 2
    careful = np.array([False, False, False, True, True, True])
    doubt = plotted(Curve(frequency_hz=hz, values=np.zeros(6), colour="#000000", careful=careful))
    plain, thin = doubt.findall("svg/path")
    assert float(thin.get("stroke-width")) == float(plain.get("stroke-width")) / 2.0
    assert numbers(plain.get("d"))[-2] == numbers(thin.get("d"))[0]  # the thin part begins where the other ends


def test_an_axis_shows_what_is_inside_its_range_and_no_less_than_asked_for() -> None:
    hz = np.array([100.0, 1000.0, 10000.0])
    curve = Curve(frequency_hz=hz, values=np.array([50.0, 1.0, -50.0]), colour="#000000")
    low, high = limits_of([curve], 500.0, 2000.0, least=4.0)
    assert high - low == pytest.approx(4.0 * 1.12)
    assert low < 1.0 < high
    assert limits_of([curve], 2000.0, 3000.0, least=4.0) == (-2.0, 2.0)


# ------------------------------------------------------------------ marks
def test_marks_keep_apart_and_have_the_shape_of_whose_they_are(both) -> None:
    story = told(both)
    laid = badges(story, condition="stand", width=300.0, low_hz=20.0, high_hz=20000.0, most_places=3)
    assert [one.number for one in sorted(laid, key=lambda one: one.number)] == [1, 2, 3]
    assert badges(story, condition="desk", width=300.0, low_hz=20.0, high_hz=20000.0, most_places=3) == ()
    per_log = 300.0 / np.log(1000.0)
    at = [(one.lane, per_log * np.log(one.frequency_hz / 20.0)) for one in laid if not one.broad]
    pairs = [(a, b) for place, a in enumerate(at) for b in at[place + 1 :]]
    assert all(a[0] != b[0] or abs(a[1] - b[1]) >= 2.0 * Badge.HALF for a, b in pairs)
    picture = plotted(Curve(frequency_hz=np.array([100.0, 10000.0]), values=np.zeros(2), colour="#000000"), badges=laid)
    links = {link.get("href"): link for link in picture.findall("a")}
    assert set(links) == {"#finding-1", "#finding-2", "#finding-3"}
    owners = {one.anchor: one.belongs_to for one in story}
    for address, link in links.items():
        assert (link.find("circle") is not None) == (owners[address[1:]] == "loudspeaker")
        assert (link.find("rect") is not None) == (owners[address[1:]] == "set-up")


def test_close_marks_stand_in_lanes_of_their_own() -> None:
    near = [
        replace(
            RISE, number=number, places=(replace(RISE.places[0], frequency_hz=1000.0 + number),), headline=f"{number}"
        )
        for number in (1, 2, 3)
    ]
    results = whole_results("desk", levels=LEVELS, conditions=("desk",))
    story = told([replace(results, findings=replace(results.findings, findings=tuple(near)))])
    laid = badges(story, condition="desk", width=300.0, low_hz=20.0, high_hz=20000.0, most_places=1)
    assert sorted(one.lane for one in laid) == [0, 1, 2]


def test_live_charts_mark_what_they_show(both) -> None:
    charts = {chart.title: chart for chart in session_charts(both, told(both))}
    marked = {title: {badge.anchor for badge, _ in chart.badges} for title, chart in charts.items()}
    story = {one.finding.explanation: one.anchor for one in told(both)}
    assert marked["Frequency response"] == set(story.values())
    assert marked["Total harmonic distortion"] == {story["loudspeaker-generated"], story["delayed-copy"]}
    assert marked["Change of the response with level, from the sweep"] == {story["limiting"]}
    assert marked["Multitone distortion"] == set()
    assert all(shown == (0,) for _, shown in charts["Frequency response"].badges)


# ------------------------------------------------------------------ the picture of a finding
def test_a_finding_of_distortion_has_its_order_under_the_response(both) -> None:
    own = next(one for one in told(both) if one.finding.explanation == "loudspeaker-generated")
    above, below = panels(own, both)
    assert [curve.name for curve in above.key] == ["response at 96 dB"]
    assert [curve.name for curve in below.key] == ["H2 at 96 dB"]
    low_hz, high_hz = range_of(own.finding)
    assert 20.0 < low_hz < 500.0
    assert 700.0 < high_hz < 2500.0


def test_what_the_set_up_does_is_shown_beside_a_condition_without_it(both) -> None:
    reflection = next(one for one in told(both) if one.belongs_to == "set-up")
    above, below = panels(reflection, both)
    assert [curve.name for curve in above.key] == ["stand: response at 96 dB", "desk: response at 96 dB"]
    assert [curve.name for curve in below.key] == ["H3 at 96 dB"]


def test_a_finding_of_compression_has_every_level_of_its_source(both) -> None:
    limiter = next(one for one in told(both) if one.finding.explanation == "limiting")
    (only,) = panels(limiter, both)
    assert only.quantity == "Change re 86 dB SPL, sweep, dB"
    assert [curve.name for curve in only.key] == ["96 dB"]


def test_a_level_has_one_colour_in_all_pictures_of_the_page(both) -> None:
    """96 dB is the louder of two levels in one condition, and the third of four in the other."""
    four = [both[0], whole_results("desk", levels=(76.0, 86.0, 96.0, 102.0), conditions=("stand", "desk"))]
    story = told(four)
    (only,) = panels(next(one for one in story if one.finding.explanation == "limiting"), four)
    colours = [set(re.findall("--light:(#[0-9a-f]{6})", one.wide)) for one in response_pictures(four, story)]
    assert [len(each) for each in colours] == [2, 4]
    assert colours[0] < colours[1]
    assert [curve.colour for curve in only.key] == [level_colour(2, 4)]
    assert level_colour(2, 4) in colours[0]


def test_a_harmonic_that_meets_a_peak_has_the_response_where_it_comes_out(both) -> None:
    """tests/report_examples.py: the response dips by 6 dB at 1 kHz, so its copy for H3 does at 333 Hz."""
    finding = replace(RISE, explanation="product-on-peak", places=(replace(RISE.places[0], frequency_hz=333.0),))
    stand = replace(both[0], findings=replace(both[0].findings, findings=(finding,)))
    above, _ = panels(told([stand])[0], [stand])
    moved = above.key[-1]
    assert "where H3 comes out" in moved.name
    lowest = float(moved.frequency_hz[np.nanargmin(moved.values)])
    assert lowest == pytest.approx(1000.0 / 3.0, rel=0.03)  # a row of the grid is 2.9 %


def test_a_finding_of_multitones_has_even_and_odd_orders(both) -> None:
    row = replace(ROW, quantity="multitone_odd", stimulus="multitone")
    stand = replace(both[0], findings=replace(both[0].findings, findings=(replace(RISE, evidence=(row,)),)))
    (only,) = panels(told([stand])[0], [stand])
    assert [curve.name for curve in only.key] == ["even orders at 96 dB", "odd orders at 96 dB"]


def test_a_finding_without_evidence_has_the_response_at_its_place(both) -> None:
    stand = replace(both[0], findings=replace(both[0].findings, findings=(replace(RISE, evidence=()),)))
    (only,) = panels(told([stand])[0], [stand])
    assert [curve.name for curve in only.key] == ["response at 96 dB"]


# ------------------------------------------------------------------ the first screen
def test_the_first_screen_has_a_picture_a_condition_and_a_row_a_level(both) -> None:
    story = told(both)
    assert [one.condition for one in response_pictures(both, story)] == ["stand", "desk"]
    table = overview_table(both, story)
    assert [name for name, _, _ in table.groups] == ["stand", "desk"]
    assert [row.cells[0] for row in table.groups[0][1]] == ["86", "96"]
    assert not any("brackets" in line for line in table.legend)


def test_the_worst_thd_leads_to_the_finding_of_the_page_that_explains_it(both) -> None:
    """Number 2 of its own condition's list is the page's number 1, since the loudspeaker's own come first."""
    stand, desk = both
    everywhere = replace(stand.findings.findings[1].places[0], low_hz=20.0, high_hz=20000.0)
    findings = (stand.findings.findings[0], replace(stand.findings.findings[1], places=(everywhere,)))
    changed = replace(stand, findings=replace(stand.findings, findings=findings, anomalies=()))
    story = told([changed, desk])
    row = overview_table([changed, desk], story).groups[0][1][0]
    assert row.anchor == "finding-1"
    assert row.cause.startswith("1: the loudspeaker itself makes")


def test_what_a_phone_says_of_the_folded_table_is_the_worst_thd_of_all_levels(both) -> None:
    """tests/report_examples.py: at 96 dB THD is highest where the loudspeaker begins, 25 Hz: THD of orders 2 to 10 is
    sqrt(sum of 10^(-n)) x 20 Hz / 25 Hz, 8.4 %; at 86 dB it is 10 dB less."""
    stand, desk = (replace(one, findings=replace(one.findings, findings=(), anomalies=())) for one in both)
    assert overview_table([stand, desk], ()).worst == "Worst THD 8.4 % at 25 Hz (stand at 96 dB)."
    assert overview_table([stand], ()).worst == "Worst THD 8.4 % at 25 Hz (96 dB)."
    lowest = PlaceFound(frequency_hz=25.0, low_hz=20.0, high_hz=30.0)
    own = replace(both[0].findings.findings[1], places=(lowest,))
    caused = replace(stand, findings=replace(stand.findings, findings=(own,)))
    near_noise = replace(caused, harmonics=tuple(harmonics(noise_db=-30.0) for _ in caused.harmonics))
    what = "finding 1: the loudspeaker itself makes 15 dB more second harmonic"
    assert overview_table([caused], told([caused])).worst == f"Worst THD 8.4 % at 25 Hz (96 dB), {what}."
    said = overview_table([near_noise], told([near_noise])).worst
    assert said == f"Worst THD 8.4 % at 25 Hz (86 dB), use with caution, {what}."
    without = replace(stand, findings=replace(stand.findings, levels=()), responses=(), harmonics=())
    assert overview_table([without], ()).worst == ""


def test_conditions_come_in_the_plans_order(tmp_path) -> None:
    folder = write_session(tmp_path, conditions=("stand", "desk"))
    each = [whole_results(name, levels=LEVELS, conditions=("stand", "desk")) for name in ("desk", "stand")]
    text = page(folder, tuple(each), ReportPlan(), figures=())
    assert text.index("<strong>stand</strong>") < text.index("<strong>desk</strong>")


def test_of_very_many_findings_the_first_are_told_in_full(tmp_path) -> None:
    folder = write_session(tmp_path, conditions=("desk",))
    many = tuple(
        replace(
            RISE,
            number=number,
            headline=f"{number}: here",
            places=(replace(RISE.places[0], frequency_hz=20.0 * number),),
        )
        for number in range(1, 21)
    )
    plain = whole_results("desk", levels=LEVELS, conditions=("desk",))
    results = replace(plain, findings=replace(plain.findings, findings=many, anomalies=(DIP,)))
    reader = Reader(page(folder, (results,), ReportPlan(), figures=()))
    assert sum(tag == "article" for tag, _ in reader.tags) == 12
    ids = {attributes.get("id") for _, attributes in reader.tags}
    assert {f"finding-{number}" for number in range(1, 21)} <= ids


# ------------------------------------------------------------------ what large sessions hold
def test_values_are_packed_to_a_hundredth_of_a_decibel() -> None:
    values = np.array([-56.004, 0.0, np.nan, 120.5, -400.0])
    words = np.frombuffer(base64.b64decode(packed(values)), dtype="<i2")
    assert words.tolist() == [-5600, 0, -32768, 12050, -32767]


def test_many_values_are_thinned_to_every_second_row(both, monkeypatch) -> None:
    charts = session_charts(both)
    whole = {one["title"]: one for one in plain_charts(charts)}
    monkeypatch.setattr(chart_data, "MOST_VALUES", 1000)
    thinned = {one["title"]: one for one in plain_charts(charts)}
    response = thinned["Frequency response"]
    assert response["thinned"]
    assert not whole["Frequency response"]["thinned"]
    assert response["x"] == whole["Frequency response"]["x"][::2]
    assert len(base64.b64decode(response["series"][0]["values"][0])) == 2 * len(FREQUENCY_HZ[::2])
    harmonics = thinned["Harmonic distortion"]
    marked = next(one for one in harmonics["series"] if one["marks"])
    assert len(marked["marks"]) == len(harmonics["rows"]) == len(FREQUENCY_HZ[::2])
    assert len(thinned["Multitone distortion"]["x"]) == len(whole["Multitone distortion"]["x"])


def test_archives_that_have_no_room_are_named(tmp_path, monkeypatch) -> None:
    folder = write_session(tmp_path, conditions=("stand", "desk"))
    each = [whole_results(name, levels=LEVELS, conditions=("stand", "desk")) for name in ("stand", "desk")]
    both_held = downloads_of(folder, each)
    assert [len(both_held.each), both_held.left_out] == [2, ()]
    monkeypatch.setattr(downloads, "MOST_BYTES", len(both_held.each[0].address) + 1000)
    held = downloads_of(folder, each)
    assert [one.name for one in held.each] == ["stand_results.zip"]
    assert held.left_out == ("desk",)
    text = page(folder, tuple(each), ReportPlan(), figures=())
    assert "the tables of 1 more conditions are in its folder" in " ".join(text.split())


def test_pictures_that_have_no_room_are_counted(tmp_path, monkeypatch) -> None:
    folder = write_session(tmp_path, conditions=("stand", "desk"))
    each = [whole_results(name, levels=LEVELS, conditions=("stand", "desk")) for name in ("stand", "desk")]
    drawing = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 1"/>'
    paths = [tmp_path / f"response_{name}.svg" for name in ("desk", "stand")]
    for path in paths:
        path.write_text(drawing, encoding="utf-8")
    alone = len(figures.vector_address(drawing))
    monkeypatch.setattr(figures, "MOST_CHARACTERS", alone)
    reader = Reader(page(folder, tuple(each), ReportPlan(), figures=paths))
    assert [one["alt"].split(".")[0] for tag, one in reader.tags if tag == "img"] == ["Frequency response: stand"]
    assert any("1 more figures are files beside this page" in text for text in reader.said)
