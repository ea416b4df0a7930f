"""The report page in a real browser: it works by mouse and by keyboard, on a phone, on paper, and asks for nothing."""

import re
from dataclasses import replace

import pytest

from distort import __main__ as program
from distort.report.text.simulated import SIMULATED_WORDS
from distort.session.results.condition_results import write_results
from tests.blank_figures import unmade_figures
from tests.browser_fixtures import browser, opened  # noqa: F401 - a fixture is used by its name
from tests.page_examples import HOSTILE, whole_results, with_findings, write_session
from tests.report_examples import harmonics
from tests.three_conditions import three_conditions

pytestmark = [pytest.mark.in_browser, pytest.mark.sample]

A4_INCHES = (8.27, 11.69)
CSS_PIXELS_PER_INCH = 96.0
MARGINS_INCHES = 2.0 * 14.0 / 25.4
"""As page.css sets them."""


@pytest.fixture(scope="module")
def report(tmp_path_factory):
    folder = write_session(tmp_path_factory.mktemp("session"), name=HOSTILE)
    noisy = with_findings(whole_results("stand", levels=(86.0, 96.0), conditions=("stand", "desk"), name=HOSTILE))
    write_results(folder, replace(noisy, harmonics=tuple(harmonics(noise_db=-67.0) for _ in noisy.harmonics)))
    with unmade_figures():
        assert program.main(["report", str(folder.root)]) == 0
    return folder.root / "results" / "report.html"


@pytest.fixture
def desktop(browser, report):  # noqa: F811
    watched = opened(browser, report, viewport={"width": 1280, "height": 900})
    watched.page.locator("#curves > summary").click()
    yield watched
    watched.page.context.close()


def unfold(watched) -> None:
    watched.page.evaluate("for (const fold of document.querySelectorAll('details')) fold.open = true")
    watched.page.wait_for_function("[...document.querySelectorAll('.live')].every((each) => !each.hidden)")


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
    order_2 = chart.locator(".values li", has_text="96 dB: H2").locator("b")
    assert order_2.inner_text() == "-56.0 ± 0.2 dB"
    assert "H2: -56.0 ± 0.2 dB" in slider.get_attribute("aria-valuetext")


def test_readings_near_and_below_their_floor_say_so(desktop) -> None:
    """tests/report_examples.py: at 3.16 kHz order n lies at -50 - 3 n dB; "stand" has a floor of -67 dB."""
    chart = harmonics_chart(desktop.page)
    chart.get_by_label("H6", exact=True).check()
    slider = chart.get_by_role("slider")
    slider.fill("176")
    assert chart.locator(".at").inner_text() == "3.16 kHz"
    said = {
        number: chart.locator(".values li", has_text=f"96 dB: H{number}").locator("b").inner_text()
        for number in (2, 3, 6)
    }
    assert said == {2: "-56.0 ± 0.2 dB", 3: "? -59.0 ± 0.2 dB", 6: "below floor: -68.0 dB"}


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
    assert {"stand, 96 dB: THD", "stand, 96 dB: H2"} <= before
    chart.get_by_label("H2", exact=True).click()
    assert before - listed() == {"stand, 96 dB: H2"}
    chart.get_by_label("86 dB", exact=True).focus()
    desktop.page.keyboard.press("Space")
    assert "stand, 86 dB: THD" in listed()
    chart.get_by_label("desk", exact=True).check()  # over the other one
    assert {"stand, 86 dB: THD", "desk, 86 dB: THD"} <= listed()
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
    figure = desktop.page.locator(".pictures figure").first
    assert not figure.is_visible()
    button.focus()
    desktop.page.keyboard.press("Enter")
    assert figure.is_visible()
    assert button.get_attribute("aria-expanded") == "true"


