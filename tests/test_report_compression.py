"""What is printed of compression: numbers and marks per octave, colours, limits, and sentences without a manual."""

import dataclasses
import io
import re

import numpy as np
import pytest
from matplotlib import colormaps
from rich.console import Console

from distort.analysis.compression.coil_heating import coil_change_db
from distort.analysis.compression.curves import HighestLevel
from distort.report.terminal.console import make_console, say
from distort.report.text.change_colours import COOL_WARM, FULL_COLOUR_DB, change_colour, change_style, luminance
from distort.report.text.compression import (
    closer_sentences,
    heating_sentences,
    lag_sentences,
    limit_word,
    limiter_sentences,
    range_clauses,
    range_sentences,
)
from distort.report.text.tables_compression import changes_table, compression_blocks, ranges_table, signed
from distort.session.plan.template import parse_levels
from distort.session.results.condition_results import ConditionResults
from distort.session.results.ladder_results import CompressionFound
from tests.ladder_examples import LADDER, ladder, lag, linear_ladder, multitone_found
from tests.test_report_session import results

FINE = tuple(90.0 + 1.5 * step for step in range(9))


def with_ladders(*, no_compression: str | None = None) -> ConditionResults:
    empty = results("desk")
    both = () if no_compression else (ladder(), ladder(source="multitone", drift_db=None))
    findings = dataclasses.replace(
        empty.findings, compression=tuple(found for found, _ in both), no_compression=no_compression
    )
    return dataclasses.replace(empty, findings=findings, changes=tuple(curves for _, curves in both))


def printed(table: object) -> list[str]:
    stream = io.StringIO()
    make_console(stream).print(table)
    return [line.rstrip() for line in stream.getvalue().splitlines()]


def row_of(lines: list[str], label: str) -> list[str]:
    line = next(line for line in lines if line.startswith(f"{label} "))
    return [line[6 + 6 * column : 12 + 6 * column].strip() for column in range(10)]


def test_the_table_shows_every_change_and_marks_what_is_within_its_uncertainty() -> None:
    found, _ = ladder()
    lines = printed(changes_table(found, basis="change"))
    assert lines[0].split() == ["dB", "SPL", "31.5", "63", "125", "250", "500", "1k", "2k", "4k", "8k", "16k"]
    assert [line.split()[0] for line in lines[1:4]] == ["86", "96", "102"]
    for level in (1, 2, 3):
        for cell, octave, band in zip(row_of(lines, f"{LADDER[level]:g}"), found.octaves, found.ranges, strict=True):
            change_db = octave.change_db[level]
            assert change_db is not None
            # written with one decimal
            assert float(cell.lstrip("~")) == pytest.approx(change_db, abs=0.0501)
            assert cell.startswith("~") == (band.words[level] == "linear")
    assert "~ within its uncertainty" in lines
    assert not any(line.startswith("? ") for line in lines)


def test_an_octave_that_could_not_be_measured_is_left_open_and_unknown_uncertainty_marked() -> None:
    found, _ = ladder()
    octaves, ranges = found.octaves[2:], list(found.ranges[2:])
    ranges[0] = dataclasses.replace(ranges[0], words=("reference", "unknown", "unknown", "unknown"), word="unknown")
    partly = dataclasses.replace(found, octaves=octaves, ranges=tuple(ranges))
    lines = printed(changes_table(partly, basis="change"))
    cells = row_of(lines, "102")
    assert cells[:2] == ["-", "-"]
    assert cells[2].startswith("?")
    assert cells[3] == row_of(printed(changes_table(found, basis="change")), "102")[3]
    assert "? its uncertainty is not known" in lines
    assert any("nothing can be said" in sentence for sentence in range_sentences(partly))


def test_corrected_changes_stand_beside_the_plain_ones() -> None:
    """Where the words stand on changes corrected for drift, both tables are printed, the plain one unchanged."""
    whole = with_ladders()
    found = whole.findings.compression[0]
    ranges = tuple(dataclasses.replace(band, basis="corrected") for band in found.ranges)
    octaves = tuple(dataclasses.replace(one, corrected_db=(0.0, -7.1, -7.2, -7.3)) for one in found.octaves)
    corrected = dataclasses.replace(found, ranges=ranges, octaves=octaves)
    findings = dataclasses.replace(whole.findings, compression=(corrected, whole.findings.compression[1]))
    lines = said(dataclasses.replace(whole, findings=findings))
    rows = [line for line in lines if line.startswith("102 ")]
    assert [cell.lstrip("~") for cell in rows[1].split()[1:]] == ["-7.3"] * 10
    plain = row_of(lines, "102")
    assert [cell.lstrip("~") for cell in plain] == [signed(one.change_db[3]) for one in found.octaves]


