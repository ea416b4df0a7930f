"""The report page in a real browser: it works by mouse and by keyboard, on a phone, on paper, and asks for nothing."""

import re
from dataclasses import replace

import pytest

from distort import __main__ as program
from distort.report.text.headings import SIMULATED_WORDS
from distort.session.results.condition_results import write_results
from tests.blank_figures import unmade_figures
from tests.browser_fixtures import browser, opened  # noqa: F401 - a fixture is used by its name
from tests.page_examples import HOSTILE, whole_results, write_session
from tests.report_examples import harmonics

pytestmark = [pytest.mark.in_browser, pytest.mark.sample]

A4_INCHES = (8.27, 11.69)
CSS_PIXELS_PER_INCH = 96.0
MARGINS_INCHES = 2.0 * 14.0 / 25.4
"""As page.css sets them."""


@pytest.fixture(scope="module")
def report(tmp_path_factory):
    folder = write_session(tmp_path_factory.mktemp("session"), name=HOSTILE)
    noisy = whole_results("stand", levels=(86.0, 96.0), conditions=("stand", "desk"), name=HOSTILE)
    write_results(folder, replace(noisy, harmonics=tuple(harmonics(noise_db=-67.0) for _ in noisy.harmonics)))
    with unmade_figures():
        assert program.main(["report", str(folder.root)]) == 0
    return folder.root / "results" / "report.html"


@pytest.fixture
def desktop(browser, report):  # noqa: F811
    watched = opened(browser, report, viewport={"width": 1280, "height": 900})
    yield watched
    watched.page.context.close()


def harmonics_chart(page):
    return page.locator(".live").filter(has=page.get_by_role("heading", name="Harmonic distortion", exact=True))


def test_it_complains_of_nothing_and_asks_for_nothing(desktop, report) -> None:
    assert desktop.complaints == []
    assert [url for url in desktop.requests if not url.startswith("data:")] == [report.as_uri()]


def test_a_users_text_stays_text(desktop) -> None:
    assert desktop.page.evaluate("window.broken") is None
    assert desktop.page.locator("h1").inner_text() == HOSTILE
    assert desktop.page.title() == HOSTILE
    assert desktop.page.locator("h1 b").count() == 0


def test_simulated_is_said_first(desktop) -> None:
    said = desktop.page.locator("header p").first
    assert said.inner_text() == f"{SIMULATED_WORDS}."
    assert said.is_visible()


def test_the_keyboard_reads_the_curves(desktop) -> None:
    """tests/report_examples.py: at 96 dB order 2 lies at -56 dB from 1 kHz on but for its bump at 600 Hz."""
    chart = harmonics_chart(desktop.page)
    slider = chart.get_by_role("slider")
    assert chart.locator(".at").inner_text() == "1 kHz"
    slider.focus()
    for _ in range(40):  # 40 rows of 1/80 decade: half a decade
        desktop.page.keyboard.press("ArrowRight")
    assert chart.locator(".at").inner_text() == "3.16 kHz"
    order_2 = chart.locator(".values li", has_text="96 dB: order 2").locator("b")
    assert order_2.inner_text() == "-56.0 dB"
    assert "order 2: -56.0 dB" in slider.get_attribute("aria-valuetext")


def test_readings_near_and_below_their_floor_say_so(desktop) -> None:
    """tests/report_examples.py: at 3.16 kHz order n lies at -50 - 3 n dB; "stand" has a floor of -67 dB."""
    chart = harmonics_chart(desktop.page)
    chart.get_by_label("stand", exact=True).check()
    chart.get_by_label("order 6", exact=True).check()
    slider = chart.get_by_role("slider")
    slider.fill("176")
    assert chart.locator(".at").inner_text() == "3.16 kHz"
    said = {
        number: chart.locator(".values li", has_text=f"96 dB: order {number}").locator("b").inner_text()
        for number in (2, 3, 6)
    }
    assert said == {2: "-56.0 dB", 3: "? -59.0 dB", 6: "below floor: -68.0 dB"}


def test_the_pointer_reads_the_curves(desktop) -> None:
    """The middle of an axis of three decades from 20 Hz is at 20 x 10^1.5 = 632 Hz; the nearest row is 631 Hz."""
    chart = harmonics_chart(desktop.page)
    over = chart.locator(".u-over")
    over.scroll_into_view_if_needed()
    over.hover(position={"x": over.bounding_box()["width"] / 2.0, "y": 40.0})
    assert chart.locator(".at").inner_text() == "631 Hz"


