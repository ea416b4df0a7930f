"""Which combs a dip is tried as, over which rows, and what is found of one: closed forms, limits from both sides."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from distort.analysis.anomalies import comb_shapes
from distort.analysis.anomalies.comb_shapes import comb_fit
from distort.analysis.comparison.significance import compare

ROWS_HZ = np.arange(100.0, 12000.0, 10.0)


def comb_db(reflection: float, delay_s: float, f: np.ndarray = ROWS_HZ, *, slope_db: float = 0.0) -> np.ndarray:
    """`|1 + r exp(-2 pi i f tau)|^2` in dB, on a slope in dB an octave."""
    return 20.0 * np.log10(np.abs(1.0 + reflection * np.exp(-2j * np.pi * f * delay_s))) + slope_db * np.log2(f / 1e3)


class Tried:
    """In place of the fit itself: what it was asked for."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, residuals: dict[int, float]) -> None:
        self.rows: dict[int, tuple[float, float]] = {}
        self.residuals = residuals
        monkeypatch.setattr(comb_shapes, "_comb", self)

    def __call__(self, frequency_hz, level_db, centre_hz, *, number, depth_db, smoothing_octaves):
        assert frequency_hz.size == level_db.size
        self.rows[number] = float(frequency_hz[0]), float(frequency_hz[-1])
        left = self.residuals.get(number)
        return None if left is None else SimpleNamespace(number=number, residual_db=left)


def tried(f: np.ndarray, centre_hz: float = 2000.0, **fields: object):
    return comb_fit(f, np.zeros(f.size), centre_hz=centre_hz, depth_db=-9.0, smoothing_octaves=0.0, **fields)


def test_a_dip_is_tried_as_the_first_to_the_fourth_over_its_neighbours(monkeypatch):
    """Number n of dips `c / (n - 1/2)` apart: from one spacing below, a quarter of c at least, to one and a half
    above. The one that leaves least is taken, the first of equals."""
    given = Tried(monkeypatch, {2: 0.3, 3: 0.1, 4: 0.1})
    found, rows = tried(ROWS_HZ)
    assert found.number == 3
    assert list(given.rows) == [1, 2, 3, 4]
    for number, spacing_hz in ((1, 4000.0), (2, 4000.0 / 3.0), (3, 800.0), (4, 4000.0 / 7.0)):
        low_hz, high_hz = max(2000.0 - spacing_hz, 500.0), 2000.0 + 1.5 * spacing_hz
        assert given.rows[number] == (10.0 * math.ceil(low_hz / 10.0), 10.0 * math.floor(high_hz / 10.0))
    assert np.array_equal(rows, (ROWS_HZ >= 1200.0) & (ROWS_HZ <= 3200.0))


@pytest.mark.parametrize(
    ("from_hz", "to_hz", "numbers"),
    [
        (590.0, 4100.0, [1]),  # 500 x 1.2 Hz; half a spacing above is 4,000 Hz
        (600.0, 4000.0, [1]),
        (610.0, 4100.0, []),
        (590.0, 3990.0, []),
    ],
)
def test_rows_must_reach_down_to_a_fifth_above_the_end_and_up_to_half_a_spacing(from_hz, to_hz, numbers, monkeypatch):
    given = Tried(monkeypatch, {})
    assert tried(np.arange(from_hz, to_hz + 1.0, 10.0), numbers=(1,)) is None
    assert list(given.rows) == numbers


@pytest.mark.parametrize(("step_hz", "count"), [(2000.0 / 11.0, 1), (2000.0 / 10.0, 0)])
def test_a_comb_needs_twelve_rows(step_hz, count, monkeypatch):
    """As the third dip, 1,200 to 3,200 Hz: twelve and eleven rows."""
    given = Tried(monkeypatch, {})
    tried(1200.0 + step_hz * np.arange(40) + 1e-6, numbers=(3,))
    assert len(given.rows) == 0
    tried(np.concatenate([[1200.0], 1200.0 + step_hz * np.arange(1, 12) - 1e-6]), numbers=(3,))
    assert len(given.rows) == count


@pytest.mark.parametrize("number", [1, 2, 3])
@pytest.mark.parametrize("reflection", [0.3, 0.6, 0.9])
def test_a_comb_is_found_of_what_it_made(number, reflection):
    """Delay, reflection and depth, from a first guess 3 % beside the dip; a slope of 2 dB an octave is the
    loudspeaker's. What the fit leaves is its tolerance, 1e-8 of the sum of squares."""
    delay_s = 5e-4
    level_db = comb_db(reflection, delay_s, slope_db=2.0)
    centre_hz = 1.03 * (number - 0.5) / delay_s
    found, _ = comb_fit(ROWS_HZ, level_db, centre_hz=centre_hz, depth_db=-6.0, smoothing_octaves=0.0, numbers=(number,))
    assert found.number == number
    assert found.delay_s == pytest.approx(delay_s, rel=1e-3)
    assert found.frequency_hz == pytest.approx((number - 0.5) / delay_s, rel=1e-3)
    assert found.reflection == pytest.approx(reflection, abs=2e-3)
    assert found.depth_db == pytest.approx(20.0 * math.log10(1.0 - reflection), abs=0.15)
    assert found.residual_db < 0.02


@pytest.mark.parametrize(("reflection", "told"), [(0.152, False), (0.168, True)])
def test_one_dip_tells_a_reflection_from_0_16_on(reflection, told):
    found = comb_fit(
        ROWS_HZ, comb_db(reflection, 5e-4), centre_hz=1000.0, depth_db=-1.5, smoothing_octaves=0.0, numbers=(1,)
    )
    assert (found is not None) == told


def test_intervals_of_a_comb_hold_its_dip_and_depth():
    """Errors of 0.5 dB that are independent from row to row: of 60 draws the 95 % intervals miss 3, and over 9 with
    the probability 0.1 % (binomial); were they twice as wide, all would hold and the errors re them would be smaller:
    their r.m.s. is 1 / 1.96, within 30 % for 60 draws (three deviations of 9 %)."""
    random = np.random.default_rng(7)
    f = np.arange(300.0, 3600.0, 30.0)
    off = []
    for _ in range(60):
        level_db = comb_db(0.6, 5e-4, f) + 0.5 * random.standard_normal(f.size)
        found, _ = comb_fit(f, level_db, centre_hz=1000.0, depth_db=-8.0, smoothing_octaves=0.0, numbers=(1,))
        off.append(
            [
                (found.frequency_hz - 1000.0) / found.frequency_uncertainty_hz,
                (found.depth_db - 20.0 * math.log10(0.4)) / found.depth_uncertainty_db,
            ]
        )
    assert (np.sum(np.abs(off) > 1.0, axis=0) <= 9).all()
    np.testing.assert_allclose(np.sqrt(np.mean(np.square(off), axis=0)), 1.0 / 1.96, rtol=0.3)


def test_a_side_that_holds_one_curve_twice_is_refused():
    one = SimpleNamespace(quantity="response", octaves=1.0, level_db_spl=81.0, frequency_hz=np.ones(3))
    for a, b in (([one, one], [one]), ([one], [one, one])):
        with pytest.raises(ValueError, match="twice"):
            compare(a, b)
