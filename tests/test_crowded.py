"""Samples that crowd at the extremes, as a flat top makes them, however low it lies."""

import numpy as np
import pytest

from distort.recording.quality.clipping import _crowded


@pytest.mark.parametrize("height", [0.05, 0.5, 1.0, 3.0])
def test_a_flat_top_of_any_height_is_a_crowd(height) -> None:
    """Sines over 1.25 times the height at which both sides are cut: their samples at it are known. One that is not cut
    crowds nowhere, and what lies on one side of 0 alone has no two extremes."""
    sine = 1.25 * np.sin(2.0 * np.pi * 100.3 * np.arange(48000) / 48000.0)
    cut = np.clip(sine, -1.0, 1.0)
    expected = np.flatnonzero(np.abs(sine) >= 1.0 - 2e-4)
    assert _crowded(height * cut, 0.0).tolist() == expected.tolist()
    assert _crowded(height * sine, 0.0).size == 0
    assert _crowded(height * (cut + 2.0), 0.0).size == 0
    assert _crowded(height * (cut - 2.0), 0.0).size == 0
