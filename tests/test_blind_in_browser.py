"""The page of the blind test in a real browser: what is heard, what is drawn, what is counted, and who can use it."""

import json
from itertools import pairwise

import numpy as np
import pytest
from scipy import stats

from distort import __main__ as program
from distort.analysis.hearing.loudness import integrated_lkfs, k_weighting
from distort.report.page.blind import BlindPair, blind_page
from distort.report.page.rendering import asset
from tests.browser_fixtures import browser, opened  # noqa: F401 - a fixture is used by its name

pytestmark = [pytest.mark.in_browser, pytest.mark.sample]

RATE = 48000
SECONDS = 4.0
HOSTILE = 'Box <b>"one"</b> </script><script>window.broken = 1</script>'


def tone(level_db: float = -12.0, hertz: float = 1000.0) -> np.ndarray:
    return 10.0 ** (level_db / 20.0) * np.sin(2.0 * np.pi * hertz * np.arange(int(SECONDS * RATE)) / RATE)


def pair(name: str, a: np.ndarray, b: np.ndarray, *, kind: str = "distortion") -> BlindPair:
    return BlindPair(
        pair=f"desk_96dB_{name}",
        title=name.capitalize(),
        words="What differs.",
        a="without",
        b="with",
        samples_a=a,
        samples_b=b,
        sample_rate=RATE,
        condition="desk",
        level_db_spl=96.0,
        source="recorded",
        simulated=True,
        kind=kind,
    )


@pytest.fixture(scope="module")
def blind_file(tmp_path_factory):
    path = tmp_path_factory.mktemp("listening") / "blind.html"
    pairs = [
        pair("control", tone(), tone(), kind="control"),
        pair("distortion", tone(), tone() + tone(-30.0, 3000.0)),
    ]
    path.write_text(blind_page(pairs, loudspeaker=HOSTILE, software="distort 0.1.0").html, encoding="utf-8")
    return path


@pytest.fixture
def watched(browser, blind_file):  # noqa: F811
    found = ready(opened(browser, blind_file, viewport={"width": 1280, "height": 900}))
    yield found
    found.page.context.close()


@pytest.fixture(scope="module")
def evaluated(browser):  # noqa: F811
    """Evaluates a function after parts of the page's own script, in a page that holds nothing else."""
    page = browser.new_page()
    yield lambda parts, function, *words: page.evaluate(
        f"(words) => {{ {script(*parts)}\nreturn ({function})(words); }}", list(words)
    )
    page.close()


def ready(found):
    found.page.wait_for_selector("#start:not([disabled])")
    return found


def script(*names: str) -> str:
    """Parts of the page's own script, as an expression can be evaluated after them."""
    return "\n".join(asset(f"blind_{name}.js") for name in names)


# ------------------------------------------------------------------ the page
def test_it_complains_of_nothing_asks_for_nothing_and_runs_no_words(watched, blind_file) -> None:
    assert watched.complaints == []
    assert [url for url in watched.requests if not url.startswith(("data:", "blob:"))] == [blind_file.as_uri()]
    assert watched.page.evaluate("window.broken") is None
    assert watched.page.locator("h1 span").inner_text() == f"{HOSTILE}, a blind test"
    assert watched.page.locator("header p").first.inner_text() == "Simulated loudspeaker, not a measurement."
    assert watched.page.locator(".pairs em").first.inner_text().startswith("Recorded at 96 dB SPL, condition desk")


