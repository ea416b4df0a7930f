"""Tables and numbers for the terminal: what stands in them, how wide they are, and that they need no colour."""

import dataclasses
import io

import numpy as np
import pytest
from rich.console import Console
from rich.table import Table

from distort.report.terminal.console import make_console, progress, say
from distort.report.text import numbers
from distort.report.text.tables_sweep import harmonics_table, midband_rows, response_table, thd_marks
from tests.report_examples import FREQUENCY_HZ, harmonics, order, response, row_of


def printed(table: Table) -> list[str]:
    stream = io.StringIO()
    make_console(stream).print(table)
    return [line.rstrip() for line in stream.getvalue().splitlines()]


def cells(line: str) -> list[str]:
    """The ten octave cells and what follows, of a line of a harmonics table."""
    return [line[6 + 6 * index : 12 + 6 * index].strip() for index in range(10)] + [
        line[66:73].strip(),
        line[73:].strip(),
    ]


def test_octave_midbands_are_those_of_the_standard() -> None:
    """IEC 61260-1: exact octave midbands 1000 x 10^(3k/10) Hz; the grid meets each."""
    rows = midband_rows(FREQUENCY_HZ)
    assert len(rows) == 10
    assert None not in rows
    expected = [31.623, 63.096, 125.89, 251.19, 501.19, 1000.0, 1995.3, 3981.1, 7943.3, 15849.0]
    # five digits are given: half of the last one is at most 0.4 in ten thousand, a step of the grid 290
    np.testing.assert_allclose(FREQUENCY_HZ[list(rows)], expected, rtol=4e-5)


def test_an_octave_outside_the_grid_has_no_row() -> None:
    assert midband_rows(FREQUENCY_HZ[FREQUENCY_HZ > 100])[:2] == (None, None)


def test_harmonics_table_shows_each_reading_at_its_octave() -> None:
    curves = harmonics()
    lines = printed(harmonics_table(curves, response(86.0)))
    assert lines[0].split() == ["Hz", *numbers.OCTAVE_NAMES, "worst", "at", "Hz"]
    assert [line[:6].strip() for line in lines[1:7]] == ["dB SPL", "THD %", "H2 dB", "H3 dB", "H4 dB", "H5 dB"]
    second = cells(lines[3])
    for column, centre_hz in enumerate(numbers.OCTAVE_HZ[:9]):
        # written without decimals: half of the last digit
        assert float(second[column]) == pytest.approx(curves.orders[0].relative_db[row_of(centre_hz)], abs=0.5)
    assert second[9] == "-", "twice 16 kHz cannot be recorded at 48 kHz"
    assert cells(lines[1])[5] == "80.0", "the dip of 6 dB at 1 kHz"


def test_the_worst_is_the_highest_reading_with_its_mark() -> None:
    """A response without a lower limit of its own is read from 25 Hz on, where it is valid; a row above is 25.1 Hz."""
    curves = harmonics()
    spike = curves.orders[0].relative_db.copy()
    spike[row_of(2500)] = -3.0
    doubtful = curves.orders[0].doubtful.copy()
    trusted = dataclasses.replace(curves.orders[0], relative_db=spike)
    lines = printed(harmonics_table(dataclasses.replace(curves, orders=(trusted, *curves.orders[1:])), response(86.0)))
    assert cells(lines[3])[10:] == ["-3", "2.51k"]
    doubtful[row_of(2500)] = True
    spoilt = dataclasses.replace(curves.orders[0], relative_db=spike, doubtful=doubtful)
    lines = printed(harmonics_table(dataclasses.replace(curves, orders=(spoilt, *curves.orders[1:])), response(86.0)))
    assert cells(lines[3])[10:] == ["?-3", "2.51k"]
    assert any(line.startswith("? use with caution") for line in lines), "a mark in this column alone is explained"
    covered = dataclasses.replace(spoilt, noise_db=np.where(spike == -3.0, 0.0, spoilt.noise_db))
    hidden = dataclasses.replace(curves, orders=(covered, *curves.orders[1:]))
    lines = printed(harmonics_table(hidden, response(86.0)))
    assert cells(lines[3])[10:] == ["-22", "25.1"]
    lines = printed(harmonics_table(hidden, response(86.0), from_hz=39.0))
    assert cells(lines[3])[10:] == ["-26", "39.8"]
    assert "worst: from 39 Hz on, where the response is 10 dB down" in lines


