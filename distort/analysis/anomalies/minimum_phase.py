"""Whether a dip or a peak is minimum-phase: the phase across it against the phase that its magnitude implies.

For a minimum-phase system ln|H| and the phase are a Hilbert pair (Oppenheim and Schafer, Discrete-Time Signal
Processing, 3rd ed., 12.3, from memory). Beyond the measured band the magnitude is held at its ends; that error varies
slowly inside the band, and a delay is a straight line of phase, so both are taken out by looking only at how far the
phase turns across the dip more than on its two flanks.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.anomalies.anomaly import PhaseVerdict
from distort.analysis.anomalies.fine_response import FineResponse

FloatArray = npt.NDArray[np.float64]

BINS = 1 << 16
"""Of the half spectrum on which the Hilbert pair is made: 0.3 Hz at 20 kHz."""

HELD_FROM, HELD_TO = 0.5, 1.6
"""Ratio of measured to implied turn that counts as minimum-phase."""

REVERSED_FROM, REVERSED_TO = -6.0, -0.5
"""And that counts as the opposite. A stronger copy has -1; zeros of gain g in the right half plane under poles in the
left have down to about -(g + 1) / (g - 1), which is -6 at 3 dB. What lies outside both is unknown."""

LEAST_TURN_RAD = 0.12
"""An implied turn under 7 degrees is too small to be told from the flanks."""

FLANKS = 3.0
"""The flanks end this many half-widths from the centre."""

EARLY_WIDTHS = 1.5
"""The shortest early sound lasts this many inverse widths: the half of it that is kept whole is at least twice the
delay of the copy that makes a dip of that width."""

STEPS_A_DOUBLING, EARLY_LENGTHS = 2, 3
"""Early sounds last 1, 1.4 and 2 times as long."""


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
    at = centre_hz + w * np.array([-FLANKS, -1.0, 1.0, FLANKS])
    if w <= 0:
        return float("nan")
    far_below, below, above, far_above = np.interp(at, frequency_hz, phase_rad)
    return float((above - below) - 0.5 * ((below - far_below) + (far_above - above)))


@dataclass(frozen=True, kw_only=True)
class PhaseFound:
    """What the phase says of one dip or peak."""

    verdict: PhaseVerdict
    ratio: float | None = None
    """Measured turn over implied turn; None where it cannot be told."""
    uncertainty: float | None = None
    """How far the ratio moves when more or less of the late sound is let in; None where nothing can be left out."""


class PhaseJudge:
    """Judges the dips and peaks of one response; what it computes for one it keeps for the next."""

    def __init__(self, fine: FineResponse) -> None:
        self._fine = fine
        self._kept: dict[int | None, tuple[FloatArray, FloatArray]] = {}

    def judged(self, centre_hz: float, *, half_width_hz: float) -> PhaseFound:
        """The verdict on the dip or peak at `centre_hz`.

        half_width_hz   from the centre to half of the deviation

        What makes a dip of that width arrives within about its inverse; later sound, a room's reverberation, only turns
        the phase about at random where the early sound is weak. So level and phase are both those of the early sound,
        for three lengths of it; the middle ratio counts, and how far the others lie from it is its uncertainty.
        """
        if self._fine.phase_rad is None:
            return PhaseFound(verdict="unknown")
        width_hz = self._reach_hz(centre_hz, half_width_hz)
        if self._fine.impulse is None:
            return _found([self._ratio(None, centre_hz, width_hz)])
        first = round(STEPS_A_DOUBLING * np.log2(EARLY_WIDTHS / (2.0 * half_width_hz)))
        return _found([self._ratio(first + step, centre_hz, width_hz) for step in range(EARLY_LENGTHS)])

    def _reach_hz(self, centre_hz: float, half_width_hz: float) -> float:
        """`half_width_hz`, or as much of it as leaves the flanks inside the band."""
        f = self._fine.frequency_hz
        return float(min(half_width_hz, (centre_hz - f[0]) / FLANKS, (f[-1] - centre_hz) / FLANKS))

    def _ratio(self, early: int | None, centre_hz: float, half_width_hz: float) -> float:
        phase_rad, implied_rad = self._phases(early)
        f = self._fine.frequency_hz
        implied = turn_rad(f, implied_rad, centre_hz, half_width_hz=half_width_hz)
        measured = turn_rad(f, phase_rad, centre_hz, half_width_hz=half_width_hz)
        if not (np.isfinite(implied) and np.isfinite(measured)) or abs(implied) < LEAST_TURN_RAD:
            return float("nan")
        measured -= 2.0 * np.pi * np.round((measured - np.sign(measured) * abs(implied)) / (2.0 * np.pi))
        return float(measured / implied)

    def _phases(self, early: int | None) -> tuple[FloatArray, FloatArray]:
        """Measured and implied phase, `(rows,)` each, within `2^(early / STEPS_A_DOUBLING)` s; None: of all sound."""
        if early not in self._kept:
            fine = self._fine
            if early is None or fine.impulse is None:
                level_db, phase_rad = fine.level_db, fine.phase_rad
            else:
                level_db, phase_rad = fine.impulse.early(fine.frequency_hz, 2.0 ** (early / STEPS_A_DOUBLING))
            assert phase_rad is not None  # judged() has looked
            self._kept[early] = phase_rad, implied_phase_rad(fine.frequency_hz, level_db)
        return self._kept[early]


def _found(ratios: Sequence[float]) -> PhaseFound:
    if not np.all(np.isfinite(ratios)):
        return PhaseFound(verdict="unknown")
    ratio = float(np.median(ratios))
    uncertainty = float(np.max(np.abs(np.array(ratios) - ratio))) if len(ratios) > 1 else None
    low, high = ratio - (uncertainty or 0.0), ratio + (uncertainty or 0.0)
    verdict: PhaseVerdict = "unknown"
    if low >= HELD_FROM and high <= HELD_TO:
        verdict = "minimum-phase"
    elif low >= REVERSED_FROM and high <= REVERSED_TO:
        verdict = "not-minimum-phase"
    return PhaseFound(verdict=verdict, ratio=ratio, uncertainty=uncertainty)
