"""Places and bands that change with level: every condition by itself, and where each rule turns.

Numbers beside a test are the contract; what is held 5 % either side of them turns.
"""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.common.quantities import CHANGE, CHANGE_OF_MULTITONE
from distort.analysis.findings import change_findings
from distort.analysis.findings.change_findings import (
    _attack,
    _beside,
    _broad,
    _broad_kind,
    _groups,
    _heat_db,
    _kind,
    _likelihood,
    _local,
    _within,
    change_drafts,
)
from distort.analysis.findings.evidence import ChangeCurve
from distort.analysis.findings.local_changes import LocalChange, _excess, _half, _of_curve, _one_place, local_changes
from tests.made_evidence import anomaly
from tests.test_formulas_of_changes import broad, heat, settling
from tests.test_formulas_of_places import AT_HZ, HZ, PATH_M, ROW, chance, change, dips, evidence

RIGHT = 20.0 / 21.0
"""Of 19 that were counted 19 were right: (19 + 1) / (19 + 2), Laplace's rule of succession."""


def curve(change_db, *, hz=HZ, level: float = 96.0, unsure_db: float = 0.02, bias_db=0.0, quantity=CHANGE):
    rows = np.asarray(hz)
    return ChangeCurve(
        quantity=quantity,
        level_db_spl=level,
        frequency_hz=rows,
        change_db=np.broadcast_to(np.asarray(change_db, dtype=float), rows.shape).copy(),
        uncertainty_db=np.full(rows.size, unsure_db),
        bias_db=np.broadcast_to(np.asarray(bias_db, dtype=float), rows.shape).copy(),
    )


# --- bands ------------------------------------------------------------------------------------------------------------


def test_a_band_of_the_multitone_is_told_where_the_sweep_has_none():
    """And beside the sweep's, where both have one of the same sign."""
    low, high = (HZ > 100.0) & (HZ < 400.0), (HZ > 2000.0) & (HZ < 8000.0)
    of_sweep = curve(np.where(low, -1.0, 0.0))
    tones = curve(np.where(low, -1.2, np.where(high, -0.8, 0.0)), quantity=CHANGE_OF_MULTITONE)
    drafts = change_drafts(evidence(changes=(of_sweep, tones)))
    told = {round(one.numbers["change_db"], 2): [row.quantity for row in one.evidence] for one in drafts}
    assert told == {-1.0: ["compression_sweep", "compression_multitone"], -0.8: ["compression_multitone"]}


def test_beside_a_band_stands_one_of_its_sign():
    one = broad(-0.6)
    for other_db, beside in ((-0.7, True), (0.7, False)):
        other = broad(other_db)
        assert _beside(one, [other]) is (other if beside else None)
        elsewhere = replace(other, low_hz=2100.0, high_hz=4000.0)
        assert _beside(one, [elsewhere]) is None
    rising = broad(0.6)
    assert _beside(broad(0.7), [broad(-0.9), rising]) is rising


@pytest.mark.parametrize(("depth_db", "told"), [(0.63, True), (-0.63, True), (0.6, True), (0.57, False)])
def test_a_multitone_that_settles_by_three_tenths_of_the_change_says_how_slowly(depth_db, told):
    known = evidence(warm_ups=(settling(depth_db, 7.0),), attacks=(settling(0.9, 0.1),))
    for sign in (1.0, -1.0):
        found = _broad(known, broad(2.0 * sign), also=None)
        assert found.numbers.get("settles_s") == (7.0 if told else None)
        assert found.numbers["time_constant_s"] == 0.1
        assert found.strength_db == pytest.approx(16.0)


def test_the_attack_is_the_deepest_of_either_sign_beyond_twice_its_interval():
    one = broad()
    deep, shallow = settling(-2.0, 0.1), settling(1.0, 0.2)
    assert _attack([shallow, deep], one) is deep
    assert _attack([deep, shallow], one) is deep
    assert _attack([settling(0.25, 0.1, interval_db=0.125)], one) is None
    assert _broad_kind(evidence(attacks=(settling(1.0, 0.3),)), one) == ("compression", ())
    assert _broad_kind(evidence(), broad(0.6)) == ("expansion", ())


