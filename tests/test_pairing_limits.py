"""What of two sides is put beside one another, and what differs besides: just on either side of where each rule turns.

Numbers beside a test are the contract. A side is stood in for by the fields that are asked of it.
"""

from dataclasses import dataclass, replace
from types import SimpleNamespace

import numpy as np
import pytest

from distort.analysis.common.quantities import GAIN, RESPONSE, harmonic
from distort.assembly.comparison.comparing import (
    Paired,
    _at_equal_drive,
    _at_equal_output,
    _of_anomalies,
    _of_findings,
    _with_references,
    default_basis,
)
from distort.assembly.comparison.near_field import highest_hz, orders_alone
from distort.assembly.comparison.setup_differences import _dates, _set_ups, same_multitones
from distort.assembly.comparison.side import _drive_dbfs
from distort.errors import AnalysisError
from distort.session.results.faults_found import FaultsFound
from signals import Multitone
from tests.test_comparison_scatter import curve
from tests.test_fault_changes import DIP, RISE


@dataclass(frozen=True)
class Stand:
    """The fields of a side that pairing asks for."""

    name: str
    curves: tuple
    drives_dbfs: dict
    outputs_db: dict
    sweeps: tuple
    near_field: bool = False


def recording(*, unit: str = "A", calibrated: bool = True, **fields):
    return SimpleNamespace(
        sidecar=SimpleNamespace(
            loudspeaker=SimpleNamespace(name="monitor", unit=unit),
            calibration="94 dB" if calibrated else None,
            **fields,
        )
    )


def side(name: str, levels: dict[float, float], *, quantity=RESPONSE, **more) -> Stand:
    """With a curve at each level, of the value of that level; drives and outputs as they are given."""
    curves = tuple(replace(curve(level, quantity=quantity), level_db_spl=level) for level in levels)
    return Stand(name=name, curves=curves, drives_dbfs=levels, outputs_db=levels, sweeps=(recording(**more),))


# --- equal drive ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("off_db", "same"), [(0.0475, True), (-0.0475, True), (0.0525, False), (-0.0525, False)])
def test_drives_within_a_twentieth_of_a_decibel_are_one_rung(off_db, same):
    """The nearest of B; its curves stand under A's level."""
    a = side("a", {76.0: -34.0, 96.0: -14.0})
    b = side("b", {70.0: -34.0, 72.0: -34.2, 90.0: -14.0 + off_db, 91.0: -13.0})
    own, moved, paired = _at_equal_drive(a, b)
    assert own == a.curves
    expected = {76.0: 70.0, 96.0: 90.0} if same else {76.0: 70.0}
    assert {one.level_db_spl: float(one.value_db[0]) for one in moved} == expected
    assert paired.partners == {other: level for level, other in expected.items()}
    assert paired.alone_a_db_spl == (() if same else (96.0,))
    assert paired.alone_b_db_spl == ((72.0, 91.0) if same else (72.0, 90.0, 91.0))
    with pytest.raises(AnalysisError, match="no level of a was played"):
        _at_equal_drive(a, side("b", {90.0: -3.0}))


# --- equal output -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("off_db", "same"), [(0.095, True), (-0.095, True), (0.105, False), (-0.105, False)])
def test_outputs_within_a_tenth_of_a_decibel_are_one_rung(off_db, same):
    """Else B lies between the two rungs about it, straight in dB; what lies beyond its rungs is not compared."""
    a = side("a", {86.0: 85.0, 96.0: 95.0, 106.0: 111.0, 66.0: 60.0})
    b = side("b", {80.0: 80.0, 90.0: 90.0, 100.0: 95.0 + off_db, 110.0: 110.0})
    own, others, paired = _at_equal_output(a, b)
    assert [one.level_db_spl for one in own] == [one.level_db_spl for one in others] == [86.0, 96.0]
    told = {one.level_db_spl: one.levels_b_db_spl for one in paired.outputs}
    between = (90.0, 100.0) if off_db > 0.0 else (100.0, 110.0)
    assert told == {86.0: (80.0, 90.0), 96.0: (100.0,) if same else between, 106.0: (), 66.0: ()}
    assert [one.output_db for one in paired.outputs] == [85.0, 95.0, 111.0, 60.0]
    # of B every curve has the value of its nominal level
    low, high = between
    outputs = {90.0: 90.0, 100.0: 95.0 + off_db, 110.0: 110.0}
    share = (95.0 - outputs[low]) / (outputs[high] - outputs[low])
    expected = [85.0, 100.0 if same else low + share * (high - low)]
    np.testing.assert_allclose([one.value_db[0] for one in others], expected)


