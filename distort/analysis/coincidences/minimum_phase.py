"""Whether a dip or a peak is minimum-phase: the phase across it against the phase that its magnitude implies.

For a minimum-phase system ln|H| and the phase are a Hilbert pair (Oppenheim and Schafer, Discrete-Time Signal
Processing, 3rd ed., 12.3, from memory). Beyond the measured band the magnitude is held at its ends; that error varies
slowly inside the band, and a delay is a straight line of phase, so both are taken out by looking only at how far the
phase turns across the dip more than on its two flanks.
"""

import numpy as np
import numpy.typing as npt
import scipy.fft

from distort.analysis.coincidences.faults import PhaseVerdict
from distort.analysis.coincidences.fine_response import FineResponse

FloatArray = npt.NDArray[np.float64]

BINS = 1 << 16
"""Of the half spectrum on which the Hilbert pair is made: 0.3 Hz at 20 kHz."""

HELD_FROM, HELD_TO = 0.5, 1.6
"""Ratio of measured to implied turn that counts as minimum-phase; its negative as the opposite. In between: unknown."""

LEAST_TURN_RAD = 0.12
"""An implied turn under 7 degrees is too small to be told from the flanks."""


def implied_phase_rad(frequency_hz: FloatArray, level_db: FloatArray) -> FloatArray:
    """Minimum phase `(rows,)` of a response known on ascending rows, up to what lies beyond its ends."""
    top_hz = 1.2 * frequency_hz[-1]
    bins_hz = np.arange(BINS + 1) * (top_hz / BINS)
    log_magnitude = np.interp(
        np.log(np.maximum(bins_hz, frequency_hz[0])), np.log(frequency_hz), level_db * (np.log(10.0) / 20.0)
    )
    cepstrum = scipy.fft.irfft(log_magnitude)
    folded = np.zeros_like(cepstrum)
    folded[1:BINS] = 2.0 * cepstrum[1:BINS]  # the odd part of the folded cepstrum carries the phase
    phase = np.imag(scipy.fft.rfft(folded))
    return np.asarray(np.interp(frequency_hz, bins_hz, phase))


def turn_rad(frequency_hz: FloatArray, phase_rad: FloatArray, centre_hz: float, *, half_width_hz: float) -> float:
    """How far the phase turns across a dip more than the flanks, each twice as wide, would have it turn."""
    w = half_width_hz
    at = centre_hz + w * np.array([-3.0, -1.0, 1.0, 3.0])
    if at[0] < frequency_hz[0] or at[-1] > frequency_hz[-1]:
        return float("nan")
    far_below, below, above, far_above = np.interp(at, frequency_hz, phase_rad)
    return float((above - below) - 0.5 * ((below - far_below) + (far_above - above)))


def phase_verdict(
    fine: FineResponse, implied_rad: FloatArray | None, centre_hz: float, *, half_width_hz: float
) -> tuple[PhaseVerdict, float | None]:
    """The verdict on one dip or peak, and the ratio of measured to implied turn behind it.

    implied_rad     of `implied_phase_rad`; None where no phase was measured
    half_width_hz   from the centre to half of the deviation
    """
    if fine.phase_rad is None or implied_rad is None:
        return "unknown", None
    implied = turn_rad(fine.frequency_hz, implied_rad, centre_hz, half_width_hz=half_width_hz)
    measured = turn_rad(fine.frequency_hz, fine.phase_rad, centre_hz, half_width_hz=half_width_hz)
    if not (np.isfinite(implied) and np.isfinite(measured)) or abs(implied) < LEAST_TURN_RAD:
        return "unknown", None
    measured -= 2.0 * np.pi * np.round((measured - np.sign(measured) * abs(implied)) / (2.0 * np.pi))
    ratio = measured / implied
    if HELD_FROM <= ratio <= HELD_TO:
        return "minimum-phase", float(ratio)
    if -HELD_TO <= ratio <= -HELD_FROM:
        return "not-minimum-phase", float(ratio)
    return "unknown", float(ratio)
