"""How findings of orders are put together: every condition by itself, and where each rule turns.

Numbers beside a test are the contract; what is decided from 0.8 or listed from 0.5 on is so at just these numbers.
"""

from dataclasses import replace

import numpy as np
import pytest
import scipy.stats

from distort.analysis.findings import order_findings, peak_findings
from distort.analysis.findings.candidates import Candidate
from distort.analysis.findings.order_contrasts import GapContrasts
from distort.analysis.findings.order_findings import (
    NO_PRIOR,
    _at_its_top,
    _numbers,
    _of_group,
    _passive,
    _shares_of,
    _source,
    _tops,
    _weighed,
    order_drafts,
)
from distort.analysis.findings.peak_findings import _meeting, peak_drafts
from distort.analysis.findings.places import AtMost, Place
from distort.analysis.findings.weighing import BEFORE, OWN, SHARED
from tests.made_evidence import Made, anomaly
from tests.test_formulas_of_findings import DIP, HZ, ROW, contrast, draft_at, evidence, order, weighing

FLAT = GapContrasts(gap_octaves=0.3, response_db=np.zeros(HZ.size), orders=())


def test_drafts_of_orders_are_put_together_in_turn(monkeypatch):
    """Of dips, of peaks that products meet, of tops, and of the response where none of them stands."""
    given = []
    for name, made in (
        ("all_contrasts", {}),
        ("way_odds", 1.5),
        ("at_anomalies", ["a", "b"]),
        ("_weighed", "w"),
        ("_combs", ["one", "two"]),
        ("peak_drafts", ["peak"]),
        ("_tops", ["top"]),
    ):
        monkeypatch.setattr(order_findings, name, lambda *_, made=made, **__: made)
    monkeypatch.setattr(order_findings, "_of_group", lambda evidence, contrasts, group, *, odds: [group, odds])
    monkeypatch.setattr(
        order_findings, "response_drafts", lambda evidence, dips, drafts: given.append(list(drafts)) or ["response"]
    )
    monkeypatch.setattr(order_findings, "with_images", lambda drafts, *_: drafts)
    found = order_drafts(evidence())
    assert found == ["one", 1.5, "two", 1.5, "peak", "top", "response"]
    assert given == [found[:-1]]


def test_what_is_probable_before_a_place_is_looked_at(monkeypatch):
    """A source: 5 % at a dip or peak, 2 % where orders stand out; none among orders that are known to have none."""
    asked = []
    one = weighing(found_at=DIP, source=0.9)
    monkeypatch.setattr(order_findings, "weighed", lambda place, **given: asked.append((place, given)) or one.found)
    monkeypatch.setattr(order_findings, "place_at", lambda *_: one.place)
    for at, source, before in (
        (DIP, 0.05, 0.12),
        (None, 0.02, 0.3),
        (replace(DIP, path_difference_m=0.3), 0.05, 0.002),
    ):
        _weighed(evidence(), {0.3: FLAT}, Candidate(row=ROW, gap_octaves=0.3, anomaly=at), 1.25)
        assert asked.pop()[1] == {"way_odds": 1.25, "source_prior": source, "before_prior": before}
    made = weighing(order(2, 5.0), order(3, 0.0), found_at=DIP, source=0.9)
    assert _shares_of(evidence(), made, 1.25) == one.found.probability
    place, given = asked.pop()
    assert [each.order for each in place.orders] == [3]
    assert given == {"way_odds": 1.25, "source_prior": NO_PRIOR, "before_prior": 0.12}
    assert 0.0 < NO_PRIOR <= 1e-5


@pytest.mark.parametrize(("source", "made"), [(0.49, False), (0.5, True)])
def test_a_source_is_listed_at_a_dip_from_a_half_on(monkeypatch, source, made):
    """At just a half the dip is explained by all orders, above it by those without a source."""
    monkeypatch.setattr(order_findings, "source_or_peak", lambda *_: "made")
    monkeypatch.setattr(order_findings, "_passive", lambda *_: ["passive"])
    one = weighing(order(3, 9.0), found_at=DIP, source=source, shared=1.0 - source)
    assert one.has_source == source
    assert _shares_of(evidence(), one, 0.0) is one.found.probability
    assert _of_group(evidence(), {0.3: FLAT}, [one], odds=0.0) == ["passive", *(["made"] if made else [])]