def said(of: ConditionResults) -> list[str]:
    stream = io.StringIO()
    say(make_console(stream), *compression_blocks(of))
    return [line.rstrip() for line in stream.getvalue().splitlines()]


@pytest.mark.parametrize("levels", [(86.0, 96.0), LADDER, FINE, (90.0, 100.5, 103.5)])
def test_tables_fit_80_columns(levels) -> None:
    for source in ("sweep", "multitone"):
        found, _ = ladder(levels, source=source)
        for table in (changes_table(found, basis="change"), ranges_table(found)):
            assert max(map(len, printed(table))) <= 80


def test_each_octave_has_its_word_onset_and_highest_levels() -> None:
    found, _ = ladder()
    lines = printed(ranges_table(found))
    assert lines[0].split()[-8:] == ["1", "dB", "3", "dB", "3", "%", "10", "%"]
    row = next(line for line in lines if line.startswith("250 "))
    assert row[6:27].strip() == "limiting"
    assert row[27:52].strip() == "between 86 and 96"
    band = found.ranges[3]
    assert row[52:].split()[0] == f"{band.compression_limits[0].level_db_spl:.1f}"
    # the example's distortion is level - 136 dB: 3 % (-30.46 dB) is never reached by 102 dB
    assert row[52:].split()[2:] == [">", "102", ">", "102"]
    multitone, _ = ladder(source="multitone")
    assert "%" not in printed(ranges_table(multitone))[0], "no distortion is known there"


@pytest.mark.parametrize(
    ("how", "word"),
    [
        ({"verdict": "found", "level_db_spl": 94.26, "kept_at_db_spl": 86.0, "exceeded_at_db_spl": 96.0}, "94.3"),
        ({"verdict": "kept to the last", "kept_at_db_spl": 102.0}, "> 102"),
        ({"verdict": "exceeded at the first", "exceeded_at_db_spl": 76.0}, "< 76"),
        ({"verdict": "unknown"}, "-"),
    ],
)
def test_highest_levels_never_go_beyond_the_ladder(how, word) -> None:
    fields = {"level_db_spl": None, "kept_at_db_spl": None, "exceeded_at_db_spl": None, **how}
    assert limit_word(HighestLevel(quantity="distortion", limit=3.0, **fields)) == word


def test_a_limiter_is_named_with_its_range_and_level() -> None:
    """The example limits what is over 97 dB from about 60 Hz to 2 kHz: flat from the rung of 96 dB on."""
    sentences = range_sentences(ladder()[0])
    assert sentences[0] == (
        "Between about 89 Hz and 1.4 kHz it limits: from 96 dB SPL up the output hardly rises, and at 102 dB SPL it is "
        "up to 6.0 dB below linear (250 Hz octave). It begins to compress between 86 and 96 dB SPL."
    )
    assert sentences[-1] == "Between about 5.6 kHz and 22 kHz it stays linear up to 102 dB SPL, within the uncertainty."
    fine = range_sentences(ladder(FINE)[0])
    assert fine[0].startswith("Between about 89 Hz and 1.4 kHz it limits: from 97.5 dB SPL up")


def test_octaves_that_compress_differently_get_their_own_sentences() -> None:
    found, _ = ladder()
    sentences = [each for each in range_sentences(found) if "gradually" in each]
    assert [re.findall(r"up to ([\d.]+) dB below", each)[0] for each in sentences] == ["1.6", "4.4", "3.6", "0.5"]
    before, last = found.octaves[1].change_db[-2:]
    assert before is not None
    assert last is not None
    assert f"the last 6.0 dB step raised the output by only {6.0 + last - before:.1f} dB" in sentences[1]


