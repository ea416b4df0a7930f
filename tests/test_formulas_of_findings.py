"""When a place becomes a finding and by which name: just on either side of where each rule turns.

Numbers beside a test are the contract; what is held 5 % either side of them turns.
"""

from dataclasses import replace

import numpy as np
import pytest
import scipy.stats

from distort.analysis.common.grid import grid_hz
from distort.analysis.findings import image_findings, order_findings
from distort.analysis.findings.candidates import Candidate, _apart, _standing_out, at_anomalies, at_tops
from distort.analysis.findings.event_findings import event_drafts
from distort.analysis.findings.evidence import Event, Evidence, Image, OrderCurve
from distort.analysis.findings.explanations.fit import Fit
from distort.analysis.findings.finding import Draft, PlaceFound
from distort.analysis.findings.image_findings import Crossing, _measured, _narrow
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
from distort.analysis.findings.way import known_way, way_odds
from distort.analysis.findings.way_out import Way, _robust_slopes, way_out
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


# --- the way out ------------------------------------------------------------------------------------------------------


def reference_slopes(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, float]:
    """Beaton and Tukey's bisquare, tuning 4.685, five rounds of weighted least squares by QR; the scale is 1.4826
    median absolute deviations, and four rows are one."""
    weight = np.ones(y.size)
    for _ in range(5):
        root = np.sqrt(weight)
        slopes = np.linalg.lstsq((root * x).T, root * y, rcond=None)[0]
        inverse = np.linalg.inv((weight * x) @ x.T)
        left = y - slopes @ x
        scale = 1.4826 * np.median(np.abs(left))
        share = np.abs(left) / (4.685 * scale)
        weight = np.where(share < 1.0, (1.0 - share**2) ** 2, 0.0)
    return slopes, float(scale * np.sqrt(4.0 * inverse[1, 1]))


def test_slopes_are_tukeys():
    random = np.random.default_rng(5)
    x = random.standard_normal((2, 90)) * np.array([[1.0], [0.6]])
    y = 1.5 * x[0] + 0.4 * x[1] + 0.3 * random.standard_normal(90)
    y[::9] += 6.0
    slopes, deviation = _robust_slopes(x, y)
    expected, expected_deviation = reference_slopes(x, y)
    np.testing.assert_allclose(slopes, expected, rtol=1e-6)
    assert deviation == pytest.approx(expected_deviation, rel=1e-6)
    assert slopes == pytest.approx([1.5, 0.4], abs=0.15)


@pytest.mark.parametrize("alpha", [0.0, 0.35, 1.0])
def test_odds_of_the_way_are_a_ratio_of_normal_densities(alpha, monkeypatch):
    """Of the slope on the response at n f about 1 less the share before the non-linearity, and about 0; with 1.5 times
    its deviation and 0.2 besides; 4 at most of one order."""
    random = np.random.default_rng(11)
    rises = random.standard_normal((2, 200))
    curves = np.array([rises[0], rises[1], 0.9 * rises[0] + alpha * rises[1] + 0.8 * random.standard_normal(200)])
    monkeypatch.setattr("distort.analysis.findings.way_out.rises", lambda *_, **__: curves)
    found = way_out(3, HZ[:200], curves)
    slopes, deviation = reference_slopes(curves[:2], curves[2])
    width = float(np.hypot(1.5 * deviation, 0.2))
    after = 1.0 - slopes[0] / 3.0
    log_ratio = 0.5 * ((slopes[1] / width) ** 2 - ((slopes[1] - after) / width) ** 2)
    assert found.found == pytest.approx(slopes[1], rel=1e-5)
    assert found.odds == pytest.approx(np.clip(log_ratio, -4.0, 4.0), rel=1e-4)
    few = curves[:, :15]
    monkeypatch.setattr("distort.analysis.findings.way_out.rises", lambda *_, **__: few)
    assert way_out(3, HZ[:15], few).found is None
    for size, told in ((0.24, False), (0.26, True)):
        flat = curves.copy()
        flat[1] *= size / np.std(flat[1])
        monkeypatch.setattr("distort.analysis.findings.way_out.rises", lambda *_, flat=flat, **__: flat)
        assert (way_out(3, HZ[:200], flat).found is not None) is told


def test_what_lies_within_a_third_of_an_octave_of_a_place_says_nothing_of_its_way(monkeypatch):
    """0.35 octaves: rows are left out, whatever they hold."""
    seen = []
    monkeypatch.setattr(
        "distort.analysis.findings.way_out.rises", lambda f, curves, **_: seen.append(curves) or np.full((3, 1), np.nan)
    )
    way_out(3, HZ, np.ones((3, HZ.size)), away_from_hz=AT_HZ)
    gone = np.abs(np.log2(HZ[np.isnan(seen[0][0])] / AT_HZ))
    left = np.abs(np.log2(HZ[np.isfinite(seen[0][0])] / AT_HZ))
    assert np.max(gone) <= 0.35 < np.min(left)
    assert np.max(gone) > 0.35 - 1.0 / PER_OCTAVE


