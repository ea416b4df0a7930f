"""Between readings and curves of a sweep: stretches of rows, the span of a mean, and a transform that holds all."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from distort.analysis.common.grid import grid_hz
from distort.analysis.sweep import residual
from distort.analysis.sweep.deconvolution import padded_length
from distort.analysis.sweep.touched import near, row_stretches
from signals import Sweep

SWEEP = Sweep(start_hz=50.0, full_level_hz=60.0, stop_hz=7000.0, seconds=2.0, sample_rate=16000)


def test_rows_side_by_side_are_one_stretch() -> None:
    rows = np.zeros(grid_hz().size, dtype=np.bool_)
    rows[[0, 1, 5, 7, 8, 9, rows.size - 1]] = True
    hz = grid_hz()
    assert row_stretches(rows) == [(hz[0], hz[1]), (hz[5], hz[5]), (hz[7], hz[9]), (hz[-1], hz[-1])]
    assert row_stretches(np.zeros(hz.size, dtype=np.bool_)) == []


@pytest.mark.parametrize(("below_db", "touched"), [(9.9, True), (10.1, False)])
def test_a_reading_is_touched_by_what_is_less_than_10_db_below_it(below_db, touched) -> None:
    reading = SimpleNamespace(power=np.array([2.0]))
    assert near(np.array([2.0 * 10.0 ** (-below_db / 10.0)]), reading).tolist() == [touched]


def test_a_transform_holds_the_recording_and_all_orders_before_it() -> None:
    """Order n arrives L ln n before the fundamental, and its window begins where order n + 1 stands."""
    for orders in (1, 5, 10):
        needed = 40000 + SWEEP.rate_s * math.log(orders + 1) * SWEEP.sample_rate
        assert needed - 1.0 <= padded_length(40000, SWEEP, orders) < 1.05 * needed


@pytest.mark.parametrize("octaves", [1.0 / 3.0, 1.0 / 12.0, 1.0 / 48.0])
def test_the_power_of_a_residual_is_its_mean_over_the_band_that_the_sweep_passes(octaves, monkeypatch) -> None:
    """A residual that is 1 for 16 samples and 0 elsewhere: the share of the span that it fills, times 2 as of a tone of
    amplitude 1. The sweep takes L ln 10^0.3 s an octave; a twelfth of one is passed at least. Both ends of a span are
    whole samples, so it holds within two."""
    size = SWEEP.n_samples
    deconvolved = SimpleNamespace(filter=SimpleNamespace(sweep=SWEEP), arrival=0.0)
    at_hz = np.array([500.0, 1000.0])
    for moment in (0, 1):
        signal = np.zeros(size)
        first = round(float(SWEEP.time_s(at_hz[moment : moment + 1])[0]) * SWEEP.sample_rate)
        signal[first - 8 : first + 8] = 1.0
        monkeypatch.setattr(residual, "residual_signal", lambda *_, made=signal, **__: made)
        found = residual.residual_power(deconvolved, frequency_hz=at_hz, octaves=octaves, orders=5)
        # an octave of a base-ten grid is 10^0.3
        span = SWEEP.rate_s * 0.3 * math.log(10.0) * max(octaves, 1.0 / 12.0) * SWEEP.sample_rate
        assert found[moment] == pytest.approx(2.0 * 16.0 / span, rel=2.0 / span)
        assert found[1 - moment] == 0.0
