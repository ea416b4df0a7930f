"""What is printed of multitones: octaves from thirds, marks, totals, clocks, and what changed while they played."""

import dataclasses
import io

import numpy as np
import pytest

from distort.analysis.common.grid import midbands_hz
from distort.analysis.multitone.curves import MultitoneBands
from distort.errors import UsageError
from distort.report.terminal.console import make_console, say
from distort.report.text.multitone import multitone_blocks, octaves_table, seconds, thirds_table
from distort.report.text.multitone_bands import octaves, third_octaves
from distort.report.text.numbers import OCTAVE_HZ
from distort.session.results.condition_results import ConditionResults
from tests.ladder_examples import multitone_bands, multitone_found
from tests.test_report_session import results

LEVELS = (86.0, 96.0, 102.0)


def with_multitones(*, fast_wander: bool = False) -> ConditionResults:
    empty = results("desk")
    found = tuple(multitone_found(level, fast_wander=fast_wander) for level in LEVELS)
    return dataclasses.replace(
        empty,
        findings=dataclasses.replace(empty.findings, multitones=found),
        multitones=tuple(multitone_bands(level) for level in LEVELS),
    )


def printed(with_results: ConditionResults, **how: float) -> list[str]:
    stream = io.StringIO()
    say(make_console(stream), *multitone_blocks(with_results, **how))
    return [line.rstrip() for line in stream.getvalue().splitlines()]


def flat_bands(*, level_db: float, even_db: float, odd_db: float, floor_db: float) -> MultitoneBands:
    frequency_hz = midbands_hz(bands_per_octave=3)

    def same(value_db: float) -> np.ndarray:
        return np.full_like(frequency_hz, value_db)

    return MultitoneBands(
        frequency_hz=frequency_hz,
        unit="db_spl",
        level_db=same(level_db),
        distortion_db=same(10.0 * np.log10(10.0 ** (even_db / 10.0) + 10.0 ** (odd_db / 10.0))),
        even_db=same(even_db),
        odd_db=same(odd_db),
        noise_db=same(-50.0),
        even_floor_db=same(floor_db),
        odd_floor_db=same(floor_db),
        even_uncertainty_db=same(0.1),
        odd_uncertainty_db=same(0.2),
        even_noise_uncertainty_db=same(0.05),
        odd_noise_uncertainty_db=same(0.1),
    )


def test_an_octave_is_the_power_of_its_three_thirds() -> None:
    """Three equal powers are 10 log10(3) = 4.7712 dB more, their ratio to three equal others stays (closed form)."""
    whole = octaves(third_octaves(flat_bands(level_db=80.0, even_db=-40.0, odd_db=-50.0, floor_db=-70.0)))
    np.testing.assert_allclose(whole.frequency_hz, OCTAVE_HZ)
    np.testing.assert_allclose(whole.level_db, 80.0 + 4.7712, atol=1e-4)  # written with four decimals
    np.testing.assert_allclose(whole.even.values_db, -40.0, atol=1e-9)  # rounding
    np.testing.assert_allclose(whole.noise_db, -50.0, atol=1e-9)
    # two equal floors together: 10 log10(2) = 3.0103 dB
    np.testing.assert_allclose(whole.distortion.floor_db, -70.0 + 3.0103, atol=1e-4)


def test_an_octave_weighs_its_thirds_by_their_lines() -> None:
    """-40 dB re a line of 80 dB is 40 dB; two of 70 dB are without: 40 dB re 80 and twice 70 dB (by hand)."""
    bands = flat_bands(level_db=70.0, even_db=-300.0, odd_db=-300.0, floor_db=-300.0)
    level_db, even_db = bands.level_db.copy(), bands.even_db.copy()
    third = int(np.argmin(np.abs(bands.frequency_hz - 1000.0)))
    level_db[third], even_db[third] = 80.0, -40.0
    whole = octaves(third_octaves(dataclasses.replace(bands, level_db=level_db, even_db=even_db)))
    assert whole.even.values_db[5] == pytest.approx(-40.0 - 10.0 * np.log10(1.2), abs=1e-9)  # rounding
    assert whole.even.values_db[4] < -290.0


def test_thirds_without_lines_are_left_out() -> None:
    bands = flat_bands(level_db=80.0, even_db=-40.0, odd_db=-50.0, floor_db=-70.0)
    silent = bands.frequency_hz < 60.0
    gaps = dataclasses.replace(
        bands, level_db=np.where(silent, np.nan, bands.level_db), even_db=np.where(silent, np.nan, bands.even_db)
    )
    whole = octaves(third_octaves(gaps))
    assert np.isnan(whole.level_db[0])
    # of the octave of 63 Hz two thirds are left: 10 log10(2) dB over one
    assert whole.level_db[1] == pytest.approx(80.0 + 10.0 * np.log10(2.0), abs=1e-9)  # rounding
    lines = table_lines(octaves_table(gaps))
    assert lines[1][6:12].strip() == "-"