def test_nothing_serious_keeps_anyone_out(browser, blind_file) -> None:  # noqa: F811
    """axe-core's rules (WCAG 2.2 among them), before a run, in it on a dark phone, and after it."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    found = ready(opened(browser, blind_file, viewport={"width": 1280, "height": 844}))
    page = found.page
    for step, width in (("before", 1280), ("during", 390), ("after", 390)):
        if step == "during":
            page.set_viewport_size({"width": width, "height": 844})
            assert page.evaluate("document.documentElement.scrollWidth") == width
            page.emulate_media(color_scheme="dark")
            page.click("#start")
            page.wait_for_selector("#trial:not([hidden])")
        if step == "after":
            page.click("#stop")
            page.evaluate("for (const fold of document.querySelectorAll('details')) fold.open = true")
        assert page.evaluate("document.documentElement.scrollWidth") == width, step
        violations = axe.Axe().run(page).response["violations"]
        assert [(one["id"], one["impact"]) for one in violations if one["impact"] not in ("minor", "moderate")] == []
    assert found.complaints == []
    page.context.close()


def test_the_keyboard_alone_finishes_a_test_and_saves_it(watched, tmp_path, capsys) -> None:
    """From the first Tab to the saved file, which `distort listeners` takes."""
    page = watched.page

    def tab_to(wanted: str) -> None:
        for _ in range(30):
            if page.evaluate("document.activeElement.id") == wanted:
                return
            page.keyboard.press("Tab")
        raise AssertionError(f"Tab does not reach {wanted}")

    tab_to("start")
    page.keyboard.press("Enter")
    page.wait_for_selector("#trial:not([hidden])")
    for trial in range(16):
        assert page.locator("#trial-count").inner_text() == f"Trial {trial + 1} of 16"
        assert page.locator("#with-a").is_disabled()  # X was not listened to yet
        page.keyboard.press("ArrowRight")
        page.keyboard.press("ArrowRight")
        tab_to("with-a")
        page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "outcome-title"
    tab_to("save")
    with page.expect_download() as download:
        page.keyboard.press("Enter")
    path = tmp_path / "result.json"
    download.value.save_as(path)
    saved = json.loads(path.read_text(encoding="utf-8"))
    (run,) = saved["runs"]
    right = sum(answer["x"] == answer["said"] for answer in run["answers"])
    assert page.locator("#outcome-title").inner_text() == f"Run 1: {right} of 16 right"
    assert program.main(["listeners", "--json", str(path)]) == 0
    found = json.loads(capsys.readouterr().out)["pairs"][0]
    assert (found["right"], found["trials"], found["kind"]) == (right, 16, "control")


def test_a_link_to_a_pair_finds_it_chosen(browser, blind_file) -> None:  # noqa: F811
    """A name that is no pair's leaves the first chosen."""
    page = browser.new_page()
    for name, chosen in (("desk_96dB_distortion", "desk_96dB_distortion"), ("%E0%A4%A", "desk_96dB_control")):
        page.goto(f"{blind_file.as_uri()}#{name}")
        page.reload()
        page.wait_for_selector("#start:not([disabled])")
        assert page.evaluate("document.querySelector('input[name=pair]:checked').value") == chosen
    assert page.inner_text("#side-a") == "without"
    page.close()


def test_every_started_run_is_kept_and_numbered(watched, blind_file) -> None:
    page = watched.page
    page.click("#start")
    page.wait_for_selector("#trial:not([hidden])")
    page.keyboard.press("x")
    page.click("#with-b")
    page.goto(blind_file.as_uri())  # closed in the middle of a run, and opened again
    ready(watched)
    page.click("#start")
    page.wait_for_selector("#trial:not([hidden])")
    page.click("#stop")
    assert page.locator("#outcome-title").inner_text() == "Run 2: ended before the first answer"
    runs = json.loads(page.locator("#saved-text").input_value())["runs"]
    assert [(run["number"], len(run["answers"]), run["finished"]) for run in runs] == [(1, 1, False), (2, 0, False)]
    assert "2 runs were started in this browser, 2 of them broken off" in page.locator("#saved-words").inner_text()


# ------------------------------------------------------------------ X
def test_x_is_drawn_evenly(evaluated) -> None:
    """10,000 draws: a fair coin's count has the standard deviation 50, and so have its changes; 6 of them are 2e-9."""
    drawn = evaluated(["trials"], "() => Array.from({ length: 10000 }, trials.drawn)")
    assert set(drawn) == {"A", "B"}
    assert abs(drawn.count("A") - 5000) < 300
    assert abs(sum(one != other for one, other in pairwise(drawn)) - 5000) < 300


FIXED = """
// draws of one byte become X, all others zeros; the clock stands still
crypto.getRandomValues = (into) => into.fill(into.length === 1 ? {bit} : 0);
const Now = Date;
window.Date = class extends Now {{ constructor() {{ super(0); }} }};
window.requestAnimationFrame = () => 0; // the mark of the place in the loop stands still
"""

EVERYTHING = """() => {
  const own = Object.getOwnPropertyNames(window).filter((name) => /^[a-z]/.test(name)).sort();
  const fields = [...document.querySelectorAll("input, progress, textarea")].map((each) => [each.value, each.checked]);
  const canvas = document.getElementById("wave").toDataURL();
  return [document.documentElement.outerHTML, own.join(), JSON.stringify(fields), canvas, JSON.stringify(localStorage)];
}"""


