"""What several conditions show together, and what a changed part proves: closed forms of a fall and its interval."""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.common.curves import Harmonics, Order
from distort.analysis.common.grid import grid_hz
from distort.analysis.findings.across import across
from distort.analysis.findings.measured import Measured
from distort.errors import PlanError, SessionError
from distort.session.files.folder import SessionFolder
from distort.session.plan.reading import plan_from_text
from distort.session.plan.template import text_of
from distort.session.results.across_results import across_path, read_across, write_across
from tests.test_fault_changes import RISE, at

ROWS_HZ = grid_hz()
NOTHING = np.full(ROWS_HZ.size, np.nan)


def harmonics(ratio_db: float, *, interval_db: float = 0.3, doubtful: bool = False) -> Harmonics:
    """Order 3 at one ratio everywhere."""
    order = Order(
        order=3,
        relative_db=np.full(ROWS_HZ.size, ratio_db),
        noise_db=NOTHING,
        leak_db=NOTHING,
        chain_db=NOTHING,
        bias_db=NOTHING,
        uncertainty_db=np.full(ROWS_HZ.size, interval_db),
        noise_uncertainty_db=np.full(ROWS_HZ.size, interval_db),
        level_db=NOTHING,
        equivalent_input_db=NOTHING,
        doubtful=np.full(ROWS_HZ.size, doubtful),
    )
    return Harmonics(
        frequency_hz=ROWS_HZ,
        fundamental_db=np.full(ROWS_HZ.size, 96.0),
        unit="db_spl",
        thd_db=NOTHING,
        thd_percent=NOTHING,
        thd_total_percent=NOTHING,
        thd_orders=np.full(ROWS_HZ.size, 1),
        residual_db=NOTHING,
        orders=(order,),
    )


OPEN_PORT = Measured(condition="open", findings=(RISE,), levels_db_spl=(96.0,), harmonics=(harmonics(-40.0),))
CLOSED = replace(OPEN_PORT, condition="closed", findings=(), changed="port closed")


@pytest.mark.parametrize(
    ("ratio_db", "said"),
    [
        # each interval 0.3 dB, so 0.42 dB of the difference
        (-39.9, "changed by +0.1 +- 0.4 dB, so what was changed does not make it: it fell by at most 0.3 dB ("),
        (-40.5, "it fell by at most 0.9 dB (a part of it a quarter of a cycle off would not show)."),
        (-40.6, "-0.6 +- 0.4 dB; whether what was changed makes it is open: a fall of up to 1.0 dB is not excluded."),
        (-43.4, "a fall of up to 3.8 dB is not excluded"),
        (-43.5, ", so what was changed makes it: it fell by at least 3.1 dB."),
        (
            -49.0,
            "With port closed, the third harmonic at 1 kHz changed by -9.0 +- 0.4 dB, so what was changed makes",
        ),
    ],
)
def test_what_a_changed_part_proves(ratio_db: float, said: str) -> None:
    (one,) = across([OPEN_PORT, replace(CLOSED, harmonics=(harmonics(ratio_db),))])
    assert one.conditions == ("open",)
    assert one.verdict is not None
    assert said in one.verdict


def test_what_cannot_be_read_in_both_proves_nothing() -> None:
    marked = replace(CLOSED, harmonics=(harmonics(-60.0, doubtful=True),))
    elsewhere = replace(CLOSED, levels_db_spl=(91.0,))
    untold = replace(CLOSED, changed=None)
    for one in (marked, elsewhere, untold):
        assert across([OPEN_PORT, one]) == ()


def test_one_explanation_at_one_place_holds_for_all_that_show_it() -> None:
    both = replace(CLOSED, findings=(at(1100.0),), changed=None)
    (one,) = across([OPEN_PORT, both])
    assert (one.conditions, one.verdict) == (("open", "closed"), None)
    assert across([OPEN_PORT, replace(both, findings=(at(1200.0),))]) == ()  # a quarter of an octave away
    assert across([OPEN_PORT, replace(both, findings=(replace(RISE, explanation="resonance"),))]) == ()


