"""Figures are tested by what they draw: data, labels, proportions, and that no words overlap."""

import itertools

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text

from distort.report.figures import style
from distort.report.figures.axes import scale_of
from distort.report.figures.harmonics import distortion_top_db, harmonics_figure
from distort.report.figures.labels import spread
from distort.report.figures.response import response_figure, response_limits
from distort.report.figures.saving import save_figure
from distort.report.figures.style import Legend
from tests.report_examples import FREQUENCY_HZ, harmonics, response, row_of

LEGEND = Legend(
    title="Our new studio monitor",
    credit="Valley Community Radio",
    loudspeaker="Monitor A, desk",
    simulated=True,
    distance_m=1.0,
    smoothing="1/12",
    gate_ms=None,
    lowest_valid_hz=25.0,
)
LADDER = {level: response(level) for level in (76.0, 86.0, 96.0, 102.0)}


def words(figure: Figure) -> list[Text]:
    """Every text that is drawn; the figure is drawn first, since places are final only then."""
    figure.draw_without_rendering()
    found = [text for text in figure.findobj(Text) if text.get_visible() and text.get_text().strip()]
    inside = figure.bbox.padded(1.0)
    return [text for text in found if text.get_window_extent().overlaps(inside)]


def assert_no_words_overlap(figure: Figure) -> None:
    boxes = [(text.get_text(), Text.get_window_extent(text)) for text in words(figure)]
    for (name, box), (other, other_box) in itertools.combinations(boxes, 2):
        assert not box.overlaps(other_box), f"{name!r} overlaps {other!r}"
    for name, box in boxes:
        assert figure.bbox.x0 <= box.x0, f"{name!r} leaves the sheet"
        assert box.x1 <= figure.bbox.x1, f"{name!r} leaves the sheet"


def said(figure: Figure) -> str:
    return "\n".join(text.get_text() for text in words(figure))


def test_response_figure_draws_the_readings_of_every_level() -> None:
    figure = response_figure(LADDER, LEGEND)
    lines = {line.get_label(): line for line in figure.axes[0].get_lines()}
    assert list(lines) == ["76 dB", "86 dB", "96 dB", "102 dB"]
    for level, measured in LADDER.items():
        x, y = lines[f"{level:g} dB"].get_data()
        np.testing.assert_array_equal(x, FREQUENCY_HZ)
        valid = FREQUENCY_HZ >= 25.0
        np.testing.assert_array_equal(np.asarray(y)[valid], measured.level_db[valid])
        assert np.isnan(np.asarray(y)[~valid]).all(), "nothing below the lowest valid frequency"
        assert f"{level:g} dB" in said(figure)


LONG = Legend(title="monitor " * 40, credit="radio " * 60, simulated=True, smoothing="1/12")
SHEETS = {
    "ladder": lambda: response_figure(LADDER, LEGEND),
    "close rungs": lambda: response_figure({90 + 1.5 * step: response(90 + 1.5 * step) for step in range(9)}, LEGEND),
    "one on top of the other": lambda: response_figure({level: response(80.0) for level in LADDER}, LEGEND),
    "long words": lambda: response_figure(LADDER, LONG),
    "quiet": lambda: harmonics_figure(harmonics(lift_db=-30.0), LEGEND, level_db_spl=76.0),
    "usual": lambda: harmonics_figure(harmonics(), LEGEND, level_db_spl=96.0),
    "loud": lambda: harmonics_figure(harmonics(lift_db=20.0), LEGEND, level_db_spl=None, top_db=20.0),
    "long words about harmonics": lambda: harmonics_figure(harmonics(), LONG, level_db_spl=96.0),
}


@pytest.mark.first(2)
@pytest.mark.parametrize("name", SHEETS)
def test_no_words_overlap(name) -> None:
    assert_no_words_overlap(SHEETS[name]())


@pytest.mark.parametrize("span_db", [50.0, 100.0])
def test_proportions(span_db) -> None:
    """IEC 60263 (from memory): a decade is as long as 25 dB or as 50 dB of level."""
    responses = {76.0: response(76.0), 102.0: response(102.0)} if span_db == 50.0 else {40.0: response(40.0), **LADDER}
    axes = response_figure(responses, LEGEND).axes[0]
    bottom, top = axes.get_ylim()
    assert top - bottom == span_db
    box = axes.get_window_extent()
    decade = box.width / np.log10(np.divide(*axes.get_xlim()[::-1]))
    # half a pixel in 400 is what a reader with a ruler could notice
    assert decade == pytest.approx(box.height / span_db * (span_db / 2.0), rel=1e-3)


