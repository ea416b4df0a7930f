"""When a place becomes a finding and by which name: just on either side of where each rule turns.

Numbers beside a test are the contract; what is held 5 % either side of them turns.
"""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.common.grid import grid_hz
from distort.analysis.findings import order_findings
from distort.analysis.findings.candidates import Candidate, _apart, _standing_out, at_anomalies, at_tops
from distort.analysis.findings.evidence import Evidence
from distort.analysis.findings.explanations.fit import Fit
from distort.analysis.findings.finding import Draft, PlaceFound
from distort.analysis.findings.order_contrasts import GapContrasts, OrderContrasts
from distort.analysis.findings.order_findings import (
    _at_its_top,
    _combs,
    _met,
    _of_group,
    _passive,
    _source,
    before_prior,
)
from distort.analysis.findings.places import OrderAt, Place
from distort.analysis.findings.response_findings import response_drafts
from distort.analysis.findings.weighing import BEFORE, BOTH, OWN, SHARED, SOURCE, Weighed
from distort.analysis.findings.weighings import Weighing
from tests.made_evidence import SPEED_M_S, anomaly

HZ = grid_hz()
ROW = int(np.argmin(np.abs(HZ - 1000.0)))
AT_HZ = float(HZ[ROW])
PER_OCTAVE = 1.0 / np.log2(HZ[1] / HZ[0])


def evidence(*anomalies, response_db=None, **more) -> Evidence:
    response = np.zeros(HZ.size) if response_db is None else response_db
    return Evidence(frequency_hz=HZ, response_db=response, lowest_valid_hz=20.0, anomalies=anomalies, **more)


def order(number: int = 3, mean_db: float = 0.0, *, ripple_db: float = 0.5, at_least: bool = False) -> OrderAt:
    return OrderAt(
        order=number,
        levels_db_spl=np.array([86.0, 96.0]),
        product_db=np.full(2, mean_db),
        error_db=np.array([0.3, 0.1]),
        short_db=np.full(2, mean_db),
        there_db=0.0,
        ripple_db=(ripple_db, ripple_db),
        relative_db=np.array([-55.0, -40.0]),
        at_least=at_least,
    )


def weighing(
    *orders: OrderAt,
    fundamental_db: float = -8.0,
    found_at=None,
    against: tuple[int, ...] = (),
    at_hz: float = AT_HZ,
    **shares: float,
) -> Weighing:
    given = orders or (order(),)
    fit = Fit(
        name="s",
        alpha=0,
        log_likelihood=0.0,
        predicted_db={one.order: 0.0 for one in given},
        spread_db={one.order: 0.4 for one in given},
        source_db={one.order: one.mean_db for one in given if one.mean_db > 0.0},
    )
    place = Place(frequency_hz=at_hz, gap_octaves=0.3, fundamental_db=fundamental_db, orders=given)
    probability = {SHARED: 0.0, OWN: 0.0, BEFORE: 0.0, SOURCE: 0.0} | {
        {"shared": SHARED, "own": OWN, "before": BEFORE, "source": SOURCE, "both": BOTH}[name]: value
        for name, value in shares.items()
    }
    found = Weighed(probability=probability, source=fit, best=fit, against=against)
    return Weighing(place=place, anomaly=found_at, found=found)


DIP = anomaly(AT_HZ, -8.0)


# --- dips and combs ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fields", "best", "named", "between"),
    [
        ({}, SHARED, "resonance", ()),
        ({}, BEFORE, "filter-before-source", ()),
        ({}, OWN, "cancellation", ()),
        ({"elsewhere": "filled-in"}, OWN, "room", ()),
        ({"elsewhere": "filled-in"}, BEFORE, "filter-before-source", ()),
        ({"path_difference_m": 0.3}, SHARED, "delayed-copy", ()),
        ({"path_difference_m": 0.3}, OWN, "cancellation", ()),
        ({"shape": "unknown"}, SHARED, "undecided", ("delayed-copy", "resonance")),
    ],
)
def test_what_a_dip_is_called(fields, best, named, between):
    assert order_findings._named(evidence(), replace(DIP, **fields), best) == (named, between)


