"""What is stated of a dip that stands out: which rows its shapes are fitted to, and each number by hand; every limit
from both sides."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from distort.analysis.anomalies import anomalies
from distort.analysis.anomalies.anomalies import (
    CurveElsewhere,
    _described,
    _elsewhere_db,
    _shapes,
    find_anomalies,
    within_passband,
)
from distort.analysis.anomalies.comb_shapes import CombFit
from distort.analysis.anomalies.dip_shapes import SecondOrderFit
from distort.analysis.anomalies.outstanding import Found
from distort.analysis.common.grid import grid_hz
from tests.made_dips import FINE, POLES, ROWS_HZ, against, comb, dip_at

# --- its shapes -------------------------------------------------------------------------------------------------------


class Fits:
    """In place of both fits: what they are asked, and what they leave."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, *, comb_leaves: float | None, zeros_leave: float = 1.0) -> None:
        self.rows: list[tuple[float, float]] = []
        self.asked: list[dict[str, object]] = []
        self.comb_asked: list[dict[str, object]] = []
        self.comb_leaves, self.zeros_leave = comb_leaves, zeros_leave
        monkeypatch.setattr(anomalies, "second_order_fit", self.second_order)
        monkeypatch.setattr(anomalies, "comb_fit", self.comb)

    def second_order(self, f, level_db, **asked):
        assert np.array_equal(level_db, FINE.level_db[np.isin(ROWS_HZ, f)])
        self.rows.append((float(f[0]), float(f[-1])))
        self.asked.append(asked)
        return replace(POLES, residual_db=self.zeros_leave)

    def comb(self, f, level_db, **asked):
        self.comb_asked.append(asked)
        rows = (f > 500.0) & (f < 3000.0)
        return None if self.comb_leaves is None else (comb(residual_db=self.comb_leaves), rows)


@pytest.mark.parametrize(
    ("width_octaves", "reach_octaves"),
    [(0.08, 0.2), (0.12, 0.2), (0.16, 0.24), (0.4, 0.6), (0.6, 0.9), (0.72, 1.0)],
)
def test_poles_are_fitted_over_one_and_a_half_widths_on_either_side(width_octaves, reach_octaves, monkeypatch):
    """A fifth of an octave at least and an octave at most, to the row."""
    fits = Fits(monkeypatch, comb_leaves=None)
    half = 2.0 ** (width_octaves / 2.0)
    _shapes(Found(False, 1003.0, 6.0, 1003.0 / half, 1003.0 * half), FINE)
    inside = ROWS_HZ[np.abs(np.log2(ROWS_HZ / 1003.0)) <= reach_octaves]
    assert fits.rows == [(inside[0], inside[-1])]
    assert not fits.comb_asked  # a peak is no comb's


@pytest.mark.parametrize(
    ("low_hz", "high_hz", "q"),
    [(900.0, 1100.0, 5.0), (400.0, 2600.0, 0.5), (995.0, 1005.0, 50.0), (1000.0, 1000.0, 50.0)],
)
def test_a_fit_starts_from_the_q_that_the_width_says(low_hz, high_hz, q, monkeypatch):
    """Centre over width, 0.5 to 50."""
    fits = Fits(monkeypatch, comb_leaves=None)
    _shapes(Found(True, 1000.0, -6.0, low_hz, high_hz), FINE)
    assert fits.asked[0] == {"centre_hz": 1000.0, "q_guess": pytest.approx(q), "dip": True}
    assert fits.comb_asked == [{"centre_hz": 1000.0, "depth_db": -6.0, "smoothing_octaves": 0.02}]


@pytest.mark.parametrize(("share", "interference"), [(0.57, True), (0.63, False)])
def test_a_comb_leaves_less_than_six_tenths_of_what_zeros_leave_over_its_rows(share, interference, monkeypatch):
    fits = Fits(monkeypatch, comb_leaves=share * 2.0, zeros_leave=2.0)
    poles, found = _shapes(dip_at(1000.0), FINE)
    assert (None if found is None else found.residual_db) == (share * 2.0 if interference else None)
    assert poles.residual_db == 2.0
    inside = ROWS_HZ[(ROWS_HZ > 500.0) & (ROWS_HZ < 3000.0)]
    assert fits.rows[1] == (inside[0], inside[-1])
    assert _shapes(dip_at(1000.0, 8.0), FINE)[1] is None


# --- what is stated of it ---------------------------------------------------------------------------------------------