def table_lines(table: object) -> list[str]:
    stream = io.StringIO()
    make_console(stream).print(table)
    return [line.rstrip() for line in stream.getvalue().splitlines()]


@pytest.mark.parametrize(
    ("even_db", "cell"), [(-40.0, "-40.0"), (-60.2, "-60.2"), (-60.4, "?-60.4"), (-70.5, "<-70.3")]
)
def test_marks_near_and_below_the_floor(even_db, cell) -> None:
    """Doubtful under 10 dB above the floor of -70.3 dB; below it the floor itself is printed."""
    bands = flat_bands(level_db=80.0, even_db=even_db, odd_db=-40.0, floor_db=-70.3)
    lines = table_lines(octaves_table(bands))
    whole = cell.partition(".")[0]
    assert [lines[3][6 + 6 * column : 12 + 6 * column].strip() for column in range(10)] == [whole] * 10
    thirds = table_lines(thirds_table(bands))
    assert thirds[1].split()[3] == cell
    for mark in "?<":
        assert any(line.startswith(f"{mark} ") for line in lines) == (cell[0] == mark)
        assert any(line.startswith(f"{mark} ") for line in thirds) == (cell[0] == mark)


def test_every_level_with_its_totals_and_worst_third() -> None:
    lines = printed(with_multitones())
    assert "96 dB SPL nominal, drive -14.0 dBFS, measured 95.2 dB SPL" in lines
    assert "31 lines, pink spectrum, random phases, crest factor 12.4 dB" in lines
    found, bands = multitone_found(96.0), multitone_bands(96.0)
    assert (
        f"Re total tone level: distortion {found.distortion_db:.1f} dB "
        f"({100.0 * 10 ** (found.distortion_db / 20.0):.3f} %, floor {found.floor_db:.1f}), "
        f"even {found.even_db:.1f}, odd {found.odd_db:.1f}, noise {found.noise_db:.1f}"
    ) in lines
    of_96 = lines[lines.index("96 dB SPL nominal, drive -14.0 dBFS, measured 95.2 dB SPL") :]
    odd = next(line for line in of_96 if line.startswith("odd"))
    clear = bands.odd_db >= bands.odd_floor_db + 10.0
    worst = int(np.argmax(np.where(clear, bands.odd_db, -np.inf)))
    assert odd.split()[-2:] == [f"{bands.odd_db[worst]:.0f}", "316"]
    assert "Clocks: a difference of +0.30 ppm was taken out; wander 0.02 ppm r.m.s." in lines


def test_tables_fit_80_columns() -> None:
    loud = flat_bands(level_db=123.4, even_db=-123.4, odd_db=-300.0, floor_db=-200.0)
    for bands in (loud, multitone_bands(96.0), multitone_bands(-40.0, unit="dbfs")):
        for table in (octaves_table(bands), thirds_table(bands)):
            assert max(map(len, table_lines(table))) <= 80


def test_what_changed_while_it_played() -> None:
    lines = printed(with_multitones())
    assert lines.count("While it played, 40-80 Hz fell by 0.6 +- 0.1 dB with a time constant of 9.0 s.") == 2
    began = [line for line in lines if line.startswith("As it began")]
    assert began == [
        "As it began, 89.1 Hz to 1.41 kHz overshot by 2.4 +- 0.3 dB, then settled with a time constant of 120 ms: "
        "a limiter engages."
    ]


def test_wander_that_could_not_be_repaired_is_said() -> None:
    sentence = "The clocks wander faster than could be repaired: the floors are raised accordingly."
    assert sentence not in printed(with_multitones())
    assert printed(with_multitones(fast_wander=True)).count(sentence) == len(LEVELS)


def test_one_level_is_printed_in_third_octaves() -> None:
    lines = printed(with_multitones(), level_db_spl=96.0)
    assert not any(line.startswith("86 dB SPL") for line in lines)
    start = next(index for index, line in enumerate(lines) if "dist. dB" in line) + 1
    bands = multitone_bands(96.0)
    rows = [lines[start + index].split() for index in range(bands.frequency_hz.size)]
    assert [row[0] for row in rows][10:13] == ["200", "251", "316"]
    np.testing.assert_allclose([float(row[1]) for row in rows], bands.level_db, atol=0.0501)  # one decimal
    assert {row[4] for row in rows} == {"0.1"}


def test_an_unknown_level_is_an_error_and_no_multitone_a_sentence() -> None:
    with pytest.raises(UsageError, match="there are 86, 96, 102"):
        printed(with_multitones(), level_db_spl=90.0)
    assert "No multitone was recorded, so multitone distortion is not known." in printed(results("desk"))


@pytest.mark.parametrize(
    ("time_s", "text"), [(0.0042, "4.2 ms"), (0.034, "34 ms"), (0.12, "120 ms"), (5.94, "5.9 s"), (61.0, "61 s")]
)
def test_times_are_short(time_s, text) -> None:
    assert seconds(time_s) == text