@pytest.mark.parametrize(
    ("one", "best", "told"),
    [
        (weighing(order(3, -3.5), fundamental_db=-4.2, found_at=DIP), 0.9, True),
        (weighing(order(3, -0.5), fundamental_db=-4.2, found_at=DIP), 0.9, True),
        (weighing(order(3, -0.5), fundamental_db=-3.8, found_at=DIP), 0.9, None),
        (weighing(order(3, -4.85), found_at=DIP), 0.9, True),
        (weighing(order(3, -5.15), found_at=DIP), 0.9, None),
        (weighing(found_at=DIP), 0.82, True),
        (weighing(found_at=DIP), 0.78, False),
        (weighing(found_at=DIP, against=(3,)), 0.9, False),
        (weighing(found_at=replace(DIP, kind="peak")), 0.9, None),
        (weighing(), 0.9, None),
    ],
)
def test_a_dip_is_a_finding_from_4_db_where_an_order_rises_by_3(one, best, told):
    """The ratio rises where the fundamental dips and the order does not; decided from a probability of 0.8 on."""
    if one.place.orders[0].mean_db == -3.5:
        assert _passive(evidence(), [one], {SHARED: best, OWN: 1 - best, BEFORE: 0.0}) == []
        return
    found = _passive(evidence(), [one], {SHARED: best, OWN: 1 - best, BEFORE: 0.0})
    assert (found[0].decided if found else None) is told
    if found:
        assert found[0].probability == best
        assert found[0].strength_db == pytest.approx(one.place.orders[0].mean_db - one.place.fundamental_db)
        assert found[0].against == (("h3",) if one.found.against else ())


def test_what_an_undecided_dip_lies_between():
    """Explanations of more than a tenth."""
    for own, others in ((0.11, ("resonance", "cancellation")), (0.09, ("resonance",))):
        (one,) = _passive(evidence(), [weighing(found_at=DIP)], {SHARED: 0.7, OWN: own, BEFORE: 0.05})
        assert one.between == others


def test_in_a_room_two_dips_of_one_comb_are_no_accident():
    path_m = SPEED_M_S / 1000.0
    both = [
        weighing(
            fundamental_db=depth_db,
            at_hz=at_hz,
            found_at=anomaly(at_hz, -8.0, path_difference_m=path_m, reflection=0.6),
        )
        for depth_db, at_hz in ((-7.0, 500.0), (-9.0, 1500.0))
    ]
    room = evidence(in_room=True)
    shares = {SHARED: 0.95, OWN: 0.04, BEFORE: 0.01}
    (one,) = _passive(room, both, shares)
    assert [place.frequency_hz for place in one.places] == [1500.0, 500.0]  # the deepest first
    assert one.numbers == {"fundamental_db": -9.0, "path_m": path_m, "amplitude": 0.6}
    assert _passive(room, both[:1], shares) == []
    (alone,) = _passive(evidence(), [weighing(found_at=DIP)], shares)
    assert alone.numbers == {"fundamental_db": -8.0, "q": 5.0}
    (front,) = _passive(evidence(), [weighing(order(3, -9.0), found_at=DIP)], {SHARED: 0.0, OWN: 0.1, BEFORE: 0.9})
    assert front.explanation == "filter-before-source"  # where no ratio rises
    groups = _combs(evidence(*(one.anomaly for one in both)), [*both, weighing(found_at=DIP), weighing()])
    assert [len(group) for group in groups] == [2, 1, 1]


def test_odds_of_the_dips_of_a_comb_multiply():
    """With a thousandth added to each, so that none speaks by more than that."""
    first = weighing(found_at=DIP, shared=0.7, own=0.3)
    second = weighing(found_at=DIP, shared=0.4, own=0.6)
    (found,) = _of_group(evidence(), {}, [first, second], odds=0.0)
    shared, own = 0.701 * 0.401, 0.301 * 0.601
    assert found.probability == pytest.approx(shared / (shared + own + 1e-6), rel=1e-6)
    lone = weighing(found_at=DIP, shared=1.0)
    (found,) = _of_group(evidence(), {}, [lone, weighing(found_at=DIP, own=1.0), lone], odds=0.0)
    assert found.probability == pytest.approx(1.001**2 * 0.001 / (1.001**2 * 0.001 + 0.001**2 * 1.001 + 1e-9), rel=1e-6)


def test_how_probable_a_filter_before_the_source_is_beforehand():
    """Where the orders are all that is known, at a dip, and at a dip of a comb."""
    plain = evidence()
    assert before_prior(plain, None) == 0.3
    ratios = [
        before_prior(plain, one) / before_prior(plain, None) for one in (DIP, replace(DIP, path_difference_m=0.3))
    ]
    assert ratios == pytest.approx([0.4, 1.0 / 150.0])


@pytest.mark.parametrize(("probability", "decided"), [(0.82, True), (0.78, False)])
def test_a_source_has_the_order_that_stands_out_most(probability, decided):
    one = weighing(order(2, 4.0), order(3, 9.0, at_least=True), source=probability)
    draft = _source(one)
    assert (draft.decided, draft.probability, draft.strength_db) == (decided, pytest.approx(probability), 9.0)
    assert draft.numbers == {
        "order": 3.0,
        "source_db": 9.0,
        "source_interval_db": pytest.approx(1.96 * 0.4, rel=1e-4),
        "at_least": 1.0,
    }
    assert "at_least" not in _source(weighing(order(2, 9.0), order(3, 4.0, at_least=True), source=0.9)).numbers


