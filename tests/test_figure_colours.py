"""Colours, dashes and letters of every figure, measured: for readers of any colour vision, on grey paper, in the dark.

Colour deficiencies are simulated with the matrices of Machado, Oliveira and Fernandes, "A physiologically-based model
for simulation of color vision deficiency" (2009), severity 1, on light, from memory. Distances are those of CIE 1976
L*a*b* (D65), in which about 2.3 is just noticeable (Mahy, Van Eycken and Oosterlinck 1994, from memory).
"""

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations
from typing import Any

import numpy as np
import pytest
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.text import Text

from distort.report.figures.contrast import LEAST_CONTRAST, contrast, for_letters, light_of
from distort.report.figures.dark import dark_of, darken
from distort.report.figures.formats import FORMATS, SMALLEST_SHARE, formats_of, reshape
from distort.report.figures.harmonics import draw_trust, order_style
from distort.report.figures.session_figures import figures_of
from distort.report.figures.style import ORDER_COLOURS, ORDER_DASHES, level_colour
from distort.session.plan.keys import ReportPlan
from tests.page_examples import whole_results
from tests.test_overview import dip, finding

SEEN_BY = {
    "all cones": np.eye(3),
    "no long-wave cones": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "no middle-wave cones": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "no short-wave cones": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
APART = 10.0
"""Four times what is just noticeable side by side: curves lie apart from one another, and are thin (own choice)."""

TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
"""Of sRGB (IEC 61966-2-1)."""


def lab(light: np.ndarray) -> np.ndarray:
    """CIE 1976 L*a*b* of light, D65."""
    ratio = TO_XYZ @ np.clip(light, 0.0, 1.0) / (TO_XYZ @ np.ones(3))
    f = np.where(ratio > (6.0 / 29.0) ** 3, np.cbrt(ratio), ratio * (29.0 / 6.0) ** 2 / 3.0 + 4.0 / 29.0)
    return np.array([116.0 * f[1] - 16.0, 500.0 * (f[0] - f[1]), 200.0 * (f[1] - f[2])])


def distance(one: str, other: str, seen: np.ndarray) -> float:
    return float(np.linalg.norm(lab(seen @ light_of(one)) - lab(seen @ light_of(other))))


def test_the_distance_is_that_of_cie_lab() -> None:
    """White is L* 100 without colour, and sRGB's red is at 53.2, 80.1, 67.2 (published, to one decimal)."""
    np.testing.assert_allclose(lab(light_of("#ffffff")), [100.0, 0.0, 0.0], atol=0.02)
    np.testing.assert_allclose(lab(light_of("#ff0000")), [53.2, 80.1, 67.2], atol=0.06)  # the published rounding


@pytest.mark.parametrize("seen_by", SEEN_BY)
@pytest.mark.parametrize("dark", [False, True])
def test_orders_keep_apart_for_every_colour_vision(seen_by: str, dark: bool) -> None:
    colours = [dark_of(one) if dark else one for one in ORDER_COLOURS.values()]
    nearest = min(distance(one, other, SEEN_BY[seen_by]) for one, other in combinations(colours, 2))
    assert nearest >= APART, nearest


@pytest.mark.parametrize("count", [2, 5, 8])
def test_levels_keep_their_order_on_grey_paper(count: int) -> None:
    """Neighbours also differ in their dashes; of the same dashes, every second, lightness differs by `APART`."""
    lightness = [lab(light_of(level_colour(index, count)))[0] for index in range(count)]
    assert lightness == sorted(lightness, reverse=True), "the louder, the darker"
    assert all(before - after >= APART for before, after in zip(lightness, lightness[2:], strict=False))


def inked(dashes: Any) -> tuple[float, float]:
    """Share of a line that is drawn, and how long its pattern is, points."""
    if dashes == "-":
        return 1.0, 0.0
    pattern = dashes[1]
    return sum(pattern[::2]) / sum(pattern), sum(pattern)


def test_orders_keep_apart_on_grey_paper_by_their_dashes() -> None:
    """No two are drawn alike: of shares of ink within a tenth, the patterns differ in length by a quarter."""
    for one, other in combinations(ORDER_DASHES.values(), 2):
        (share, length), (other_share, other_length) = inked(one), inked(other)
        shorter, longer = sorted((length, other_length))
        assert abs(share - other_share) > 0.1 or shorter < 0.8 * longer, (one, other)


@pytest.mark.parametrize("order", list(ORDER_COLOURS))
def test_a_doubtful_stretch_keeps_its_dashes_thinner_with_open_circles(order: int) -> None:
    axes = Figure().add_subplot()
    readings, no, yes = np.zeros(20), np.zeros(20, dtype=np.bool_), np.ones(20, dtype=np.bool_)
    draw_trust(axes, (np.geomspace(20.0, 20000.0, 20), readings, no, no), order_style(order))
    draw_trust(axes, (np.geomspace(20.0, 20000.0, 20), readings, yes, no), order_style(order))
    trusted, doubtful = axes.lines[0], axes.lines[4]
    assert doubtful._unscaled_dash_pattern == trusted._unscaled_dash_pattern  # matplotlib tells it nowhere else
    assert doubtful.get_linewidth() < 0.6 * trusted.get_linewidth()
    assert (doubtful.get_marker(), doubtful.get_markerfacecolor()) == ("o", "#ffffff")
    assert trusted.get_marker() == "None"


DENSEST = ("harmonics", "findings")
"""Kinds that every run looks at."""


def figures(looked_at: tuple[str, ...] | None) -> Iterator[tuple[str, Figure]]:
    """One of each kind that a session draws, or of those that are `looked_at`, with findings and dips in it."""
    made = whole_results("desk", levels=(86.0, 96.0), conditions=("desk",))
    said = replace(made.findings, findings=(finding(1000.0),), anomalies=(dip(1000.0), dip(300.0, "peak")))
    drawn: set[str] = set()
    for name, draw in figures_of((replace(made, findings=said),), ReportPlan(title="T", credit="C")).items():
        kind = name.partition("_")[0]
        if kind not in drawn and (looked_at is None or kind in looked_at):
            drawn.add(kind)
            yield name, draw()


def letters(figure: Figure) -> Iterator[tuple[Text, str, str]]:
    """Every visible text with its colour and the ground that it stands on, "#rrggbb"; a rim has the sheet's colour."""
    sheet = to_hex(figure.get_facecolor())
    for text in figure.findobj(Text):
        if text.get_visible() and text.get_text().strip():
            badge = text.get_bbox_patch()
            yield text, to_hex(text.get_color()), sheet if badge is None else to_hex(badge.get_facecolor())


def check_contrast(name: str, figure: Figure) -> None:
    """Contrast of WCAG 2 of every text, badges too."""
    for text, colour, ground in letters(figure):
        assert contrast(colour, ground) >= LEAST_CONTRAST, (name, text.get_text(), colour, ground)


def check_format(name: str, figure: Figure, form: Any) -> None:
    """Letters of 2.2 % of the height at least, and none that leaves the picture."""
    figure.draw_without_rendering()
    width, height = figure.get_size_inches() * figure.dpi
    assert (round(width), round(height)) == (FORMATS[form].width_px, FORMATS[form].height_px)
    for text, _, _ in letters(figure):
        share = text.get_fontsize() * figure.dpi / 72.0 / height
        assert share >= SMALLEST_SHARE - 1e-9, (name, text.get_text(), share)  # rounding of the product
        box = text.get_window_extent()
        inside = box.x0 >= -1.0 and box.x1 <= width + 1.0 and box.y0 >= -1.0 and box.y1 <= height + 1.0
        assert inside, (name, text.get_text(), box)  # a pixel is the rim of a letter


@pytest.mark.first(1)
@pytest.mark.parametrize(
    ("form", "looked_at"), [("upright", DENSEST), *((form, None) for form in ("upright", "square", "wide"))]
)
def test_letters_are_read_on_white_in_the_dark_and_on_a_phone(form: Any, looked_at: tuple[str, ...] | None) -> None:
    """Every kind of figure as it is in the report, then in a format for publishing where it has one, then dark."""
    kinds = set()
    for name, figure in figures(looked_at):
        kinds.add(name.partition("_")[0])
        check_contrast(name, figure)
        if form in formats_of(name, [form]):
            reshape(figure, form)
            check_format(name, figure, form)
        darken(figure)
        check_contrast(name, figure)
    assert kinds >= set(
        looked_at or ("response", "thd", "harmonics", "multitone", "compression", "findings", "quality")
    )


def test_what_is_legible_already_stays_as_it_is() -> None:
    assert for_letters("#000000") == "#000000"
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    pale = for_letters("#CC79A7")
    assert LEAST_CONTRAST <= contrast(pale, "#ffffff") < LEAST_CONTRAST + 0.3