def test_frequency_axis_is_labelled_at_octave_midbands() -> None:
    """IEC 61260-1 nominal midbands, and both ends of the audio band."""
    axes = response_figure(LADDER, LEGEND).axes[0]
    names = [number.get_text() for number in scale_of(axes, "bottom").numbers()]
    assert names == ["20", "31.5", "63", "125", "250", "500", "1k", "2k", "4k", "8k", "16k", "20k"]
    assert axes.get_xlim() == (20.0, 20000.0)


def test_the_sheet_says_where_its_curves_come_from() -> None:
    text = said(response_figure(LADDER, LEGEND))
    for words_ in (
        "Our new studio monitor",
        "Valley Community Radio",
        "Monitor A, desk: frequency response",
        "Simulated loudspeaker, not a measurement",
        "Microphone at 1 m, levels referred to 1 m; 1/12 octave smoothing; no time gate; fundamental valid from 25 Hz.",
        "Level at 1 m in dB re 20 \N{MICRO SIGN}Pa",
    ):
        assert words_ in text
    real = said(response_figure(LADDER, Legend(gate_ms=4.5, loudspeaker="Monitor A")))
    assert "imulated" not in real
    assert "Time gate 4.5 ms." in real


def test_without_calibration_no_spl_is_claimed() -> None:
    figure = response_figure({76.0: response(-20.0, noise_db=-90.0, unit="dbfs")}, Legend())
    assert figure.axes[0].get_ylabel() == "Level in dBFS (no calibration)"


def test_harmonics_figure_draws_each_order_in_its_colour() -> None:
    curves = harmonics(noise_db=-300.0)
    axes = harmonics_figure(curves, LEGEND, level_db_spl=96.0).axes[0]
    for order in curves.orders[:4]:
        colour = style.ORDER_COLOURS[order.order]
        drawn = [np.asarray(line.get_ydata()) for line in axes.get_lines() if line.get_color() == colour]
        # trusted throughout, so the bold line holds every reading and the thin ones hold none
        np.testing.assert_array_equal(drawn[0][1:], order.relative_db[1:])
        assert all(np.isnan(rest).all() for rest in drawn[1:])
    quiet = {line.get_color() for line in axes.get_lines()} - set(style.ORDER_COLOURS.values())
    assert quiet == {style.BLACK, style.QUIET}


def test_order_colours_are_the_published_ones() -> None:
    """Okabe and Ito, "Color Universal Design" (2008): blue, vermilion, bluish green, reddish purple."""
    assert style.ORDER_COLOURS == {2: "#0072B2", 3: "#D55E00", 4: "#009E73", 5: "#CC79A7"}
    assert len({str(dash) for dash in style.ORDER_DASHES.values()}) == 4


def test_trust_is_drawn() -> None:
    """Bold where trusted, thin within 10 dB of the floor, dotted below it."""
    curves = harmonics(noise_db=-58.0)
    axes = harmonics_figure(curves, LEGEND, level_db_spl=96.0).axes[0]
    blue = [line for line in axes.get_lines() if line.get_color() == style.ORDER_COLOURS[2]]
    bold, thin, dotted = (np.isfinite(np.asarray(line.get_ydata())) for line in blue)
    assert bold[row_of(50)]
    assert not thin[row_of(50)]
    assert thin[row_of(2000)], "-56 dB over a floor of -58 dB"
    assert not bold[row_of(2000)]
    assert not dotted.any()
    green = [line for line in axes.get_lines() if line.get_color() == style.ORDER_COLOURS[4]]
    assert np.isfinite(np.asarray(green[2].get_ydata()))[row_of(500)], "-62 dB under a floor of -58 dB"
    assert green[2].get_linestyle() == ":"
    assert blue[0].get_linewidth() > 2 * blue[1].get_linewidth()


def test_noise_floor_is_filled_up_to_the_highest_of_the_prominent_orders() -> None:
    figure = harmonics_figure(harmonics(noise_db=-70.0), LEGEND, level_db_spl=96.0)
    (fill,) = figure.axes[0].collections
    assert fill.get_paths()[0].get_extents().y1 == pytest.approx(-70.0)  # rounding
    assert "noise floor (of H2 to H5)" in said(figure)