def draft_at(at_hz: float, **more) -> Draft:
    given = {"explanation": "loudspeaker-generated", "decided": True, "probability": 0.9, "strength_db": 5.0} | more
    return Draft(places=(PlaceFound(frequency_hz=at_hz, low_hz=at_hz / 1.1, high_hz=at_hz * 1.1),), **given)


@pytest.mark.parametrize(("octaves", "there"), [(0.19, True), (0.21, False), (-0.19, True), (-0.21, False)])
def test_what_is_found_within_a_fifth_of_an_octave_is_told(octaves, there):
    at_hz = AT_HZ * 2.0**octaves
    assert _met(draft_at(at_hz), weighing()) is there
    dip = weighing(found_at=DIP, shared=0.9)
    assert bool(response_drafts(evidence(), [dip], [draft_at(at_hz)])) is not there
    heard = draft_at(200.0, numbers={"heard_hz": at_hz})
    assert bool(response_drafts(evidence(), [dip], [heard])) is not there


def test_the_top_of_an_order_lies_within_a_fifth_of_an_octave(monkeypatch):
    """Five rows: the highest of them, of the order that has most of the source."""
    asked = []

    def weighed_at(evidence, contrasts, candidate, odds):
        asked.append(candidate.row)
        return weighing(order(2, 9.0), order(3, 4.0))

    monkeypatch.setattr(order_findings, "_weighed", weighed_at)
    for offset, taken in ((-5, ROW - 5), (5, ROW + 5), (6, None), (-6, None), (0, None)):
        level = np.zeros((2, HZ.size))
        level[-1, ROW] = 1.0
        level[-1, ROW + offset] = 3.0
        orders = (contrast(2, level), contrast(3, -level))
        asked.clear()
        found = {0.3: GapContrasts(gap_octaves=0.3, response_db=np.zeros(HZ.size), orders=orders)}
        _at_its_top(evidence(), found, Candidate(row=ROW, gap_octaves=0.3), 0.0)
        assert asked == [ROW] + ([] if taken is None else [taken])


# --- the response alone -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fields", "told"),
    [
        ({"deviation_db": -3.15}, True),
        ({"deviation_db": -2.85}, False),
        ({"deviation_db": 3.15, "kind": "peak"}, True),
        ({"frequency_hz": 105.0}, True),
        ({"frequency_hz": 95.0}, False),
        ({"deviation_uncertainty_db": 7.6}, True),
        ({"deviation_uncertainty_db": 8.4}, False),
    ],
)
def test_a_dip_or_peak_of_3_db_above_100_hz_is_told(fields, told):
    one = replace(DIP, **fields)
    found = response_drafts(evidence(), [weighing(found_at=one, shared=0.9, own=0.05, before=0.05)], [])
    assert bool(found) is told
    if told:
        assert found[0].strength_db == pytest.approx(0.5 * abs(one.deviation_db))
        assert found[0].probability == pytest.approx(0.95 if one.kind == "peak" else 0.9)
    assert response_drafts(evidence(in_room=True), [weighing(found_at=one, shared=0.9)], []) == []


@pytest.mark.parametrize(
    ("fields", "explanation", "probability", "between"),
    [
        ({}, "resonance", 0.9, ("resonance", "filter-before-source", "cancellation")),
        ({"kind": "peak", "deviation_db": 8.0}, "resonance", 0.94, ("resonance", "filter-before-source")),
        ({"path_difference_m": 0.3}, "delayed-copy", 0.9, ("resonance", "filter-before-source", "cancellation")),
        ({"elsewhere": "filled-in"}, "room", 0.96, ("room", "cancellation")),
        ({"shape": "unknown"}, "undecided", 0.5, ("resonance", "filter-before-source", "cancellation")),
    ],
)
def test_what_the_response_alone_is_called(fields, explanation, probability, between):
    """Less what the orders say against it: 0.06 of a filter before them, 0.04 of a way of their own."""
    one = weighing(found_at=replace(DIP, **fields), shared=0.9, own=0.04, before=0.06)
    (found,) = response_drafts(evidence(), [one], [])
    assert (found.explanation, found.between) == (explanation, between)
    assert found.probability == pytest.approx(probability)


# --- where to look ----------------------------------------------------------------------------------------------------


