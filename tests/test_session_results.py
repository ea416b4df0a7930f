"""Result files: the columns that scripts rely on, what a cell says, and the way back."""

from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from distort.analysis.common.curves import Harmonics, LevelUnit, Order, Response
from distort.errors import SessionError
from distort.session.files.csv_table import read_table, write_table
from distort.session.results.result_files import read_harmonics, read_response, write_harmonics, write_response

ROWS = 241
"""x = -136 ... 104 of f = 1000 x 10^(x/80) Hz."""

FREQUENCY_HZ = 1000.0 * 10 ** (np.arange(-136, 105) / 80)

HALF_A_DECIMAL = 0.5001e-4
"""Largest rounding of a cell with four decimals, and the comparison's own."""


def curve(seed: int, low: float = -120.0, high: float = 100.0) -> np.ndarray:
    return np.random.default_rng(seed).uniform(low, high, ROWS)


def response(unit: LevelUnit = "db_spl") -> Response:
    level = curve(1)
    level[:5] = np.nan
    return Response(
        frequency_hz=FREQUENCY_HZ,
        level_db=level,
        phase_deg=curve(2, -180.0, 180.0),
        noise_db=curve(3),
        unit=unit,
        delay_s=0.0029,
        lowest_valid_hz=25.0,
    )


def order(number: int) -> Order:
    values = {name: curve(100 * number + index) for index, name in enumerate(ORDER_FIELDS)}
    values["relative_db"][-20:] = np.nan
    values["chain_db"][:] = np.nan
    values["noise_uncertainty_db"][:] = 1.0
    values["bias_db"][:] = 1.9
    values["bias_db"][80] = -2.1
    # The rule of the contract: under 10 dB above the noise floor, under 25 dB above the leak, or within a quarter of an
    # octave (6 rows) of a bias over 0.3 dB and over twice its uncertainty.
    doubtful = (values["relative_db"] - values["noise_db"] < 10) | (values["relative_db"] - values["leak_db"] < 25)
    doubtful |= np.abs(np.arange(ROWS) - 80) <= 6
    doubtful |= FREQUENCY_HZ < 25.0  # where the fundamental itself does not hold
    return Order(order=number, doubtful=doubtful, **values)


ORDER_FIELDS = [field.name for field in fields(Order) if field.name.endswith("_db")]


def harmonics(unit: LevelUnit = "db_spl") -> Harmonics:
    return Harmonics(
        frequency_hz=FREQUENCY_HZ,
        fundamental_db=curve(10),
        unit=unit,
        thd_db=curve(11),
        thd_percent=curve(12, 0.0, 30.0),
        thd_total_percent=curve(13, 0.0, 30.0),
        thd_orders=np.arange(ROWS, dtype=np.int64) % 10,
        residual_db=curve(14),
        orders=(order(2), order(3), order(10)),
    )


def assert_alike(got: Any, wanted: Any) -> None:
    """Two results alike within the decimals of a file; NaN where NaN was."""
    for field in fields(wanted):
        mine, theirs = getattr(got, field.name), getattr(wanted, field.name)
        if isinstance(theirs, np.ndarray) and theirs.dtype == np.float64:
            assert np.array_equal(np.isnan(mine), np.isnan(theirs)), field.name
            assert np.nanmax(np.abs(mine - theirs), initial=0.0) <= HALF_A_DECIMAL, field.name
        elif isinstance(theirs, np.ndarray):
            assert np.array_equal(mine, theirs), field.name
        elif field.name != "orders":
            assert mine == theirs, field.name


@pytest.mark.parametrize(
    ("unit", "header"),
    [
        ("db_spl", "frequency_hz,level_db_spl,phase_deg,noise_db_spl"),
        ("dbfs", "frequency_hz,level_dbfs,phase_deg,noise_dbfs"),
    ],
)
def test_a_response(tmp_path: Path, unit: LevelUnit, header: str) -> None:
    path = tmp_path / "response_86dB.csv"
    write_response(path, response(unit))
    lines = path.read_text(encoding="utf-8").split("\n")
    assert lines[0] == header
    assert len(lines) == 1 + ROWS + 1
    assert lines[-1] == ""
    assert lines[1].startswith("19.9526,,")
    assert lines[137].startswith("1000.0000,")
    assert_alike(read_response(path, delay_s=0.0029, lowest_valid_hz=25.0), response(unit))