def test_odds_of_ways_add_up_to_six():
    way = Way(found=0.5, odds=1.5)
    assert way.shared_probability == pytest.approx(1.0 / (1.0 + np.exp(-1.5)))
    assert way.together(2.0).odds == 3.5
    assert (way.together(9.0).odds, way.together(-9.0).odds) == (6.0, -6.0)
    assert Way(found=None, odds=-np.inf).together(9.0).odds == -np.inf
    assert [known_way(odds) for odds in (2.3, 2.1, -2.1, -2.3)] == [1, None, None, 0]


def curve(number: int, level: float, *, readable: bool = True, above_db: float = 10.5) -> OrderCurve:
    relative = np.full(HZ.size, -40.0)
    return OrderCurve(
        order=number,
        level_db_spl=level,
        relative_db=relative,
        fundamental_db=np.full(HZ.size, level),
        floor_db=relative - (above_db if readable else 9.5),
        uncertainty_db=np.zeros(HZ.size),
        bias_db=np.zeros(HZ.size),
    )


def test_the_way_of_a_condition_is_that_of_each_orders_most_readable_level(monkeypatch):
    asked = []

    def told(number, frequency_hz, curves_db):
        asked.append((number, float(curves_db[0, 0]), float(curves_db[2, 0])))
        return Way(found=1.0, odds=2.5)

    monkeypatch.setattr("distort.analysis.findings.way.way_out", told)
    orders = (curve(2, 86.0, readable=False), curve(2, 96.0), curve(3, 86.0), curve(3, 96.0, readable=False))
    assert way_odds(evidence(orders=orders)) == 5.0
    assert asked == [(2, 96.0, 56.0), (3, 86.0, 46.0)]
    assert way_odds(evidence(orders=(*orders, curve(4, 86.0)))) == 6.0
    assert np.all(curve(2, 86.0, above_db=10.0).readable)


def test_the_response_at_other_frequencies_is_known_between_its_ends():
    """Straight over log frequency."""
    response = np.where((HZ > 99.0) & (HZ < 10100.0), 3.0 * np.log2(HZ / 1000.0), np.nan)
    found = evidence(response_db=response).response_at(np.array([60.0, 150.0, 1234.0, 12000.0]))
    assert found == pytest.approx([np.nan, 3.0 * np.log2(0.15), 3.0 * np.log2(1.234), np.nan], nan_ok=True)


# --- events and images ------------------------------------------------------------------------------------------------


def event(low_hz: float, high_hz: float, orders=(1, 3), level: float = 96.0) -> Event:
    return Event(level_db_spl=level, low_hz=low_hz, high_hz=high_hz, orders=orders)


def test_events_within_an_octave_at_one_level_are_one():
    """What touches the fundamental alone is none."""
    (one,) = event_drafts(evidence(events=(event(100.0, 200.0, (1, 5)), event(390.0, 500.0, (2,)))))
    (place,) = one.places
    assert (place.low_hz, place.high_hz) == (100.0, 500.0)
    assert place.frequency_hz == pytest.approx(np.sqrt(100.0 * 500.0))
    assert one.numbers == {"level_db_spl": 96.0, "lowest_order": 2.0, "highest_order": 5.0}
    assert one.probability == pytest.approx(183.0 / 186.0)
    assert len(event_drafts(evidence(events=(event(100.0, 200.0), event(410.0, 500.0))))) == 2
    assert len(event_drafts(evidence(events=(event(100.0, 200.0), event(150.0, 300.0, level=91.0))))) == 2
    assert event_drafts(evidence(events=(event(100.0, 200.0, (1,)),))) == []
    assert len(event_drafts(evidence(events=(event(100.0, 200.0, (2,)),)))) == 1


def image(*touched_hz: tuple[float, float], highest_db: float = -60.0) -> Image:
    return Image(difference_hz=3900.0, highest_db=highest_db, touched_hz=touched_hz)


def test_images_are_told_where_they_touch_and_where_something_rises():
    """Rises within 0.08 octaves of one another are one, and those within a stretch are its own."""
    assert _measured([image()], []) is None
    near_hz = [3000.0, 3000.0 * 2.0**0.076, 3000.0 * 2.0**0.164]
    told = _measured([image((1000.0, 1210.0), highest_db=-70.0), image()], [1000.0, 1100.0, 1210.0, *near_hz])
    assert told is not None
    assert [one.frequency_hz for one in told.places] == pytest.approx([1100.0, near_hz[0], near_hz[2]])
    assert told.probability == pytest.approx(101.0 / 102.0)