def test_outputs_are_compared_where_both_are_calibrated_and_overlap():
    a = side("a", {86.0: 85.0, 96.0: 95.0})
    for calibrated in ((True, False), (False, True), (False, False)):
        one, other = (replace(a, sweeps=(recording(calibrated=each),)) for each in calibrated)
        with pytest.raises(AnalysisError, match="needs a calibration on both sides"):
            _at_equal_output(one, other)
    with pytest.raises(AnalysisError, match=r"a was measured from 85.0 to 95.0 dB SPL, b was measured from 60.0 to 70"):
        _at_equal_output(a, side("b", {61.0: 60.0, 71.0: 70.0}))


# --- references -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("levels_a", "levels_b", "reference", "restated"),
    [
        ((76.0, 86.0), (76.0, 86.0), 76.0, False),
        ((76.0, 86.0), (86.0, 96.0), 86.0, True),
        ((86.0, 96.0), (76.0, 86.0), 86.0, True),
        ((86.0, 96.0), (86.0, 76.0), 86.0, True),
    ],
)
def test_compression_is_restated_where_the_lowest_levels_are_not_the_same(levels_a, levels_b, reference, restated):
    """Levels of B are named by those of A that were played alike."""
    a, b = (side("x", dict.fromkeys(levels, 0.0), quantity=GAIN) for levels in (levels_a, levels_b))
    paired = Paired(partners={level: level for level in (76.0, 86.0, 96.0)})
    found = _with_references(paired, (a, b), {GAIN: reference})
    assert (found.references_db_spl, found.restated) == ((reference,), restated)


def test_by_what_two_sides_are_compared_unless_somebody_says_otherwise():
    """One loudspeaker by its drive, two by their output, a near field by its drive."""
    one, other = side("a", {86.0: 0.0}), side("b", {86.0: 0.0}, unit="B")
    assert default_basis(one, one) == "drive"
    assert default_basis(one, other) == "output"
    assert default_basis(replace(one, near_field=True), other) == "drive"
    assert default_basis(one, replace(other, near_field=True)) == "drive"


def test_the_drive_of_a_recording_holds_what_the_volume_was_turned_by():
    for turned_db, drive_dbfs in ((None, -20.0), (0.0, -20.0), (-6.0, -26.0)):
        assert _drive_dbfs(recording(drive_dbfs=-20.0, turned_db=turned_db)) == drive_dbfs


# --- what differs besides ---------------------------------------------------------------------------------------------


def set_up(*, distance_m: float = 1.0, radiation: str = "free", temperature_c: float = 20.0):
    setup = SimpleNamespace(distance_m=distance_m, radiation=radiation, temperature_c=temperature_c)
    return SimpleNamespace(sweeps=(recording(setup=setup),))


@pytest.mark.parametrize(("apart_k", "told"), [(0.5, True), (-0.5, True), (0.475, False), (-0.475, False), (8.0, True)])
def test_a_temperature_differs_from_half_a_kelvin_on(apart_k, told):
    """c is 331.3 sqrt(1 + t / 273.15) m/s."""
    found = list(_set_ups(set_up(), set_up(temperature_c=20.0 + apart_k)))
    assert [one.what for one in found] == (["temperature"] if told else [])
    if told:
        percent = 100.0 * (np.sqrt((293.15 + apart_k) / 293.15) - 1.0)
        assert found[0].sound_faster_percent == pytest.approx(percent, rel=1e-6)
        assert (found[0].a, found[0].b) == ("20 degC", f"{20.0 + apart_k:g} degC")
    others = list(_set_ups(set_up(), set_up(distance_m=2.0, radiation="half")))
    assert [(one.what, one.a, one.b) for one in others] == [("distance", "1 m", "2 m"), ("radiation", "free", "half")]