def test_distortion_scale_is_shared_and_grows_by_tens() -> None:
    quiet, loud = harmonics(lift_db=-20.0), harmonics(lift_db=35.0)
    assert distortion_top_db([quiet]) == 0.0
    top = distortion_top_db([quiet, loud])
    assert top == 10.0 * np.ceil(np.nanmax(loud.thd_db[1:]) / 10.0)
    for curves in (quiet, loud):
        axes = harmonics_figure(curves, LEGEND, level_db_spl=96.0, top_db=top).axes[0]
        assert axes.get_ylim() == (top - 100.0, top)


def test_response_scale_holds_every_level() -> None:
    top, span = response_limits(list(LADDER.values()))
    assert (top, span) == (105.0, 50.0)
    assert response_limits([response(40.0), response(102.0)])[1] == 100.0


def test_percent_scale_agrees_with_decibels() -> None:
    """-40 dB is 1 % (definition of the decibel)."""
    figure = harmonics_figure(harmonics(), LEGEND, level_db_spl=96.0)
    marks = {number.get_text(): number.get_position()[1] for number in scale_of(figure.axes[0], "right").numbers()}
    assert marks["1 %"] == -40.0
    assert marks["100 %"] == 0.0


def test_files_have_the_promised_size_and_are_the_same_each_time(tmp_path) -> None:
    for name in ("first", "second"):
        save_figure(harmonics_figure(harmonics(), LEGEND, level_db_spl=96.0), tmp_path / name / "harmonics_96dB")
    png, svg = tmp_path / "first" / "harmonics_96dB.png", tmp_path / "first" / "harmonics_96dB.svg"
    header = png.read_bytes()[:24]
    assert header[:8] == b"\x89PNG\r\n\x1a\n"
    assert (int.from_bytes(header[16:20], "big"), int.from_bytes(header[20:24], "big")) == (1920, 1080)
    assert svg.read_text(encoding="utf-8").startswith("<?xml")
    for path in (png, svg):
        assert path.read_bytes() == (tmp_path / "second" / path.name).read_bytes()
    assert sorted(path.name for path in png.parent.iterdir()) == [png.name, svg.name]


def test_nothing_to_draw_is_said() -> None:
    with pytest.raises(ValueError, match="at least one response"):
        response_figure({}, LEGEND)


@pytest.mark.parametrize("seed", range(20))
def test_spread_keeps_order_gap_and_bounds(seed) -> None:
    random = np.random.default_rng(seed)
    wanted = list(random.uniform(-20.0, 120.0, random.integers(1, 12)))
    placed = spread(wanted, gap=8.0, low=0.0, high=100.0)
    ordered = np.array(placed)[np.argsort(wanted)]
    assert np.all(np.diff(ordered) >= 8.0 - 1e-9)  # rounding
    assert ordered.min() >= -1e-9
    assert ordered.max() <= 100.0 + 1e-9


def test_spread_moves_nothing_that_has_room() -> None:
    assert spread([50.0, 10.0, 90.0], gap=8.0, low=0.0, high=100.0) == [50.0, 10.0, 90.0]
    assert spread([50.0, 50.0], gap=8.0, low=0.0, high=100.0) == [46.0, 54.0]
    assert spread([1.0, 2.0, 3.0], gap=80.0, low=0.0, high=100.0) == [0.0, 50.0, 100.0]
    assert spread([], gap=8.0, low=0.0, high=100.0) == []


def test_names_of_frequencies_are_not_run_together() -> None:
    figure = response_figure(LADDER, LEGEND)
    figure.draw_without_rendering()
    boxes = [number.get_window_extent() for number in scale_of(figure.axes[0], "bottom").numbers()]
    gaps = [later.x0 - earlier.x1 for earlier, later in itertools.pairwise(boxes)]
    # half the width of a digit of 10 points, at 150 dots an inch
    assert min(gaps) > 6.0


def test_a_curve_has_no_gap_where_its_trust_changes() -> None:
    curves = harmonics(noise_db=-58.0)
    axes = harmonics_figure(curves, LEGEND, level_db_spl=96.0).axes[0]
    blue = [line for line in axes.get_lines() if line.get_color() == style.ORDER_COLOURS[2]]
    parts = np.stack([np.isfinite(np.asarray(line.get_ydata())) for line in blue])
    drawn = np.flatnonzero(np.isfinite(curves.orders[0].relative_db))[1:]
    for row, following in itertools.pairwise(drawn):
        assert np.any(parts[:, row] & parts[:, following]), f"no line from row {row} to the next"
