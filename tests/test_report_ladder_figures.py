"""The figures of multitones and compression: what they draw, that no words overlap, and which a session gets."""

import dataclasses
import json
import math

import numpy as np
import pytest
from matplotlib.collections import PathCollection
from matplotlib.figure import Figure

from distort import __main__ as program
from distort.report.figures import style
from distort.report.figures.canvas import Canvas
from distort.report.figures.compression import change_limits, compression_figure
from distort.report.figures.input_output import input_output_figure
from distort.report.figures.multitone import multitone_figure, multitone_top_db
from distort.report.figures.style import level_colour
from distort.report.text.numbers import OCTAVE_NAMES, octave_words
from distort.session.files.csv_table import read_table
from distort.session.files.folder import SessionFolder
from distort.session.plan.template import plan_text, write_plan
from distort.session.results.condition_results import ConditionResults, write_results
from tests.blank_figures import unmade_figures
from tests.ladder_examples import LADDER, ladder, linear_ladder, multitone_bands, multitone_found
from tests.report_examples import FREQUENCY_HZ
from tests.test_report_figures import LEGEND, LONG, assert_no_words_overlap, said
from tests.test_report_session import results

FINE = tuple(90.0 + 1.5 * step for step in range(9))
SIX = (80.0, 85.0, 90.0, 95.0, 100.0, 105.0)
PLAYED = dataclasses.replace(LEGEND, stimulus="31 lines, pink spectrum, random phases, crest factor 12.4 dB")

SHEETS = {
    **{
        f"compression, {source}, {len(levels)} levels": (
            lambda source=source, levels=levels: compression_figure(
                ladder(levels, source=source)[1], LEGEND, includes_heating=True
            )
        )
        for source, levels in (("sweep", LADDER), ("sweep", FINE), ("multitone", (86.0, 96.0)), ("multitone", SIX))
    },
    **{
        f"input and output, {len(levels)} levels": (
            lambda levels=levels: input_output_figure(ladder(levels)[0], LEGEND, unit="db_spl")
        )
        for levels in (LADDER, FINE)
    },
    **{
        f"multitone at {level:g} dB": (
            lambda level=level: multitone_figure(multitone_bands(level), PLAYED, level_db_spl=level, top_db=105.0)
        )
        for level in (76.0, 102.0)
    },
    "compression, long words": lambda: compression_figure(ladder()[1], LONG),
    "multitone, long words": lambda: multitone_figure(multitone_bands(96.0), LONG, level_db_spl=96.0),
    "input and output, long words": lambda: input_output_figure(ladder()[0], LONG, unit="dbfs"),
    "compression of a straight line": lambda: compression_figure(linear_ladder()[1], LEGEND),
}


@pytest.mark.first(2)
@pytest.mark.parametrize("name", SHEETS)
def test_no_words_overlap(name) -> None:
    assert_no_words_overlap(SHEETS[name]())


def test_compression_figure_draws_every_level_above_the_reference() -> None:
    _, curves = ladder()
    figure = compression_figure(curves, LEGEND, includes_heating=True)
    axes = figure.axes[0]
    lines = {line.get_label(): line for line in axes.get_lines()}
    assert [name for name in lines if not name.startswith("_")] == [
        "86 dB",
        "96 dB",
        "102 dB",
        "drift of the reference",
    ]
    valid = LEGEND.lowest_valid_hz <= FREQUENCY_HZ
    for level, change_db in zip(LADDER[1:], curves.change_db[1:], strict=True):
        drawn = np.asarray(lines[f"{level:g} dB"].get_ydata())
        np.testing.assert_array_equal(drawn[valid], change_db[valid])
        assert np.isnan(drawn[~valid]).all(), "nothing below the lowest valid frequency"
        assert lines[f"{level:g} dB"].get_color() == level_colour(LADDER.index(level), len(LADDER))
    drift = np.asarray(lines["drift of the reference"].get_ydata())
    np.testing.assert_array_equal(drift[valid], curves.drift_db[valid])
    assert "Heating while playing is included." in said(figure)
    assert "re 76 dB SPL (1 m, nominal)" in said(figure)
    assert "Heating" not in said(compression_figure(curves, LEGEND))


def test_the_band_about_a_curve_is_its_interval() -> None:
    _, curves = ladder(noise=1e-4)
    axes = compression_figure(curves, LEGEND).axes[0]
    assert len(axes.collections) == len(LADDER) - 1
    corners = axes.collections[0].get_paths()[0].vertices
    row = int(np.argmin(np.abs(curves.frequency_hz - 1000.0)))
    edges = np.sort(np.unique(corners[np.isclose(corners[:, 0], curves.frequency_hz[row]), 1]))
    half_db = curves.uncertainty_db[1][row]
    np.testing.assert_allclose(edges, curves.change_db[1][row] + np.array([-half_db, half_db]), atol=1e-9)  # rounding