@pytest.mark.parametrize(("unit", "column"), [("db_spl", "db_spl"), ("dbfs", "dbfs")])
def test_harmonics(tmp_path: Path, unit: LevelUnit, column: str) -> None:
    path = tmp_path / "harmonics_86dB.csv"
    write_harmonics(path, harmonics(unit))
    header = path.read_text(encoding="utf-8").split("\n")[0].split(",")
    assert header[:7] == [
        "frequency_hz", f"fundamental_{column}", "thd_db", "thd_percent", "thd_total_percent", "thd_orders",
        "residual_db",
    ]  # fmt: skip
    assert header[7:] == [
        *(
            f"h{number}_{name}"
            for number in (2, 3, 10)
            for name in (
                "db", "noise_db", "leak_db", "chain_db", "bias_db", "uncertainty_db", column, "equivalent_input_db",
            )
        ),
        *(f"h{number}_noise_uncertainty_db" for number in (2, 3, 10)),
    ]  # fmt: skip
    back = read_harmonics(path, lowest_valid_hz=25.0)
    assert_alike(back, harmonics(unit))
    assert [each.order for each in back.orders] == [2, 3, 10]
    for got, wanted in zip(back.orders, harmonics(unit).orders, strict=True):
        assert_alike(got, wanted)


def test_harmonics_of_earlier_editions_state_the_interval_of_their_noise(tmp_path: Path) -> None:
    """They have no columns of it: `uncertainty_db` was noise alone, and it still decides what is marked."""
    path = tmp_path / "harmonics_86dB.csv"
    write_harmonics(path, harmonics("db_spl"))
    lines = [line.split(",") for line in path.read_text(encoding="utf-8").splitlines()]
    path.write_text("".join(",".join(line[:-3]) + "\n" for line in lines), encoding="utf-8")
    for order in read_harmonics(path, lowest_valid_hz=25.0).orders:
        np.testing.assert_array_equal(order.noise_uncertainty_db, order.uncertainty_db)


@pytest.mark.parametrize("unit", ["dbfs"])
def test_no_spl_is_made_up_without_a_calibration(tmp_path: Path, unit: LevelUnit) -> None:
    write_response(tmp_path / "r.csv", response(unit))
    write_harmonics(tmp_path / "h.csv", harmonics(unit))
    assert "spl" not in (tmp_path / "r.csv").read_text(encoding="utf-8")
    assert "spl" not in (tmp_path / "h.csv").read_text(encoding="utf-8")


def test_cells(tmp_path: Path) -> None:
    """Empty: not measurable. -300: nothing at all. Four decimals; of per cent six, since 1e-6 % is -160 dB."""
    values = np.array([np.nan, -np.inf, -1234.0, -0.00001, 1.00005001, -82.5])
    write_table(
        tmp_path / "a.csv", {"a_db": values, "a_percent": np.abs(values[[3, 3, 3, 3, 4, 5]]), "n": np.arange(6)}
    )
    assert (tmp_path / "a.csv").read_text(encoding="utf-8").split("\n") == [
        "a_db,a_percent,n",
        ",0.000010,0",
        "-300.0000,0.000010,1",
        "-300.0000,0.000010,2",
        "0.0000,0.000010,3",
        "1.0001,1.000050,4",
        "-82.5000,82.500000,5",
        "",
    ]


@settings(max_examples=50, deadline=None)
@given(st.lists(st.floats(-300, 1000) | st.just(float("nan")), min_size=1, max_size=20))
def test_any_table_comes_back(tmp_path_factory: pytest.TempPathFactory, values: list[float]) -> None:
    path = tmp_path_factory.getbasetemp() / "any.csv"
    rows_hz = np.arange(1.0, 1.0 + len(values))
    write_table(path, {"frequency_hz": rows_hz, "a_db": values, "b_db": values[::-1]})
    table = read_table(path)
    assert list(table) == ["frequency_hz", "a_db", "b_db"]
    assert np.array_equal(table["frequency_hz"], rows_hz)
    assert np.allclose(table["a_db"], values, rtol=0, atol=HALF_A_DECIMAL, equal_nan=True)
    assert np.array_equal(table["b_db"], table["a_db"][::-1], equal_nan=True)