def test_heat_is_more_than_its_interval_and_more_than_a_twentieth_of_a_decibel():
    for fall_db, interval_db in ((0.05, 0.01), (0.25, 0.25)):
        assert _heat_db(evidence(heating=(heat(-fall_db, interval_db=interval_db),)), broad()) == 0.0


def test_of_one_band_that_settles_its_own_likelihood_counts():
    """The best of one is one; octaves at either end of the band count as those within it."""
    one = broad(-0.7, noise_db=0.25)
    alone = chance(0.7, float(np.hypot(0.25, 0.03)), 60)
    attack = settling(0.3, 0.1, interval_db=0.25)
    found = _likelihood(evidence(attacks=(attack,)), one, attack, "limiting")
    assert found == pytest.approx(alone * chance(0.3, 0.25 / 1.959964, 1), rel=1e-4)
    for midband_hz, counts in ((500.0, True), (2000.0, True), (499.0, False), (2001.0, False)):
        known = evidence(heating=(heat(-0.2, interval_db=0.2, midband_hz=midband_hz),))
        expected = alone * chance(0.2, 0.2 / 1.959964, 1) if counts else 0.0
        assert _likelihood(known, one, None, "heating") == pytest.approx(expected, rel=1e-4)


# --- where a curve is read --------------------------------------------------------------------------------------------


def test_a_change_is_read_up_to_an_eighth_of_an_octave_below_the_end_of_the_response():
    """There the sweep fades out."""
    for last in (200, 0):
        response = np.where(np.arange(HZ.size) <= last, 0.0, np.nan)
        response[:last] = 0.0 if last else np.nan
        end_hz = float(HZ[last]) * 2.0**-0.125
        asked = curve(1.0, hz=end_hz * np.array([0.99, 1.0, 1.01, 1.1]))
        found = _within(evidence(response_db=response), asked)
        assert np.isfinite(found.change_db).tolist() == [True, True, False, False]
    nothing = evidence(response_db=np.full(HZ.size, np.nan))
    assert np.isfinite(_within(nothing, curve(1.0)).change_db).all()


# --- places at dips ---------------------------------------------------------------------------------------------------


def at(hz: float, excess_db: float = -1.0, *, sigma_db: float = 0.1, reach: float = 1.05, hz_rows=HZ) -> LocalChange:
    row = int(np.argmin(np.abs(hz_rows - hz)))
    made = curve(np.where(np.arange(hz_rows.size) == row, excess_db, 0.0), hz=hz_rows)
    here = float(hz_rows[row])
    return LocalChange(
        curve=made, row=row, excess_db=excess_db, sigma_db=sigma_db, low_hz=here / reach, high_hz=here * reach
    )


def test_changes_at_dips_of_one_comb_are_one_group():
    comb, other = dips(PATH_M, PATH_M), anomaly(4000.0, -6.0, number=7)
    known = evidence(*comb, other)
    changes = [at(4000.0), at(500.0), at(7080.0), at(1500.0)]
    for order in (changes, changes[::-1]):
        found = [sorted(round(change.frequency_hz, -2) for change, _ in group) for group in _groups(known, order)]
        assert sorted(found) == [[500.0, 1500.0], [4000.0], [7100.0]]


def test_the_largest_change_at_a_dip_leads_its_group():
    """Whatever lies at none, and whichever way it goes."""
    first, second = dips(PATH_M, PATH_M)
    group = [(at(900.0, -3.0), None), (at(500.0, 1.0), first), (at(1500.0, -2.0), second)]
    found = _local(evidence(first, second), group)
    assert found.numbers["excess_db"] == -2.0
    assert found.numbers["deviation_db"] == second.deviation_db
    assert [round(one.frequency_hz, -2) for one in found.places] == [1500.0, 900.0, 500.0]
    assert found.strength_db == pytest.approx(16.0)
    (alone,) = [_local(evidence(), [(at(900.0, -3.0), None)])]
    assert "deviation_db" not in alone.numbers