def test_no_drift_is_drawn_where_none_is_known() -> None:
    figure = compression_figure(ladder(drift_db=None)[1], LEGEND)
    assert "drift" not in said(figure)


def test_lines_of_a_multitone_are_marked_and_not_cut_at_the_sweeps_limit() -> None:
    _, curves = ladder(source="multitone")
    figure = compression_figure(curves, dataclasses.replace(PLAYED, lowest_valid_hz=100.0))
    line = next(line for line in figure.axes[0].get_lines() if line.get_label() == "102 dB")
    assert line.get_marker() == "o"
    assert np.isfinite(np.asarray(line.get_ydata())[curves.frequency_hz < 100.0]).any()
    text = said(figure)
    assert "31 lines, pink spectrum" in text
    assert "time gate" not in text
    assert "smoothing" not in text


def test_the_scale_of_changes_is_shared_and_deaf_to_noise() -> None:
    (_, mild), (_, strong) = ladder((86.0, 96.0)), ladder((80.0, 105.0))
    top_db, span_db = change_limits([mild, strong])
    assert top_db - span_db <= np.nanmin(strong.change_db)
    assert top_db >= np.nanmax(mild.change_db)
    assert change_limits([mild])[1] < span_db
    reference, loud = strong.levels
    wild, unsure = loud.change_db.copy(), loud.uncertainty_db.copy()
    wild[:20], unsure[:20] = -60.0, 30.0
    noisy = dataclasses.replace(
        strong, levels=(reference, dataclasses.replace(loud, change_db=wild, uncertainty_db=unsure))
    )
    assert change_limits([noisy]) == change_limits([strong])


def test_figures_that_would_be_empty_are_refused() -> None:
    found, curves = ladder((96.0, 102.0))
    alone = dataclasses.replace(curves, levels=curves.levels[:1])
    with pytest.raises(ValueError, match="above the reference"):
        compression_figure(alone, LEGEND)
    with pytest.raises(ValueError, match="at least two levels"):
        input_output_figure(dataclasses.replace(found, level_db_spl=(96.0,)), LEGEND, unit="db_spl")


def pictures_of(figure: Figure, levels: int) -> list[tuple[np.ndarray, str]]:
    """The points of each octave that has some, and what is written in and over its picture, whose origin is the first
    of its points."""
    (axes,) = figure.axes
    offsets = [each.get_offsets() for each in axes.collections if isinstance(each, PathCollection)]
    points = np.ma.getdata(np.ma.concatenate(offsets)).reshape(-1, levels, 2)
    side = points[0, -1, 0] - points[0, 0, 0]
    found = []
    for of_octave in points:
        middle = of_octave[0] + 0.55 * side
        near = [text.get_text() for text in axes.texts if np.all(np.abs(text.get_position() - middle) < 0.65 * side)]
        found.append((of_octave, "\n".join(near)))
    return found


def test_input_output_has_a_picture_an_octave() -> None:
    found, _ = ladder()
    figure = input_output_figure(found, LEGEND, unit="db_spl")
    pictures = pictures_of(figure, len(found.level_db_spl))
    assert len(pictures) == len(OCTAVE_NAMES)
    drive_db = np.array(found.drive_dbfs) - found.drive_dbfs[0]
    for (points, text), octave, band in zip(pictures, found.octaves, found.ranges, strict=True):
        np.testing.assert_allclose(points[:, 0] - points[0, 0], drive_db)
        np.testing.assert_allclose(points[:, 1] - points[0, 1], drive_db + np.array(octave.change_db, dtype=float))
        assert text.count(" octave") == 1
        assert octave_words(octave.midband_hz) in text
        assert band.word in text
        assert f"{max(value for value in octave.output_db if value is not None):.1f} dB SPL" in text
    right, up = np.diff(figure.axes[0].transData.transform([(0.0, 0.0), (1.0, 1.0)]), axis=0)[0]
    assert right == pytest.approx(up), "a straight line is at 45 degrees"


def test_numbers_of_every_picture_stand_on_its_own_scale() -> None:
    found, _ = ladder()
    figure = input_output_figure(found, LEGEND, unit="db_spl")
    origins = np.array([points[0] for points, _ in pictures_of(figure, len(found.level_db_spl))])
    numbers = [text for text in figure.axes[0].texts if text.get_text().isdigit()]
    below = [text for text in numbers if text.get_horizontalalignment() == "center"]
    left = [text for text in numbers if text.get_horizontalalignment() == "right"]
    each = sorted({int(text.get_text()) for text in numbers})
    assert each == [0, 5, 10, 15, 20, 25], "the ladder is 26 dB long"
    for texts, axis, count in ((below, 0, len(OCTAVE_NAMES)), (left, 1, 2)):
        assert len(texts) == count * len(each)
        for text in texts:
            away = text.get_position() - origins
            assert np.min(np.abs(away[:, axis] - int(text.get_text()))) < 1e-9  # rounding
            on_sheet = text.get_transform().transform(text.get_position()) - figure.axes[0].transData.transform(
                text.get_position()
            )
            assert on_sheet[axis] == pytest.approx(0.0, abs=1e-6), "level with its place"  # of a pixel