@pytest.mark.parametrize(("scheme", "width"), [("light", 1280), ("dark", 390)])
def test_nothing_serious_keeps_anyone_out(browser, report, scheme, width) -> None:  # noqa: F811
    """axe-core's rules (WCAG 2.2 among them), with every fold open and every printed figure shown."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    watched = opened(browser, report, viewport={"width": width, "height": 900}, color_scheme=scheme)
    unfold(watched)
    for button in watched.page.locator(".pictures-switch").all():
        button.click()
    found = axe.Axe().run(watched.page).response["violations"]
    watched.page.context.close()
    assert [(one["id"], one["impact"]) for one in found if one["impact"] not in ("minor", "moderate")] == []


def test_a_phone_scrolls_one_way_alone(browser, report) -> None:  # noqa: F811
    watched = opened(browser, report, viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    assert watched.page.evaluate("document.documentElement.scrollWidth") == 390
    watched.page.locator("#curves > summary").tap()
    chart = harmonics_chart(watched.page)
    over = chart.locator(".u-over")
    over.scroll_into_view_if_needed()
    over.tap(position={"x": over.bounding_box()["width"] / 2.0, "y": 40.0})
    assert chart.locator(".at").inner_text() == "631 Hz"
    watched.page.context.close()


def test_it_works_without_scripts(browser, report) -> None:  # noqa: F811
    watched = opened(browser, report, java_script_enabled=False)
    watched.page.locator("#curves > summary").click()
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
    assert desktop.page.locator("#method p").first.is_visible()  # what was folded away
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


# ------------------------------------------------------------------ the story
def test_a_mark_leads_to_its_finding(desktop) -> None:
    """By keyboard, from the picture of the response and from a live chart."""
    page = desktop.page
    for mark in (page.locator(".wide a.badge").first, page.locator(".live a.mark").first):
        mark.focus()
        page.keyboard.press("Enter")
        assert page.evaluate("location.hash") == mark.get_attribute("href")
        assert page.locator(mark.get_attribute("href")).is_visible()
        page.evaluate("location.hash = ''")


def test_a_link_into_a_fold_opens_it(browser, report) -> None:  # noqa: F811
    watched = opened(browser, report)
    assert not watched.page.locator("#quality").is_visible()
    watched.page.evaluate("location.hash = '#quality'")
    watched.page.wait_for_function("document.getElementById('quality').checkVisibility()")
    watched.page.context.close()


LEAST_LETTERS_PX = 11.0
"""On a phone, as the page promises."""

WRITTEN = """() => {
  // every element that is seen and holds text of its own, with its box and the height of its letters
  const found = [];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const text = walk.currentNode, inside = text.parentElement;
    if (!text.data.trim() || ["SCRIPT", "STYLE"].includes(inside.tagName)) continue;
    if (!inside.checkVisibility() || inside.closest(".skip")) continue;
    const range = document.createRange();
    range.selectNodeContents(text);
    const svg = inside.closest("svg.plot");
    const scale = svg ? svg.getBoundingClientRect().width / svg.viewBox.baseVal.width : 1;
    const letters = parseFloat(getComputedStyle(inside).fontSize) * scale;
    for (const box of range.getClientRects()) {
      if (box.width < 1) continue;
      const scrolls = Boolean(inside.closest(".scroll, .pictures figure"));
      const { left, right, top, bottom } = box;
      found.push({ text: text.data.trim().slice(0, 40), letters, scrolls, left, right, top, bottom });
    }
  }
  return found;
}"""


def written(watched) -> list[dict]:
    watched.page.wait_for_timeout(100)  # charts draw once the script that made them is done
    return watched.page.evaluate(WRITTEN)


def overlapping(boxes: list[dict]) -> list[tuple[str, str]]:
    """Pairs of pieces of text that share more than a pixel each way.

    Letters are about 0.7 of the height of a line, so a fifth of it is taken off above and below.
    """
    trimmed = [
        (one, one["top"] + 0.2 * (one["bottom"] - one["top"]), one["bottom"] - 0.2 * (one["bottom"] - one["top"]))
        for one in sorted(boxes, key=lambda one: one["top"])
    ]
    found = []
    for place, (one, top, bottom) in enumerate(trimmed):
        for other, other_top, other_bottom in trimmed[place + 1 :]:
            if other["top"] > one["bottom"]:
                break
            across = min(one["right"], other["right"]) - max(one["left"], other["left"])
            down = min(bottom, other_bottom) - max(top, other_top)
            if across > 1.0 and down > 1.0:
                found.append((one["text"], other["text"]))
    return found


@pytest.mark.parametrize("width", [1280, 390])
def test_no_label_is_cut_small_or_under_another(browser, report, width) -> None:  # noqa: F811
    """Boxes of all text, first with everything folded, then with every fold open."""
    watched = opened(browser, report, viewport={"width": width, "height": 844})
    for step in ("folded", "unfolded"):
        if step == "unfolded":
            unfold(watched)
        boxes = written(watched)
        assert len(boxes) > 100
        assert [one["text"] for one in boxes if one["letters"] < LEAST_LETTERS_PX] == [], step
        outside = [one["text"] for one in boxes if not one["scrolls"] and (one["left"] < 0 or one["right"] > width)]
        assert outside == [], step
        assert overlapping(boxes) == [], step
        assert watched.page.evaluate("document.documentElement.scrollWidth") == width
    assert watched.complaints == []
    watched.page.context.close()


def test_nothing_overlaps_on_paper(desktop) -> None:
    width = int((A4_INCHES[0] - MARGINS_INCHES) * CSS_PIXELS_PER_INCH)
    desktop.page.set_viewport_size({"width": width, "height": 1000})
    desktop.page.emulate_media(media="print")
    boxes = written(desktop)
    assert overlapping(boxes) == []
    assert [one["text"] for one in boxes if one["right"] > width + 1] == []


SCREENS = pytest.mark.parametrize(("width", "height"), [(1280, 900), (390, 844)])


@pytest.fixture(scope="module")
def like_the_demo(tmp_path_factory):
    folder = three_conditions(tmp_path_factory.mktemp("three"))
    with unmade_figures():
        assert program.main(["report", str(folder.root)]) == 0
    return folder.root / "results" / "report.html"


@SCREENS
@pytest.mark.parametrize("session", ["report", "like_the_demo"])
def test_the_first_finding_is_within_two_screens_the_story_within_twelve(browser, request, session, width, height):  # noqa: F811
    watched = opened(browser, request.getfixturevalue(session), viewport={"width": width, "height": height})
    first = watched.page.locator("article").first.bounding_box()
    details = watched.page.locator("#details").bounding_box()
    assert first["y"] < 2.0 * height
    assert details["y"] < 12.0 * height
    watched.page.context.close()


@SCREENS
def test_the_table_of_levels_stands_open_but_on_a_phone_where_the_keyboard_opens_it(
    browser,  # noqa: F811
    like_the_demo,
    width,
    height,
):
    """Without scripts. The cause of the worst THD is within the screen's width."""
    watched = opened(browser, like_the_demo, viewport={"width": width, "height": height}, java_script_enabled=False)
    page = watched.page
    summary, cause = page.locator(".levels > summary"), page.locator(".overview .cause a").first
    assert summary.is_visible() == (width == 390)
    assert cause.is_visible() == (width == 1280)
    if width == 390:
        assert "(desk at 96 dB), finding 6: a reflection" in summary.inner_text()
        summary.focus()
        page.keyboard.press("Enter")
    assert cause.is_visible()
    box = cause.bounding_box()
    assert 0 <= box["x"] < box["x"] + box["width"] <= width
    page.emulate_media(media="print")
    assert cause.is_visible()
    assert not summary.is_visible()
    page.context.close()