@pytest.mark.parametrize(
    ("fields", "explanation"),
    [
        ({"shape": "resonance"}, {-0.5: "compression", 0.5: "level-dependent-resonance"}),
        ({"shape": "resonance", "kind": "peak"}, {-0.5: "compression", 0.5: "expansion"}),
        ({"shape": "interference", "answer": "no"}, {-0.5: "compression", 0.5: "expansion"}),
        ({"shape": "interference", "answer": "yes"}, {-0.5: "cancellation", 0.5: "cancellation"}),
        ({"shape": "interference", "answer": "open"}, {-0.5: "undecided", 0.5: "undecided"}),
    ],
)
def test_what_a_change_at_a_dip_is_and_how_sure(monkeypatch, fields, explanation):
    """That it stands out of 60 places, and that its kind is the right one; an open one is one of two."""
    monkeypatch.setattr(change_findings, "two_paths", lambda *_: fields["answer"])
    one = replace(anomaly(AT_HZ, -6.0), **{name: value for name, value in fields.items() if name != "answer"})
    for excess_db, told in explanation.items():
        stands = chance(abs(excess_db), 0.13, 60)
        assert 0.5 < stands < 0.95
        found = _kind(evidence(one), at(AT_HZ, excess_db, sigma_db=0.13), one)
        expected = 0.5 if told == "undecided" else stands if one.kind == "peak" else stands * RIGHT
        assert (found[0], found[2]) == (told, pytest.approx(expected, rel=1e-4))


def test_other_dips_of_the_same_comb_are_asked(monkeypatch):
    asked = []
    monkeypatch.setattr(change_findings, "at_other_dips", lambda change, dips_hz: asked.append(dips_hz) or "no")
    first, second, third = dips(PATH_M, PATH_M, PATH_M)
    stranger = anomaly(4200.0, -6.0, number=9, path_difference_m=3.0 * PATH_M)
    _kind(evidence(first, second, third, stranger), change(-1.0), second)
    assert asked == [[first.frequency_hz, third.frequency_hz]]


# --- places that stand out --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("per_octave", "told"), [(8.4, True), (7.6, False)])
def test_a_curve_of_eight_rows_an_octave_shows_places(per_octave, told):
    rows = np.arange(81) - 40.0
    made = curve(np.where(np.abs(rows) <= 1, -2.0, 0.0), hz=1000.0 * 2.0 ** (rows / per_octave))
    assert bool(local_changes([made], lowest_valid_hz=20.0)) is told


def test_places_a_quarter_of_an_octave_apart_are_two():
    """And one where the centre of one lies within the other, at its end as well, if both go the same way."""
    fine_hz = 1000.0 * 2.0 ** (np.arange(-200, 201) / 100.0)
    one = at(1000.0, hz_rows=fine_hz)
    for octaves, same in ((0.24, True), (0.26, False)):
        for sign in (1.0, -1.0):
            assert _one_place(one, at(1000.0 * 2.0 ** (sign * octaves), hz_rows=fine_hz)) is same
    other = at(1400.0, hz_rows=fine_hz)
    for low_hz, high_hz, same in (
        (one.frequency_hz, 2000.0, True),
        (1.001 * one.frequency_hz, 2000.0, False),
        (500.0, one.frequency_hz, True),
        (500.0, 0.999 * one.frequency_hz, False),
    ):
        reaching = replace(other, low_hz=low_hz, high_hz=high_hz)
        assert _one_place(one, reaching) is _one_place(reaching, one) is same
        assert not _one_place(one, replace(reaching, excess_db=1.0))


def test_of_two_that_are_one_the_larger_over_the_root_of_its_spread_is_kept(monkeypatch):
    """2 dB at 0.16 dB are 5, 3 dB at 0.49 dB are 4.29, though 3 dB is more and 0.49 dB three times 0.16 dB."""
    for kept, other in (((2.0, 0.16), (3.0, 0.49)), ((4.0, 0.49), (2.0, 0.16)), ((3.15, 1.0), (0.3, 0.01))):
        both = [at(1000.0, -size, sigma_db=sigma) for size, sigma in (other, kept)]
        monkeypatch.setattr("distort.analysis.findings.local_changes._of_curve", lambda *_, both=both: both)
        (found,) = local_changes([curve(0.0)], lowest_valid_hz=20.0)
        assert (abs(found.excess_db), found.sigma_db) == kept