@pytest.mark.parametrize(
    ("best", "dips", "source", "passive"),
    [(OWN, 1, 0.9, False), (OWN, 2, 0.9, True), (SHARED, 1, 0.9, True), (OWN, 1, 0.1, True)],
)
def test_a_source_at_one_dip_leaves_no_cancellation_there(monkeypatch, best, dips, source, passive):
    """The fundamental dips where the source adds to what it does not share its way with."""
    monkeypatch.setattr(order_findings, "source_or_peak", lambda *_: "made")
    monkeypatch.setattr(order_findings, "_passive", lambda *_: ["passive"])
    monkeypatch.setattr(order_findings, "_shares_of", lambda *_: {best: 0.9})
    group = [weighing(order(3, 9.0), found_at=DIP, source=source)] * dips
    found = _of_group(evidence(), {0.3: FLAT}, group, odds=0.0)
    assert ("passive" in found) is passive
    assert found.count("made") == (dips if source > 0.5 else 0)


def test_an_explanation_that_was_not_weighed_counts_as_a_thousandth():
    one = weighing(found_at=DIP, shared=0.7, own=0.3)
    without = replace(one, found=replace(one.found, probability={SHARED: 0.7, OWN: 0.3, "loudspeaker-generated": 0.0}))
    (found,) = _of_group(evidence(), {}, [without], odds=0.0)
    assert found.probability == pytest.approx(0.701 / (0.701 + 0.301 + 0.001))


SHARES = {SHARED: 0.8, OWN: 0.1, BEFORE: 0.1}


def test_the_deepest_dip_of_a_comb_says_what_it_is():
    """Which is decided from just 0.8, told of just 4 dB, and lies between what is more probable than a tenth."""
    deep = weighing(order(2, 1.0), order(3, -1.0), fundamental_db=-9.0, found_at=DIP)
    shallow = weighing(fundamental_db=-5.0, found_at=replace(DIP, shape="unknown"))
    for group in ([deep, shallow], [shallow, deep]):
        (found,) = _passive(evidence(), group, SHARES)
        assert (found.explanation, found.decided, found.strength_db) == ("resonance", True, 10.0)
        assert found.between == ("resonance",)
    for depth_db, told in ((-4.0, True), (-3.9, False)):
        one = weighing(fundamental_db=depth_db, found_at=DIP)
        assert bool(_passive(evidence(), [one], SHARES)) is told
    (opened,) = _passive(evidence(), [deep], {SHARED: 0.79, OWN: 0.11, BEFORE: 0.1})
    assert (opened.decided, opened.between) == (False, ("resonance", "cancellation"))


def test_a_filter_before_the_source_is_told_by_orders_that_lie_under_their_floor():
    """It takes n times its depth from them; as strong as the dip is deep."""
    low = AtMost(order=3, at_most_db=-9.0, there_db=0.0, ripple_db=(0.5, 0.5))
    one = weighing(fundamental_db=-7.0, found_at=DIP)
    under = replace(one, place=replace(one.place, orders=(), under=(low,)))
    nothing = replace(one, place=replace(one.place, orders=()))
    shares = {SHARED: 0.05, OWN: 0.05, BEFORE: 0.9}
    (found,) = _passive(evidence(), [under], shares)
    assert (found.explanation, found.strength_db) == ("filter-before-source", 7.0)
    assert _passive(evidence(), [nothing], shares) == []
    assert _passive(evidence(), [under], SHARES) == []


def test_numbers_of_a_dip_are_its_depth_and_what_its_shape_tells():
    assert _numbers([], weighing(fundamental_db=-6.0)) == {"fundamental_db": -6.0}
    copy = replace(DIP, path_difference_m=0.3, reflection=0.5)
    assert _numbers([], weighing(found_at=copy)) == {"fundamental_db": -8.0, "path_m": 0.3, "amplitude": 0.5}
    assert _numbers([], weighing(found_at=DIP)) == {"fundamental_db": -8.0, "q": 5.0}


