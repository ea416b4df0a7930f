"""Whether anyone would hear a finding: by its orders, at its place, at the highest level of its evidence."""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.hearing.audibility import order_margins, verdict
from distort.assembly.condition.audible import SAID, told_audible
from tests import report_examples as examples
from tests.test_fault_changes import RISE, ROW

HARMONICS = {86.0: examples.harmonics(orders=5), 96.0: examples.harmonics(orders=5, lift_db=10.0)}


def audible(*rows, harmonics=HARMONICS):
    (told,) = told_audible([replace(RISE, evidence=rows)], harmonics)
    return told.audible


def row(quantity: str, level: float, hz: float, *, speaks: str = "for"):
    return replace(ROW, quantity=quantity, level_db_spl=level, frequency_hz=hz, speaks=speaks)


@pytest.mark.parametrize("level", [86.0, 96.0])
@pytest.mark.parametrize("order", [2, 3, 5])
@pytest.mark.parametrize("hz", [50.0, 150.0, 1000.0])
def test_it_is_the_verdict_at_its_place(level, order, hz) -> None:
    margins = order_margins(HARMONICS[level], order)
    at = int(np.argmin(np.abs(margins.frequency_hz - hz)))
    expected = SAID[verdict(float(margins.excitation_db[at]), float(margins.schroeder_db[at]))]
    found = audible(row(f"h{order}", level, hz))
    assert (found.verdict, found.at_db_spl) == (expected, level)


def test_the_surest_order_at_the_highest_level_counts() -> None:
    quiet, loud = row("h5", 96.0, 30.0), row("h2", 96.0, 1000.0)
    assert [audible(one).verdict for one in (quiet, loud)] == ["no", "yes"]
    assert audible(quiet, loud).verdict == "yes"
    louder = audible(row("h2", 86.0, 1000.0), quiet)
    assert (louder.verdict, louder.at_db_spl) == ("no", 96.0)
    assert audible(row("h2", 86.0, 1000.0), replace(quiet, speaks="silent")).at_db_spl == 86.0


def test_nothing_is_said_of_what_rests_on_no_order_or_cannot_be_read() -> None:
    assert audible(row("compression_sweep", 96.0, 300.0)) is None
    assert audible(row("h2", 96.0, 1000.0, speaks="against")) is None
    assert audible(row("h2", 91.0, 1000.0)) is None  # a level of which there are no orders
    doubtful = {
        level: replace(one, orders=tuple(replace(each, doubtful=np.ones_like(each.doubtful)) for each in one.orders))
        for level, one in HARMONICS.items()
    }
    assert audible(row("h2", 96.0, 1000.0), harmonics=doubtful) is None
    uncalibrated = {level: replace(one, unit="dbfs") for level, one in HARMONICS.items()}
    assert audible(row("h2", 96.0, 1000.0), harmonics=uncalibrated) is None
