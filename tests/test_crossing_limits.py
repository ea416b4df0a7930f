"""Where orders cross images of a conversion: every crossing by itself, and where each rule turns.

48 kHz less 44.1 kHz is 3,900 Hz (AES5), and twice that 7,800 Hz. The image of a tone at f lies at |F +- f|; n f meets
it at f = F / (n + 1) and F / (n - 1): order 3 at 975, 1,950 and 3,900 Hz.
"""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.findings import image_findings
from distort.analysis.findings.finding import Draft
from distort.analysis.findings.image_findings import (
    Crossing,
    _crosses,
    _crossing,
    _measured,
    _met,
    _narrow,
    _probability,
    _readable,
    _with_found,
    with_images,
)
from distort.analysis.findings.order_contrasts import GapContrasts, OrderContrasts
from tests.test_formulas_of_findings import HZ, ROW, contrast, draft_at, evidence, order, weighing
from tests.test_formulas_of_ways import curve, image

QUIET = 1.036 * 0.5
"""Ripple of 0.5 dB: seven in ten of a normal variable lie within 1.036 of it."""


def row_at(hz: float) -> int:
    return int(np.argmin(np.abs(HZ - hz)))


def tops(number: int, heights: dict[int, float], *, growth_db: float = 0.0, **more) -> OrderContrasts:
    """An order that rises at some rows alone, at both of its levels (10 dB apart)."""
    product = np.full((2, HZ.size), QUIET)
    for row, height_db in heights.items():
        product[:, row] = height_db
    made = contrast(number, product, **more)
    return replace(made, relative_db=np.array([np.zeros(HZ.size), np.full(HZ.size, growth_db)]))


def gap(*orders: OrderContrasts) -> GapContrasts:
    return GapContrasts(gap_octaves=0.15, response_db=np.zeros(HZ.size), orders=orders)


def known(*numbers: int):
    return evidence(orders=tuple(curve(number, level) for number in numbers for level in (86.0, 96.0)))


@pytest.mark.parametrize(
    ("number", "crossings_hz"),
    [(3, (975.0, 1950.0, 3900.0)), (4, (780.0, 1300.0, 1560.0, 2600.0)), (7, (487.5, 650.0, 975.0, 1300.0)), (2, ())],
)
def test_where_an_order_crosses_images(number, crossings_hz):
    """And nowhere else; the second order is looked at nowhere. What lies off the grid is left out."""
    others_hz = (557.0, 1114.0, 2340.0, 3120.0, 5200.0)
    made = {0.15: gap(tops(number, {row_at(hz): 8.0 for hz in (*crossings_hz, *others_hz)})), 0.3: gap(), 0.55: gap()}
    met, looked_at = _met(known(number), made)
    assert sorted(one.place.frequency_hz for one in met) == [HZ[row_at(hz)] for hz in crossings_hz]
    assert looked_at == len(crossings_hz)
    assert {one.order.order for one in met} <= {number}
    assert _met(known(number), made, [20.0, 200000.0]) == ((), 0)


def test_an_order_is_looked_at_where_it_is_readable_within_a_row():
    """At any level; what other orders read there says nothing."""
    blank = np.full((2, HZ.size), np.nan)
    for offset, told in ((-2, False), (-1, True), (0, True), (1, True), (2, False)):
        product = blank.copy()
        product[1, ROW + offset] = 1.0
        assert _readable(gap(contrast(3, product), contrast(4)), 3, ROW) is told
    first = blank.copy()
    first[0, 0] = 1.0
    assert _readable(gap(contrast(3, first)), 3, 0)
    assert _readable(gap(contrast(3, first)), 3, 1)
    assert not _readable(gap(contrast(3, first)), 3, 2)
    met, looked_at = _met(known(3), {0.15: gap(contrast(3, blank))})
    assert (met, looked_at) == ((), 0)


@pytest.mark.parametrize(("offset", "found"), [(-2, False), (-1, True), (0, True), (1, True), (2, False)])
def test_a_rise_within_a_row_of_a_crossing_is_one(offset, found):
    one = _crossing(evidence(), gap(tops(3, {ROW + offset: 8.0})), 3, float(HZ[ROW]))
    assert (one is not None) is found
    if one is not None:
        assert one.place.frequency_hz == HZ[ROW + offset]


