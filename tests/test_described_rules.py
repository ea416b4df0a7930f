"""What is said of a dip or a peak: limits from both sides; poles and zeros against closed forms."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from distort.analysis.anomalies.anomalies import (
    CurveElsewhere,
    _elsewhere_db,
    _equaliser,
    _kept,
    _reflection,
    _resonates,
    within_passband,
)
from distort.analysis.anomalies.dip_shapes import SecondOrderFit, _numerator, deviations_95, second_order_fit
from distort.analysis.anomalies.outstanding import Found
from distort.analysis.common.grid import grid_hz

# --- what is said of it -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("below_db", "kept"), [(9.5, True), (10.5, False)])
def test_roll_offs_begin_10_decibels_below_the_median(below_db, kept):
    level_db = np.zeros(11)
    level_db[[0, 10]] = -below_db
    level_db[5] = -30.0  # a dip within is kept
    found = within_passband(level_db)
    assert np.isfinite(found[[0, 10]]).tolist() == [kept, kept]
    assert np.isfinite(found[1:10]).all()
    assert np.isnan(within_passband(np.full(3, np.nan))).all()


@pytest.mark.parametrize(
    ("share", "verdict"),
    [(-0.5, "filled-in"), (0.32, "filled-in"), (0.35, "unknown"), (0.63, "unknown"), (0.70, "kept")],
)
def test_a_third_and_two_thirds_tell_whether_it_is_kept(share, verdict):
    assert _kept(share * -9.0, -9.0) == verdict
    assert _kept(None, -9.0) == "unknown"


@pytest.mark.parametrize(("left", "explained"), [(0.33, True), (0.37, False)])
def test_a_resonance_leaves_a_third_of_it_at_most(left, explained):
    poles = SecondOrderFit(
        frequency_hz=1e3, frequency_uncertainty_hz=1.0, q=1.0, q_uncertainty=0.1, residual_db=left * 10.0
    )
    assert _resonates(Found(True, 1e3, -10.0, 900.0, 1100.0), poles) == explained


@pytest.mark.parametrize(
    ("kept", "phase", "shape", "verdict"),
    [
        ("kept", "not-minimum-phase", "resonance", "cannot-mend"),
        ("filled-in", "minimum-phase", "resonance", "at-this-point-only"),
        ("unknown", "minimum-phase", "interference", "at-this-point-only"),
        ("unknown", "unknown", "resonance", "unknown"),
        ("kept", "minimum-phase", "interference", "can-mend"),
        ("kept", "minimum-phase", "unknown", "can-mend"),
        ("unknown", "minimum-phase", "resonance", "can-mend"),
        ("unknown", "minimum-phase", "unknown", "unknown"),
        ("kept", "unknown", "interference", "unknown"),
        ("kept", "unknown", "resonance", "unknown"),
    ],
)
def test_what_an_equaliser_can_do(kept, phase, shape, verdict):
    assert _equaliser(kept, phase, shape) == verdict


def test_the_mean_power_elsewhere_is_taken_within_a_twelfth_of_an_octave():
    """0 dB and a row of -20 dB: (1 + 0.01) / 2 is -2.97 dB; a single row moves its own trend by under 0.1 dB."""
    rows_hz = grid_hz()
    dip_db = np.zeros(rows_hz.size)
    dip_db[120] = -20.0
    flat, dip = (CurveElsewhere(frequency_hz=rows_hz, level_db=one) for one in (np.zeros(rows_hz.size), dip_db))

    def left_db(octaves: float, *, at_dip: bool = True) -> float | None:
        centre_hz = rows_hz[120] * 2.0**octaves
        one = Found(at_dip, centre_hz, -20.0 if at_dip else 20.0, 0.98 * centre_hz, 1.02 * centre_hz)
        return _elsewhere_db(one, [flat, dip])

    for octaves in (-0.080, 0.0, 0.080):
        assert left_db(octaves) == pytest.approx(-2.97, abs=0.1)
    for octaves in (-0.0875, 0.0875):
        assert left_db(octaves) == pytest.approx(0.0, abs=0.1)
    assert left_db(0.0, at_dip=False) == pytest.approx(0.0, abs=0.1)
    one = Found(True, 1000.0, -20.0, 980.0, 1020.0)
    assert _elsewhere_db(one, []) is None
    high = rows_hz > 3000.0
    assert _elsewhere_db(one, [CurveElsewhere(frequency_hz=rows_hz[high], level_db=np.zeros(np.sum(high)))]) is None


def test_the_stronger_sound_came_second_where_that_is_not_minimum_phase():
    comb = SimpleNamespace(reflection=0.8)
    assert _reflection(None, "unknown") is None
    assert [_reflection(comb, one) for one in ("minimum-phase", "unknown", "not-minimum-phase")] == [0.8, 0.8, 1.25]


# --- second-order poles -----------------------------------------------------------------------------------------------


def test_the_numerator_of_a_second_order_section():
    """`(b0 - b2 u^2)^2 + b1^2 u^2` in closed form, of which it must find the three."""
    u = np.geomspace(0.5, 2.0, 101)
    power = np.square(1.3 - 0.7 * u**2) + np.square(0.4 * u)
    assert _numerator(u, power) == pytest.approx([1.3, 0.7, 0.4], rel=1e-6)


@pytest.mark.parametrize("dip", [False, True])
def test_poles_are_found_of_what_they_made(dip):
    """A low-pass, a band-pass and a bell of Q 3 at 1,050 Hz, from a first guess 5 % and a factor of two off."""
    f = np.geomspace(500.0, 2000.0, 201)
    u2 = np.square(f / 1050.0)
    poles = np.square(1.0 - u2) + u2 / 9.0
    for b0, b2, b1 in ((1.0, 0.0, 0.0), (0.0, 0.0, 1.0), (1.0, 1.0, 1.2)):
        power = (np.square(b0 - b2 * u2) + b1**2 * u2) / poles
        level_db = (-10.0 if dip else 10.0) * np.log10(power)
        found = second_order_fit(f, level_db, centre_hz=1000.0, q_guess=1.5, dip=dip)
        assert found.frequency_hz == pytest.approx(1050.0, rel=1e-3)
        assert found.q == pytest.approx(3.0, rel=1e-2)
        assert found.residual_db < 0.02


def test_intervals_of_a_fit_hold_19_in_20():
    """A straight line in independent errors: 1.96 s / sqrt(rows) and 1.96 s / sqrt(sum x^2), s^2 with two freedoms
    less (textbook)."""
    random = np.random.default_rng(3)
    x = np.linspace(-1.0, 1.0, 400)
    errors = np.sign(random.standard_normal(400))
    errors -= np.mean(errors)
    first, second = deviations_95(np.array([np.ones(400), x]).T, errors)
    assert first == pytest.approx(1.96 / math.sqrt(400.0), rel=0.1)
    assert second / first == pytest.approx(math.sqrt(400.0 / np.sum(x**2)), rel=1e-6)