def test_a_loudspeaker_in_order_is_said_to_be() -> None:
    found, _ = linear_ladder()
    assert range_sentences(found) == [
        "Between about 22 Hz and 22 kHz it stays linear up to 102 dB SPL, within the uncertainty."
    ]
    assert range_clauses(found) == "nothing beyond the uncertainty"


def expanding() -> CompressionFound:
    found, _ = linear_ladder()
    octaves = tuple(dataclasses.replace(one, change_db=(0.0, 0.0, 0.1, 0.7)) for one in found.octaves)
    words = ("reference", "linear", "linear", "expansion")
    ranges = tuple(dataclasses.replace(one, words=words, word="expansion", onset=None) for one in found.ranges)
    return dataclasses.replace(found, octaves=octaves, ranges=ranges)


def test_expansion_is_told_from_compression() -> None:
    (sentence,) = range_sentences(expanding())
    assert "expands" in sentence
    assert "up to 0.7 dB above linear at 102 dB SPL" in sentence
    assert "+0.7" in row_of(printed(changes_table(expanding(), basis="change")), "102")


def test_heating_and_drift_are_said_and_never_hidden() -> None:
    found, _ = ladder()
    text = " ".join(heating_sentences(found, ()))
    assert "include heating" in text
    # the example drifts by 0.15 dB everywhere, scattered by noise of at most 0.05 dB in an octave
    assert re.search(r"76 dB SPL, played again after a rest, read up to 0\.[12]\d? \+- 0\.\d+ dB more", text)
    once, _ = ladder(drift_db=None)
    assert "was not played again" in " ".join(heating_sentences(once, ()))
    warm = tuple(dataclasses.replace(one, heating_db=-0.3, heating_uncertainty_db=0.02) for one in found.octaves)
    hot = dataclasses.replace(found, repeated="hot", octaves=warm)
    assert "played again at once, read up to 0.30 +- 0.02 dB less" in " ".join(heating_sentences(hot, ()))
    still = tuple(dataclasses.replace(one, drift_db=0.01) for one in found.octaves)
    same = " ".join(heating_sentences(dataclasses.replace(found, octaves=still), ()))
    assert "read the same as before within 0.05 dB" in same


def test_large_steps_say_what_smaller_ones_would_tell() -> None:
    """The ladder that is advised keeps the reference and goes through the last bracket in steps of 1.5 dB."""
    coarse, _ = ladder((76.0, 86.0, 102.0))
    (sentence,) = closer_sentences(coarse)
    levels = parse_levels(sentence.rsplit(" ", 1)[1])
    assert levels[0] == 76.0
    assert levels[-1] == 102.0
    assert np.diff(levels[1:]) == pytest.approx(1.5)
    assert 86.0 <= levels[1] < 87.5
    wide, _ = ladder((76.0, 96.0))
    assert len(parse_levels(closer_sentences(wide)[0].rsplit(" ", 1)[1])) > 3
    assert closer_sentences(linear_ladder()[0]) == []


def test_how_far_it_heats_comes_from_the_loudest_multitone() -> None:
    found, _ = ladder(source="multitone")
    sentences = heating_sentences(found, tuple(multitone_found(level) for level in LADDER))
    assert (
        "While the multitone at 102 dB SPL played, 40-80 Hz fell by 0.6 +- 0.1 dB with a time constant of 9.0 s."
    ) in sentences
    (warmer,) = re.findall(r"\+(\d+) K \(copper", " ".join(sentences))
    # copper, 0.393 % per kelvin: 20 log10(1 + 0.00393 x 18.2) = 0.6 dB (closed form), written in whole kelvins
    assert float(coil_change_db(float(warmer))) == pytest.approx(-0.6, abs=0.02)
    cold = heating_sentences(found, (multitone_found(76.0),))
    assert "No band changed its level measurably while the multitones played." in cold


def test_a_limiter_that_comes_in_is_bracketed_by_the_multitones() -> None:
    (sentence,) = limiter_sentences([multitone_found(level) for level in LADDER])
    assert sentence.startswith("A limiter engages between 96 and 102 dB SPL (89.1 Hz to 1.41 kHz)")
    assert "overshot by 2.4 +- 0.3 dB" in sentence
    assert limiter_sentences([multitone_found(76.0)]) == []
    assert "at or below 102 dB SPL" in limiter_sentences([multitone_found(102.0)])[0]