def described(one: Found, fit: SecondOrderFit = POLES, own: CombFit | None = None, *, scatter_db: float = 0.4):
    """Of a scatter that is `scatter_db` at the row nearest to it, and 9 dB at every other."""
    rows = np.full(ROWS_HZ.size, 9.0)
    rows[int(np.argmin(np.abs(ROWS_HZ - one.centre_hz)))] = scatter_db
    asked = []

    def judged(centre_hz, *, half_width_hz):
        asked.append((centre_hz, half_width_hz))
        return SimpleNamespace(verdict="minimum-phase", ratio=0.97, uncertainty=0.02)

    found = _described(
        (one, fit, own),
        FINE,
        against(np.zeros(ROWS_HZ.size), rows),
        number=3,
        judge=SimpleNamespace(judged=judged),
        elsewhere=(),
        c_m_s=340.0,
    )
    return found, asked[0]


def test_what_is_stated_of_a_resonance():
    """Centre and Q are those of the poles, the deviation is that of the rows, 1.96 times their scatter uncertain."""
    found, asked = described(Found(False, 1000.0, 6.0, 900.0, 1150.0))
    assert (found.number, found.kind, found.shape, found.phase) == (3, "peak", "resonance", "minimum-phase")
    assert asked == (1010.0, 125.0)
    assert (found.frequency_hz, found.frequency_uncertainty_hz) == (1010.0, 4.0)
    assert (found.deviation_db, found.deviation_uncertainty_db) == (6.0, pytest.approx(1.96 * 0.4))
    assert (found.q, found.q_uncertainty) == (5.0, 0.5)
    assert found.width_octaves == pytest.approx(np.log2(1150.0 / 900.0))
    assert (found.half_wave_m, found.quarter_wave_m) == pytest.approx((340.0 / 2020.0, 340.0 / 4040.0))
    assert (found.path_difference_m, found.reflection, found.elsewhere) == (None, None, "unknown")
    assert described(Found(False, 1000.0, 6.0, 900.0, 1005.0))[0].frequency_hz == 1005.0
    assert described(Found(False, 1000.0, 6.0, 1020.0, 1150.0))[0].frequency_hz == 1020.0
    narrow = described(Found(False, 1000.0, 6.0, 1005.0, 1015.0))
    assert narrow[1] == (1010.0, pytest.approx(10.1))  # a hundredth of the centre at least


def test_what_is_stated_of_a_dip_of_a_comb():
    own = comb(number=2, delay_s=1.5 / 1020.0)
    found, asked = described(Found(True, 1000.0, -6.0, 900.0, 1150.0), own=own)
    assert (found.kind, found.shape) == ("dip", "interference")
    assert asked == (pytest.approx(1020.0), 125.0)
    assert (found.frequency_hz, found.frequency_uncertainty_hz) == (pytest.approx(1020.0), 6.0)
    assert (found.deviation_db, found.deviation_uncertainty_db) == (pytest.approx(20.0 * np.log10(0.4)), 0.7)
    assert (found.path_difference_m, found.reflection) == (pytest.approx(340.0 * 1.5 / 1020.0), 0.6)


def test_few_rows_near_a_resonance_take_ripple_with_them():
    """Intervals widen by the root of the scatter over what the fit leaves, where that is more than 1."""
    for scatter_db, widened in ((2.0, 2.0), (0.4, 1.0)):
        found, _ = described(Found(False, 1000.0, 6.0, 900.0, 1150.0), scatter_db=scatter_db)
        assert found.frequency_uncertainty_hz == pytest.approx(4.0 * widened)
        assert found.q_uncertainty == pytest.approx(0.5 * widened)


def test_no_interval_is_narrower_than_what_fits_miss():
    """1e-4 of the frequency, 0.015 of Q and 0.1 dB."""
    sure = replace(POLES, frequency_uncertainty_hz=0.0, q_uncertainty=0.0)
    found, _ = described(Found(False, 1000.0, 6.0, 900.0, 1150.0), sure)
    assert (found.frequency_uncertainty_hz, found.q_uncertainty) == pytest.approx((0.1010, 0.075))
    own = comb(frequency_uncertainty_hz=0.0, depth_uncertainty_db=0.0)
    found, _ = described(Found(True, 1000.0, -6.0, 900.0, 1150.0), own=own)
    assert (found.frequency_uncertainty_hz, found.deviation_uncertainty_db) == pytest.approx((0.1, 0.1))