def test_x_cannot_be_read_from_the_page_while_a_trial_runs(browser, blind_file) -> None:  # noqa: F811
    """Whatever X is, elements, fields, drawing, global names and what the browser keeps are the same, to the letter."""
    seen = []
    for bit in (0, 1):
        context = browser.new_context()
        context.add_init_script(FIXED.format(bit=bit))
        page = context.new_page()
        page.goto(blind_file.as_uri())
        page.wait_for_selector("#start:not([disabled])")
        page.check("input[value=desk_96dB_distortion]")
        page.wait_for_function("document.getElementById('side-a').textContent")
        page.click("#start")
        page.wait_for_selector("#trial:not([hidden])")
        steps = []
        for key in ("x", "b", "x", "a"):
            page.keyboard.press(key)
            steps.append(page.evaluate(EVERYTHING))
        page.keyboard.press("x")
        page.click("#with-a")
        seen.append((steps, page.locator("#trial-count").inner_text()))
        page.click("#stop")
        assert page.locator("#outcome-title").inner_text() == f"Run 1: {1 - bit} of 1 right"  # X was as it was fixed
        context.close()
    assert seen[0] == seen[1]


# ------------------------------------------------------------------ numbers
def test_statistics_are_scipys(evaluated) -> None:
    """scipy.stats.binomtest, every number of right answers; bisection ends at 2^-60, sums at a rounding of 1e-12."""
    cases = [(right, count) for count in (1, 5, 16, 48) for right in range(count + 1)]
    function = "(cases) => cases.map((one) => [statistics.byGuessing(...one), ...statistics.interval(...one)])"
    for (right, count), (chance, low, high) in zip(cases, evaluated(["statistics"], function, *cases), strict=True):
        assert chance == pytest.approx(stats.binomtest(right, count, 0.5, alternative="greater").pvalue, rel=1e-9)
        exact = stats.binomtest(right, count, 0.5).proportion_ci(method="exact")
        assert (low, high) == pytest.approx((exact.low, exact.high), abs=1e-9)


LOUDNESS = """([rate, weighting]) => {
  const tone = (db) => Float32Array.from({ length: 3 * rate }, (_, i) => 10 ** (db / 20) * Math.sin(i * Math.PI / 24));
  const [loud, soft, full] = [-12, -20, 0].map(tone);
  return [
    [loud, soft, full].map((side) => sound.loudness(side, rate, weighting)),
    ...[[loud, soft], [soft, loud], [full, full]].map((sides) => sound.gains(sides, rate, weighting)),
  ];
}"""


def test_both_sides_are_made_equally_loud_and_none_peaks_over_1_dbfs(evaluated) -> None:
    """1 kHz of -12 and -20 dBFS are 8 dB apart; 0 dBFS must lose 1 dB. 1e-3 dB is what 32 bits and the ends leave."""
    loudness, *gains = evaluated(["sound"], LOUDNESS, RATE, k_weighting(RATE).tolist())
    assert loudness == pytest.approx([integrated_lkfs(tone(db), RATE) for db in (-12.0, -20.0, 0.0)], abs=1e-3)
    assert gains[0] == pytest.approx([-8.0, 0.0], abs=1e-3)
    assert gains[1] == pytest.approx([0.0, -8.0], abs=1e-3)
    assert gains[2] == pytest.approx([-1.0, -1.0], abs=1e-3)


# ------------------------------------------------------------------ sound
RENDERED = """async ([[a, b], hertz, seconds, moves]) => {
  const rate = 48000;
  const turn = (2 * Math.PI * hertz) / rate;
  const wave = (peak) => Float32Array.from({ length: 4 * rate }, (_, i) => peak * Math.cos(turn * i));
  const context = new OfflineAudioContext(1, seconds * rate, rate);
  const player = sound.player(context, [wave(a), wave(b)].map((side) => sound.looped(side, 0, 3 * rate, rate)), rate);
  player.hear(true);
  for (const [at, side] of moves) context.suspend(at).then(() => { player.show(side); context.resume(); });
  const heard = (await context.startRendering()).getChannelData(0).subarray(rate / 10); // once it has faded in
  let [highest, lowest, steepest, moving] = [-9, 9, 0, 0];
  heard.forEach((value, i) => {
    [highest, lowest] = [Math.max(highest, value), Math.min(lowest, value)];
    const step = i ? Math.abs(value - heard[i - 1]) : 0;
    steepest = Math.max(steepest, step);
    moving += step > 1e-6;
  });
  return [lowest, highest, steepest, moving];
}"""

MOVES = [[0.5, "B"], [1.0, "A"], [1.008, "B"], [1.012, "A"], [1.5, "B"]]
"""When which side is shown, s: also faster than a fade lasts."""