def test_a_file_that_is_already_there_is_replaced_and_what_cannot_be_written_leaves_it(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    write_table(path, {"frequency_hz": [1.0]})
    write_table(path, {"frequency_hz": [2.0]})
    for impossible in (np.inf, 1001.0):
        with pytest.raises(SessionError, match=rf"not written: a_db holds {impossible:g}, which no result can"):
            write_table(path, {"frequency_hz": [1.0], "a_db": [impossible]})
    with pytest.raises(SessionError, match="not equally long"):
        write_table(path, {"a": [1.0], "b": [1.0, 2.0]})
    with pytest.raises(SessionError, match="does not exist"):
        write_table(tmp_path / "none" / "a.csv", {"a": [1.0]})
    assert read_table(path)["frequency_hz"].tolist() == [2.0]


IMPOSSIBLE = ("nan", "inf", "-inf", "1e400", "1e300", "-1e300", "1001")
"""Cells that no result has: readings are in decibels."""


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("", "is empty"),
        ("\ufeff\n", "is empty"),
        ("frequency_hz,a\n", "has no rows"),
        ("frequency_hz,a,a\n1,2,3\n", "line 1: a column stands there twice"),
        ("a,frequency_hz\n1,2\n", "line 1: it begins with 'a', not with frequency_hz"),
        (f"{'x' * 5000},a\n1,2\n", f"begins with '{'x' * 39}...{'x' * 19}' (5,000 characters), not with"),
        ("frequency_hz;a\n1,5;2,5\n", "line 1: it begins with 'frequency_hz;a'"),
        ("frequency_hz,a\n1,2\n3\n", "line 3: 1 cells, where the header has 2"),
        ("frequency_hz,a\n1,2\n\n", "line 3: 1 cells"),
        ("frequency_hz,a\n1,2\n3,x\n", "line 3: 'x' is neither a number nor empty"),
        (f"frequency_hz,a\n1,{'x' * 5000}\n", f"line 2: '{'x' * 39}...{'x' * 19}' (5,000 characters) is neither"),
        ("frequency_hz,a\n1,2\0\n", "is not UTF-8 text"),
        *((f"frequency_hz,a\n1,{cell}\n", f"line 2: '{cell}' is no number that") for cell in IMPOSSIBLE),
        *((f"frequency_hz,a\n{cell},1\n", f"line 2: '{cell}' is no number that") for cell in ("nan", "inf", "1e7")),
        *((f"frequency_hz,a\n{cell},1\n", "line 2: its frequency is not above") for cell in ("", "0", "-1")),
        ("frequency_hz,a\n1,1\n,1\n", "line 3: its frequency is not above"),
        ("frequency_hz,a\n1,1\n2,1\n2,1\n3,1\n", "line 4: its frequency is not above"),
        ("frequency_hz,a\n2,1\n1,1\n", "line 3: its frequency is not above"),
        ("frequency_hz,a\n" + "1,1\n" * 2_600_000, "is larger than 10 MB"),
    ],
)
def test_a_damaged_table_is_named_by_file_and_line(tmp_path: Path, content: str, said: str) -> None:
    (tmp_path / "a.csv").write_text(content, encoding="utf-8")
    with pytest.raises(SessionError, match=r"a\.csv") as caught:
        read_table(tmp_path / "a.csv")
    assert said in str(caught.value)
    assert len(str(caught.value).removeprefix(str(tmp_path))) < 200


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "latin-1"])
def test_a_table_in_another_encoding_is_refused(tmp_path: Path, encoding: str) -> None:
    (tmp_path / "a.csv").write_bytes("frequency_hz,a\n1000,\N{DEGREE SIGN}\n".encode(encoding))
    with pytest.raises(SessionError, match=r"a\.csv is not UTF-8 text: run `distort"):
        read_table(tmp_path / "a.csv")