def test_a_chart_writes_the_words_of_its_axis_whole_on_a_phone(browser, report) -> None:  # noqa: F811
    """uPlot draws on a canvas, so the words are measured in the typeface that it is told."""
    watched = opened(browser, report, viewport={"width": 390, "height": 844})
    watched.page.locator("#curves > summary").click()
    fitting = watched.page.evaluate(
        """() => {
          const charts = JSON.parse(document.getElementById("chart-data").textContent);
          const pen = document.createElement("canvas").getContext("2d");
          pen.font = "13px system-ui, sans-serif";
          return [...document.querySelectorAll(".live")].flatMap((place) => {
            const room = place.querySelector(".u-over").clientHeight;
            const { quantities } = charts[place.dataset.chart];
            return quantities.map(({ label }) => [label, pen.measureText(label).width, room]);
          });
        }"""
    )
    assert len(fitting) >= 6
    assert [label for label, length, room in fitting if length > room] == []
    watched.page.context.close()


CONTRASTS = """() => {
  // WCAG 2.2, "contrast ratio": of every text in a picture against what is painted behind it
  const light = (colour) => {
    const parts = colour.match(/[0-9.]+/g).slice(0, 3).map((each) => each / 255);
    const [r, g, b] = parts.map((each) => (each <= 0.04045 ? each / 12.92 : ((each + 0.055) / 1.055) ** 2.4));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  return [...document.querySelectorAll("svg.plot text")].filter((each) => each.checkVisibility()).map((each) => {
    const shape = each.parentElement.querySelector("circle, rect, .shape");
    const behind = getComputedStyle(each.closest(".badge") ? shape : document.body);
    const ground = light(each.closest(".badge") ? behind.fill : behind.backgroundColor);
    const [low, high] = [light(getComputedStyle(each).fill), ground].sort((a, b) => a - b);
    return [each.textContent, (high + 0.05) / (low + 0.05)];
  });
}"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_text_in_pictures_stands_out(browser, report, scheme) -> None:  # noqa: F811
    """4.5 to 1 (WCAG 2.2, 1.4.3), which axe-core does not look for in SVG."""
    watched = opened(browser, report, viewport={"width": 1280, "height": 900}, color_scheme=scheme)
    found = watched.page.evaluate(CONTRASTS)
    assert len(found) > 30
    assert [(text, round(ratio, 1)) for text, ratio in found if ratio < 4.5] == []
    watched.page.context.close()