def test_a_curve_that_leaves_its_picture_is_seen_in_no_other() -> None:
    """Of one that falls silent at the highest level: 60 dB below, and in one row lower, 100."""
    found, _ = ladder()
    pixels = []
    for lost_db in (60.0, 100.0):
        octaves = tuple(
            dataclasses.replace(octave, change_db=(*octave.change_db[:-1], -lost_db)) if index == 2 else octave
            for index, octave in enumerate(found.octaves)
        )
        figure = input_output_figure(dataclasses.replace(found, octaves=octaves), LEGEND, unit="db_spl")
        canvas = Canvas(figure)
        canvas.draw()
        pixels.append(np.asarray(canvas.buffer_rgba()).astype(np.int64))
    rows, _ = np.nonzero(np.abs(pixels[0] - pixels[1]).max(axis=2))
    points, _ = pictures_of(figure, len(found.level_db_spl))[0]
    (_, origin) = figure.axes[0].transData.transform(points[0])
    assert rows.size, "the way down is another"
    # the frame is below the origin by 3 % of the span, which is 1.95 inches long
    assert rows.max() < figure.bbox.height - origin + 0.06 * figure.dpi + 1.0


def test_an_octave_that_was_not_measured_is_said_to_be() -> None:
    found, _ = ladder()
    partly = dataclasses.replace(found, octaves=found.octaves[1:], ranges=found.ranges[1:])
    figure = input_output_figure(partly, LEGEND, unit="db_spl")
    assert said(figure).count("not measurable") == 1
    pictures = pictures_of(figure, len(found.level_db_spl))
    assert len(pictures) == len(OCTAVE_NAMES) - 1
    assert not any("not measurable" in text for _, text in pictures)
    nothing = input_output_figure(dataclasses.replace(found, octaves=(), ranges=()), LEGEND, unit="db_spl")
    assert said(nothing).count("not measurable") == len(OCTAVE_NAMES)


def test_multitone_figure_draws_lines_distortion_and_noise_per_third() -> None:
    bands = multitone_bands(102.0)
    figure = multitone_figure(bands, PLAYED, level_db_spl=102.0)
    axes = figure.axes[0]

    def drawn(colour: str) -> np.ndarray:
        parts = [np.asarray(line.get_ydata()) for line in axes.get_lines() if line.get_color() == colour]
        return np.nanmax(np.where(np.isfinite(np.stack(parts)), np.stack(parts), -np.inf), axis=0)

    np.testing.assert_array_equal(drawn(style.GREY), np.repeat(bands.level_db, 2))
    np.testing.assert_array_equal(drawn(style.ORDER_COLOURS[2]), np.repeat(bands.level_db + bands.even_db, 2))
    np.testing.assert_array_equal(drawn(style.ORDER_COLOURS[3]), np.repeat(bands.level_db + bands.odd_db, 2))
    np.testing.assert_array_equal(drawn(style.BLACK), np.repeat(bands.level_db + bands.distortion_db, 2))
    (noise,) = axes.collections
    top = noise.get_paths()[0].get_extents().y1
    assert top == pytest.approx(float(np.max(bands.level_db + bands.noise_db)))
    edges_hz = np.asarray(axes.get_lines()[0].get_xdata())
    # IEC 61260-1, base ten: a third octave is 10^0.1 wide
    np.testing.assert_allclose(edges_hz[1::2] / edges_hz[::2], 10.0**0.1)


def test_guides_run_whole_twenties_below_the_lines() -> None:
    """-20 dB is 10 %, -40 dB 1 % (definition of the decibel)."""
    bands = multitone_bands(102.0)
    figure = multitone_figure(bands, PLAYED, level_db_spl=102.0)
    guides = [line for line in figure.axes[0].get_lines() if line.get_color() == style.QUIET]
    for below_db, line in zip((20.0, 40.0, 60.0, 80.0), guides, strict=True):
        np.testing.assert_allclose(np.asarray(line.get_ydata()), np.repeat(bands.level_db - below_db, 2))
    for words in ("10 %", "1 %", "0.1 %"):
        assert words in said(figure).split("\n")


