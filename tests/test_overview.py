"""The table that a condition begins with: each cell from curves whose shape is known."""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.anomalies.anomaly import Anomaly
from distort.analysis.findings.finding import EvidenceRow, Finding, NextStep, PlaceFound
from distort.report.terminal.console import make_console, say
from distort.report.text.numbers import two_digits, two_digits_hertz
from distort.report.text.overview import HEADERS, cells, compression_at, overview, overview_blocks, worst_thd
from distort.session.results.condition_results import ConditionResults
from tests.ladder_examples import ladder
from tests.page_examples import whole_results
from tests.report_examples import FREQUENCY_HZ, harmonics, row_of
from tests.test_report_session import results

LEVELS = (86.0, 91.0, 96.0)


def whole(**said: object) -> ConditionResults:
    made = whole_results("stand", levels=LEVELS, conditions=("stand",))
    return replace(made, findings=replace(made.findings, **said))


def of_third_order(at_hz: float) -> EvidenceRow:
    return EvidenceRow(
        quantity="h3",
        stimulus="sweep",
        level_db_spl=96.0,
        frequency_hz=at_hz,
        rise_db=6.0,
        interval_db=0.5,
        speaks="for",
    )


def finding(at_hz: float, explanation: str = "loudspeaker-generated", *, of_orders: bool = True) -> Finding:
    evidence = (of_third_order(at_hz),) if of_orders else ()
    return Finding(
        number=4,
        explanation=explanation,
        decided=True,
        probability=0.9,
        headline="something",
        places=(PlaceFound(frequency_hz=at_hz, low_hz=at_hz / 1.1, high_hz=at_hz * 1.1),),
        part_of_loudspeaker=True,
        evidence=evidence,
        next=NextStep(text="Look."),
    )


def dip(at_hz: float, kind: str = "dip") -> Anomaly:
    return Anomaly(
        number=2,
        kind=kind,
        frequency_hz=at_hz,
        frequency_uncertainty_hz=1.0,
        deviation_db=-6.0,
        deviation_uncertainty_db=0.1,
        low_hz=at_hz / 1.1,
        high_hz=at_hz * 1.1,
        width_octaves=0.3,
        q=4.0,
        q_uncertainty=0.1,
        phase="unknown",
        excess_turn=0.0,
        shape="unknown",
        path_difference_m=None,
        reflection=None,
        half_wave_m=0.1,
        quarter_wave_m=0.05,
        elsewhere="unknown",
        elsewhere_db=None,
        equaliser="unknown",
    )


def test_a_row_a_level_holds_what_its_curves_say() -> None:
    """The example's dip at 1 kHz is 6 dB deep beside a flat response, so the range is 6 dB and the bass begins at the
    lowest frequency that is read."""
    rows = overview(whole())
    assert [one.level_db_spl for one in rows] == list(LEVELS)
    for one in rows:
        assert one.response is not None
        # the grid's row nearest to 1 kHz is 1 kHz itself; 0.01 dB is its rounding in the table that was written
        assert one.response.range_db == pytest.approx(6.0, abs=0.01)
        assert one.response.low_hz == pytest.approx(1000.0)
        assert one.bass_limit_hz == pytest.approx(FREQUENCY_HZ[FREQUENCY_HZ >= 25.0][0])
    assert rows[0].compression is not None
    assert rows[0].compression.state == "reference"


def test_the_worst_thd_is_that_of_the_loudest_row_with_its_order() -> None:
    """One order is lifted at one row alone, to -10 dB re the fundamental: nothing else comes near."""
    curves = harmonics()
    row = row_of(500.0)
    third = curves.orders[1].relative_db.copy()
    third[row] = -10.0
    thd_db = curves.thd_db.copy()
    thd_db[row] = -10.0
    lifted = replace(
        curves,
        thd_db=thd_db,
        thd_percent=100.0 * 10.0 ** (thd_db / 20.0),
        orders=(curves.orders[0], replace(curves.orders[1], relative_db=third), *curves.orders[2:]),
    )
    everywhere = np.ones(FREQUENCY_HZ.size, dtype=np.bool_)
    findings = results("stand").findings
    worst = worst_thd(lifted, everywhere, findings)
    assert worst is not None
    assert (worst.order, worst.mark) == (3, "")
    assert worst.percent == pytest.approx(100.0 / 10.0**0.5)
    assert worst.frequency_hz == pytest.approx(FREQUENCY_HZ[row])
    assert worst_thd(lifted, FREQUENCY_HZ > 20000.0, findings) is None, "where nothing plays nothing is worst"