def test_choices_switch_levels_and_orders_by_mouse_and_by_keyboard(desktop) -> None:
    chart = harmonics_chart(desktop.page)
    names = chart.locator(".values li")

    def listed() -> set[str]:
        return {re.split(r"\n", text)[0] for text in names.all_inner_texts()}

    before = listed()
    assert {"96 dB: THD", "96 dB: order 2"} <= before
    chart.get_by_label("order 2", exact=True).click()
    assert before - listed() == {"96 dB: order 2"}
    chart.get_by_label("86 dB", exact=True).focus()
    desktop.page.keyboard.press("Space")
    assert "86 dB: THD" in listed()
    chart.get_by_label("per cent").check()
    assert names.first.inner_text().endswith("%")


def test_switching_redraws_the_chart(desktop) -> None:
    chart = harmonics_chart(desktop.page)
    canvas = chart.locator("canvas")
    before = canvas.evaluate("each => each.toDataURL()")
    chart.get_by_label("THD", exact=True).uncheck()
    desktop.page.wait_for_timeout(50)  # the chart is drawn once the script that changed it is done
    assert canvas.evaluate("each => each.toDataURL()") != before


def test_printed_figures_show_when_asked_for(desktop) -> None:
    button = desktop.page.locator(".pictures-switch").first
    figure = desktop.page.locator("figure").first
    assert not figure.is_visible()
    button.focus()
    desktop.page.keyboard.press("Enter")
    assert figure.is_visible()
    assert button.get_attribute("aria-expanded") == "true"


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_serious_keeps_anyone_out(browser, report, scheme) -> None:  # noqa: F811
    """axe-core's rules (WCAG 2.2 among them), with every printed figure shown."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    watched = opened(browser, report, viewport={"width": 1280, "height": 900}, color_scheme=scheme)
    for button in watched.page.locator(".pictures-switch").all():
        button.click()
    found = axe.Axe().run(watched.page).response["violations"]
    watched.page.context.close()
    assert [(one["id"], one["impact"]) for one in found if one["impact"] not in ("minor", "moderate")] == []


def test_a_phone_scrolls_one_way_alone(browser, report) -> None:  # noqa: F811
    watched = opened(browser, report, viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    assert watched.page.evaluate("document.documentElement.scrollWidth") == 390
    chart = harmonics_chart(watched.page)
    over = chart.locator(".u-over")
    over.scroll_into_view_if_needed()
    over.tap(position={"x": over.bounding_box()["width"] / 2.0, "y": 40.0})
    assert chart.locator(".at").inner_text() == "631 Hz"
    watched.page.context.close()


def test_it_works_without_scripts(browser, report) -> None:  # noqa: F811
    watched = opened(browser, report, java_script_enabled=False)
    figures = watched.page.locator("figure img")
    assert figures.count() >= 10
    assert all(figure.is_visible() for figure in figures.all())
    assert not watched.page.locator(".live").first.is_visible()
    watched.page.context.close()


def test_paper_shows_every_figure_whole(desktop) -> None:
    """A browser breaks no box that asks not to be broken and that a sheet can hold (CSS Fragmentation Level 3, 4.4)."""
    width, height = ((inches - MARGINS_INCHES) * CSS_PIXELS_PER_INCH for inches in A4_INCHES)
    desktop.page.set_viewport_size({"width": int(width), "height": int(height)})
    desktop.page.emulate_media(media="print")
    figures = desktop.page.locator("figure").all()
    assert len(figures) >= 10
    for figure in figures:
        box = figure.bounding_box()
        assert box is not None, "a figure that is not on the screen must be on paper"
        assert box["height"] < height
        assert box["width"] <= width
        assert figure.evaluate("each => getComputedStyle(each).breakInside") == "avoid"
    assert desktop.page.evaluate("document.documentElement.scrollWidth") <= width
    pages = desktop.page.pdf(format="A4")
    assert pages.startswith(b"%PDF")
    assert pages.count(b"/Type /Page\n") >= len(figures) / 3  # two figures fit on a sheet, never four
