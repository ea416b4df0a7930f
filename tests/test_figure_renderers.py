"""What figures are drawn on: one drawing gives two files, and letters have the extent that their typeface states."""

import re
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from urllib.parse import unquote

import numpy as np
import numpy.typing as npt
import pytest
from fontTools.ttLib import TTFont
from matplotlib import rc_context
from matplotlib.figure import Figure
from matplotlib.font_manager import findfont
from matplotlib.ticker import NullFormatter
from PIL import Image

from distort.report.figures.axes import draw_grid, scale_of, second_scale
from distort.report.figures.canvas import Canvas
from distort.report.figures.harmonics import harmonics_figure
from distort.report.figures.png import png_bytes
from distort.report.figures.saving import save_figure
from distort.report.figures.style import PALE, SETTINGS, TYPEFACE, Legend
from distort.report.page.vector import vector_address
from tests.report_examples import harmonics

NUMBER = re.compile(r"-?\d+\.?\d*(?:e-\d+)?")
LEGEND = Legend(loudspeaker="Monitor A", simulated=True)
ID = re.compile(r"[mph][0-9a-f]{10}")
"""Names of markers, clips and hatches, which are hashes of where they are."""


def both_ways(tmp_path: Path, make: Callable[[], Figure]) -> tuple[dict[str, bytes], dict[str, bytes]]:
    """The files of one drawing, and those of a drawing each, by their kind."""
    found: list[dict[str, bytes]] = []
    for name, calls in (("once", [("png", "svg")]), ("apart", [("png",), ("svg",)])):
        for kinds in calls:
            save_figure(make(), tmp_path / name / "one", kinds=kinds)
        found.append({kind: (tmp_path / name / f"one.{kind}").read_bytes() for kind in ("png", "svg")})
    return found[0], found[1]


def of_harmonics() -> Figure:
    return harmonics_figure(harmonics(), LEGEND, level_db_spl=96.0)


def with_image() -> Figure:
    figure = Figure(figsize=(4.0, 3.0), dpi=150.0)
    figure.add_axes((0.1, 0.2, 0.8, 0.7)).imshow(np.arange(12.0).reshape(3, 4))
    return figure


@pytest.mark.parametrize("make", [of_harmonics, with_image])
def test_one_drawing_gives_the_files_that_two_would_give(tmp_path: Path, make: Callable[[], Figure]) -> None:
    once, apart = both_ways(tmp_path, make)
    assert once["png"] == apart["png"]
    first, second = (ID.sub("", files["svg"].decode()) for files in (once, apart))
    assert NUMBER.sub("", first) == NUMBER.sub("", second)
    numbers = [np.array([float(each) for each in NUMBER.findall(text)]) for text in (first, second)]
    # The file keeps six decimals of a point, and a place may be rounded to either side.
    np.testing.assert_allclose(numbers[0], numbers[1], atol=2.1e-6)


def test_an_image_keeps_its_pixels_in_the_page(tmp_path: Path) -> None:
    _, svg = save_figure(with_image(), tmp_path / "one")
    file = svg.read_text(encoding="utf-8")
    (image,) = re.findall(r'xlink:href="(data:image/png;base64,[^"]+)"', file)
    address = "".join(unquote(vector_address(file)).split())  # a line may end anywhere in what is coded so
    assert f"href='{''.join(image.split())}'" in address


def test_a_line_of_letters_is_as_long_as_the_typeface_says() -> None:
    """Advances and bearings are read from the font's tables by fontTools."""
    figure = Figure(figsize=(4.0, 3.0), dpi=100.0)
    canvas = Canvas(figure)
    text = figure.text(0.1, 0.5, "4" * 20, fontsize=72.0, family=[TYPEFACE])
    extent = text.get_window_extent()
    font = TTFont(findfont(TYPEFACE))
    name = font.getBestCmap()[ord("4")]
    advance, bearing = font["hmtx"][name]
    pixels_per_unit = 100.0 / font["head"].unitsPerEm  # 72 points are an inch
    # Either end may lie at the ink or at the advance.
    assert extent.width == pytest.approx(20 * advance * pixels_per_unit, abs=2.0 * bearing * pixels_per_unit)
    # At twice the resolution all is twice as long: nothing was moved to whole pixels.
    figure.set_dpi(200.0)
    assert text.get_window_extent(canvas.get_renderer()).width == pytest.approx(2.0 * extent.width, rel=1e-9)


