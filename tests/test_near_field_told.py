"""What near fields prove of a harmonic: closed forms of its edges, and two radiators of known strengths."""

import math
from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.common.near_field import highest_near_field_hz
from distort.analysis.common.sound_in_air import speed_of_sound_m_s
from distort.analysis.findings.across import across
from distort.analysis.findings.changed_part import QUADRATURE
from distort.analysis.findings.measured import Measured, NearField
from distort.analysis.findings.near_field import UP_TO_KA_1_DB
from tests.near_field_study import FIRST_REPORTED, right_share, table, told
from tests.report_examples import response
from tests.test_fault_changes import RISE, risen
from tests.test_findings_across import harmonics

AT_HZ = 300.0
FOUND = replace(
    risen(frequency_hz=AT_HZ),
    explanation="loudspeaker-generated",
    part_of_loudspeaker=True,
    places=(replace(RISE.places[0], frequency_hz=AT_HZ, low_hz=280.0, high_hz=320.0),),
)
NEAR = NearField(highest_hz=1000.0, radius_known=True)


def measured(condition: str, ratio_db: float, input_db: float, **said) -> Measured:
    """The third order re the fundamental and re the input, everywhere the same, each within 0.3 dB."""
    curves = harmonics(ratio_db)
    (order,) = curves.orders
    curves = replace(curves, orders=(replace(order, equivalent_input_db=np.full_like(order.relative_db, input_db)),))
    quiet = response(76.0, noise_db=-100.0)
    return Measured(
        condition=condition, findings=(), levels_db_spl=(96.0,), harmonics=(curves,), response=quiet, **said
    )


STAND = replace(measured("stand", -40.0, -42.0), findings=(FOUND,))
HALF_DB = math.hypot(0.3, 0.3, UP_TO_KA_1_DB)
"""0.58 dB: the interval of each comparison."""


def verdict(*near: Measured, stand: Measured = STAND) -> str:
    (one,) = across([stand, *near])
    assert one.conditions == ("stand",)
    return one.verdict or ""


def near(condition: str, ratio_db: float, above_db: float, **said) -> Measured:
    """A near field whose product, re the input, lies `above_db` above that on the stand."""
    return measured(condition, ratio_db, -42.0 + above_db, **{"near_field": NEAR, **said})


def test_ka_is_1_at_the_limit() -> None:
    """`2 pi f a / c = 1`; of 50 mm at 20 degrees Celsius 1,092 Hz, of the largest radiator 273 Hz."""
    limit_hz = highest_near_field_hz(0.05, 20.0)
    assert 2.0 * math.pi * limit_hz * 0.05 / speed_of_sound_m_s(20.0) == pytest.approx(1.0, rel=1e-12)  # rounding
    assert (round(limit_hz), round(highest_near_field_hz(None, 20.0))) == (1092, 273)
    with pytest.raises(ValueError, match="above 0"):
        highest_near_field_hz(0.0)


@pytest.mark.parametrize(
    ("above_db", "said"),
    [
        (
            -below_db,
            f"at least {below_db - HALF_DB:.1f} dB weaker at cone than in stand: cone does not make it, port does.",
        )
        for below_db in (9.0, 3.0 + HALF_DB + 0.01)
    ]
    + [
        (-3.0 - HALF_DB + 0.01, f"{-3.0 - HALF_DB:+.1f} +- 0.6 dB at cone re stand: which part makes it is open."),
        (-1.0 + HALF_DB - 0.01, "at cone re stand: which part makes it is open."),
        (
            -1.0 + HALF_DB + 0.01,
            "at most 1.0 dB weaker at cone than in stand: it is made there or before it",
        ),
        (
            0.3,
            "0.3 dB weaker at cone than in stand: it is made there or before it, port does not make it",
        ),
        (1.0 + HALF_DB + 0.01, "which part makes it is open."),
    ],
)
def test_what_a_cone_and_a_port_prove(above_db: float, said: str) -> None:
    sentence = verdict(near("cone", -45.0, above_db), near("port", -33.0, 12.0))
    assert sentence.startswith(
        "The third harmonic at 300 Hz is 12.0 +- 0.6 dB stronger re its fundamental at port than at cone. Referred to"
    )
    assert said in sentence


def test_where_neither_has_it_another_part_makes_it() -> None:
    said = verdict(near("cone", -50.0, -9.0), near("port", -50.0, -8.0))
    assert "cone does not make it, another part does." in said


def test_one_near_field_is_held_against_what_is_heard_at_a_distance() -> None:
    said = verdict(near("cone", -43.0, 0.0))
    assert said.startswith(
        "The third harmonic at 300 Hz is 3.0 +- 0.6 dB stronger re its fundamental in stand than at co"
    )
    assert said.endswith(f"made there or before it, nothing else makes it ({QUADRATURE}).")
    assert verdict(near("port", -30.0, 9.0)).endswith("+9.0 +- 0.6 dB at port re stand: which part makes it is open.")


