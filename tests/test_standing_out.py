"""Tops of a curve against its other tops and dips, on curves whose tops are known in closed form."""

import numpy as np
import pytest

from distort.analysis.coincidences.standing_out import standing_out
from tests.devices.line_ups import ROWS_HZ, FloatArray

EVERYWHERE = np.ones(ROWS_HZ.size, dtype=np.bool_)
OCTAVES = np.log2(ROWS_HZ / 1000.0)


def waves(amplitude_db: float) -> FloatArray:
    """Eight tops and eight dips in the decade and more from 50 Hz: a cosine of 2 / 3 octave."""
    return np.asarray(amplitude_db * np.cos(2.0 * np.pi * OCTAVES / (2.0 / 3.0)))


def test_a_top_among_waves_has_its_prominence() -> None:
    """Every top of a cosine stands twice its amplitude above its dips; 10 dB more at one top is 12 against 2."""
    level_db = waves(1.0) + 10.0 * np.exp(-0.5 * (OCTAVES / 0.08) ** 2)
    prominence_db, times = standing_out(ROWS_HZ, level_db, EVERYWHERE)
    top = int(np.argmax(prominence_db))
    assert ROWS_HZ[top] == pytest.approx(1000.0)
    # rows 1/24 octave apart miss the lowest point of a dip by up to 1/48: 1 - cos(pi / 16) of the amplitude
    assert prominence_db[top] == pytest.approx(12.0, abs=0.1)
    assert times[top] == pytest.approx(6.0, abs=0.1)
    others = prominence_db[(prominence_db > 0.0) & (np.abs(OCTAVES) > 0.5)]
    np.testing.assert_allclose(others[1:-1], 2.0, atol=0.1)


@pytest.mark.parametrize("slope_db", [0.0, 6.0, -12.0])
def test_steps_and_bends_are_no_tops(slope_db: float) -> None:
    """A step of 20 dB within half an octave, and slopes that bend by 12 dB an octave, have no top at all."""
    step_db = 10.0 * np.tanh(OCTAVES / 0.25)
    bend_db = np.where(OCTAVES < -2.0, 12.0 * (OCTAVES + 2.0), 0.0) + slope_db * OCTAVES
    prominence_db, _ = standing_out(ROWS_HZ, np.where(slope_db < 0.0, -step_db, step_db) + bend_db, EVERYWHERE)
    assert not np.any(prominence_db[OCTAVES > -1.9])


def test_rows_that_do_not_count_hide_their_tops() -> None:
    level_db = waves(1.0) + 10.0 * np.exp(-0.5 * (OCTAVES / 0.08) ** 2)
    usable = np.abs(OCTAVES) > 0.4
    prominence_db, times = standing_out(ROWS_HZ, level_db, usable)
    assert np.max(prominence_db) < 2.5
    assert np.max(times) < 1.2
    assert not np.any(standing_out(ROWS_HZ, np.full(ROWS_HZ.size, np.nan), EVERYWHERE)[0])


def test_too_few_others_say_nothing() -> None:
    """Among fewer than six others nothing can be called rare."""
    level_db = 10.0 * np.exp(-0.5 * (OCTAVES / 0.08) ** 2)
    assert not np.any(standing_out(ROWS_HZ, level_db, EVERYWHERE)[1])
