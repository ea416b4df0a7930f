"""The way out of products, events in time and images of a conversion: closed forms, and where each rule turns.

Numbers beside a test are the contract; what is held 5 % either side of them turns.
"""

from dataclasses import replace

import numpy as np
import pytest
import scipy.stats

from distort.analysis.findings import image_findings
from distort.analysis.findings.event_findings import event_drafts
from distort.analysis.findings.evidence import Event, Image, OrderCurve
from distort.analysis.findings.image_findings import Crossing, _measured, _narrow
from distort.analysis.findings.order_contrasts import GapContrasts
from distort.analysis.findings.way import known_way, way_odds
from distort.analysis.findings.way_out import Way, _robust_slopes, way_out
from tests.test_formulas_of_findings import AT_HZ, HZ, PER_OCTAVE, ROW, contrast, draft_at, evidence, order, weighing

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