def test_the_best_of_the_rows_about_a_crossing_is_taken():
    for heights, taken in (({ROW - 1: 8.0, ROW + 1: 9.0}, 1), ({ROW - 1: 9.0, ROW: 8.0, ROW + 1: 7.0}, -1)):
        one = _crossing(evidence(), gap(tops(3, heights)), 3, float(HZ[ROW]))
        assert one.place.frequency_hz == HZ[ROW + taken]
    for at_hz in (float(HZ[0]), float(HZ[-1]), 3.0 * float(HZ[-1])):
        assert _crossing(evidence(), gap(tops(3, {})), 3, at_hz) is None
    assert _crossing(evidence(), gap(tops(4, {ROW: 8.0})), 3, float(HZ[ROW])) is None


@pytest.mark.parametrize(
    ("mean_db", "there_db", "ripples", "found"),
    [
        (2.6, 0.0, (0.5, 0.5), True),
        (2.4, 0.0, (0.5, 0.5), False),
        (2.4, -2.0, (0.5, 0.5), False),
        (4.6, 2.0, (0.5, 0.5), True),
        (4.4, 2.0, (0.5, 0.5), False),
        (3.72, 0.0, (1.0, 0.5), True),
        (3.45, 0.0, (1.0, 0.5), False),
        (3.72, 0.0, (0.5, 1.0), True),
        (3.45, 0.0, (0.5, 1.0), False),
    ],
)
def test_a_rise_at_a_crossing_is_2_5_db_and_three_and_a_half_spreads(mean_db, there_db, ripples, found):
    """Whichever way the order leaves by. A ripple of 1 dB and noise that two levels leave make 1.025 dB, 3.59 dB."""
    own, shared = ripples
    product = np.full((2, HZ.size), 1.036 * own)
    product[:, ROW] = mean_db
    made = replace(
        contrast(3, product, there_db=there_db),
        less_way_db=np.full((2, HZ.size), 1.036 * shared),
        level_db=np.where(np.arange(HZ.size) == ROW, 9.0, np.zeros((2, HZ.size))),
        relative_db=np.zeros((2, HZ.size)),
    )
    assert (_crossing(evidence(), gap(made), 3, float(HZ[ROW])) is not None) is found


@pytest.mark.parametrize(("growth", "found"), [(1.0, True), (1.14, True), (1.26, False)])
def test_what_grows_as_a_product_is_no_image(growth, found):
    """By 1.2 dB per dB of drive or more, over the 10 dB between both levels; of one level nothing is known."""
    made = tops(3, {ROW: 8.0}, growth_db=10.0 * (growth - 1.0))
    assert (_crossing(evidence(), gap(made), 3, float(HZ[ROW])) is not None) is found
    alone = replace(made, product_db=np.where(np.array([[False], [True]]), made.product_db, np.nan))
    assert _crossing(evidence(), gap(alone), 3, float(HZ[ROW])) is not None


def test_a_broad_rise_is_no_image():
    level = np.where(np.abs(np.arange(HZ.size) - ROW) <= 5, 8.0, 0.0) * np.ones((2, 1))
    made = replace(tops(3, {ROW: 8.0}), level_db=level)
    assert _crossing(evidence(), gap(made), 3, float(HZ[ROW])) is None


@pytest.mark.parametrize(("row", "narrow"), [(3, False), (4, True), (236, True), (237, False)])
def test_a_rise_of_exactly_2_db_is_narrow_where_four_rows_lie_on_either_side(row, narrow):
    assert HZ.size == 241
    level = np.where(np.arange(HZ.size) == row, 2.0, 0.0) * np.ones((2, 1))
    assert _narrow(gap(contrast(3, level)), 3, row) is narrow
    for side in (-4, 4):
        beside = level.copy()
        if 0 <= row + side < HZ.size:
            beside[:, row + side] = 0.1
        assert not _narrow(gap(contrast(3, beside)), 3, row)