def test_the_lag_of_the_sweep_and_the_length_that_mends_it() -> None:
    (lagging,) = lag_sentences(ladder(lags=(lag(96.0, 0.0), lag(102.0, -0.28, needed_s=31.0)))[0])
    assert "0.28 +- 0.02 dB (at 102 dB SPL, 2 kHz)" in lagging
    assert "A sweep of 31 s would bring that under 0.1 dB" in lagging
    fast, other = lag_sentences(ladder(lags=(lag(96.0, 0.0), lag(102.0, 0.05, other_db=-0.25)))[0])
    assert fast == "The sweep is slow enough: its lag stays under 0.1 dB at every level."
    assert "reads 0.25 dB less near 80 Hz, and not for its speed" in other
    assert lag_sentences(ladder()[0])[0].startswith("No short sweep was played")
    assert lag_sentences(ladder(source="multitone")[0]) == []


def test_both_sources_are_printed_or_the_reason_why_not() -> None:
    lines = said(with_ladders())
    assert "Change of the sweep against 76 dB SPL, in dB" in lines
    assert "Change of the multitone against 76 dB SPL, in dB" in lines
    reason = "there is no compression result: nobody said by how much the volume was turned"
    assert said(with_ladders(no_compression=reason))[3] == reason


def test_what_compresses_is_a_clause_a_kind() -> None:
    (sweep, _) = with_ladders().findings.compression
    assert range_clauses(sweep).startswith(
        "limiting by up to 6.0 dB (89 Hz to 1.4 kHz, flat from 96 dB SPL up); "
        "gradual compression by up to 1.6 dB (22 Hz to 45 Hz), "
    )


def test_the_colour_map_is_the_published_one() -> None:
    """matplotlib's "coolwarm", which is Moreland's map of 2009."""
    for index, colour in enumerate(COOL_WARM):
        published = 255.0 * np.array(colormaps["coolwarm"](index / 16)[:3])
        np.testing.assert_allclose(colour, published, atol=0.51)  # whole numbers


def test_compression_is_warm_expansion_cool_and_the_text_readable() -> None:
    """WCAG 2.1: contrast (L1 + 0.05) / (L2 + 0.05), at least 4.5 for text."""
    assert change_colour(-100.0) == change_colour(-FULL_COLOUR_DB) == COOL_WARM[-1]
    assert change_colour(FULL_COLOUR_DB) == COOL_WARM[0]
    for change_db in np.linspace(-8.0, 8.0, 81):
        colour = change_colour(float(change_db))
        front = 0.0 if change_style(float(change_db)).startswith("black") else 1.0
        low, high = sorted((front, luminance(colour)))
        assert (high + 0.05) / (low + 0.05) >= 4.5
    assert luminance((255, 255, 255)) == pytest.approx(1.0)
    assert luminance((0, 0, 0)) == 0.0


def test_colours_on_a_terminal_alone() -> None:
    stream = io.StringIO()
    console = Console(file=stream, force_terminal=True, color_system="truecolor", width=80)
    console.print(changes_table(ladder()[0], basis="change"))
    red, green, blue = change_colour(-FULL_COLOUR_DB)
    assert f"48;2;{red};{green};{blue}" not in printed(changes_table(ladder()[0], basis="change"))
    assert "48;2;" in stream.getvalue()
    assert "\x1b" not in "".join(printed(changes_table(ladder()[0], basis="change")))


@pytest.mark.parametrize(("value", "text"), [(-0.04, "0.0"), (0.04, "0.0"), (-0.06, "-0.1"), (12.34, "+12.3")])
def test_changes_are_signed(value, text) -> None:
    assert signed(value) == text


def test_a_level_that_rises_is_neither_a_limiter_nor_heat() -> None:
    loud = multitone_found(102.0)
    rising = dataclasses.replace(
        loud,
        attack=tuple(dataclasses.replace(one, depth_db=1.0) for one in loud.attack),
        warm_up=tuple(dataclasses.replace(one, depth_db=0.6) for one in loud.warm_up),
    )
    assert limiter_sentences([rising]) == []
    found, _ = ladder(source="multitone")
    text = " ".join(heating_sentences(found, [rising]))
    assert "40-80 Hz rose by 0.6 +- 0.1 dB" in text
    assert "warmer" not in text
