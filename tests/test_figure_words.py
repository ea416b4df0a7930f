"""Titles, credits and names of any length and script around a figure: nothing leaves the sheet, nothing takes long."""

import time
import warnings

import pytest
from matplotlib import rc_context
from matplotlib.figure import Figure
from matplotlib.text import Text

from distort.report.figures.axes import frequency_axis
from distort.report.figures.formats import reshape
from distort.report.figures.style import (
    LONGEST,
    REPLACEMENT,
    SETTINGS,
    Legend,
    drawable,
    key_beside,
    lacking,
    new_page,
    new_sheet,
)
from tests.test_report_figures import assert_no_words_overlap

HEADING = "harmonic distortion at 96 dB SPL"
TEXTS = {
    "wide letters": "W" * 200,
    "narrow letters": "il" * 100,
    "words": ("the quick brown loudspeaker " * 8)[:200],
    "far beyond what a plan may hold": "word " * 2000,
    "no blank in 10,000": "x" * 10_000,
    "ideographs": "\N{CJK UNIFIED IDEOGRAPH-97F3}" * 200,
    "emoji": "\N{GRINNING FACE}\N{SPEAKER WITH THREE SOUND WAVES}" * 100,
    "letters with marks": "a\N{COMBINING ACUTE ACCENT}\N{COMBINING DOT BELOW}" * 66,
    "from right to left": ("\N{HEBREW LETTER SHIN}\N{HEBREW LETTER MEM} " * 70)[:200],
    "joined letters": ("\N{ARABIC LETTER MEEM}\N{ARABIC LETTER KAF}86 dB " * 25)[:200],
    "line breaks": "Monitor\nA\n\n\tand so on",
    "a formula": "$x^2$ \\alpha {} _ ^ " * 10,
}


def sheet(text: str, *, titled: bool) -> Figure:
    """An empty figure with `text` wherever the user's own words stand."""
    legend = Legend(
        title=text if titled else None,
        credit=text,
        loudspeaker=f"{text}, desk",
        simulated=True,
        distance_m=1.0,
        smoothing="1/12",
        lowest_valid_hz=20.0,
    )
    with rc_context(SETTINGS):
        figure, axes = new_sheet(legend, HEADING)
        frequency_axis(axes)
    return figure


def texts(figure: Figure) -> dict[str, str]:
    return {text.get_gid(): text.get_text() for text in figure.findobj(Text) if text.get_gid()}


@pytest.mark.first(6)
@pytest.mark.parametrize("titled", [True, False])
@pytest.mark.parametrize("name", TEXTS)
def test_whatever_is_written_stays_on_the_sheet_and_apart(name, titled) -> None:
    figure = sheet(TEXTS[name], titled=titled)
    with rc_context(SETTINGS):
        assert_no_words_overlap(figure)
    # what the figure shows, and of which condition, is said whatever the loudspeaker is called
    said = texts(figure)
    assert said["heading"].endswith(f", desk: {HEADING}" if titled else HEADING[1:])
    assert titled or said["title"].endswith(", desk")
    assert all("\n" not in text for text in said.values())


@pytest.mark.first(3)
@pytest.mark.parametrize("name", TEXTS)
def test_no_text_takes_long(name) -> None:
    """A title of 1,000 characters took minutes when one was taken off at a time; an ordinary one takes 0.1 s."""
    sheet("Monitor A", titled=True)  # loads the typeface
    started = time.process_time()
    sheet(TEXTS[name], titled=True)
    assert time.process_time() - started < 5.0


@pytest.mark.first(2)
@pytest.mark.parametrize("name", TEXTS)
def test_the_library_has_nothing_to_warn_of(name, tmp_path) -> None:
    with warnings.catch_warnings(), rc_context(SETTINGS):
        warnings.simplefilter("error")
        figure = sheet(TEXTS[name], titled=True)
        for kind in ("png", "svg", "pdf"):
            figure.savefig(tmp_path / f"figure.{kind}")


def test_what_fits_is_whole_and_large() -> None:
    said = sheet("Monitor A", titled=True)
    assert texts(said) == {
        "title": "Monitor A",
        "credit": "Monitor A",
        "heading": f"Monitor A, desk: {HEADING}",
        "caption": texts(said)["caption"],
        "simulated": "Simulated loudspeaker, not a measurement",
    }
    sizes = {text.get_gid(): text.get_fontsize() for text in said.findobj(Text)}
    assert (sizes["title"], sizes["heading"], sizes["credit"]) == (15.0, 11.0, 8.5)


