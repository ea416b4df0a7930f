"""Loudness against the signals by which meters of ITU-R BS.1770 are tried."""

import numpy as np
import pytest

from distort.analysis.hearing.loudness import HIGH_PASS, SHELF, integrated_lkfs, k_weighting

RATE = 48000
TOLERANCE_LU = 0.1
"""What EBU Tech 3341 allows a meter."""


def tones(*parts: tuple[float, float], hertz: float = 1000.0, rate: int = RATE) -> np.ndarray:
    """A sine whose peak is so many dBFS for so many seconds, one part after the other."""
    peaks = np.concatenate([np.full(round(seconds * rate), 10.0 ** (peak_db / 20.0)) for peak_db, seconds in parts])
    return peaks * np.sin(2.0 * np.pi * hertz * np.arange(peaks.size) / rate)


@pytest.mark.parametrize("rate", [16000, 32000, 44100, 48000, 96000])
def test_a_full_sine_in_one_channel(rate) -> None:
    """ITU-R BS.1770-4, annex 1: 997 Hz, 0 dBFS, left, centre or right alone: -3.01 LKFS.

    At 48 kHz the number is rounded to 0.01; at other rates the bilinear transform bends the shelf a little.
    """
    allowed = 0.01 if rate == RATE else TOLERANCE_LU
    assert integrated_lkfs(tones((0.0, 5.0), hertz=997.0, rate=rate), rate) == pytest.approx(-3.01, abs=allowed)


@pytest.mark.parametrize(
    ("parts", "expected"),
    [
        ([(-23.0, 20.0)], -23.0),
        ([(-33.0, 20.0)], -33.0),
        ([(-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0)], -23.0),
        ([(-72.0, 10.0), (-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0), (-72.0, 10.0)], -23.0),
        ([(-26.0, 20.0), (-20.0, 20.1), (-26.0, 20.0)], -23.0),
    ],
)
def test_the_signals_of_the_minimum_requirements(parts, expected) -> None:
    """EBU Tech 3341, cases 1 to 5, from memory: 1 kHz, the same in left and right, peak of each channel in dBFS."""
    tone = tones(*parts)
    assert integrated_lkfs(np.array([tone, tone]), RATE) == pytest.approx(expected, abs=TOLERANCE_LU)


def test_five_channels_are_weighted() -> None:
    """EBU Tech 3341, case 6, from memory: left and right -28, centre -24, surround -30 dBFS: -23 LUFS."""
    five = np.array([tones((peak_db, 20.0)) for peak_db in (-28.0, -28.0, -24.0, -30.0, -30.0)])
    weights = np.array([1.0, 1.0, 1.0, 1.41, 1.41])
    assert integrated_lkfs(five, RATE, weights=weights) == pytest.approx(-23.0, abs=TOLERANCE_LU)


def test_the_weighting_is_the_standards_table_at_48_khz() -> None:
    """ITU-R BS.1770-4, tables 1 and 2, from memory; 1e-12 is rounding there and back."""
    assert k_weighting(RATE) == pytest.approx(np.array([SHELF.ravel(), HIGH_PASS.ravel()]), abs=1e-12)


@pytest.mark.parametrize("hertz", [31.5, 100.0, 1000.0, 4000.0])
def test_the_weighting_is_the_same_at_other_rates(hertz) -> None:
    """A tone must read the same however it is sampled; the bilinear transform bends what lies near half the rate."""
    readings = [integrated_lkfs(tones((-10.0, 2.0), hertz=hertz, rate=rate), rate) for rate in (48000, 96000)]
    assert readings[0] == pytest.approx(readings[1], abs=0.05)  # half of what is allowed a meter


def test_silence_has_no_loudness_and_a_moment_none_either() -> None:
    assert integrated_lkfs(np.zeros(RATE), RATE) == -np.inf
    with pytest.raises(ValueError, match=r"0\.4 s at least, not 0\.1 s"):
        integrated_lkfs(np.zeros(RATE // 10), RATE)
    with pytest.raises(ValueError, match="2 channels need as many weights, not 3"):
        integrated_lkfs(np.zeros((2, RATE)), RATE, weights=np.ones(3))
    with pytest.raises(ValueError, match="at least 8000 Hz, not 4000"):
        integrated_lkfs(np.zeros(RATE), 4000)