def test_a_table_that_an_editor_saved_with_a_mark_and_its_own_line_ends_is_read(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes(b"\xef\xbb\xbffrequency_hz,a\r\n1000,-3\r\n")
    assert read_table(tmp_path / "a.csv")["a"].tolist() == [-3.0]


@pytest.mark.parametrize("rows", [1, 2, 99, 240])
def test_tables_of_a_sweep_have_the_rows_of_the_grid(tmp_path: Path, rows: int) -> None:
    """All tables of a condition are read side by side, row by row."""
    for name, write, value in (("r.csv", write_response, response()), ("h.csv", write_harmonics, harmonics())):
        write(tmp_path / name, value)
        lines = (tmp_path / name).read_text(encoding="utf-8").splitlines(keepends=True)
        (tmp_path / name).write_text("".join(lines[: 1 + rows]), encoding="utf-8")
    with pytest.raises(SessionError, match=r"has not the rows it must have \(241, from 19\.95 to 19953 Hz\)"):
        read_response(tmp_path / "r.csv", delay_s=0.0, lowest_valid_hz=20.0)
    with pytest.raises(SessionError, match="has not the rows it must have"):
        read_harmonics(tmp_path / "h.csv", lowest_valid_hz=20.0)


def test_tables_of_another_kind_are_refused(tmp_path: Path) -> None:
    with pytest.raises(SessionError, match=r"none\.csv is missing: run `distort analyze`"):
        read_harmonics(tmp_path / "none.csv", lowest_valid_hz=25.0)
    write_response(tmp_path / "r.csv", response())
    write_harmonics(tmp_path / "h.csv", harmonics())
    with pytest.raises(SessionError, match="no column fundamental_db_spl or fundamental_dbfs"):
        read_harmonics(tmp_path / "r.csv", lowest_valid_hz=25.0)
    with pytest.raises(SessionError, match="no column level_db_spl or level_dbfs"):
        read_response(tmp_path / "h.csv", delay_s=0.0, lowest_valid_hz=20.0)
    table = read_table(tmp_path / "h.csv")
    del table["h3_leak_db"]
    write_table(tmp_path / "h.csv", table)
    with pytest.raises(SessionError, match=r"has not the columns it must have \(h3_leak_db\)"):
        read_harmonics(tmp_path / "h.csv", lowest_valid_hz=25.0)
    write_table(tmp_path / "h.csv", {**read_table(tmp_path / "r.csv"), "extra": np.zeros(ROWS)})
    with pytest.raises(SessionError, match=r"\(extra\)"):
        read_response(tmp_path / "h.csv", delay_s=0.0, lowest_valid_hz=20.0)


def test_cells_without_a_number_are_empty_beside_words_that_look_like_them(tmp_path: Path) -> None:
    numbers = np.array([np.nan, 1.5, np.nan])
    columns = {"frequency_hz": [10, 20, 30], "nan_db": numbers, "ended_by": np.array(["nano", "a nan", "x"])}
    write_table(tmp_path / "words.csv", {**columns, "last_db": numbers})
    write_table(tmp_path / "numbers.csv", {"frequency_hz": [10, 20, 30], "nan_db": numbers})
    assert (tmp_path / "words.csv").read_text(encoding="utf-8") == (
        "frequency_hz,nan_db,ended_by,last_db\n10,,nano,\n20,1.5000,a nan,1.5000\n30,,x,\n"
    )
    assert (tmp_path / "numbers.csv").read_text(encoding="utf-8") == "frequency_hz,nan_db\n10,\n20,1.5000\n30,\n"


def test_orders_in_the_sum_must_be_whole(tmp_path: Path) -> None:
    write_harmonics(tmp_path / "h.csv", harmonics())
    write_table(tmp_path / "h.csv", {**read_table(tmp_path / "h.csv"), "thd_orders": np.full(ROWS, 9.5)})
    with pytest.raises(SessionError, match="whole numbers"):
        read_harmonics(tmp_path / "h.csv", lowest_valid_hz=25.0)


def test_harmonics_without_a_single_order(tmp_path: Path) -> None:
    write_harmonics(tmp_path / "h.csv", replace(harmonics(), orders=()))
    assert read_harmonics(tmp_path / "h.csv", lowest_valid_hz=25.0).orders == ()