def crossing(at_hz: float, number: int, mean_db: float) -> Crossing:
    one = replace(order(number, mean_db), there_db=2.0)
    return Crossing(place=replace(weighing(at_hz=at_hz).place, orders=(one,)), order=one)


def test_a_conversion_is_told_by_the_order_that_rises_most(monkeypatch):
    met = [crossing(975.0, 3, 4.0), crossing(1300.0, 4, 9.0), crossing(1950.0, 3, 6.0)]
    monkeypatch.setattr(image_findings, "_met", lambda *_: (met, 20))
    monkeypatch.setattr(image_findings, "_probability", lambda *_: 0.9)
    (one,) = with_images([], evidence(), {})
    assert [place.frequency_hz for place in one.places] == [1300.0, 1950.0, 975.0]
    assert one.strength_db == 9.0
    assert one.numbers == {"difference_hz": 3900.0, "below_db": 40.0}
    assert [row.quantity for row in one.evidence] == ["h4", "h4", "h3", "h3", "h3", "h3"]
    # an image does not come by the way of the fundamental, whatever the response at n f does
    assert {row.response_at_product_db for row in one.evidence} == {0.0}
    assert [row.source_db for row in one.evidence] == [9.0, 9.0, 6.0, 6.0, 4.0, 4.0]


def test_the_strongest_image_that_was_found_gives_its_numbers():
    weak, strong = image((900.0, 1000.0), highest_db=-72.0), replace(image(highest_db=-61.0), difference_hz=7800.0)
    for both in ([weak, strong], [strong, weak]):
        told = _measured(both, [])
        assert told is not None
        assert told.numbers == {"difference_hz": 7800.0, "below_db": 61.0}
        assert told.strength_db == 3.0
    told = _measured([image(highest_db=-61.0)], [1200.0])
    assert told is not None
    assert [one.frequency_hz for one in told.places] == [1200.0]


def test_what_rises_at_crossings_of_found_images_is_theirs(monkeypatch):
    """At those differences alone, be it met in the orders or told by a draft, at the first of its places."""
    asked = []

    def met(evidence, contrasts, differences_hz):
        asked.append(list(differences_hz))
        return ([crossing(975.0, 3, 6.0)], 9)

    inside = draft_at(975.0)
    above = replace(draft_at(3900.0, numbers={"at_least": 1.0, "order": 3.0}), explanation="loudspeaker-generated")
    monkeypatch.setattr(image_findings, "_met", met)
    images = (image(), replace(image(), difference_hz=7800.0), image())
    found = _with_found([inside, above, draft_at(5000.0)], evidence(images=images), {})
    assert asked == [[3900.0, 7800.0]]
    assert [one.explanation for one in found] == ["conversion-image", "loudspeaker-generated"]
    assert [one.frequency_hz for one in found[0].places] == [975.0, 3900.0]
    assert found[1].places[0].frequency_hz == 5000.0


@pytest.mark.parametrize(
    ("at_hz", "crosses"), [(975.0, True), (1950.0, True), (3900.0, True), (7800.0, False), (1300.0, False)]
)
def test_an_order_crosses_an_image_within_0_08_octaves(at_hz, crosses):
    def one(hz: float) -> Draft:
        return draft_at(hz, numbers={"order": 3.0})

    for octaves, near in ((0.0, True), (0.076, True), (-0.076, True), (0.084, False), (-0.084, False)):
        assert _crosses(one(at_hz * 2.0**octaves), (3900.0, 7800.0)) is (crosses and near)


def test_chance_is_counted_at_differences_that_no_two_rates_have(monkeypatch):
    """Each twice as for the real ones; as far below them as above, and beyond 0.08 octaves from them."""
    asked = []
    monkeypatch.setattr(
        image_findings, "_met", lambda evidence, contrasts, differences: asked.append(list(differences)) or ([], 20)
    )
    _probability(evidence(), {}, 5, 20)
    shares = [one[0] / 3900.0 for one in asked]
    assert all(one[1] == pytest.approx(2.0 * one[0]) for one in asked)
    assert np.add(shares, shares[::-1]) == pytest.approx([2.0] * 4)
    assert np.min(np.abs(np.log2(shares))) > 0.08
