"""What another condition reads of a finding: each rule on both sides of its edge, 3 dB or half of a change."""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.common.curves import Response
from distort.analysis.common.quantities import CHANGE
from distort.analysis.findings.elsewhere import elsewhere
from distort.analysis.findings.evidence import ChangeCurve
from distort.analysis.findings.measured import Measured
from distort.analysis.impulsive.impulsive import ImpulsiveLevel, ImpulsiveResult
from tests.test_fault_changes import RISE
from tests.test_findings_across import NOTHING, ROWS_HZ, harmonics

OWN = replace(RISE, explanation="loudspeaker-generated", part_of_loudspeaker=True)
HERE = Measured(condition="stand", findings=(OWN,), levels_db_spl=(96.0,), harmonics=(harmonics(-40.0),))


def at_ratio(ratio_db: float, *, interval_db: float = 0.3, doubtful: bool = False, noise_db: float | None = None):
    curves = harmonics(ratio_db, interval_db=interval_db, doubtful=doubtful)
    if noise_db is not None:
        order = replace(curves.orders[0], noise_db=np.full(ROWS_HZ.size, noise_db))
        curves = replace(curves, orders=(order,))
    return replace(HERE, condition="desk", findings=(), harmonics=(curves,))


@pytest.mark.parametrize(
    ("there", "found"),
    [
        (at_ratio(-40.2), "as-strong"),
        (at_ratio(-42.9), "as-strong"),
        (at_ratio(-43.3), "hidden"),  # within 0.42 dB, the intervals of both, it may have fallen by less than 3 dB
        (at_ratio(-43.5), "less"),
        (at_ratio(-30.0), "as-strong"),
        (at_ratio(-50.0, interval_db=9.0), "hidden"),
        # Not read for certain: it is less if the most that it may be is.
        (at_ratio(-45.0, doubtful=True, noise_db=-46.0), "less"),
        (at_ratio(-45.0, doubtful=True, noise_db=-42.0), "hidden"),
        (at_ratio(np.nan, noise_db=-44.0), "less"),
        (at_ratio(np.nan, noise_db=-43.0), "hidden"),
        (at_ratio(np.nan), "hidden"),  # no floor is known
        (replace(at_ratio(-40.0), levels_db_spl=(91.0,)), "unknown"),
    ],
)
def test_an_order_is_less_where_it_fell_by_3_db_for_certain(there, found) -> None:
    assert elsewhere(OWN, HERE, there) == found
    opened = replace(OWN, explanation="undecided", decided=False, part_of_loudspeaker=None)
    assert elsewhere(opened, HERE, there) == found


def test_a_finding_that_rests_on_a_doubtful_reading_is_held_against_others_all_the_same() -> None:
    """A sweep that is too fast for a place marks it in every condition."""
    fast = at_ratio(-40.0, interval_db=2.5, doubtful=True, noise_db=-70.0)
    assert elsewhere(OWN, fast, fast) == "as-strong"
    assert elsewhere(OWN, fast, at_ratio(-52.0, interval_db=2.5, doubtful=True, noise_db=-70.0)) == "less"
    assert elsewhere(OWN, fast, at_ratio(-41.0)) == "as-strong"
    assert elsewhere(OWN, fast, at_ratio(-46.0)) == "less"


def test_what_the_way_does_is_in_no_reading_of_an_order() -> None:
    for word, part in (("delayed-copy", None), ("event-in-time", False)):
        assert elsewhere(replace(RISE, explanation=word, part_of_loudspeaker=part), HERE, at_ratio(-40.0)) == "unknown"


def test_referred_to_the_input_a_reflection_does_not_hide_what_is_made() -> None:
    """The ratio falls by 8 dB, since the desk raises the fundamental; what is made stays."""

    def referred(one: Measured, input_db: float) -> Measured:
        order = replace(one.harmonics[0].orders[0], equivalent_input_db=np.full(ROWS_HZ.size, input_db))
        way = Response(
            frequency_hz=ROWS_HZ,
            level_db=np.full(ROWS_HZ.size, 80.0),
            phase_deg=NOTHING,
            noise_db=np.full(ROWS_HZ.size, 20.0),
            unit="db_spl",
            delay_s=0.0,
            lowest_valid_hz=20.0,
        )
        return replace(one, harmonics=(replace(one.harmonics[0], orders=(order,)),), response=way)

    assert elsewhere(OWN, referred(HERE, -40.0), referred(at_ratio(-48.0), -40.5)) == "as-strong"
    # Its floor lies 5 dB under the ratio here, and a dip of 8 dB at the product's place stands in the way.
    low = referred(at_ratio(np.nan, noise_db=-45.0), np.nan)
    assert low.response is not None
    dip_db = np.where(np.abs(np.log2(ROWS_HZ / 3000.0)) < 0.1, -8.0, 0.0)
    dipped = replace(low, response=replace(low.response, level_db=low.response.level_db + dip_db))
    assert elsewhere(OWN, referred(HERE, -40.0), low) == "less"
    assert elsewhere(OWN, referred(HERE, -40.0), dipped) == "hidden"
    assert elsewhere(OWN, referred(HERE, -40.0), referred(at_ratio(-48.0), -48.0)) == "less"


