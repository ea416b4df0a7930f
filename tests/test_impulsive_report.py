"""What people read of a rattle, a rub or airflow noise: findings, table and figure."""

import dataclasses

import numpy as np
import pytest
from rich.table import Table

from distort.analysis.findings.evidence import Evidence
from distort.analysis.findings.find import find
from distort.analysis.impulsive.impulsive import CONFIRMED, ONCE, ImpulsiveLevel, ImpulsivePlace, ImpulsiveResult
from distort.errors import SessionError
from distort.report.figures.impulsive import impulsive_figure
from distort.report.figures.style import Legend
from distort.report.kinds import SHOWN
from distort.session.files.csv_table import read_table, write_table
from distort.session.results.impulsive_table import impulsive_columns, impulsive_of_columns
from tests.test_report_session import results

MOST_WORDS = 45
"""Of a finding's sentence."""


def place(kind: str, *, level: float = 96.0, low_hz: float = 59.6, high_hz: float = 75.0) -> ImpulsivePlace:
    return ImpulsivePlace(
        level_db_spl=level,
        frequency_hz=66.8,
        low_hz=low_hz,
        high_hz=high_hz,
        z=31.0,
        regularity=0.2,
        unevenness=30.0,
        spread=0.9,
        kind=kind,
    )


def evidence(*places: ImpulsivePlace) -> Evidence:
    frequency_hz = np.geomspace(20.0, 20000.0, 241)
    return Evidence(
        condition="grille-on",
        frequency_hz=frequency_hz,
        response_db=np.zeros(241),
        lowest_valid_hz=20.0,
        impulses=places,
    )


@pytest.mark.parametrize(
    ("kind", "explanation", "words"),
    [
        ("rattle", "rattle", "which points to a loose part rather than the driver"),
        ("rub", "rub", "in every cycle"),
        ("airflow-noise", "airflow-noise", "air in a port or through a leak"),
        ("undecided", "undecided", "cannot tell a loose part from the driver"),
    ],
)
def test_each_kind_is_a_finding_in_a_short_sentence(kind, explanation, words) -> None:
    (found,) = find(evidence(place(kind), place(kind, level=91.0)))
    assert (found.explanation, found.decided) == (explanation, kind != "undecided")
    assert words in found.sentence
    assert "while 60 to 75 Hz plays at 96 dB SPL" in found.sentence
    assert "from 91 dB SPL on" in found.sentence
    assert len(found.sentence.split()) <= MOST_WORDS
    assert len(found.headline) <= 78
    assert found.part_of_loudspeaker
    again = "" if kind == "rub" else " --only sweep_96dB --again"  # a rub is tried at a level of its own
    assert found.next.command == f"distort measure FOLDER:grille-on{again}"


def test_places_apart_are_findings_apart_and_orders_are_none() -> None:
    found = find(evidence(place("rattle"), place("airflow-noise", low_hz=30.0, high_hz=40.0), place("high-orders")))
    assert {one.explanation for one in found} == {"rattle", "airflow-noise"}


def result() -> ImpulsiveResult:
    """At 91 dB SPL nothing but a band in one recording; at 96 dB a rattle over two bands."""
    nothing = np.full(4, np.nan)
    there = np.array([False, True, True, False])
    return ImpulsiveResult(
        frequency_hz=np.array([56.2, 63.1, 70.8, 79.4]),
        levels=(
            ImpulsiveLevel(
                level_db_spl=91.0,
                z=np.array([1.0, 2.0, 7.0, 1.0]),
                regularity=nothing,
                unevenness=nothing,
                spread=nothing,
                alarm=np.array([0, 0, ONCE, 0]),
            ),
            ImpulsiveLevel(
                level_db_spl=96.0,
                z=np.array([1.0, 31.0, 12.0, np.nan]),
                regularity=np.where(there, 0.2, np.nan),
                unevenness=np.where(there, 30.0, np.nan),
                spread=np.where(there, 0.9, np.nan),
                alarm=np.where(there, CONFIRMED, 0),
            ),
        ),
    )


def test_its_table_comes_back_and_refuses_what_no_alarm_is() -> None:
    columns = {name: np.asarray(values, dtype=float) for name, values in impulsive_columns(result()).items()}
    again = impulsive_of_columns(columns)
    assert again.places == result().places
    assert [list(level.alarm) for level in again.levels] == [list(level.alarm) for level in result().levels]
    with pytest.raises(ValueError, match="alarm_96dB must be 0 to 2"):
        impulsive_of_columns(columns | {"alarm_96dB": np.array([0.0, 3.0, 0.0, 0.0])})
    with pytest.raises(KeyError, match="spread_91dB"):
        impulsive_of_columns({name: each for name, each in columns.items() if name != "spread_91dB"})


def test_a_loud_buzz_in_a_quiet_room_is_written_and_read(tmp_path) -> None:
    """40 dB over the noise is 10,000 times its power, and neither z nor U is in decibels."""
    (level,) = (one for one in result().levels if one.level_db_spl == 96.0)
    loud = dataclasses.replace(level, z=level.z * 1000.0, unevenness=level.unevenness * 100.0)
    path = tmp_path / "impulsive.csv"
    write_table(path, impulsive_columns(dataclasses.replace(result(), levels=(loud,))))
    (again,) = impulsive_of_columns(read_table(path)).levels
    np.testing.assert_array_equal(again.z, loud.z)
    np.testing.assert_array_equal(again.unevenness, loud.unevenness)
    with pytest.raises(SessionError, match="h3_db holds 1001, which no result can"):
        write_table(path, {"frequency_hz": [1000.0], "h3_db": [1001.0]})


def test_the_figure_marks_what_was_confirmed() -> None:
    figure = impulsive_figure(result(), Legend(loudspeaker="A", simulated=True))
    (axes,) = figure.axes
    dots = [line for line in axes.lines if line.get_marker() == "o" and line.get_xdata().size]
    assert [list(line.get_xdata()) for line in dots] == [[63.1, 70.8]]
    assert [text.get_text() for text in axes.texts] == ["rattle, a loose part"]
    with pytest.raises(ValueError, match="at least one level"):
        impulsive_figure(ImpulsiveResult(frequency_hz=np.zeros(0), levels=()), Legend(loudspeaker="A"))


def said(of: ImpulsiveResult) -> list[str]:
    whole = results("default")
    findings = dataclasses.replace(whole.findings, further=("impulsive",))
    blocks = SHOWN["impulsive"].blocks(dataclasses.replace(whole, findings=findings, further={"impulsive": of}))
    return [" ".join(map(str, one.columns[2].cells)) if isinstance(one, Table) else one for one in blocks]


def test_what_is_shown_names_the_place_and_what_stands_out_once() -> None:
    shown = said(result())
    assert "rattle, a loose part" in shown
    once = [one for one in shown if "in one recording alone" in one]
    assert once
    assert once[0].startswith("At 91 dB SPL something stands out at 67 to 75 Hz in one recording alone")
    first = result().levels[0]
    quiet = dataclasses.replace(first, alarm=np.zeros(4, dtype=np.int64))
    shown = said(ImpulsiveResult(frequency_hz=result().frequency_hz, levels=(quiet,)))
    assert any(one.startswith("Nothing strikes, rubs or blows") for one in shown)
