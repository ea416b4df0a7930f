"""Products on a peak of the response, and what makes a band change with level: where each rule turns.

Numbers beside a test are the contract; what is held 5 % either side of them turns.
"""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.findings import peak_findings
from distort.analysis.findings.broad_changes import BroadChange
from distort.analysis.findings.change_findings import (
    _attack,
    _broad_kind,
    _heat_db,
    _likelihood,
    _overlap,
    anomaly_near,
)
from distort.analysis.findings.evidence import OctaveHeat, TimeBehaviour
from distort.analysis.findings.explanations.fit import Fit
from distort.analysis.findings.finding import Draft, PlaceFound
from distort.analysis.findings.order_contrasts import GapContrasts
from distort.analysis.findings.peak_findings import _at_peak, source_or_peak
from distort.analysis.findings.places import OrderAt, Place
from distort.analysis.findings.weighing import BOTH, SOURCE, Weighed
from distort.analysis.findings.weighings import Weighing
from tests.made_evidence import Made, anomaly
from tests.test_formulas_of_places import AT_HZ, HZ, ROW, away, chance, change, evidence, order

# --- peaks on the way -------------------------------------------------------------------------------------------------

PEAK = anomaly(3000.0, 8.0, shape="resonance")


def at_peak(monkeypatch, *orders: OrderAt, fundamental_db: float = 0.0, **more) -> Draft | None:
    """With orders as they are given, each where it meets 3 kHz."""
    made = {one.order: one for one in orders}

    def place(frequency_hz, found, row):
        number = round(3000.0 / frequency_hz[row])
        known = (made[number],) if number in made else ()
        return Place(
            frequency_hz=float(frequency_hz[row]), gap_octaves=0.3, fundamental_db=fundamental_db, orders=known
        )

    monkeypatch.setattr(peak_findings, "place_at", place)
    flat = GapContrasts(gap_octaves=0.3, response_db=np.zeros(HZ.size), orders=())
    return _at_peak(replace(Made().evidence(), **more), flat, PEAK)


@pytest.mark.parametrize(
    ("mean_db", "there_db", "spread_db", "rises"),
    [
        (3.15, 4.0, 0.5, True),
        (2.85, 4.0, 0.5, False),
        (6.0, 6.0, 2.8, True),
        (6.0, 6.0, 3.2, False),
        (6.3, 12.0, 1.0, True),
        (5.7, 12.0, 1.0, False),
        (5.0, 3.1, 0.5, True),
        (5.0, 2.9, 0.5, False),
    ],
)
def test_an_order_rises_on_a_peak(monkeypatch, mean_db, there_db, spread_db, rises):
    """By 3 dB, two spreads and half of the peak, of a peak of 3 dB at least."""
    one = order(3, (mean_db, mean_db), there_db=there_db, ripple_db=(spread_db, spread_db))
    assert (at_peak(monkeypatch, one) is not None) is rises
    if rises:  # what the fundamental has there is no rise of the ratio
        assert at_peak(monkeypatch, one, fundamental_db=mean_db - 2.8) is None


def test_two_orders_that_follow_a_peak_name_it(monkeypatch):
    """Likelihoods of both add: 0.9 of those that follow, 0.1 and 0.05 of the others."""
    second, third = order(2, (9.0, 9.0), there_db=8.0), order(3, (7.5, 7.5), there_db=8.0)
    found = at_peak(monkeypatch, second, third)
    logs = np.sum([peak_findings._logs(one) for one in (second, third)], axis=0)
    assert found.probability == pytest.approx(float(np.exp(logs[0]) / np.sum(np.exp(logs))))
    assert (found.explanation, found.also, found.strength_db) == ("product-on-peak", ("resonance",), pytest.approx(9.0))
    assert found.numbers == {"heard_hz": 3000.0, "rise_db": pytest.approx(9.0), "order": 2.0}
    assert [round(one.frequency_hz, -1) for one in found.places] == [1500.0, 1000.0, 3000.0] or len(found.places) == 3
    assert at_peak(monkeypatch, second, third, in_room=True).also == ()


