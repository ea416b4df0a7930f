"""Which bands of which recordings confirm one another, and what is said of a place: z and behaviour that are given."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from distort.analysis.impulsive import impulsive as judged
from distort.analysis.impulsive.impulsive import (
    CONFIRMED,
    NOTHING,
    ONCE,
    ImpulsiveLevel,
    ImpulsiveResult,
    Listening,
    _alarm,
    _band,
    _mean,
    _middle,
    _on,
    impulsive,
    kind_of,
    stretches,
)
from distort.analysis.impulsive.regularity import UNKNOWN, Repeats

HZ = 1000.0 * 10.0 ** (np.arange(-24, -12) / 20.0)
"""Twelve sixth octaves from 63 Hz up."""


def z_of(**bands: float) -> np.ndarray:
    """z of bands `b...`; 0 elsewhere."""
    made = np.zeros(HZ.size)
    for name, value in bands.items():
        made[int(name[1:])] = value
    return made


@pytest.mark.parametrize(
    ("other", "alarm"),
    [
        ({"b2": 4.2}, CONFIRMED),
        ({"b3": 4.2}, CONFIRMED),
        ({"b4": 4.2}, CONFIRMED),
        ({"b1": 9.0}, ONCE),
        ({"b5": 9.0}, ONCE),
        ({"b3": 3.8}, ONCE),
        ({"b3": np.nan}, ONCE),
    ],
)
def test_another_recording_confirms_in_the_same_band_or_the_next(other, alarm):
    own = z_of(b3=7.0)
    expected = np.zeros(HZ.size)
    expected[3] = alarm
    np.testing.assert_array_equal(_alarm([own, z_of(**other)], 0), expected)
    np.testing.assert_array_equal(_alarm([z_of(**other), z_of(), own], 2), expected)


def test_at_the_ends_of_the_bands_nothing_goes_round():
    for own, other in (("b0", "b11"), ("b11", "b0")):
        assert _alarm([z_of(**{own: 7.0}), z_of(**{other: 9.0})], 0)[int(own[1:])] == ONCE
    for own, other in (("b0", "b1"), ("b11", "b10")):
        assert _alarm([z_of(**{own: 7.0}), z_of(**{other: 9.0})], 0)[int(own[1:])] == CONFIRMED
    assert _alarm([z_of(b3=7.0)], 0).tolist() == [0, 0, 0, ONCE, *[NOTHING] * 8]


def test_a_shorter_sweep_has_fewer_bands():
    fewer = SimpleNamespace(bands=SimpleNamespace(frequency_hz=HZ[2:5]))
    found = _on(HZ, fewer, np.array([1.0, 2.0, 3.0]))
    np.testing.assert_array_equal(found, [np.nan, np.nan, 1.0, 2.0, 3.0, *[np.nan] * 7])
    assert [_band(fewer, hz) for hz in HZ[1:6]] == [None, 0, 1, 2, None]


def test_of_several_recordings_unevenness_is_meant_in_decibels():
    """The root of 2 times 8 is 4; what is not known does not count; an unevenness of nothing is a thousandth."""
    given = [Repeats(0.2, 2.0, 0.3), UNKNOWN, Repeats(0.4, 8.0, 0.5)]
    found = _mean(given)
    assert (found.regularity, found.unevenness, found.spread) == pytest.approx((0.3, 4.0, 0.4))
    assert _mean([Repeats(0.2, 0.0, 0.3), Repeats(0.2, 10.0, 0.3)]).unevenness == pytest.approx(0.1)
    assert _mean([UNKNOWN]) is UNKNOWN
    assert _mean([]) is UNKNOWN
    assert _middle([]) is UNKNOWN


@pytest.mark.parametrize(
    ("on", "found"),
    [
        ([0, 0, 0], []),
        ([1, 1, 1], [(0, 3)]),
        ([1, 0, 1], [(0, 1), (2, 3)]),
        ([0, 1, 1, 0, 0, 1], [(1, 3), (5, 6)]),
    ],
)
def test_stretches_of_bands(on, found):
    assert list(stretches(np.array(on, dtype=bool))) == found


@pytest.mark.parametrize(
    ("given", "kind"),
    [
        (Repeats(0.57, 6.2, 0.5), "rub"),
        (Repeats(0.57, 6.8, 0.5), "undecided"),
        (Repeats(0.63, 6.8, 0.26), "rub"),
        (Repeats(0.63, 6.8, 0.24), "high-orders"),
        (Repeats(0.49, 6.8, 0.5), "undecided"),
        (Repeats(0.45, 6.8, 0.5), "rattle"),
        (Repeats(0.19, 6.2, 0.5), "airflow-noise"),
        (Repeats(0.21, 6.2, 0.5), "rub"),
    ],
)
def test_each_limit_between_the_kinds_within_five_per_cent(given, kind):
    assert kind_of(given) == kind


def test_places_reach_to_the_edges_of_their_bands_and_are_told_where_clearest():
    alarm = np.zeros(HZ.size, dtype=np.int64)
    alarm[[2, 3, 4, 8]] = CONFIRMED
    alarm[5] = ONCE
    behaviour = np.where(alarm == CONFIRMED, np.arange(HZ.size), np.nan)
    level = ImpulsiveLevel(
        level_db_spl=96.0,
        z=z_of(b2=np.nan, b3=7.0, b4=9.0, b5=30.0, b8=6.5),
        regularity=behaviour / 10.0,
        unevenness=behaviour,
        spread=behaviour / 100.0,
        alarm=alarm,
    )
    first, second = ImpulsiveResult(frequency_hz=HZ, levels=(level,)).places
    edge = 10.0**0.025
    assert (first.low_hz, first.high_hz) == (pytest.approx(HZ[2] / edge), pytest.approx(HZ[4] * edge))
    assert (first.frequency_hz, first.z) == (HZ[4], 9.0)
    assert (first.regularity, first.unevenness, first.spread) == pytest.approx((0.4, 4.0, 0.04))
    assert first.kind == kind_of(Repeats(0.4, 4.0, 0.04)) == "high-orders"
    assert (second.low_hz, second.high_hz) == (pytest.approx(HZ[8] / edge), pytest.approx(HZ[8] * edge))
    assert (second.level_db_spl, second.kind) == (96.0, kind_of(Repeats(0.8, 8.0, 0.08)))


# --- a whole condition ------------------------------------------------------------------------------------------------


class Made:
    """Recordings whose z and behaviour a test gives, in place of what they hold."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.asked: list[tuple[str, int]] = []
        monkeypatch.setattr(judged, "untouched", lambda heard, foreign_s: (heard, foreign_s))
        monkeypatch.setattr(judged, "standing_out", lambda heard, kept: heard.z)
        monkeypatch.setattr(judged, "repeats_at", self.repeats_at)

    def repeats_at(self, heard, kept, band):
        assert kept == (heard, heard.foreign_s)
        self.asked.append((heard.name, band))
        return heard.behaves.get(band, UNKNOWN)

    def one(self, name: str, level_db_spl: float, z: np.ndarray, *, bands=slice(None), short=False, **behaves):
        foreign_s = ((1.0, float(len(name))),)
        heard = SimpleNamespace(
            name=name,
            z=z[bands],
            foreign_s=foreign_s,
            bands=SimpleNamespace(frequency_hz=HZ[bands]),
            behaves={int(band[1:]): value for band, value in behaves.items()},
        )
        return Listening(level_db_spl=level_db_spl, heard=heard, foreign_s=foreign_s, short=short)


