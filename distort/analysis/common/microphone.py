"""The measurement microphone's own response: what it adds to a level at each frequency.

Between the points of its file it is a straight line in decibels over the logarithm of frequency (common practice, no
source). Beyond them nothing is known.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.common.log_frequency import over_log_frequency

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True, eq=False)
class MicrophoneResponse:
    """What the microphone reads too much, `(points,)` each; the frequencies ascend."""

    frequency_hz: FloatArray
    level_db: FloatArray
    """0 at the calibrator's frequency, where the calibration has set the level already."""
    phase_deg: FloatArray | None = None
    """Unwrapped; None where the file states none."""

    def covers(self, frequency_hz: npt.ArrayLike) -> BoolArray:
        """Where the response is known; its ends belong to it."""
        wanted = np.asarray(frequency_hz, dtype=np.float64)
        ends_hz = self.frequency_hz[0] * (1.0 - 1e-9), self.frequency_hz[-1] * (1.0 + 1e-9)  # exact 20 kHz as a float
        return np.asarray((wanted >= ends_hz[0]) & (wanted <= ends_hz[1]))

    def at(self, frequency_hz: npt.ArrayLike) -> FloatArray:
        """The response in dB at any frequencies in Hz; NaN outside its range."""
        return np.where(self.covers(frequency_hz), self._held(frequency_hz, self.level_db), np.nan)

    def amplitude(self, frequency_hz: npt.ArrayLike) -> FloatArray:
        """The response as a ratio of amplitudes; outside its range that of the nearer end, for smoothing bands that
        reach over it."""
        return np.asarray(10.0 ** (self._held(frequency_hz, self.level_db) / 20.0))

    def complex_amplitude(self, frequency_hz: npt.ArrayLike) -> ComplexArray:
        """The same with its phase, where the file states one."""
        amplitude = self.amplitude(frequency_hz).astype(np.complex128)
        if self.phase_deg is None:
            return amplitude
        return np.asarray(amplitude * np.exp(1j * np.radians(self._held(frequency_hz, self.phase_deg))))

    def _held(self, frequency_hz: npt.ArrayLike, values: FloatArray) -> FloatArray:
        wanted = np.maximum(np.asarray(frequency_hz, dtype=np.float64), self.frequency_hz[0])  # 0 Hz has no logarithm
        return over_log_frequency(wanted, self.frequency_hz, values)