def source_draft() -> Draft:
    return Draft(
        explanation="loudspeaker-generated",
        decided=True,
        probability=0.95,
        places=(PlaceFound(frequency_hz=1000.0, low_hz=900.0, high_hz=1100.0),),
        strength_db=9.0,
    )


@pytest.mark.parametrize(
    ("odds", "shares", "explanation", "probability"),
    [
        (np.log(0.81 / 0.19), True, "product-on-peak", 0.9 * 0.81),
        (np.log(0.79 / 0.21), True, "undecided", 0.95 * 0.21),
        (np.log(0.81 / 0.19), False, "undecided", 0.95 * 0.19),
        (np.log(0.15 / 0.85), True, "loudspeaker-generated", 0.95 * 0.85),
        (np.log(0.165 / 0.835), True, "undecided", 0.95 * 0.835),
        (None, True, "undecided", 0.95 * 0.5),
    ],
)
def test_a_source_or_a_peak_that_other_orders_share(monkeypatch, odds, shares, explanation, probability):
    """Named from a probability of 0.8 on."""
    met = [] if odds is None else [peak_findings.ElsewhereAt(frequency_hz=1500.0, order=order(2))]
    monkeypatch.setattr(peak_findings, "_meeting", lambda *_, **__: met)
    monkeypatch.setattr(peak_findings, "log_odds", lambda *_: odds)
    monkeypatch.setattr(peak_findings, "shares_it", lambda *_: shares)
    fit = Fit(
        name="s", alpha=0, log_likelihood=0.0, predicted_db={}, spread_db={2: 0.1, 3: 0.1}, source_db={2: 4.0, 3: 8.0}
    )
    here = Place(frequency_hz=1000.0, gap_octaves=0.3, fundamental_db=0.0, orders=(order(2), order(3)))
    found = Weighed(probability={SOURCE: 0.6, BOTH: 0.3}, source=fit, best=fit, against=())
    one = Weighing(place=here, anomaly=None, found=found)
    flat = GapContrasts(gap_octaves=0.3, response_db=np.zeros(HZ.size), orders=())
    told = source_or_peak(evidence(), flat, one, source_draft())
    assert (told.explanation, told.decided) == (explanation, explanation != "undecided")
    assert told.probability == pytest.approx(probability)
    if explanation == "product-on-peak":
        assert told.numbers == {"heard_hz": 3000.0, "rise_db": 8.0}
        assert [each.frequency_hz for each in told.places] == [1000.0, 1500.0]


# --- kinds of changes -------------------------------------------------------------------------------------------------


def broad(change_db: float = -2.0, *, noise_db: float = 0.2) -> BroadChange:
    moved = change(change_db, noise_db=noise_db)
    return BroadChange(curve=moved.curve, low_hz=500.0, high_hz=2000.0, row=ROW, from_level_db_spl=91.0)


def settling(
    depth_db: float, time_s: float, *, interval_db: float = 0.1, low_hz: float = 800.0, high_hz: float = 1600.0
):
    return TimeBehaviour(
        level_db_spl=96.0,
        low_hz=low_hz,
        high_hz=high_hz,
        depth_db=depth_db,
        uncertainty_db=interval_db,
        time_constant_s=time_s,
    )


def heat(change_db: float, *, interval_db: float = 0.02, midband_hz: float = 1000.0) -> OctaveHeat:
    return OctaveHeat(midband_hz=midband_hz, change_db=change_db, uncertainty_db=interval_db)


