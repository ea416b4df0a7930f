"""What people read of noise that comes with level: sentences, table, figure, and what it adds to a finding."""

import dataclasses
import math

import numpy as np
import pytest
from rich.table import Table

from distort.analysis.findings.find import find
from distort.analysis.level_noise import Growing
from distort.report.figures.noise import has_noise, noise_figure
from distort.report.figures.style import Legend
from distort.report.text.noise import MOST_LEVELS, growing_sentences, noise_blocks
from tests.test_impulsive_report import evidence, place
from tests.test_level_noise import result_of
from tests.test_report_session import results

AIR = Growing(
    low_hz=251.2,
    high_hz=3981.1,
    loudest_hz=1000.0,
    loudest_db=31.0,
    growth_db_per_db=3.06,
    uncertainty_db_per_db=0.2,
)


@pytest.mark.parametrize(
    ("growth", "words"),
    [
        ([3.0, 3.1], "grows by 3.0 +- 0.2 dB per dB of drive, faster than the sound, as the air in a port"),
        ([1.0, 1.1], "about as the sound does, so a codec or an unsteady clock"),
        ([1.6, 1.6], "grows by 1.6 +- 0.2 dB per dB of drive."),
        ([math.nan, math.nan], "Some noise comes with the sound at 91, 96 dB SPL"),
    ],
)
def test_a_sentence_says_where_it_grows_and_as_what(growth, words) -> None:
    (sentence,) = growing_sentences(result_of(growth))
    assert words in sentence


def silent():
    result = result_of([math.nan, math.nan])
    nothing = np.full(2, np.nan)
    levels = tuple(dataclasses.replace(one, noise_db=nothing, uncertainty_db=nothing) for one in result.levels)
    return dataclasses.replace(result, levels=levels)


def test_where_none_is_told_one_sentence_says_so_and_nothing_is_drawn() -> None:
    (sentence,) = growing_sentences(silent())
    assert sentence.startswith("No noise comes with level: at 96 dB SPL none is told")
    assert sentence.endswith("From 10 dB SPL per third octave on it would be, between 100 Hz and 8 kHz.")
    (sentence,) = growing_sentences(dataclasses.replace(silent(), frequency_hz=np.array([50.0, 63.0])))
    assert sentence.endswith("from that of the silence.")
    assert not has_noise(silent())
    with pytest.raises(ValueError, match="needs some"):
        noise_figure(silent(), Legend(loudspeaker="Monitor A"))


def test_the_table_has_a_row_a_third_octave_and_the_highest_levels() -> None:
    result = result_of([3.0, math.nan, 3.1])
    many = dataclasses.replace(
        result, levels=tuple(dataclasses.replace(result.levels[0], level_db_spl=80.0 + n) for n in range(8))
    )
    shown = dataclasses.replace(
        results("desk"),
        findings=dataclasses.replace(results("desk").findings, further=("noise",)),
        further={"noise": many},
    )
    blocks = list(noise_blocks(shown))
    (table,) = (one for one in blocks if isinstance(one, Table))
    assert table.row_count == 3
    assert [column.header for column in table.columns][2:-1] == [f"at {82 + n}" for n in range(MOST_LEVELS)]
    assert list(table.columns[-1].cells) == ["3.0 +- 0.2", "-", "3.1 +- 0.2"]
    assert any("The lower levels are in results/" in str(one) for one in blocks)


def test_the_figure_draws_each_level_over_the_silence() -> None:
    figure = noise_figure(result_of([3.0, 3.0]), Legend(loudspeaker="Monitor A"))
    (axes,) = figure.axes
    drawn = {line.get_label(): line.get_ydata() for line in axes.get_lines() if str(line.get_label()).startswith("at")}
    assert list(drawn) == ["at 91 dB", "at 96 dB"]
    np.testing.assert_array_equal(drawn["at 96 dB"], [30.0, 30.0, 31.0, 31.0])


def test_noise_that_grows_as_air_does_supports_airflow_noise_alone() -> None:
    found = {
        kind: find(dataclasses.replace(evidence(place(kind)), noise=(AIR,)))[0] for kind in ("airflow-noise", "rattle")
    }
    assert found["airflow-noise"].numbers["noise_growth_db_per_db"] == 3.06
    assert "noise agrees: from 251 to 3981 Hz it grows by 3.1 dB per dB" in found["airflow-noise"].sentence
    assert "agrees" not in found["rattle"].sentence
    slow = dataclasses.replace(AIR, growth_db_per_db=1.6)
    (without,) = find(dataclasses.replace(evidence(place("airflow-noise")), noise=(slow,)))
    assert "agrees" not in without.sentence