def dated(date: str, *, began_s: float | None = None):
    original = None if began_s is None else SimpleNamespace(began="known", began_s=began_s)
    return SimpleNamespace(date=date, original=original)


@pytest.mark.parametrize(
    ("later", "told"),
    [
        ("2026-03-02T11:00:00+00:00", False),
        ("2026-03-02T12:00:00+00:00", False),
        ("2026-03-02T14:00:00+00:00", True),
        ("2026-02-28T11:00:00+00:00", True),
        ("2026-02-28T13:00:00+00:00", False),
    ],
)
def test_a_date_differs_by_more_than_a_day(later, told):
    first = "2026-03-01T12:00:00+00:00"
    found = list(_dates(dated(first), dated(later)))
    assert [(one.a, one.b) for one in found] == ([("2026-03-01", later[:10])] if told else [])


def test_a_recorders_clock_is_called_so():
    """At noon of 1 March 2026, UTC, 1,772,366,400 seconds of the epoch were over."""
    found = list(_dates(dated("2026-03-05T12:00:00+00:00"), dated("2026-03-05T12:00:00+00:00", began_s=1772366400.0)))
    assert [(one.a, one.b) for one in found] == [("2026-03-05", "2026-03-01 by the recorder's clock")]


def test_multitones_are_the_same_but_for_their_drive():
    def tones(*given: Multitone):
        return SimpleNamespace(multitones=tuple(recording(stimulus=one) for one in given))

    one = Multitone(sample_rate=8000, high_hz=3000.0, drive_dbfs=-20.0)
    louder = replace(one, drive_dbfs=-10.0)
    assert same_multitones(tones(one), tones(louder))
    assert not same_multitones(tones(one), tones(replace(one, seed=one.seed + 1)))
    assert same_multitones(tones(), tones(one))
    assert same_multitones(tones(one), tones())


def test_faults_go_from_a_to_b():
    """What A alone lists has no partner in B, and the other way round."""
    nothing = FaultsFound(anomalies=(), findings=())
    found = FaultsFound(anomalies=(DIP,), findings=(RISE,))
    for compared, one in ((_of_anomalies, DIP), (_of_findings, RISE)):
        (lost,) = compared([found, nothing], ((), ()))
        (new,) = compared([nothing, found], ((), ()))
        assert [(each.a, each.b) for each in (lost, new)] == [(one, None), (None, one)]


def near(radius_m: float | None, temperature_c: float = 20.0, *, near_field: bool = True):
    said = SimpleNamespace(radius_m=radius_m)
    plan = SimpleNamespace(said=lambda _: said, setup=SimpleNamespace(temperature_c=temperature_c))
    return SimpleNamespace(plan=plan, condition="cone", near_field=near_field)


def test_a_product_lies_within_the_near_field_of_both():
    """Up to k a = 1 (Keele 1974): c / (2 pi a), of the larger radius; of a side at a distance there is no limit."""
    c = 331.3 * np.sqrt(1.0 + 20.0 / 273.15)
    small, large = near(0.02), near(0.08)
    for a, b in ((small, large), (large, small)):
        assert highest_hz(a, b) == pytest.approx(c / (2.0 * np.pi * 0.08), rel=1e-3)
    assert highest_hz(small, near(0.08, near_field=False)) == pytest.approx(c / (2.0 * np.pi * 0.02), rel=1e-3)
    assert highest_hz(near(None, near_field=False), near(None, near_field=False)) is None


def test_an_order_that_was_not_clear_is_not_clear_near_by():
    """At the limit itself the product still counts."""
    own = replace(curve(-40.0, quantity=harmonic(2)), clear=np.arange(11) != 1)
    end_hz = 2.0 * float(own.frequency_hz[4])
    (kept,) = orders_alone(SideOfCurves(curves=(own,), repeats=()), end_hz).curves
    assert np.flatnonzero(kept.clear).tolist() == [0, 2, 3, 4]


@dataclass(frozen=True)
class SideOfCurves:
    """As much of a side as holds curves."""

    curves: tuple
    repeats: tuple