@pytest.mark.parametrize(
    ("attacks", "heating", "kind"),
    [
        ((), (), ("compression", ())),
        ((settling(1.0, 0.285),), (), ("limiting", ())),
        ((settling(1.0, 0.315),), (), ("compression", ())),
        ((settling(0.21, 0.1),), (), ("limiting", ())),
        ((settling(0.19, 0.1),), (), ("compression", ())),
        ((settling(-1.0, 0.1),), (), ("limiting", ())),
        ((settling(1.0, 0.1, low_hz=2000.0, high_hz=4000.0),), (), ("compression", ())),
        ((settling(1.0, 0.1, low_hz=250.0, high_hz=500.0),), (), ("compression", ())),
        ((settling(1.0, 0.1, low_hz=1990.0, high_hz=4000.0),), (), ("limiting", ())),
        ((settling(1.0, 9.0), settling(2.0, 0.1)), (), ("limiting", ())),
        ((settling(2.0, 9.0), settling(1.0, 0.1)), (), ("compression", ())),
        ((), (heat(-0.63),), ("heating", ())),
        ((), (heat(-0.6),), ("heating", ())),
        ((), (heat(-0.57),), ("compression", ())),
        ((), (heat(0.63),), ("compression", ())),
        ((settling(1.0, 0.1),), (heat(-0.63),), ("limiting", ("heating",))),
    ],
)
def test_what_makes_a_band_fall_short(attacks, heating, kind):
    """A limiter settles within 0.3 s, beyond twice its interval; heat is three tenths of the change."""
    known = evidence(attacks=attacks, heating=heating)
    assert _broad_kind(known, broad()) == kind
    assert _broad_kind(known, broad(2.0)) == ("expansion", ())
    clearest = max((abs(one.depth_db) for one in attacks), default=None)
    found = _attack(attacks, broad())
    assert found is None or abs(found.depth_db) == clearest


def test_heat_is_what_lies_beyond_its_interval_and_0_05_db():
    def lost(*heating: OctaveHeat) -> float:
        return _heat_db(evidence(heating=heating), broad())

    assert lost(heat(-0.3), heat(-0.8), heat(-3.0, midband_hz=2100.0), heat(-3.0, midband_hz=480.0)) == 0.8
    assert lost(heat(-0.8, midband_hz=500.0)) == lost(heat(-0.8, midband_hz=2000.0)) == 0.8
    assert lost(heat(-0.0525)) == 0.0525
    assert lost(heat(-0.0475)) == lost(heat(-0.3, interval_db=0.31)) == lost() == 0.0


def test_likelihoods_of_changes_multiply():
    """The best of 60 places, of as many bands as settle, of as many octaves as were heard again."""
    one = broad(-0.7, noise_db=0.25)
    sigma = float(np.hypot(0.25, 0.03))
    alone = chance(0.7, sigma, 60)
    attack = settling(0.3, 0.1, interval_db=0.25)
    known = evidence(attacks=(attack, attack, attack), heating=(heat(-0.2, interval_db=0.2), heat(-0.03)))
    assert _likelihood(known, one, attack, "compression") == pytest.approx(alone, rel=1e-4)
    limits = chance(0.3, 0.25 / 1.959964, 3)
    assert _likelihood(known, one, attack, "limiting") == pytest.approx(alone * limits, rel=1e-4)
    heats = max(chance(0.2, 0.2 / 1.959964, 2), chance(0.03, 0.02 / 1.959964, 2))
    assert _likelihood(known, one, attack, "heating") == pytest.approx(alone * heats, rel=1e-4)
    assert _likelihood(evidence(), one, None, "heating") == 0.0


def test_bands_overlap_at_their_ends_and_a_dip_is_near_within_a_sixth_of_an_octave():
    one = broad()
    for low_hz, high_hz, told in (
        (2000.0, 4000.0, True),
        (2010.0, 4000.0, False),
        (100.0, 500.0, True),
        (100.0, 490.0, False),
    ):
        other = replace(one, low_hz=low_hz, high_hz=high_hz)
        assert _overlap(one, other) is _overlap(other, one) is told
    near, far = anomaly(away(0.05), -6.0, number=2), anomaly(away(-0.1), -6.0, number=1)
    assert anomaly_near(evidence(far, near), AT_HZ) is near
    for octaves in (1.0 / 6.0, -1.0 / 6.0):
        assert anomaly_near(evidence(anomaly(away(0.95 * octaves), -6.0)), AT_HZ) is not None
        assert anomaly_near(evidence(anomaly(away(1.05 * octaves), -6.0)), AT_HZ) is None
