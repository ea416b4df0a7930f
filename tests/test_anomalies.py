"""Dips and peaks whose frequency, depth, Q and phase are known in closed form."""

import numpy as np
import pytest

from distort.analysis.anomalies.anomalies import CurveElsewhere, find_anomalies
from distort.analysis.anomalies.anomaly import Anomaly
from distort.analysis.anomalies.fine_response import FineResponse
from distort.analysis.common.grid import grid_hz
from distort.analysis.common.sound_in_air import speed_of_sound_m_s
from tests.devices.closed_shapes import amplitude_of_bell, amplitude_of_comb, as_measured

FREQUENCY_SHARE = 0.01
DEPTH_DB = 0.3
Q_SHARE = 0.1
"""What a tester asks of a dip; the fits reach a tenth of it or less where the shape is the model's own."""


def found(amplitude, *, elsewhere: tuple[CurveElsewhere, ...] = ()) -> tuple[Anomaly, ...]:
    """Anomalies of a device given as a function of frequency in Hz, seen as an analysis sees it."""
    level_db, fine_hz, fine_db, phase_rad = as_measured(amplitude)
    fine = FineResponse(frequency_hz=fine_hz, level_db=fine_db, phase_rad=phase_rad)
    return find_anomalies(grid_hz(), level_db, fine=fine, elsewhere=elsewhere)


@pytest.mark.parametrize("first_dip_hz", [150.0, 1200.0, 3000.0])
@pytest.mark.parametrize("reflection", [0.5, 0.7, 0.95])
def test_dips_of_one_delayed_copy(first_dip_hz: float, reflection: float) -> None:
    """Dips at odd multiples of 1 / (2 delay), 20 log10(1 - r) re the direct sound (closed form); r < 1 is
    minimum-phase, because all zeros of 1 + r z^-k lie inside the unit circle."""
    dips = [one for one in found(amplitude_of_comb(first_dip_hz, reflection)) if one.kind == "dip"]
    first = dips[0]
    assert first.frequency_hz == pytest.approx(first_dip_hz, rel=FREQUENCY_SHARE)
    assert first.deviation_db == pytest.approx(20.0 * np.log10(1.0 - reflection), abs=DEPTH_DB)
    assert first.shape == "interference"
    assert first.phase == "minimum-phase"
    assert first.path_difference_m == pytest.approx(
        speed_of_sound_m_s(20.0) / (2.0 * first_dip_hz), rel=FREQUENCY_SHARE
    )
    for one in dips[1:3]:
        odd = one.frequency_hz / first_dip_hz
        assert odd == pytest.approx(2.0 * round((odd - 1.0) / 2.0) + 1.0, rel=FREQUENCY_SHARE)


def test_a_copy_that_is_stronger_than_the_direct_sound_is_not_minimum_phase() -> None:
    """r > 1 turns the zeros of 1 + r z^-k out of the unit circle (closed form); no equaliser mends that."""
    first = found(amplitude_of_comb(800.0, 1.0 / 0.7))[0]
    assert first.frequency_hz == pytest.approx(800.0, rel=FREQUENCY_SHARE)
    assert first.phase == "not-minimum-phase"
    assert first.equaliser == "cannot-mend"


@pytest.mark.first(12)
@pytest.mark.parametrize("q", [2.0, 5.0, 10.0])
@pytest.mark.parametrize("gain_db", [-12.0, -6.0, 6.0, 12.0])
@pytest.mark.parametrize("centre_hz", [120.0, 500.0, 2500.0])
def test_second_order_resonances(q: float, gain_db: float, centre_hz: float) -> None:
    """Frequency and Q of the poles of a bell, or of the zeros of its inverse (closed form); both minimum-phase."""
    (one,) = found(amplitude_of_bell(centre_hz, q, gain_db))
    assert one.kind == ("peak" if gain_db > 0 else "dip")
    assert one.frequency_hz == pytest.approx(centre_hz, rel=FREQUENCY_SHARE)
    assert one.q == pytest.approx(q, rel=Q_SHARE)
    assert one.phase == "minimum-phase"
    assert one.shape == "resonance"
    assert one.equaliser == "can-mend"


def test_what_curves_elsewhere_say() -> None:
    """A dip that the mean of two other places does not have fills in; one that it has is kept."""
    amplitude = amplitude_of_bell(700.0, 4.0, -9.0)
    f = np.geomspace(20.0, 20000.0, 500)
    flat = CurveElsewhere(frequency_hz=f, level_db=np.zeros_like(f))
    same = CurveElsewhere(frequency_hz=f, level_db=20.0 * np.log10(np.abs(amplitude(f))))
    assert found(amplitude, elsewhere=(flat, flat))[0].elsewhere == "filled-in"
    assert found(amplitude, elsewhere=(flat, flat))[0].equaliser == "at-this-point-only"
    assert found(amplitude, elsewhere=(same,))[0].elsewhere == "kept"


def test_path_lengths() -> None:
    """1200 Hz as a half wave is 14.3 cm at 20 degC (pyfar speed_of_sound_simple: 343.2 m/s, 331.3 at 0 degC)."""
    one = found(amplitude_of_comb(1200.0, 0.7))[0]
    assert one.half_wave_m == pytest.approx(0.143, abs=0.0005)  # half of the last digit that is stated
    assert one.quarter_wave_m == pytest.approx(0.0715, abs=0.0005)


def test_a_flat_and_a_sloping_response_have_no_anomaly() -> None:
    for slope in (0.0, -3.0, 6.0):
        level_db = slope * np.log2(grid_hz() / 1000.0) / 3.0
        assert find_anomalies(grid_hz(), level_db) == ()


@pytest.mark.first(1)
@pytest.mark.parametrize("responses", [20, 100])
def test_ripple_alone_rarely_makes_one(responses: int) -> None:
    """Smooth Gaussian ripple: at most one response in four has a dip or a peak that is called one."""
    from tests.devices.line_ups import ROWS_HZ, ripple

    called = 0
    for seed in range(responses):
        random = np.random.default_rng([5, seed])
        level_db = ripple(random, ROWS_HZ, deviation_db=random.uniform(0.3, 1.5), octaves=random.uniform(1 / 12, 1 / 4))
        called += bool(find_anomalies(ROWS_HZ, level_db))
    assert called <= responses / 4