def test_what_lies_below_its_floor_is_dotted() -> None:
    bands = multitone_bands(76.0)
    axes = multitone_figure(bands, PLAYED, level_db_spl=76.0).axes[0]
    blue = [line for line in axes.get_lines() if line.get_color() == style.ORDER_COLOURS[2]]
    dotted = np.isfinite(np.asarray(blue[2].get_ydata()))[1::2]
    np.testing.assert_array_equal(dotted, bands.even_db < bands.even_floor_db)
    assert blue[2].get_linestyle() == ":"


@pytest.mark.sample
def test_multitones_share_the_scale_of_the_loudest() -> None:
    tables = [multitone_bands(level) for level in LADDER]
    assert multitone_top_db(tables) == multitone_top_db(tables[-1:]) == 95.0
    limits = {
        multitone_figure(bands, PLAYED, level_db_spl=level, top_db=95.0).axes[0].get_ylim()
        for bands, level in zip(tables, LADDER, strict=True)
    }
    assert limits == {(-5.0, 95.0)}


@pytest.fixture
def session(tmp_path) -> SessionFolder:
    write_plan(tmp_path, plan_text(name="Monitor A", levels_db_spl=(86.0, 96.0), conditions=("stand", "desk")))
    folder = SessionFolder(tmp_path)
    write_results(folder, whole("desk"))
    write_results(folder, results("stand"))
    return folder


def whole(condition: str) -> ConditionResults:
    empty, levels = results(condition), (86.0, 96.0)
    both = (ladder(levels), ladder(levels, source="multitone"))
    findings = dataclasses.replace(
        empty.findings,
        multitones=tuple(multitone_found(level) for level in levels),
        compression=tuple(found for found, _ in both),
    )
    return dataclasses.replace(
        empty,
        findings=findings,
        multitones=tuple(multitone_bands(level) for level in levels),
        changes=tuple(curves for _, curves in both),
    )


def test_report_draws_what_there_is(session, capsys) -> None:
    with unmade_figures():
        assert program.main(["report", str(session.root)]) == 0
    capsys.readouterr()
    names = {path.stem for path in (session.root / "results" / "figures").glob("*.png")}
    of_sweeps = {
        f"{kind}_{where}{level}"
        for where in ("desk", "stand")
        for kind, level in (
            ("response", ""),
            ("quality", ""),
            ("thd", ""),
            ("harmonics", "_86dB"),
            ("harmonics", "_96dB"),
            ("harmonics-absolute", "_96dB"),
        )
    }
    assert names - of_sweeps == {
        "multitone_desk_86dB",
        "multitone_desk_96dB",
        "compression_desk_sweep",
        "compression_desk_multitone",
        "input_output_desk_sweep",
        "input_output_desk_multitone",
    }
    assert of_sweeps <= names


def test_show_prints_both(session, capsys) -> None:
    assert program.main(["show", str(session.root), "multitone", "--condition", "desk", "--level", "96"]) == 0
    out = capsys.readouterr().out
    assert "dist. dB" in out
    assert "86 dB SPL nominal" not in out
    assert program.main(["show", str(session.root), "compression", "--condition", "desk"]) == 0
    assert "Change of the sweep against 86 dB SPL, in dB" in capsys.readouterr().out


def test_show_json_is_that_part_of_the_findings(session, capsys) -> None:
    assert program.main(["show", str(session.root), "compression", "--json"]) == 0
    stand, desk = json.loads(capsys.readouterr().out)
    written = json.loads(session.findings_path("desk").read_text(encoding="utf-8"))
    assert desk == {name: written[name] for name in ("condition", "compression", "no_compression")}
    assert stand == {"condition": "stand", "compression": [], "no_compression": None}
    assert program.main(["show", str(session.root), "multitone", "--json", "--condition", "desk"]) == 0
    assert json.loads(capsys.readouterr().out) == [{"condition": "desk", "multitones": written["multitones"]}]


def test_show_json_of_a_table_holds_its_columns(session, capsys) -> None:
    assert program.main(["show", str(session.root), "harmonics", "--json", "--condition", "desk", "--level", "96"]) == 0
    (shown,) = json.loads(capsys.readouterr().out)
    written = read_table(session.level_result_path("desk", "harmonics", 96.0))
    assert (shown["condition"], shown["level_db_spl"]) == ("desk", 96.0)
    assert list(shown["columns"]) == list(written)
    for name, values in written.items():
        held = [math.nan if value is None else value for value in shown["columns"][name]]
        np.testing.assert_array_equal(held, values)


@pytest.mark.parametrize(
    ("words", "said_"),
    [
        (["compression", "--level", "96"], "--level goes with harmonics and multitone"),
        (["multitone", "--level", "90"], "there are 86, 96"),
        (["multitone", "--json", "--level", "96"], "leave --level out"),
    ],
)
def test_words_that_do_not_go_together(session, capsys, words, said_) -> None:
    assert program.main(["show", str(session.root), *words]) == 2
    assert said_ in capsys.readouterr().err