def test_marks_stand_before_the_number_and_the_legend_explains_them() -> None:
    curves = harmonics()
    readings = np.full_like(FREQUENCY_HZ, -50.0)
    readings[row_of(250)] = -85.0
    readings[row_of(500)] = -93.0
    second = order(2, readings)
    lines = printed(harmonics_table(dataclasses.replace(curves, orders=(second, *curves.orders[1:])), response(86.0)))
    assert cells(lines[3])[3:5] == ["?-85", "<-90"]
    assert any(line.startswith("? use with caution") for line in lines)
    assert any(line.startswith("< below its noise floor") for line in lines)


def test_columns_stay_apart() -> None:
    """Marked readings down to -99 dB and 0.01 % leave a blank to the column before."""
    readings = np.full_like(FREQUENCY_HZ, -88.8)
    lines = printed(
        harmonics_table(dataclasses.replace(harmonics(), orders=(order(2, readings),)), response(86.0), orders=[2])
    )
    assert [lines[3][6 + 6 * column] for column in range(9)] == [" "] * 9
    assert [numbers.short_percent(value) for value in (0.0123, 0.456, 1.23, 45.6)] == ["0.01", "0.46", "1.2", "46"]
    assert [numbers.whole_decibels(value) for value in (-0.4, -48.6, float("nan"))] == ["0", "-49", "-"]


def test_no_legend_without_marks() -> None:
    lines = printed(harmonics_table(harmonics(noise_db=-150.0), response(86.0)))
    assert len([line for line in lines if line]) == 7


def test_tables_fit_80_columns_whatever_they_hold() -> None:
    extreme = harmonics(lift_db=-150.0, noise_db=-300.0)
    for table in (
        harmonics_table(extreme, response(-120.3, unit="dbfs"), orders=range(2, 11)),
        harmonics_table(harmonics(lift_db=40.0), response(123.4)),
        response_table({76.0: response(76.0), 91.5: response(91.5), 102.0: response(102.0, noise_db=99.0)}),
    ):
        assert max(map(len, printed(table))) <= 80


def test_response_table_has_one_row_a_level() -> None:
    lines = printed(response_table({76.0: response(75.5), 102.0: response(101.0, noise_db=95.0)}))
    assert cells(lines[1])[4:6] == ["75.5", "69.5"]
    assert cells(lines[2])[4:6] == ["?101.0", "?95.0"]
    assert "dB SPL, one row a nominal level" in lines


def test_without_calibration_the_table_says_dbfs() -> None:
    lines = printed(harmonics_table(harmonics(), response(-20.0, noise_db=-90.0, unit="dbfs")))
    assert lines[1].startswith("dBFS")
    assert not any("SPL" in line for line in lines)


def test_floor_of_thd_is_the_sum_of_the_orders_floors() -> None:
    """Two equal powers together are 10 log10(2) = 3.0103 dB higher (closed form)."""
    curves = harmonics(orders=3, noise_db=-80.0)
    # written with five digits
    assert curves.thd_noise_db[row_of(1000)] == pytest.approx(-80.0 + 3.0103, abs=1e-4)
    assert curves.thd_noise_db[row_of(10000)] == pytest.approx(-80.0, abs=1e-9)  # order 2 alone; rounding
    assert np.isnan(curves.thd_noise_db[row_of(16000)])


def test_thd_is_doubtful_where_its_strongest_order_is() -> None:
    curves = harmonics(noise_db=-150.0)
    doubtful = np.zeros_like(curves.orders[0].doubtful)
    doubtful[row_of(40)] = True
    strongest = dataclasses.replace(curves.orders[0], doubtful=doubtful)
    marked, below = thd_marks(dataclasses.replace(curves, orders=(strongest, *curves.orders[1:])))
    assert list(np.flatnonzero(marked)) == [row_of(40)]
    assert not below.any()