def contrast(number: int, product_db=None, *, ripple_db: float = 0.5, there_db: float = 0.0, at_least_db=None):
    """An order with so much ripple round about; seven in ten of a normal variable lie within 1.036 of it."""
    shape = (2, HZ.size)
    quiet = np.full(shape, 1.036 * ripple_db)
    product = quiet.copy() if product_db is None else product_db
    return OrderContrasts(
        order=number,
        levels_db_spl=(86.0, 96.0),
        product_db=product,
        there_db=np.full(HZ.size, there_db),
        error_db=np.full(shape, 0.1),
        short_db=product,
        less_way_db=quiet,
        calm=np.arange(HZ.size) != ROW,
        at_most_db=np.full(shape, np.nan),
        at_least_db=np.full(shape, np.nan) if at_least_db is None else at_least_db,
        level_db=product,
        relative_db=product,
    )


def top(low_db: float, high_db: float, *, ripple_db: float = 0.5) -> np.ndarray:
    product = np.full((2, HZ.size), 1.036 * ripple_db)
    product[:, ROW] = low_db, high_db
    return product


def test_how_many_spreads_an_order_stands_out_by():
    """The highest level or the mean of all, whichever is more, over ripple and noise; 2.5 dB and 1.5 spreads."""
    spread = float(np.hypot(0.5, 0.1))

    def out(product, alpha=0, **more):
        return _standing_out(HZ, contrast(3, product, **more), alpha)[ROW]

    assert out(top(2.0, 4.0)) == pytest.approx(4.0 / spread)
    assert out(top(6.0, 4.0)) == pytest.approx(5.0 / spread)
    assert out(top(np.nan, 4.0)) == pytest.approx(4.0 / spread)
    assert out(top(0.0, 2.6)) == pytest.approx(2.6 / spread)
    assert out(top(0.0, 2.4)) == 0.0
    assert out(top(4.0, 4.0), 1, there_db=1.0) == pytest.approx(3.0 / spread)
    assert out(top(4.0, 4.0), None, there_db=1.0) == pytest.approx(3.0 / spread)
    assert out(top(4.0, 4.0), None, there_db=-1.0) == pytest.approx(4.0 / spread)
    assert out(top(4.0, 4.0), 0, there_db=1.0) == pytest.approx(4.0 / spread)
    assert out(top(3.0, 3.0, ripple_db=1.9), ripple_db=1.9) == pytest.approx(3.0 / np.hypot(1.9, 0.1))
    assert out(top(3.0, 3.0, ripple_db=2.1), ripple_db=2.1) == 0.0
    bounds = np.full((2, HZ.size), np.nan)
    bounds[:, ROW] = 7.0
    assert out(np.full((2, HZ.size), np.nan), at_least_db=bounds) == pytest.approx(7.0 / np.hypot(2.0, 0.1))


def test_orders_call_together_by_three_spreads_and_none_for_more_than_eight():
    spread = float(np.hypot(1.0, 0.1))

    def called(*heights: float) -> list[Candidate]:
        orders = tuple(
            contrast(2 + place, top(high, high, ripple_db=1.0), ripple_db=1.0) for place, high in enumerate(heights)
        )
        found = GapContrasts(gap_octaves=0.3, response_db=np.zeros(HZ.size), orders=orders)
        return at_tops(evidence(), {0.3: found}, 0)

    high = 10.0 * spread
    (one,) = called(high)
    assert (one.row, one.gap_octaves, one.strength) == (ROW, 0.3, pytest.approx(64.0 + 0.01 * 10.0))
    (both,) = called(high, 4.0 * spread)
    assert both.strength == pytest.approx(64.0 + 16.0 + 0.01 * 14.0)
    assert called(2.94 * spread) == []  # 8.64 + 0.03
    assert len(called(3.06 * spread)) == 1
    assert len(called(2.6 * spread, 2.6 * spread)) == 1  # 13.5


def test_candidates_within_a_quarter_of_an_octave_are_the_strongest():
    rows = {octaves: ROW + round(octaves * PER_OCTAVE) for octaves in (0.2, 0.3)}
    weak = {octaves: Candidate(row=row, gap_octaves=0.3, strength=9.0) for octaves, row in rows.items()}
    strong = Candidate(row=ROW, gap_octaves=0.3, strength=20.0)
    assert _apart(HZ, [weak[0.2], strong]) == [strong]
    assert _apart(HZ, [weak[0.3], strong]) == [strong, weak[0.3]]
    (one,) = at_anomalies(evidence(DIP, anomaly(2.0 * HZ[-1], -6.0)))
    assert (one.row, one.gap_octaves, one.anomaly) == (ROW, 0.3, DIP)