@pytest.mark.parametrize(
    ("near_field", "said"),
    [
        (replace(NEAR, highest_hz=899.0), "and what is radiated shows up to 899 Hz (ka = 1)."),
        (
            NearField(highest_hz=273.0, radius_known=False),
            "if it is as large as can be: state its radius in the plan",
        ),
    ],
)
def test_above_ka_1_nothing_is_compared(near_field: NearField, said: str) -> None:
    sentence = verdict(near("cone", -60.0, -20.0, near_field=near_field))
    assert sentence.startswith("The near field of cone does not tell: the third harmonic at 300 Hz lies at 900 Hz, and")
    assert said in sentence
    assert "at least" in verdict(near("cone", -60.0, -20.0, near_field=replace(NEAR, highest_hz=901.0)))


def test_what_is_open_says_which_near_field_could_tell_more() -> None:
    small = near("cone", -60.0, -20.0, near_field=NearField(highest_hz=273.0, radius_known=False))
    said = verdict(small, near("port", -33.0, 12.0))
    assert "which part makes it is open. The near field of cone does not tell: " in said
    assert "does not tell" not in verdict(small, near("port", -33.0, -12.0))


def test_what_cannot_be_read_proves_nothing() -> None:
    unread = near("cone", -60.0, math.nan)
    above = near("port", -33.0, 12.0)
    assert across([STAND, unread]) == ()
    assert verdict(unread, above).endswith("which part makes it is open.")
    only_found_near = replace(unread, findings=(FOUND,))
    assert across([replace(STAND, findings=()), only_found_near]) == ()
    assert across([replace(STAND, findings=(risen(quantity="compression_sweep"),)), near("cone", -60.0, -20.0)]) == ()


def test_an_undecided_finding_is_told_as_well() -> None:
    undecided = replace(STAND, findings=(replace(FOUND, explanation="undecided", decided=False),))
    assert "cone does not make it, port does" in verdict(
        near("cone", -60.0, -20.0), near("port", -33.0, 12.0), stand=undecided
    )


def test_a_near_field_is_never_what_a_change_is_held_against() -> None:
    """Nor is one that was changed as well: nothing like it is there unchanged."""
    changed = near("cone", -60.0, -20.0, changed="port closed")
    assert "With port closed" not in verdict(changed)
    closed = measured("closed", -40.1, -42.0, changed="port closed")
    first_in_plan = near("cone", -45.0, 0.0)
    (one,) = across([first_in_plan, STAND, closed])
    assert one.verdict is not None
    assert one.verdict.startswith(
        "With port closed, the third harmonic at 300 Hz changed by -0.1 +- 0.4 dB, so what was changed does not make"
    )


def test_what_did_not_move_has_no_sign() -> None:
    """The same to three hundredths, either way."""
    for by_db in (-0.03, 0.03):
        closed = measured("closed", -40.0 + by_db, -42.0, changed="port closed")
        (one,) = across([STAND, closed])
        assert one.verdict is not None
        assert "changed by 0.0 +- 0.4 dB" in one.verdict


def test_a_change_tells_of_what_the_first_condition_or_the_changed_one_shows() -> None:
    """A finding of a third, such as a desk, was not changed against anything."""
    closed = measured("closed", -60.0, -62.0, changed="port closed")
    stand, desk = replace(STAND, findings=()), replace(STAND, condition="desk")
    assert across([stand, desk, closed]) == ()
    (one,) = across([stand, desk, replace(closed, findings=(FOUND,))])
    assert one.conditions == ("desk", "closed")
    assert one.verdict is not None
    assert one.verdict.startswith("With port closed, ")


def test_what_the_loudspeaker_makes_is_held_re_the_input_when_a_part_is_changed() -> None:
    """Closing the port took 9 dB off the ratio, and 8.8 dB of that came of the fundamental."""
    louder = measured("closed", -49.0, -42.2, changed="port closed")
    (one,) = across([STAND, louder])
    assert one.verdict == (
        "With port closed, the third harmonic at 300 Hz changed by -9.0 +- 0.4 dB, referred to the input by -0.2 +- "
        "0.4 dB, so what was changed does not make it: it fell by at most 0.6 dB (a part of it a quarter of a cycle "
        "off would not show)."
    )
    reflection = replace(STAND, findings=(replace(FOUND, explanation="delayed-copy", part_of_loudspeaker=None),))
    (other,) = across([reflection, louder])
    assert other.verdict is not None
    assert other.verdict.endswith("so what was changed makes it: it fell by at least 8.6 dB.")
    (risen_,) = across([STAND, measured("closed", -31.0, -33.0, changed="port closed")])
    assert risen_.verdict is not None
    assert risen_.verdict.endswith("so what was changed held it down: it rose by at least 8.6 dB.")


@pytest.mark.sample
def test_of_a_few_known_radiators_what_is_decided_is_so() -> None:
    found = [told(FIRST_REPORTED + seed) for seed in (0, 1, 2, 6, 7)]  # the first of either kind
    assert {"makes it", "does not make it"} <= {one.said for one in found}
    assert all(one.right for one in found)


@pytest.mark.study
def test_of_300_known_radiators_95_per_cent_of_what_is_decided_is_so() -> None:
    found = [told(seed) for seed in range(FIRST_REPORTED, FIRST_REPORTED + 300)]
    print(f"\n{table(found)}")
    assert right_share(found) >= 0.95
    assert sum(one.ratio_right for one in found) >= 0.95 * len(found)