def test_letters_are_drawn_where_they_are_measured() -> None:
    figure = Figure(figsize=(4.0, 3.0), dpi=100.0, facecolor="white")
    canvas = Canvas(figure)
    text = figure.text(0.25, 0.5, "HHH", fontsize=40.0, family=[TYPEFACE], va="baseline")
    canvas.draw()
    ink = np.asarray(canvas.buffer_rgba())[::-1, :, 0] < 128
    rows, columns = np.flatnonzero(ink.any(axis=1)), np.flatnonzero(ink.any(axis=0))
    extent = text.get_window_extent()
    # Half a pixel for what is more than half covered, and the bearing of an H to either side: 0.1 of its size (from
    # memory).
    bearing = 0.1 * 40.0 * 100.0 / 72.0
    assert rows[0] == pytest.approx(150, abs=1.0)
    assert rows[-1] + 1 == pytest.approx(150 + 0.729 * 40.0 * 100.0 / 72.0, abs=1.0)  # capitals are 0.729 high
    assert columns[0] >= extent.x0 - 0.5
    assert columns[0] <= extent.x0 + bearing + 1.0
    assert columns[-1] + 1 <= extent.x1 + 0.5
    assert columns[-1] + 1 >= extent.x1 - bearing - 1.0


def red_of(ours: bool) -> npt.NDArray[np.int64]:
    """Pixels of an empty box with our grid and scales or with matplotlib's own."""
    with rc_context(SETTINGS):
        figure = Figure(figsize=(4.0, 3.0), dpi=150.0)
        canvas = Canvas(figure)
        axes = figure.add_axes((0.2, 0.2, 0.6, 0.7))
        axes.set_xscale("log")
        axes.minorticks_off()
        axes.set_xticks([10.0, 20.0, 63.0, 250.0, 1000.0, 4000.0, 20000.0], ["10", "20", "63", "", "1k", "4k", "20k"])
        levels_db, thirds_hz = [-40.0, -30.0, -20.0, -10.0, 0.0, 10.0], [31.5, 40.0, 50.0, 100.0, 8000.0]
        axes.set_yticks(levels_db)
        axes.set(xlim=(20.0, 20000.0), ylim=(-40.0, 0.0))
        if ours:
            draw_grid(axes)
            second_scale(axes, {level_db: f"{level_db:g}".replace("-", "\N{MINUS SIGN}") for level_db in levels_db})
            scale_of(axes, "bottom").small_marks = np.array(thirds_hz)
        else:
            axes.tick_params(right=True, labelright=True)
            axes.set_xticks(thirds_hz, minor=True)
            axes.tick_params(which="minor", length=2.0, width=0.6)
            axes.xaxis.set_minor_formatter(NullFormatter())
            axes.grid(True, color=PALE, linewidth=0.6)
            axes.set_axisbelow(True)
        canvas.draw()
        return np.asarray(canvas.buffer_rgba())[..., 0].astype(np.int64)


def test_grid_marks_and_numbers_look_as_if_matplotlib_had_drawn_them_one_by_one() -> None:
    """Also where a number lies outside the box, which is not written and has no line."""
    ours, theirs = red_of(ours=True), red_of(ours=False)
    assert np.ptp(theirs) > 100
    # Where two pale lines cross, their order makes a difference of some steps of 255; a line that is missing makes 38.
    assert np.abs(ours - theirs).max() <= 8


def test_a_library_reads_the_png_that_was_drawn() -> None:
    """Pillow's reader checks every checksum; pixels and resolution are what went in."""
    pixels = np.random.default_rng(1).integers(0, 256, (37, 53, 4), dtype=np.uint8)
    image = Image.open(BytesIO(png_bytes(pixels, dots_per_inch=150.0)))
    assert (image.format, image.mode, image.size) == ("PNG", "RGBA", (53, 37))
    np.testing.assert_array_equal(np.asarray(image), pixels)
    # A whole number of pixels per metre, half of one off at most.
    assert image.info["dpi"] == pytest.approx((150.0, 150.0), abs=0.5 * 0.0254)