def test_as_much_as_there_is_room_for_is_kept() -> None:
    """One more letter would not fit, at the smallest size."""
    figure = sheet("W" * 200, titled=True)
    (title,) = (text for text in figure.findobj(Text) if text.get_gid() == "title")
    (simulated,) = (text for text in figure.findobj(Text) if text.get_gid() == "simulated")
    assert title.get_text() == "W" * (len(title.get_text()) - 3) + "..."
    assert title.get_fontsize() == 11.0  # the last step of half a point above 70 % of 15
    with rc_context(SETTINGS):
        end = simulated.get_window_extent().x0
        assert title.get_window_extent().x1 < end
        title.set_text("W" + title.get_text())
        one = title.get_window_extent().width / len(title.get_text())
        assert title.get_window_extent().x1 + one > end - 0.3 * figure.dpi  # the margin beside it


def test_laid_out_wide_a_long_title_ends_before_what_says_that_nothing_was_measured() -> None:
    figure = sheet("a small two-way nearfield monitor on a desk, on a stand, loose", titled=True)
    with rc_context(SETTINGS):
        reshape(figure, "wide")
        parts = {text.get_gid(): text for text in figure.findobj(Text) if text.get_gid() in ("title", "simulated")}
        boxes = {name: text.get_window_extent() for name, text in parts.items()}
    assert boxes["title"].x1 < boxes["simulated"].x0
    assert "\n" in parts["title"].get_text()


def test_a_letter_keeps_its_marks() -> None:
    marked = "e\N{COMBINING ACUTE ACCENT}\N{COMBINING DOT BELOW}"
    title = texts(sheet("W" * 43 + marked * 300, titled=True))["title"].removesuffix("...")
    assert title.startswith("W" * 43 + marked)
    assert title.endswith(marked)


def test_one_that_is_much_longer_than_the_sheet_is_cut_before_it_is_measured() -> None:
    with rc_context(SETTINGS):
        figure = new_page(Legend(title="\N{COMBINING ACUTE ACCENT}" * 10_000), HEADING)
    assert len(texts(figure)["title"]) <= LONGEST


def test_long_names_in_the_key_keep_their_ends_and_stay_on_the_sheet() -> None:
    with rc_context(SETTINGS):
        figure, axes = new_sheet(Legend(loudspeaker="Monitor A"), HEADING)
        names = [f"{'a rather long name of a folder ' * 8}:desk (A)", f"{'W' * 250}:stand (B)", "stand (B)"]
        key_beside(figure, [axes.plot([20.0, 20000.0], [0.0, 1.0])[0] for _ in names], names)
        axes.set_axis_off()
        figure.draw_without_rendering()
        (legend,) = figure.legends
        written = [text.get_text() for text in legend.get_texts()]
        assert all(text.get_window_extent().x1 <= figure.bbox.x1 for text in legend.get_texts())
    assert written[0].startswith("a rather")
    assert written[0].endswith("folder :desk (A)")
    assert written[1].endswith("W:stand (B)")
    assert written[2] == "stand (B)"


def test_what_the_typeface_lacks_is_told() -> None:
    assert drawable("a\N{CJK UNIFIED IDEOGRAPH-97F3}\N{TAMIL LETTER KA} b") == f"a{REPLACEMENT}{REPLACEMENT} b"
    assert lacking("Monitor Größe 3 µV\n\t") == ""
    assert lacking("\N{CJK UNIFIED IDEOGRAPH-97F3} a \N{CJK UNIFIED IDEOGRAPH-97F3}\x1b") == (
        "\N{CJK UNIFIED IDEOGRAPH-97F3}\x1b"
    )


def test_no_line_ends_between_a_number_and_its_unit() -> None:
    for letters in range(0, 40, 4):
        figure = sheet(f"{'W' * letters} at 96 dB SPL (1 m, nominal), 2 % at 250 Hz", titled=True)
        with rc_context(SETTINGS):
            reshape(figure, "square")
        for text in texts(figure).values():
            assert not any(parted in text for parted in ("96\ndB", "1\nm", "2\n%", "250\nHz"))