@pytest.mark.parametrize(("probability", "decided"), [(0.8, True), (0.79, False)])
def test_a_source_is_named_from_0_8_on(probability, decided):
    found = _source(weighing(order(3, 9.0), source=probability))
    assert (found.decided, found.between) == (decided, () if decided else ("loudspeaker-generated", "noise"))
    assert found.part_of_loudspeaker is (True if decided else None)


# --- tops -------------------------------------------------------------------------------------------------------------


def test_tops_are_told_away_from_dips_and_from_one_another(monkeypatch):
    """From a probability of a half on; what a resonance on the way explains already is not told twice."""
    hz = {200.0: 0.9, 1000.0: 0.9, 1500.0: 0.49, 3000.0: 0.5, 5000.0: 0.9}
    rows = {at: int(np.argmin(np.abs(HZ - at))) for at in hz}
    monkeypatch.setattr(
        order_findings, "at_tops", lambda *_: [Candidate(row=row, gap_octaves=0.3) for row in rows.values()]
    )
    shares = {rows[at]: share for at, share in hz.items()}
    monkeypatch.setattr(
        order_findings,
        "_at_its_top",
        lambda evidence, contrasts, one, odds: weighing(
            order(3, 9.0), at_hz=float(HZ[one.row]), source=shares[one.row]
        ),
    )

    def told(evidence, contrasts, one, source):
        also = (draft_at(5000.0).places[0],) if one.place.frequency_hz < 300.0 else ()
        return replace(source, places=(*source.places, *also))

    monkeypatch.setattr(order_findings, "source_or_peak", told)
    found = _tops(evidence(), {0.3: FLAT}, 0.0, [weighing(at_hz=1000.0 * 2.0**0.18)])
    assert [round(one.places[0].frequency_hz, -2) for one in found] == [200.0, 3000.0]
    without = _tops(evidence(), {0.3: FLAT}, 0.0, [weighing(at_hz=1000.0 * 2.0**0.23)])
    assert [round(one.places[0].frequency_hz, -2) for one in without] == [200.0, 1000.0, 3000.0]


@pytest.mark.parametrize(("candidate", "top"), [(2, 0), (238, 240), (2, 7), (238, 233), (100, 95), (100, 105)])
def test_a_top_within_five_rows_is_taken_up_to_the_ends_of_the_axis(monkeypatch, candidate, top):
    """Of what is known: the other rows lie below 0 dB or are not read."""
    asked = []
    monkeypatch.setattr(
        order_findings,
        "_weighed",
        lambda evidence, contrasts, one, odds: asked.append(one.row) or weighing(order(3, 9.0)),
    )
    level = np.full((2, HZ.size), -5.0)
    level[-1, top] = -1.0
    level[-1, candidate] = np.nan
    level[-1, [row for row in (candidate - 6, candidate + 6) if 0 <= row < HZ.size]] = 9.0
    found = {0.3: replace(FLAT, orders=(contrast(3, level),))}
    _at_its_top(evidence(), found, Candidate(row=candidate, gap_octaves=0.3), 0.0)
    assert asked == [candidate, top]


# --- peaks ------------------------------------------------------------------------------------------------------------