@pytest.mark.parametrize(
    ("fall_db", "rows", "narrow"), [(2.1, 4, True), (1.9, 4, False), (2.1, 5, False), (2.1, 3, True)]
)
def test_a_rise_is_narrow_where_it_falls_by_2_db_within_four_rows(fall_db, rows, narrow):
    """On both sides, at the highest level."""
    level = np.where(np.abs(np.arange(HZ.size) - ROW) < rows, 0.0, -fall_db)
    stack = np.array([np.zeros(HZ.size), level])
    found = GapContrasts(gap_octaves=0.3, response_db=np.zeros(HZ.size), orders=(contrast(3, stack),))
    assert _narrow(found, 3, ROW) is narrow
    one_side = np.where(np.arange(HZ.size) < ROW, level, 0.0)
    found = replace(found, orders=(contrast(3, np.array([one_side, one_side])),))
    assert not _narrow(found, 3, ROW)
    assert not _narrow(found, 3, 3)


@pytest.mark.parametrize(
    ("crossings", "told"),
    [
        ([(1000.0, 3), (1300.0, 3), (1950.0, 4)], "image"),
        ([(1000.0, 3), (1300.0, 3), (1950.0, 3)], "open"),
        ([(1000.0, 3), (1300.0, 4)], "open"),
        ([(1000.0, 3)], "open"),
        ([], "kept"),
    ],
)
def test_three_crossings_of_two_orders_name_a_conversion(monkeypatch, crossings, told):
    """Fewer leave open what rises there; what rises elsewhere is kept."""
    met = [
        Crossing(place=replace(weighing(at_hz=at_hz).place, orders=(order(number, 6.0),)), order=order(number, 6.0))
        for at_hz, number in crossings
    ]
    monkeypatch.setattr(image_findings, "_met", lambda *_: (met, 20))
    monkeypatch.setattr(image_findings, "_probability", lambda *_: 0.9)
    here, elsewhere = draft_at(1000.0), draft_at(5000.0)
    monkeypatch.setattr(image_findings, "_apart", lambda drafts, met: ([elsewhere], [here]) if met else (drafts, []))
    found = image_findings.with_images([here, elsewhere], evidence(), {})
    if told == "image":
        assert [one.explanation for one in found] == ["conversion-image", "loudspeaker-generated"]
        assert (found[0].strength_db, found[0].numbers["below_db"]) == (6.0, 40.0)
    elif told == "open":
        assert [one.decided for one in found] == [True, False]
        assert found[1].between == ("loudspeaker-generated", "conversion-image")
    else:
        assert found == [here, elsewhere]


def test_what_stands_at_crossings_alone_is_an_images():
    """Within 0.08 octaves, at all of its places; or above the noise just where its order crosses one."""
    met = [Crossing(place=weighing(at_hz=at_hz).place, order=order(3, 6.0)) for at_hz in (1200.0, 2300.0)]
    inside, beside = draft_at(1200.0 * 2.0**0.076), draft_at(1200.0 * 2.0**0.084)
    comb = draft_at(1200.0, explanation="delayed-copy")
    half = replace(draft_at(1200.0), places=(draft_at(1200.0).places[0], draft_at(1700.0).places[0]))
    bound = {"numbers": {"at_least": 1.0, "order": 3.0}}
    crossing, other = draft_at(975.0 * 2.0**0.076, **bound), draft_at(975.0 * 2.0**0.084, **bound)
    upper = draft_at(3900.0, **bound)  # 7,800 / (3 - 1) Hz
    kept, at_crossings = image_findings._apart([inside, beside, comb, half, crossing, other, upper], met)
    assert at_crossings == [inside, crossing, upper]
    assert kept == [beside, comb, half, other]


def test_images_are_as_probable_as_crossings_are_met_more_often_than_by_chance(monkeypatch):
    """Binomial: half of them where there is one, and as often as at differences that do not exist; 0.1 beforehand."""
    monkeypatch.setattr(image_findings, "_met", lambda evidence, contrasts, differences: ([None], 20))
    chance = (4.0 + 1.0) / (80.0 + 2.0)
    there, none = (0.1 * scipy.stats.binom.pmf(5, 20, 0.5), 0.9 * scipy.stats.binom.pmf(5, 20, chance))
    assert image_findings._probability(evidence(), {}, 5, 20) == pytest.approx(there / (there + none))