def test_the_cause_of_the_worst_thd_is_named_where_it_is_known() -> None:
    """A finding about distortion, then a dip; what rests on no order, as compression, a rattle or a peak of the
    response, is no cause."""
    place = overview(whole())[0].thd
    assert place is not None
    at_hz = place.frequency_hz
    for said, words in (
        ({"findings": (finding(at_hz),)}, " (4)"),
        ({"findings": (finding(3.0 * at_hz),)}, ""),
        ({"findings": (finding(at_hz, "limiting", of_orders=False),)}, ""),
        ({"findings": (finding(at_hz, "rattle", of_orders=False),)}, ""),
        ({"findings": (finding(at_hz, "resonance", of_orders=False),)}, ""),
        ({"findings": (finding(at_hz, "event-in-time", of_orders=False),)}, " (4)"),
        ({"anomalies": (dip(at_hz),)}, " (dip B)"),
        ({"anomalies": (dip(at_hz, "peak"),)}, ""),
        ({"anomalies": (dip(at_hz),), "findings": (finding(at_hz),)}, " (4)"),
    ):
        cell = cells(overview(whole(**{"anomalies": (), "findings": (), **said}))[0])[HEADERS.index("Worst THD")]
        assert cell.endswith(f" Hz{words}" if words or not cell.endswith("kHz") else "kHz"), (said, cell)


def test_compression_is_the_largest_loss_or_why_there_is_none() -> None:
    found, _ = ladder(LEVELS, source="sweep")
    losses = [
        -octave.change_db[-1]
        for band, octave in zip(found.ranges, found.octaves, strict=True)
        if band.words[-1] in ("gradual compression", "limiting")
    ]
    last = compression_at((found,), LEVELS[-1])
    assert last is not None
    assert losses, "the example compresses at its last level"
    assert last.loss_db == pytest.approx(max(losses))
    linear = replace(
        found, ranges=tuple(replace(band, words=("reference",) + ("linear",) * 2) for band in found.ranges)
    )
    quiet = compression_at((linear,), LEVELS[-1])
    assert quiet is not None
    assert quiet.state == "none"
    unread = replace(
        found, ranges=tuple(replace(band, words=("reference", "unknown", "unknown")) for band in found.ranges)
    )
    nothing = compression_at((unread,), LEVELS[-1])
    assert nothing is not None
    assert nothing.state == "unknown"
    assert compression_at((found,), 200.0) is None
    assert compression_at((), LEVELS[0]) is None


def test_it_fits_80_columns_and_explains_its_marks(capsys: pytest.CaptureFixture[str]) -> None:
    rows = overview(whole())
    wide = replace(rows[0], thd=replace(rows[0].thd, percent=12.3, frequency_hz=17800.0, mark="?", finding=12))  # type: ignore[type-var,arg-type]
    say(make_console(), *overview_blocks((wide, *rows)))
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 80
    assert "?12 at 18 kHz (12)" in lines[1]
    assert any(line.startswith("? ") for line in lines)
    assert any("finding" in line for line in lines)


def test_two_digits_count() -> None:
    written = [two_digits(value) for value in (0.0361, 0.999, 2.24, 9.96, 16.4, 132.0, 0.0, float("nan"))]
    assert written == ["0.036", "1.0", "2.2", "10", "16", "130", "0", "-"]
    assert [two_digits_hertz(value) for value in (42.2, 168.0, 999.0, 1188.0, 17783.0)] == [
        "42 Hz",
        "170 Hz",
        "1 kHz",
        "1.2 kHz",
        "18 kHz",
    ]


def test_a_level_of_multitones_alone_has_a_row() -> None:
    made = whole()
    alone = ConditionResults(
        findings=replace(made.findings, levels=(), compression=()),
        responses=(),
        harmonics=(),
        multitones=made.multitones,
    )
    rows = overview(alone)
    assert [one.level_db_spl for one in rows] == list(LEVELS)
    assert all(one.thd is None and one.multitone is not None for one in rows)