@pytest.mark.parametrize(
    ("write", "value", "expected"),
    [
        (numbers.decibels, -45.26, "-45.3"),
        (numbers.decibels, -102.34, "-102"),
        (numbers.decibels, 101.94, "101.9"),
        (numbers.decibels, -99.96, "-100"),
        (numbers.decibels, float("nan"), "-"),
        (numbers.percent, 12.34, "12.3"),
        (numbers.percent, 1.234, "1.23"),
        (numbers.percent, 0.1234, "0.123"),
        (numbers.percent, 0.00123, "0.001"),
        (numbers.percent, 0.00012, "1e-4"),
        (numbers.percent, 0.0, "0"),
        (numbers.percent, 99.96, "100"),
        (numbers.percent, 9.996, "10.0"),
        (numbers.percent, float("nan"), "-"),
        (numbers.hertz, 31.62, "31.6"),
        (numbers.hertz, 999.7, "1k"),
        (numbers.hertz, 12589.0, "12.6k"),
        (numbers.level_name, 86.0, "86"),
        (numbers.level_name, 91.5, "91.5"),
    ],
)
def test_numbers_are_short_and_rounded_right(write, value, expected) -> None:
    assert write(value) == expected


def test_a_pipe_gets_plain_text_in_whole_lines() -> None:
    stream = io.StringIO()
    console = make_console(stream)
    say(console, "word " * 40 + "[bold]monitor[/bold] :smile:")
    console.print(harmonics_table(harmonics(), response(86.0)))
    text = stream.getvalue()
    assert "\x1b" not in text
    assert "[bold]monitor[/bold] :smile:" in text.splitlines()[0]


def test_no_color_is_respected_on_a_terminal(monkeypatch) -> None:
    """no-color.org: any value that is not empty turns colour off."""

    def codes() -> str:
        stream = io.StringIO()
        console = Console(file=stream, force_terminal=True, color_system="standard", width=80)
        console.print(harmonics_table(harmonics(noise_db=-70.0), response(86.0)))
        return stream.getvalue()

    assert "\x1b[33m" in codes(), "doubtful readings are yellow on a terminal"
    monkeypatch.setenv("NO_COLOR", "1")
    assert "\x1b[33m" not in codes()


def test_progress_is_silent_in_a_pipe_and_moves_on_a_terminal() -> None:
    stream = io.StringIO()
    with progress(make_console(stream)) as report:
        report("analysing", 1, 2)
    assert stream.getvalue() == ""
    terminal = Console(file=stream, force_terminal=True, width=80)
    with progress(terminal) as report:
        report("analysing desk/sweep_86dB", 1, 2)
    assert "analysing desk/sweep_86dB" in stream.getvalue()


def test_thd_is_doubtful_near_the_floors_of_all_orders_together() -> None:
    """Nine equal floors together are 10 log10(9) = 9.5 dB above one (closed form)."""
    curves = harmonics(noise_db=-150.0)
    above = curves.orders[0].relative_db[row_of(150)] - 15.0  # 15 dB above each floor, 5.5 dB above all nine together
    lifted = tuple(
        dataclasses.replace(each, noise_db=np.where(np.isfinite(each.relative_db), above, np.nan))
        for each in curves.orders
    )
    doubtful, below = thd_marks(dataclasses.replace(curves, orders=lifted))
    assert not curves.orders[0].doubtful[row_of(150)]
    assert doubtful[row_of(150)]
    assert not below[row_of(150)]
    assert not doubtful[row_of(30)], "there THD is far above the floors"


def test_below_the_lowest_valid_frequency_the_response_is_doubtful() -> None:
    short_gate = dataclasses.replace(response(86.0), lowest_valid_hz=200.0)
    lines = printed(response_table({86.0: short_gate}))
    assert cells(lines[1])[:5] == ["?86.0", "?86.0", "?86.0", "86.0", "86.0"]