TOPS = np.arange(HZ.size) % 8 < 3
"""Three rows of eight: too few for a median, and more than three in ten."""
BETWEEN = ROW - ROW % 8 + 5


@pytest.mark.parametrize(("change_db", "bias_db"), [(-5.0, 0.0), (5.0, 0.0), (-5.0, 5.0), (0.0, 5.0)])
def test_the_ripple_of_a_change_is_that_of_rows_that_do_not_stand_out(change_db, bias_db):
    """Neither up nor down, in the long sweep: 0.03 dB here, and noise of 0.098 / 1.96 = 0.05 dB."""
    made = curve(change_db * TOPS, unsure_db=0.098, bias_db=bias_db * TOPS)
    found = _excess(made, 0.3)
    assert found.sigma_db[BETWEEN] == pytest.approx(np.hypot(0.03, 0.05), rel=1e-3)
    assert found.excess_db[BETWEEN - 4] == pytest.approx(change_db)


@pytest.mark.parametrize(("heights", "told"), [((1.0, 1.2, 1.1), [1]), ((1.2, 1.1, 1.0), [0]), ((1.0, 1.1, 1.2), [2])])
def test_a_place_is_where_the_excess_is_largest(heights, told):
    excess = np.zeros(HZ.size)
    excess[ROW - 1 : ROW + 2] = heights
    made = replace(_excess(curve(0.0), 0.3), curve=curve(excess), excess_db=excess, sigma_db=np.full(HZ.size, 0.1))
    assert [one.row for one in _of_curve(made, 20.0)] == [ROW - 1 + place for place in told]
    assert [one.row for one in _of_curve(made, float(HZ[ROW - 1 + told[0]]))] == [ROW - 1 + told[0]]


def test_exactly_five_spreads_and_a_fifth_of_a_decibel_are_a_place():
    for size, sigma in ((0.2, 0.02), (0.625, 0.125)):
        excess = np.where(np.arange(HZ.size) == ROW, size, 0.0)
        made = replace(
            _excess(curve(0.0), 0.3), curve=curve(excess), excess_db=excess, sigma_db=np.full(HZ.size, sigma)
        )
        assert [one.row for one in _of_curve(made, 20.0)] == [ROW]


@pytest.mark.parametrize(("per_octave", "told"), [(19.0, False), (21.0, True)])
def test_wider_than_0_8_octaves_is_no_place(per_octave, told):
    """From the nearest row below with less than half of it to that above: sixteen rows, 0.842 or 0.762 octaves."""
    rows = np.arange(121) - 60
    size = np.select([rows == 0, np.abs(rows) <= 7], [1.5, 1.0], 0.0)
    made = curve(size, hz=1000.0 * 2.0 ** (rows / per_octave))
    found = replace(_excess(made, 0.3), excess_db=np.where(rows == 0, 1.5, 0.0), sigma_db=np.full(rows.size, 0.1))
    assert bool(_of_curve(found, 20.0)) is told


def test_where_half_is_left_at_either_end_of_the_axis():
    """Half itself is still the place's; what never falls by half reaches to the end."""
    rows = np.arange(HZ.size)
    size = np.select([rows == ROW, np.abs(rows - ROW) <= 2], [2.0, 1.0], 0.0)
    assert _half(curve(size), ROW, 2.0) == (HZ[ROW - 3], HZ[ROW + 3])
    assert _half(curve(np.ones(HZ.size)), ROW, 1.0) == (HZ[0], HZ[-1])
    first = np.where(rows == 0, 0.0, 1.0)
    assert _half(curve(first), ROW, 1.0)[0] == HZ[0]
    second = np.where(rows <= 1, 0.0, 1.0)
    assert _half(curve(second), ROW, 1.0)[0] == HZ[1]
