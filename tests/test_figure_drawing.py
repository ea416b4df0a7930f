"""Figures on disk: only what changed is drawn again; on dark they keep their order; in the page they stay the same."""

import re
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import partial
from urllib.parse import unquote
from xml.etree import ElementTree as Xml

import numpy as np
import pytest
from matplotlib.figure import Figure

from distort.report.figures import drawing
from distort.report.figures.axes import scale_of
from distort.report.figures.dark import dark_of, darken
from distort.report.figures.drawing import digest_of, draw_figures
from distort.report.figures.harmonics import harmonics_figure
from distort.report.figures.quality import quality_figure
from distort.report.figures.response import response_figure
from distort.report.figures.saving import save_figure
from distort.report.figures.style import ORDER_COLOURS, level_colour
from distort.report.figures.thd import thd_figure
from distort.report.page.vector import vector_address
from distort.session.results.drawn_files import RECORD
from tests.report_examples import harmonics, response
from tests.test_report_figures import LEGEND

SVG = "{http://www.w3.org/2000/svg}"


def two_figures(title: str = "One"):
    legend = replace(LEGEND, title=title)
    return [
        ("response_desk", partial(response_figure, {86.0: response(86.0)}, legend)),
        ("response_stand", partial(response_figure, {96.0: response(96.0)}, LEGEND)),
    ]


def drawn(folder, figures, *, kinds=("svg",), dark=False) -> set[str]:
    done = draw_figures(figures, folder, kinds=kinds, dark=dark, progress=lambda *_: None)
    assert all(path.is_file() for path in done.paths)
    return {path.name for path in done.new}


@pytest.mark.sample
def test_only_what_changed_is_drawn_again(tmp_path) -> None:
    everything = {"response_desk.svg", "response_stand.svg"}
    assert drawn(tmp_path, two_figures()) == everything
    assert drawn(tmp_path, two_figures()) == set()
    assert drawn(tmp_path, two_figures("Two")) == {"response_desk.svg"}
    (tmp_path / "response_stand.svg").unlink()
    (tmp_path / "response_desk.svg").write_text("damaged")
    assert drawn(tmp_path, two_figures("Two")) == everything
    assert drawn(tmp_path, two_figures("Two"), kinds=("svg", "pdf")) == {"response_desk.pdf", "response_stand.pdf"}


def test_without_a_readable_record_everything_is_drawn(tmp_path) -> None:
    drawn(tmp_path, two_figures())
    (tmp_path / RECORD).write_text("{")
    assert drawn(tmp_path, two_figures()) == {"response_desk.svg", "response_stand.svg"}


@pytest.mark.sample
def test_two_processes_draw_the_same_bytes(tmp_path, monkeypatch) -> None:
    drawn(tmp_path / "one", two_figures())
    monkeypatch.setattr(drawing, "WORTH_A_PROCESS", 1)
    monkeypatch.setattr(drawing.os, "cpu_count", lambda: 2)
    drawn(tmp_path / "two", two_figures())
    for stem, _ in two_figures():
        assert (tmp_path / "one" / f"{stem}.svg").read_bytes() == (tmp_path / "two" / f"{stem}.svg").read_bytes()


def test_a_digest_follows_every_value() -> None:
    curve = response(86.0)
    same, other = response(86.0), replace(curve, level_db=curve.level_db + 1e-12)
    assert digest_of(curve, (1, "a")) == digest_of(same, (1, "a"))
    different = [digest_of(curve), digest_of(other), digest_of(curve, 1), digest_of(curve, "1"), digest_of((curve, 1))]
    assert len(set(different)) == len(different)
    assert digest_of(partial(response_figure, {})) != digest_of(partial(thd_figure, {}))


def luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2, definition)."""
    parts = np.array([int(colour[place : place + 2], 16) for place in (1, 3, 5)]) / 255.0
    light = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(light @ np.array([0.2126, 0.7152, 0.0722]))


def contrast(one: str, other: str) -> float:
    """Contrast ratio (WCAG 2.2, definition)."""
    bright, dim = sorted((luminance(one), luminance(other)), reverse=True)
    return (bright + 0.05) / (dim + 0.05)


@pytest.mark.parametrize("count", [1, 2, 4, 6, 9])
def test_on_dark_lines_stay_visible_and_levels_keep_their_order(count) -> None:
    """WCAG 2.2, 1.4.11: a graphic needs 3 to 1 against its ground."""
    ground = dark_of("#ffffff")
    levels = [contrast(dark_of(level_colour(index, count)), ground) for index in range(count)]
    assert min(levels) >= 3.0
    assert levels == sorted(levels)
    assert all(contrast(dark_of(colour), ground) >= 3.0 for colour in ORDER_COLOURS.values())
    assert contrast(dark_of("#000000"), ground) >= 7.0
    assert contrast(dark_of("#595959"), ground) >= 4.5


def test_dark_of_refuses_what_is_no_colour() -> None:
    with pytest.raises(ValueError, match="#rrggbb"):
        dark_of("red")


def test_a_darkened_figure_has_no_colour_of_a_light_one() -> None:
    figure = harmonics_figure(harmonics(), LEGEND, level_db_spl=96.0)
    darken(figure)
    axes = figure.axes[0]
    assert figure.get_facecolor()[:3] == pytest.approx([int(dark_of("#ffffff")[1:3], 16) / 255.0] * 3, abs=0.002)
    assert {text.get_color()[:3] for text in scale_of(axes, "bottom").numbers()} == {figure.texts[0].get_color()[:3]}
    assert min(sum(text.get_color()[:3]) for text in figure.findobj(type(figure.texts[0])) if text.get_text()) > 1.0


@pytest.mark.parametrize(
    "make",
    [
        lambda: harmonics_figure(harmonics(), LEGEND, level_db_spl=96.0),
        lambda: response_figure({86.0: response(86.0), 96.0: response(96.0)}, LEGEND),
    ],
)
def test_in_the_page_a_figure_keeps_its_words_and_its_lines(make, tmp_path) -> None:
    figure = make()
    (path,) = save_figure(figure, tmp_path / "figure", kinds=("svg",))
    original = path.read_text(encoding="utf-8")
    address = vector_address(original)
    assert len(address) < 0.45 * len(original)
    short = Xml.fromstring(unquote(address).partition(",")[2])
    words = [text.text for text in short.iter(f"{SVG}text")]
    assert set(words) == {text.strip() for text in re.findall(r"<!-- (.*?) -->", original, re.DOTALL)}
    for line in figure.axes[0].lines:
        x, y = line.get_xydata()[np.isfinite(line.get_xydata()).all(axis=1)].T
        if len(x) > 100:
            assert any(_same_line(path, figure.axes[0], x, y) for path in short.iter(f"{SVG}path")), line


def test_in_the_page_a_hatched_band_keeps_its_pattern_in_colours_that_change_with_the_ground(tmp_path) -> None:
    figure = Figure()
    figure.subplots().axvspan(0.2, 0.8, facecolor="#e3eff8", edgecolor="#0072b2", hatch="//")
    (path,) = save_figure(figure, tmp_path / "figure", kinds=("svg",))
    short = unquote(vector_address(path.read_text(encoding="utf-8")).partition(",")[2])
    root = Xml.fromstring(short)
    there = {node.get("id") for node in root.iter() if node.get("id")}
    (pattern,) = root.iter(f"{SVG}pattern")
    assert set(re.findall(r"#(i\d+)", short)) == there
    assert any(f"fill: url(#{pattern.get('id')})" in node.get("style", "") for node in root.iter(f"{SVG}path"))
    assert not any(str(node.get("fill")).startswith("#") for node in root.iter())
    (ground,) = pattern.iter(f"{SVG}rect")
    assert ground.get("style") == "fill: var(--e3eff8)"


def _same_line(path: Xml.Element, axes, x, y) -> bool:
    """Whether a shortened path runs through the points of a line, within the rounding of a tenth and a half of it."""
    numbers = re.findall(r"[MLlz]|-?[\d.]+", path.get("d", ""))
    points, relative, place = [], False, np.zeros(2)
    values = iter(numbers)
    for value in values:
        if value in "MLlz":
            relative = value == "l"
            continue
        pair = np.array([float(value), float(next(values))])
        place = place + pair if relative else pair
        points.append(place)
    wanted = axes.transData.transform(np.column_stack([x, y])) * 72.0 / axes.figure.dpi
    wanted[:, 1] = 72.0 * axes.figure.get_figheight() - wanted[:, 1]
    found = np.array(points).reshape(-1, 2)
    inside = (wanted[:, 1] > 64.0) & (wanted[:, 1] < 450.0)  # lines are cut at the box
    if found.shape[0] < inside.sum():
        return False
    nearest = np.abs(found[:, np.newaxis] - wanted[np.newaxis, inside]).max(axis=2).min(axis=0)
    return bool((nearest < 0.11).all())


def test_thd_of_all_levels_is_what_each_level_holds() -> None:
    levels = {86.0: harmonics(lift_db=-10.0), 96.0: harmonics()}
    axes = thd_figure(levels, LEGEND).axes[0]
    for each in levels.values():
        assert any(
            np.array_equal(np.nan_to_num(line.get_ydata()), np.nan_to_num(each.thd_db))
            or np.isin(line.get_ydata()[np.isfinite(line.get_ydata())], each.thd_db).all()
            for line in axes.lines
        )
    with pytest.raises(ValueError, match="at least one"):
        thd_figure({}, LEGEND)


def test_signal_to_noise_is_the_response_less_its_floor() -> None:
    """tests/report_examples.py: 86 dB over a floor of 20 dB, 6 dB less at 1 kHz."""
    axes = quality_figure({86.0: response(86.0)}, LEGEND).axes[0]
    margin = next(line.get_ydata() for line in axes.lines if len(line.get_ydata()) > 100)
    assert np.nanmax(margin) == pytest.approx(66.0)
    assert np.nanmin(margin) == pytest.approx(60.0)
    silent = replace(response(86.0), noise_db=np.full(241, np.nan))
    with pytest.raises(ValueError, match="noise is known"):
        quality_figure({86.0: silent}, LEGEND)


def test_processes_begin_ahead_where_enough_is_to_be_drawn_and_end_with_the_work(monkeypatch) -> None:
    """A thread stands for a process; one processor has none to spare."""
    begun: list[ThreadPoolExecutor] = []
    monkeypatch.setattr(drawing, "other_processes", lambda count: begun.append(ThreadPoolExecutor(count)) or begun[-1])
    for processors, expected, ahead in ((2, 7, 0), (1, 80, 0), (2, 8, 1), (64, 8, 1)):
        begun.clear()
        monkeypatch.setattr(drawing.os, "cpu_count", lambda count=processors: count)
        with drawing.Drawers() as drawers:
            drawers.begin(expected=expected)
            assert len(begun) == ahead
            assert not begun or drawers.pool() is begun[0]
        for pool in begun:
            with pytest.raises(RuntimeError, match="shutdown"):
                pool.submit(print)