def test_every_other_order_is_asked_where_it_meets_the_same_frequency(monkeypatch):
    """3 kHz is met by order 2 at 1,500 Hz and by order 4 at 750 Hz; not where its ripple is not known."""
    readings = {2: order(2), 3: order(3), 4: order(4), 5: None}
    readings[4] = replace(order(4), ripple_db=(np.inf, 0.5))
    asked = []

    def place(frequency_hz, found, row):
        asked.append(float(frequency_hz[row]))
        number = round(3000.0 / frequency_hz[row])
        known = readings.get(number)
        return Place(
            frequency_hz=float(frequency_hz[row]),
            gap_octaves=0.3,
            fundamental_db=0.0,
            orders=() if known is None else (known,),
        )

    monkeypatch.setattr(peak_findings, "place_at", place)
    found = _meeting(Made().evidence(), FLAT, 3000.0, besides=3)
    assert asked == pytest.approx([1500.0, 750.0, 600.0], rel=0.015)
    assert [(one.order.order, one.frequency_hz) for one in found] == [(2, 1500.0)]
    readings[4] = replace(order(4), ripple_db=(0.5, np.inf))
    assert [one.order.order for one in _meeting(Made().evidence(), FLAT, 3000.0, besides=3)] == [2, 4]
    assert _meeting(Made().evidence(), FLAT, 30.0, besides=2) == []


def test_peaks_of_the_comb_of_a_copy_are_its_own(monkeypatch):
    """Dips at 500, 1,500 Hz: its peaks are at 1, 2 kHz. Of a resonance none are, whatever path it is listed with."""
    monkeypatch.setattr(peak_findings, "_at_peak", lambda evidence, found, one: draft_at(one.frequency_hz))
    peaks = [anomaly(1000.0, 6.0), anomaly(1300.0, 4.0)]
    for shape, told in (("interference", [1300.0]), ("resonance", [1000.0, 1300.0])):
        dip = anomaly(500.0, -6.0, shape=shape, path_difference_m=343.2 / 1000.0)
        found = peak_drafts(
            evidence(*peaks), {0.15: None, 0.3: None, 0.55: None}, [weighing(found_at=dip), weighing(found_at=None)]
        )
        assert [one.places[0].frequency_hz for one in found] == told


def test_of_two_orders_on_a_peak_the_ratio_that_rises_most_comes_first(monkeypatch):
    """Less the fundamental's own rise; open, it is neither."""
    heights = {2: (9.0, 5.0), 3: (7.0, 0.0)}

    def place(frequency_hz, found, row):
        number = round(3000.0 / frequency_hz[row])
        mean_db, fundamental_db = heights.get(number, (0.0, 0.0))
        return Place(
            frequency_hz=float(frequency_hz[row]),
            gap_octaves=0.3,
            fundamental_db=fundamental_db,
            orders=(replace(order(number, mean_db), there_db=8.0),) if number in heights else (),
        )

    monkeypatch.setattr(peak_findings, "place_at", place)
    peak = anomaly(3000.0, 8.0, shape="resonance")
    found = peak_findings._at_peak(Made().evidence(), FLAT, peak)
    assert found.numbers["order"] == 3.0
    assert found.strength_db == pytest.approx(7.0)
    assert (found.between, found.also) == ((), ("resonance",))
    monkeypatch.setattr(peak_findings, "_logs", lambda one: (np.log(0.7), np.log(0.2), np.log(0.1)))
    heights.pop(2)
    opened = peak_findings._at_peak(Made().evidence(), FLAT, peak)
    assert (opened.explanation, opened.probability, opened.also) == ("undecided", pytest.approx(0.7), ())
    assert opened.between == ("product-on-peak", "loudspeaker-generated")


def test_an_order_follows_a_peak_nine_times_in_ten_and_has_a_source_of_its_own_in_one_of_twenty():
    """Student's distribution of twelve degrees of freedom about the peak, about nothing, and evenly from 2 to 22 dB."""
    one = replace(order(3, 9.0), there_db=8.0, ripple_db=(2.0, 1.5))
    spreads = [one.spread_db(alpha) for alpha in (0, 1)]
    even = scipy.stats.t.cdf((9.0 - 2.0) / spreads[0], 12) - scipy.stats.t.cdf((9.0 - 22.0) / spreads[0], 12)
    expected = (
        0.9 * scipy.stats.t.pdf(1.0 / spreads[1], 12) / spreads[1],
        0.1 * scipy.stats.t.pdf(9.0 / spreads[0], 12) / spreads[0],
        0.05 * even / 20.0,
    )
    np.testing.assert_allclose(np.exp(peak_findings._logs(one)), expected, rtol=1e-6)