def test_a_fade_is_straight_and_takes_10_ms(evaluated) -> None:
    """A is 0.5 and B -0.25, both constant: between them lies a straight line of 0.75 over 480 samples, five times."""
    lowest, highest, steepest, moving = evaluated(["sound"], RENDERED, [0.5, -0.25], 0.0, 2, MOVES)
    assert (lowest, highest) == pytest.approx((-0.25, 0.5), abs=1e-6)
    assert steepest == pytest.approx(0.75 / 480, rel=0.01)  # 32 bits, in steps of 128 samples
    assert moving == pytest.approx(5 * 480, abs=5)  # a sample at either end of each


def test_between_two_alike_nothing_of_a_switch_is_left(evaluated) -> None:
    """Gains add up to 1 at every sample; 1e-6 is a rounding of 32 bits."""
    lowest, highest, *_ = evaluated(["sound"], RENDERED, [0.5, 0.5], 0.0, 2, MOVES)
    assert (lowest, highest) == pytest.approx((0.5, 0.5), abs=1e-6)


DEAF = """
// as a browser that finds no output, or may not play: it waits for one, for ever
window.AudioContext = class extends AudioContext {
  resume() { return new Promise(() => {}); }
  get state() { return "suspended"; }
};
"""


def test_a_browser_that_cannot_play_says_so_and_begins_no_run(browser, blind_file) -> None:  # noqa: F811
    """A run that nobody heard would count as guesses."""
    context = browser.new_context()
    context.add_init_script(DEAF)
    page = context.new_page()
    page.goto(blind_file.as_uri())
    page.wait_for_selector("#start:not([disabled])")
    page.click("#start")
    page.wait_for_selector("#no-sound:not(:empty)")
    assert page.get_by_role("alert").inner_text().startswith("No sound comes out")
    assert not page.is_visible("#trial")
    assert page.evaluate("localStorage.length") == 0
    context.close()


def test_the_loop_leads_into_itself_without_a_step(evaluated) -> None:
    """A slow sine that would jump from -0.25 to 0.25 where the loop ends.

    No sample may be further from the last than its own slope and that of a fade over the jump, 480 samples, together.
    """
    hertz, peak = 10.5 / 3.0, 0.25
    *_, steepest, _ = evaluated(["sound"], RENDERED, [peak, peak], hertz, 7, [])
    assert steepest < 2.0 * np.pi * hertz * peak / RATE + 2.0 * peak / 480


TAP = """
// whatever a context sends to its output passes through a tap first, on the thread that makes the sound
const tap = `registerProcessor("tap", class extends AudioWorkletProcessor {
  process([[input]]) { this.port.postMessage(input ? input.slice() : new Float32Array(128)); return true; }
})`;
window.heard = [];
const Context = window.AudioContext;
window.AudioContext = class extends Context {
  async resume() {
    if (!this.tap) {
      await this.audioWorklet.addModule("data:text/javascript," + encodeURIComponent(tap));
      this.tap = new AudioWorkletNode(this, "tap", { channelCount: 1, channelCountMode: "explicit" });
      this.tap.port.onmessage = ({ data }) => window.heard.push(data);
    }
    return super.resume();
  }
};
const connect = AudioNode.prototype.connect;
AudioNode.prototype.connect = function (to, ...rest) {
  if (to === this.context.destination && this.context.tap) connect.call(this, this.context.tap);
  return connect.call(this, to, ...rest);
};
"""


TEN_MS = """() => {
  // mean square of each 10 ms, from 0.1 s after the first sound on, when it has faded in
  const heard = window.heard.flatMap((block) => Array.from(block));
  const powers = [];
  for (let at = heard.findIndex((value) => value !== 0) + 4800; at + 480 <= heard.length; at += 480) {
    powers.push(heard.slice(at, at + 480).reduce((sum, value) => sum + value * value, 0) / 480);
  }
  return powers;
}"""


def test_switching_between_two_alike_is_not_heard(browser, blind_file) -> None:  # noqa: F811
    """A = B, a tone of 1 kHz, the page used as a listener does: in 10 ms no level is off by over 0.1 dB.

    Where the loop begins anew, a fade of 10 ms joins two places of the tone at the same phase.
    """
    context = browser.new_context(bypass_csp=True)  # the tap is a script that the page does not hold
    context.add_init_script(TAP)
    page = context.new_page()
    page.goto(blind_file.as_uri())
    page.wait_for_selector("#start:not([disabled])")
    page.click("#start")
    page.wait_for_selector("#trial:not([hidden])")
    page.wait_for_timeout(200)
    for key in "xbxaxbabxxa":
        page.keyboard.press(key)
        page.wait_for_timeout(60)
    page.keyboard.press("x")
    page.click("#with-a")
    page.wait_for_timeout(200)
    powers = np.array(page.evaluate(TEN_MS))
    context.close()
    assert powers.size > 80
    assert np.ptp(10.0 * np.log10(powers)) < 0.1
