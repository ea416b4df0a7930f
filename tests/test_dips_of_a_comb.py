"""Which dips belong to one comb: earlier and later dips of one that is known, and those of a copy too weak for any of
them to stand out; every limit from both sides."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from distort.analysis.anomalies import anomalies
from distort.analysis.anomalies.anomalies import _as_later_dip, _first_dips, _with_weak_copy
from distort.analysis.anomalies.fine_response import FineResponse
from distort.analysis.anomalies.outstanding import Found
from tests.made_dips import FINE, POLES, ROWS_HZ, against, comb, dip_at


def triangle(hz: float, height_db: float, half_octaves: float = 0.25) -> np.ndarray:
    return np.asarray(height_db * np.maximum(1.0 - np.abs(np.log2(ROWS_HZ / hz)) / half_octaves, 0.0))


SECOND_HZ, FIRST_HZ = 1200.0, 400.0
"""A comb of 1.25 ms: its second dip was found, its first is looked for."""


def first_dips(deviation_db, monkeypatch, *, own=None, number: int = 2, beside: tuple[Found, ...] = ()):
    known = comb(number=number, delay_s=(number - 0.5) / SECOND_HZ)
    monkeypatch.setattr(anomalies, "_shapes", lambda one, fine: (POLES, own))
    looked_at = [(dip_at(SECOND_HZ), POLES, known), *[(one, POLES, None) for one in beside]]
    return _first_dips(looked_at, FINE, against(deviation_db))


@pytest.mark.parametrize(
    ("deviation_db", "own_delay_s", "own_number", "found"),
    [
        (-2.1, 1.25e-3, 1, True),
        (-1.9, 1.25e-3, 1, False),  # 2 dB at least
        (-2.1, 1.25e-3 * 1.019, 1, True),  # the same delay within 2 %
        (-2.1, 1.25e-3 * 0.981, 1, True),
        (-2.1, 1.25e-3 * 1.021, 1, False),
        (-2.1, 1.25e-3 * 0.979, 1, False),
        (-2.1, 1.25e-3, 2, False),
        (-2.1, None, 1, False),
    ],
)
def test_a_first_dip_is_where_its_own_fit_finds_the_comb(deviation_db, own_delay_s, own_number, found, monkeypatch):
    own = None if own_delay_s is None else comb(number=own_number, delay_s=own_delay_s)
    more = first_dips(triangle(FIRST_HZ, deviation_db), monkeypatch, own=own)
    assert len(more) == found
    if found:
        one, poles, given = more[0]
        row = int(np.argmin(triangle(FIRST_HZ, -1.0)))
        assert (one.dip, one.centre_hz) == (True, ROWS_HZ[row])
        assert one.deviation_db == triangle(FIRST_HZ, deviation_db)[row]
        assert np.log2(one.high_hz / one.low_hz) == pytest.approx(0.25, abs=0.01)
        assert (poles, given) == (POLES, own)


@pytest.mark.parametrize(("octaves", "found"), [(0.13, True), (-0.13, True), (0.19, False), (-0.19, False)])
def test_a_first_dip_lies_within_a_sixth_of_an_octave_of_its_place(octaves, found, monkeypatch):
    deviation_db = triangle(FIRST_HZ * 2.0**octaves, -6.0, half_octaves=0.4)
    assert len(first_dips(deviation_db, monkeypatch, own=comb(delay_s=1.25e-3))) == found


@pytest.mark.parametrize(
    ("beside", "found"),
    [
        (dip_at(FIRST_HZ * 2.0**0.34), True),
        (dip_at(FIRST_HZ * 2.0**-0.34), True),
        (dip_at(FIRST_HZ * 2.0**0.32), False),
        (dip_at(FIRST_HZ * 2.0**-0.32), False),
        (dip_at(FIRST_HZ, 8.0), True),  # a peak
    ],
)
def test_nothing_else_dips_within_a_third_of_an_octave(beside, found, monkeypatch):
    own = comb(delay_s=1.25e-3)
    assert len(first_dips(triangle(FIRST_HZ, -6.0), monkeypatch, own=own, beside=(beside,))) == found


def test_every_lower_dip_of_a_comb_is_looked_for(monkeypatch):
    """Of a third dip at 1,200 Hz the first at 240 and the second at 720; of two combs that tell the same dip it counts
    once; three rows are needed."""
    asked = []

    def given(one, fine):
        asked.append(one.centre_hz)
        return POLES, comb(number=len(asked), delay_s=2.5 / 1200.0)

    monkeypatch.setattr(anomalies, "_shapes", given)
    third = (dip_at(1200.0), POLES, comb(number=3, delay_s=2.5 / 1200.0))
    both = triangle(240.0, -6.0) + triangle(720.0, -6.0)
    more = _first_dips([third, third], FINE, against(both))
    assert [round(one.centre_hz / 240.0, 1) for one, *_ in more] == [1.0, 3.0]
    assert len(asked) == 2
    below = (dip_at(240.0), POLES, comb(number=2, delay_s=1.5 / 240.0))
    assert _first_dips([below], FINE, against(both)) == []  # its first dip lies below all rows
    few = np.full(ROWS_HZ.size, np.nan)
    row = int(np.argmin(np.abs(ROWS_HZ - FIRST_HZ)))
    few[[row - 1, row]] = -3.0, -6.0
    assert first_dips(few, monkeypatch, own=comb(delay_s=1.25e-3)) == []
    few[row + 1] = -3.0
    assert len(first_dips(few, monkeypatch, own=comb(delay_s=1.25e-3))) == 1


def later(hz: float, monkeypatch, *, own_delay_s: float | None = 5e-4, dip: bool = True, own=None):
    """Of a comb of 0.5 ms, whose dips lie at 1, 3, 5, 7 ... kHz, told by its first."""
    asked: list[dict[str, object]] = []

    def given(f, level_db, **fields):
        asked.append(fields)
        (number,) = fields["numbers"]
        return None if own_delay_s is None else (comb(number=number, delay_s=own_delay_s), np.ones(3, dtype=bool))

    monkeypatch.setattr(anomalies, "comb_fit", given)
    each = (dip_at(hz, -8.0 if dip else 8.0), POLES, own)
    found = _as_later_dip(each, [(dip_at(1000.0), POLES, comb()), each], FINE)
    return found, asked


@pytest.mark.parametrize(
    ("hz", "number"),
    [
        (1019.0, 1),
        (1021.0, None),  # 2 % of its own frequency
        (979.0, None),
        (3058.0, 2),
        (3062.0, None),
        (2942.0, 2),
        (2938.0, None),
        (500.0, None),
        (40000.0 * 1.0, None),
        (31370.0, 16),  # a fifth of the distance between two: 400 of 2,000 Hz, not 2 % of 31 kHz
        (31430.0, None),
    ],
)
def test_a_dip_at_the_place_of_a_later_one_belongs_to_the_comb(hz, number, monkeypatch):
    found, asked = later(hz, monkeypatch)
    assert (found[2] is not None) == (number is not None)
    if number is not None:
        assert found[2].number == number
        assert asked == [
            {
                "centre_hz": pytest.approx((2 * number - 1) * 1000.0),
                "depth_db": pytest.approx(20.0 * np.log10(0.4)),
                "smoothing_octaves": 0.02,
                "numbers": (number,),
            }
        ]


@pytest.mark.parametrize(
    ("share", "belongs"), [(1.019, True), (0.981, True), (1.021, False), (0.979, False), (None, False)]
)
def test_its_own_fit_must_find_the_same_delay(share, belongs, monkeypatch):
    found, _ = later(3000.0, monkeypatch, own_delay_s=None if share is None else 5e-4 * share)
    assert (found[2] is not None) == belongs


def test_peaks_and_dips_with_a_comb_of_their_own_stay_as_they_are(monkeypatch):
    assert later(3000.0, monkeypatch, dip=False)[0][2] is None
    own = comb(number=2, delay_s=4.9e-4)
    assert later(3000.0, monkeypatch, own=own)[0][2] is own


def weak_copy(reflection: float, monkeypatch, looked_at, *, delay_s: float = 5e-4, fine: FineResponse = FINE):
    seen: list[np.ndarray] = []

    def given(f, level_db, *, smoothing_octaves):
        assert level_db.size == f.size
        seen.append(f)
        return SimpleNamespace(dip=lambda number: comb(number=number, delay_s=delay_s, reflection=reflection))

    monkeypatch.setattr(anomalies, "find_delayed_copy", given)
    monkeypatch.setattr(anomalies, "numbers_in", lambda copy, f: range(1, 3))
    monkeypatch.setattr(anomalies, "_shapes", lambda one, fine: (POLES, None))
    return _with_weak_copy(looked_at, fine), seen


@pytest.mark.parametrize(("peak_to_dip_db", "count"), [(1.42, 0), (1.58, 2)])
def test_a_weak_copy_counts_from_1_5_decibels_peak_to_dip(peak_to_dip_db, count, monkeypatch):
    """`20 lg((1 + r) / (1 - r))`; its dips end where half of their depth in dB is left, `1 + r^2 + 2 r cos = 1 - r`."""
    ratio = 10.0 ** (peak_to_dip_db / 20.0)
    reflection = (ratio - 1.0) / (ratio + 1.0)
    kept, _ = weak_copy(reflection, monkeypatch, [])
    assert [one.centre_hz for one, *_ in kept] == pytest.approx([1000.0, 3000.0][:count])
    for one, poles, own in kept:
        assert (one.dip, one.deviation_db) == (True, pytest.approx(20.0 * np.log10(1.0 - reflection)))
        reach_hz = 1000.0 * np.arccos((1.0 + reflection) / 2.0) / np.pi
        assert (one.low_hz, one.high_hz) == pytest.approx((one.centre_hz - reach_hz, one.centre_hz + reach_hz))
        assert (poles, own.frequency_hz) == (POLES, one.centre_hz)


@pytest.mark.parametrize(
    ("one", "taken"),
    [
        (dip_at(1390.0), True),  # 0.2 of the 2,000 Hz between two dips
        (dip_at(610.0), True),
        (dip_at(1410.0), False),
        (dip_at(590.0), False),
        (dip_at(1000.0, 5.0), False),  # a peak
    ],
)
def test_what_stands_out_at_the_place_of_one_is_that_dip(one, taken, monkeypatch):
    kept, _ = weak_copy(0.3, monkeypatch, [(one, POLES, None)])
    assert kept[0][0] is one
    assert (kept[0][2] is not None) == taken
    assert len(kept) == (2 if taken else 3)
    if taken:
        assert kept[0][2].number == 1
    own = comb(number=3, delay_s=2.5e-3)
    assert weak_copy(0.3, monkeypatch, [(one, POLES, own)])[0][0][2] is own


def test_a_weak_copy_is_sought_within_the_roll_offs(monkeypatch):
    """Rows near the median, the first and the last of them included; where nothing is read there is none."""
    level_db = np.zeros(ROWS_HZ.size)
    level_db[:20] = level_db[-30:] = -20.0
    _, (seen,) = weak_copy(0.3, monkeypatch, [], fine=replace(FINE, level_db=level_db))
    assert np.array_equal(seen, ROWS_HZ[20:-30])
    kept, seen = weak_copy(0.3, monkeypatch, [], fine=replace(FINE, level_db=np.full(ROWS_HZ.size, np.nan)))
    assert (kept, seen) == ([], [])