def changing(change_db: float, interval_db: float = 0.1) -> Measured:
    curve = ChangeCurve(
        quantity=CHANGE,
        level_db_spl=96.0,
        frequency_hz=ROWS_HZ,
        change_db=np.full(ROWS_HZ.size, change_db),
        uncertainty_db=np.full(ROWS_HZ.size, interval_db),
        bias_db=NOTHING,
    )
    return replace(HERE, changes=(curve,))


@pytest.mark.parametrize(
    ("change_db", "interval_db", "found"),
    [
        (-1.0, 0.1, "as-strong"),
        (-0.5, 0.1, "as-strong"),
        (-0.45, 0.1, "hidden"),
        (-0.3, 0.1, "less"),
        (0.8, 0.1, "less"),  # the other sign
        (0.0, 0.7, "hidden"),
        (np.nan, 0.1, "unknown"),
    ],
)
def test_a_change_with_level_is_there_where_half_of_it_is(change_db, interval_db, found) -> None:
    numbers = {"excess_db": -0.8, "change_db": -1.0, "level_db_spl": 96.0}
    loss = replace(OWN, explanation="compression", numbers=numbers, evidence=())
    assert elsewhere(loss, changing(-1.0), changing(change_db, interval_db)) == found


BANDS_HZ = 1000.0 * 10.0 ** (np.arange(-30, -5) / 20.0)


def striking(z: float, *, noise_db: float = 10.0, level_db_spl: float = 96.0) -> Measured:
    """Something stands out by z in the bands about 100 Hz; the room's noise is that loud in all bands."""
    nothing = np.full(BANDS_HZ.size, np.nan)
    level = ImpulsiveLevel(
        level_db_spl=level_db_spl,
        z=np.where(np.abs(np.log2(BANDS_HZ / 100.0)) < 0.25, z, 30.0),
        regularity=nothing,
        unevenness=nothing,
        spread=nothing,
        alarm=np.zeros(BANDS_HZ.size, dtype=np.int64),
    )
    room = Response(
        frequency_hz=ROWS_HZ,
        level_db=np.full(ROWS_HZ.size, 90.0),
        phase_deg=NOTHING,
        noise_db=np.full(ROWS_HZ.size, noise_db),
        unit="db_spl",
        delay_s=0.0,
        lowest_valid_hz=20.0,
    )
    strikes = ImpulsiveResult(frequency_hz=BANDS_HZ, levels=(level,))
    return replace(HERE, findings=(), strikes=strikes, response=room)


@pytest.mark.parametrize(
    ("there", "found"),
    [
        (striking(1.0), "less"),  # noise reaches 4: 32 is 9 dB over that
        (striking(5.9), "less"),
        (striking(6.1), "hidden"),  # something strikes there, less than here
        (striking(17.0), "as-strong"),
        (striking(1.0, noise_db=16.0), "less"),
        (striking(1.0, noise_db=16.1), "hidden"),  # 6.1 dB of the 9 are noise: 2.9 are left
        (striking(9.0, noise_db=16.1), "as-strong"),
        (striking(1.0, noise_db=np.nan), "hidden"),
        (striking(np.nan), "hidden"),
        (striking(1.0, level_db_spl=91.0), "unknown"),
        (HERE, "unknown"),
    ],
)
def test_strikes_are_less_where_the_rooms_noise_would_not_hide_them(there, found) -> None:
    place = replace(RISE.places[0], frequency_hz=100.0, low_hz=89.0, high_hz=112.0)
    numbers = {"level_db_spl": 96.0, "standing_out": 32.0}
    rattle = replace(OWN, explanation="rattle", places=(place,), numbers=numbers, evidence=())
    assert elsewhere(rattle, striking(32.0), there) == found
    air = replace(rattle, explanation="airflow-noise")
    strong = replace(striking(32.0), findings=(air,))
    assert elsewhere(rattle, striking(32.0), strong) == "hidden"  # a port's noise may hide a loose part
    assert elsewhere(air, striking(32.0), strong) == "as-strong"
    event = replace(rattle, explanation="event-in-time", part_of_loudspeaker=False, numbers={"level_db_spl": 96.0})
    overheard = elsewhere(rattle, striking(32.0), replace(striking(1.0), findings=(event,)))
    assert overheard == "hidden"  # while something else sounds nobody listens for strikes