def test_one_condition_decides_what_another_leaves_open() -> None:
    own = replace(RISE, explanation="loudspeaker-generated", part_of_loudspeaker=True)
    opened = replace(at(1060.0), explanation="undecided", decided=False)
    untold = replace(CLOSED, findings=(own,), changed=None)
    for first, second in ((opened, own), (own, opened)):
        (one,) = across([replace(OPEN_PORT, findings=(first,)), replace(untold, findings=(second,))])
        assert (one.finding.explanation, one.conditions) == ("loudspeaker-generated", ("open", "closed"))
    # Another order, another place, or what is not the loudspeaker's own is something else.
    second_order = replace(opened, evidence=(replace(RISE.evidence[0], quantity="h2"),))
    elsewhere = replace(opened, evidence=(replace(RISE.evidence[0], frequency_hz=1200.0),))
    for other in (second_order, elsewhere):
        assert across([replace(OPEN_PORT, findings=(other,)), untold]) == ()
    assert across([replace(OPEN_PORT, findings=(opened,)), replace(untold, findings=(RISE,))]) == ()
    # What strikes in one band is one, though one condition cannot tell what it is.
    rattle = replace(own, explanation="rattle", evidence=(), numbers={"standing_out": 20.0})
    unclear = replace(rattle, explanation="undecided", decided=False, places=at(1055.0).places)
    (one,) = across([replace(OPEN_PORT, findings=(unclear,)), replace(untold, findings=(rattle,))])
    assert (one.finding, one.conditions) == (rattle, ("open", "closed"))
    # Where in that band it is clearest is chance: here half an octave apart.
    wide = replace(RISE.places[0], frequency_hz=1000.0, low_hz=900.0, high_hz=1600.0)
    strike = [replace(rattle, places=(replace(wide, frequency_hz=hz),)) for hz in (1000.0, 1414.0)]
    (one,) = across([replace(OPEN_PORT, findings=(strike[0],)), replace(untold, findings=(strike[1],))])
    assert one.conditions == ("open", "closed")


def test_it_is_written_and_read_again(tmp_path) -> None:
    folder = SessionFolder(tmp_path)
    assert read_across(folder) == ()
    found = across([OPEN_PORT, CLOSED])
    write_across(folder, found)
    assert read_across(folder) == found
    across_path(folder).write_text('{"format": 1, "findings": [{"number": 1}]}')
    with pytest.raises(SessionError, match="conditions must hold a list of names"):
        read_across(folder)
    write_across(folder, ())
    assert not across_path(folder).exists()


PLAN = """format = 1
[loudspeaker]
name = "Monitor A"
[setup]
conditions = ["open", "closed"]
[conditions.closed]
changed = "port closed"
"""


def test_a_plan_says_what_was_changed() -> None:
    plan = plan_from_text(PLAN, source="session.toml")
    assert (plan.changed("closed"), plan.changed("open")) == ("port closed", None)
    assert plan_from_text(text_of(plan), source="again") == plan


@pytest.mark.parametrize(
    ("now", "then", "said"),
    [
        ("[conditions.closed]", "[conditions.closd]", "unknown condition"),
        ('changed = "port closed"', 'chnged = "port closed"', "the nearest known one is 'changed'"),
        ('changed = "port closed"', 'changed = ""', r"\[conditions.closed\] changed must be"),
        ('changed = "port closed"', "", r"\[conditions.closed\] says nothing: it may say changed, radiation"),
        ("[conditions.closed]", "[conditions.closed]\ndistance_m = 0", r"\[conditions.closed\] distance_m must be"),
        ("[conditions.closed]", '[conditions.closed]\nradiation = "near-field"', "needs distance_m: how far"),
        ("[conditions.closed]", "[conditions.closed]\nradius_m = 0.05", 'radius_m goes with radiation = "near-field"'),
    ],
)
def test_what_a_plan_says_wrong_of_a_condition(now: str, then: str, said: str) -> None:
    with pytest.raises(PlanError, match=said):
        plan_from_text(PLAN.replace(now, then), source="session.toml")