def test_a_curve_elsewhere_is_straight_over_log_frequency():
    curve = CurveElsewhere(frequency_hz=np.array([100.0, 400.0]), level_db=np.array([0.0, 6.0]))
    np.testing.assert_allclose(curve.at(np.array([99.0, 100.0, 200.0, 400.0, 401.0])), [np.nan, 0.0, 3.0, 6.0, np.nan])


def test_elsewhere_the_mean_power_counts():
    """0 dB and a row of +10 dB: (1 + 10) / 2 is 7.40 dB; a single row moves its own trend by under 0.1 dB."""
    rows_hz = grid_hz()
    peak_db = np.where(np.arange(rows_hz.size) == 120, 10.0, 0.0)
    curves = [CurveElsewhere(frequency_hz=rows_hz, level_db=one) for one in (peak_db, 0.0 * peak_db)]
    assert _elsewhere_db(dip_at(rows_hz[120], 10.0), curves) == pytest.approx(7.40, abs=0.1)


def test_roll_offs_end_where_the_level_comes_near_the_median():
    level_db = np.array([-30.0, -9.0, np.nan, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, -9.0, -11.0, -30.0])
    np.testing.assert_array_equal(np.isfinite(within_passband(level_db)), [0, 1, 0, 1, 1, 1, 1, 1, 1, 1, 0, 0])
    unread = np.concatenate([[np.nan], level_db, [np.nan]])
    np.testing.assert_array_equal(np.isfinite(within_passband(unread)), [0, 0, 1, 0, 1, 1, 1, 1, 1, 1, 1, 0, 0, 0])


def test_every_dip_that_is_found_is_described_from_the_lowest_up(monkeypatch):
    """What stands out, first dips of combs, and dips of a weak copy. Rows count from the lowest valid frequency on. By
    default it is 20 degC (343.2 m/s, as pyfar has it), and the curve itself, over a twelfth of an octave, is fitted."""
    held = []

    def outstanding(detrended, rows):
        held.append(rows)
        return [dip_at(2000.0), dip_at(500.0)]

    def as_later(each, looked_at, fine):
        assert len(looked_at) == 3
        return each

    def told(each, fine, detrended, *, number, c_m_s, **_):
        assert np.array_equal(fine.frequency_hz, ROWS_HZ[20:])
        return each[0].centre_hz, number, round(c_m_s, 1), fine.smoothing_octaves

    monkeypatch.setattr(anomalies, "all_outstanding", outstanding)
    monkeypatch.setattr(anomalies, "_shapes", lambda one, fine: (POLES, None))
    monkeypatch.setattr(anomalies, "_first_dips", lambda *_: [(dip_at(1000.0), POLES, comb())])
    monkeypatch.setattr(anomalies, "_as_later_dip", as_later)
    monkeypatch.setattr(
        anomalies, "_with_weak_copy", lambda looked_at, fine: [*looked_at, (dip_at(700.0), POLES, comb())]
    )
    monkeypatch.setattr(anomalies, "_described", told)
    found = find_anomalies(ROWS_HZ, np.zeros(ROWS_HZ.size), lowest_valid_hz=ROWS_HZ[20])
    assert np.flatnonzero(np.isfinite(held[0]))[0] == 20
    twelfth = pytest.approx(1.0 / 12.0)
    assert found == tuple((hz, n, 343.2, twelfth) for n, hz in enumerate([500.0, 700.0, 1000.0, 2000.0], start=1))


def test_anomalies_are_numbered_from_the_lowest_up_and_none_lies_below_what_is_valid():
    """Bells at 300 Hz and 3 kHz; without anything finer the curve itself, over a twelfth of an octave, is fitted."""
    f = 50.0 * 2.0 ** (np.arange(8 * 24 + 1) / 24.0)
    s = 1j * f / np.array([[300.0], [3000.0]])
    bells = np.prod((1.0 + 3.0 * s / 4.0 + s**2) / (1.0 + s / 4.0 + s**2), axis=0)
    level_db = 20.0 * np.log10(np.abs(bells))
    both = find_anomalies(f, level_db, temperature_c=0.0)
    assert [(one.number, one.kind, round(one.frequency_hz, -2)) for one in both] == [
        (1, "peak", 300.0),
        (2, "peak", 3000.0),
    ]
    assert both[0].half_wave_m == pytest.approx(331.3 / (2.0 * both[0].frequency_hz), rel=1e-3)  # at 0 degC
    (upper,) = find_anomalies(f, level_db, lowest_valid_hz=700.0)
    assert round(upper.frequency_hz, -2) == 3000.0