def test_long_sweeps_tell_and_all_others_confirm(monkeypatch):
    """Levels stand from the lowest up. A place is judged by every recording of its level, the short one too, in which
    its clearest band stands out; the short one counts bands of its own."""
    made = Made(monkeypatch)
    found = impulsive(
        [
            made.one("loud", 96.0, z_of(b3=6.5, b4=8.0), b4=Repeats(0.2, 2.0, 0.1)),
            made.one("soft", 86.0, z_of(b4=6.5), b4=Repeats(0.9, 9.0, 0.9)),
            made.one("again", 96.0, z_of(b4=7.0, b3=7.5), b4=Repeats(0.4, 8.0, 0.3)),
            made.one("quiet", 96.0, z_of(b4=3.8), b4=Repeats(0.9, 9.0, 0.9)),
            made.one("short", 96.0, z_of(b4=20.0), bands=slice(2, 8), short=True, b2=Repeats(0.6, 4.0, 0.5)),
        ]
    )
    np.testing.assert_array_equal(found.frequency_hz, HZ)
    low, high = found.levels
    assert (low.level_db_spl, high.level_db_spl) == (86.0, 96.0)
    np.testing.assert_array_equal(low.alarm, np.where(np.arange(12) == 4, CONFIRMED, NOTHING))
    np.testing.assert_array_equal(high.alarm, np.where(np.isin(np.arange(12), [3, 4]), CONFIRMED, NOTHING))
    np.testing.assert_array_equal(high.z, z_of(b3=7.5, b4=8.0))
    np.testing.assert_array_equal(low.z, z_of(b4=6.5))
    # by the loud, the same again and the short one
    np.testing.assert_allclose(high.regularity[3:5], 0.4)
    np.testing.assert_allclose(high.unevenness[3:5], (2.0 * 8.0 * 4.0) ** (1 / 3))
    np.testing.assert_allclose(high.spread[3:5], 0.3)
    assert np.isnan(np.delete(high.regularity, [3, 4])).all()
    assert made.asked == [("soft", 4), ("loud", 4), ("again", 4), ("short", 2)]


def test_a_louder_band_beside_a_place_is_not_in_it(monkeypatch):
    """Another recording stands out in band 3, so that band 4 is confirmed and band 5 is not."""
    made = Made(monkeypatch)
    found = impulsive([made.one("one", 96.0, z_of(b4=7.0, b5=20.0)), made.one("other", 91.0, z_of(b3=4.2))])
    assert found.levels[1].alarm.tolist() == [*[NOTHING] * 4, CONFIRMED, ONCE, *[NOTHING] * 6]
    assert made.asked == [("one", 4)]


def test_a_wide_place_is_judged_by_the_middle_of_five_bands(monkeypatch):
    made = Made(monkeypatch)
    wide = z_of(**{f"b{band}": 7.0 for band in range(2, 11)})
    behaves = {f"b{band}": Repeats(0.1 * band, float(band), 0.01 * band) for band in range(12)}
    found = impulsive([made.one("one", 96.0, wide, **behaves), made.one("other", 91.0, wide)])
    (place,) = [one for one in found.places if one.level_db_spl == 96.0]
    assert (place.regularity, place.unevenness, place.spread) == pytest.approx((0.6, 6.0, 0.06))
    assert [band for name, band in made.asked if name == "one"] == [2, 4, 6, 8, 10]
    assert math.isclose(place.z, 7.0)
