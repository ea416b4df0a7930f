"""The multitone: many steady tones at once, each a whole number of turns in one exact period.

The tones lie on odd bins of the period's spectrum, so that a curve of even order answers on even bins alone, and one of
odd order on odd bins alone; odd bins left free between the tones show the latter (Pintelon and Schoukens, System
Identification: A Frequency Domain Approach, 2nd ed., 2012).
"""

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Literal, get_args

import numpy as np
import numpy.typing as npt

from signals.checks import (
    require_below_nyquist,
    require_finite,
    require_length,
    require_positive,
    require_sample_rate,
    require_within_full_scale,
)
from signals.errors import SignalError
from signals.levels import FULL_SCALE_SINE_RMS, db_to_amplitude
from signals.phases import crest_factor, low_crest_phases, random_phases, schroeder_phases, wave
from signals.tapers import rise

FloatArray = npt.NDArray[np.float64]


LineSpectrum = Literal["pink", "flat", "red", "programme"]

PROGRAMME_DB: dict[float, float] = {
    20.0: -13.5,
    25.0: -10.2,
    31.5: -7.4,
    40.0: -5.2,
    50.0: -3.3,
    63.0: -2.0,
    80.0: -1.1,
    100.0: -0.6,
    125.0: -0.2,
    160.0: -0.1,
    200.0: 0.0,
    250.0: 0.0,
    315.0: 0.0,
    400.0: 0.0,
    500.0: 0.0,
    630.0: 0.0,
    800.0: 0.0,
    1000.0: -0.1,
    1250.0: -0.3,
    1600.0: -0.6,
    2000.0: -1.0,
    2500.0: -1.6,
    3150.0: -2.5,
    4000.0: -3.7,
    5000.0: -5.1,
    6300.0: -7.0,
    8000.0: -9.0,
    10000.0: -11.4,
    12500.0: -13.9,
    16000.0: -16.5,
    20000.0: -19.0,
}
"""Level per third octave of the simulated programme signal of IEC 60268-1, dB re its plateau, by nominal midband in Hz.

Written down from memory, not from the text of the standard: within some tenths of a decibel below 10 kHz, and above
that perhaps 1 dB.
"""

_SLOPES: dict[str, float] = {"pink": 0.0, "flat": 0.5, "red": -0.5}
"""Exponent of a line's amplitude over frequency, for lines on a logarithmic grid."""


def line_amplitudes(frequency_hz: npt.ArrayLike, spectrum: LineSpectrum) -> FloatArray:
    """Amplitude of lines on a logarithmic grid, `(lines,)`, up to a common factor (r.m.s. 1 a line).

    "pink": equal level a line, which on this grid is equal power per octave; "flat": equal power per hertz, the level
    of a line rising 3 dB an octave; "red": falling 3 dB an octave; "programme": PROGRAMME_DB, interpolated over log
    frequency. Raises SignalError for any other name.
    """
    frequency = np.asarray(frequency_hz, dtype=np.float64)
    if spectrum not in get_args(LineSpectrum):
        raise SignalError(f"spectrum must be one of {', '.join(get_args(LineSpectrum))}, not {spectrum!r:.80}")
    if spectrum == "programme":
        levels_db = np.interp(np.log(frequency), np.log(list(PROGRAMME_DB)), list(PROGRAMME_DB.values()))
        shape = db_to_amplitude(levels_db)
    else:
        shape = np.asarray((frequency / 1000.0) ** _SLOPES[spectrum])
    return np.asarray(shape / np.sqrt(np.mean(np.square(shape))))


IntArray = npt.NDArray[np.int64]


Phases = Literal["random", "schroeder", "low-crest"]

LEAST_DISTANCE = 4
"""Bins between neighbouring lines: at least one odd bin between them stays free."""

MOST_PERIOD_SAMPLES = 2**23
"""43 s at 192 kHz. Its peak is sought on 16 points a turn of the highest tone: 0.5 GB."""

MOST_LINES_PER_DECADE = 1000
"""They would lie 0.2 % apart; loudspeakers are measured with tens."""

FADE_IN_S = 0.005
"""Within the settling time, and short: a longer one would hide how a limiter comes in."""

FADE_OUT_S = 0.05
"""After the last period."""


@dataclass(frozen=True, kw_only=True)
class Multitone:
    """A multitone as it is played: settling periods, measured periods, a short fade-out. The same fields play the same.

    lines_per_decade   lines on a logarithmic grid from low_hz, each moved to the nearest odd bin between
                       the grid's ends
    low_hz, high_hz    the grid's ends; high_hz below half the sample rate
    period_s           a whole, even number of samples; the bins are 1 / period_s apart
    settling_periods   played first and not used: the loudspeaker settles
    periods            measured
    spectrum           "pink" (equal level a line), "flat" (rising 3 dB an octave), "red" (falling as much), or
                       "programme" (IEC 60268-1, from memory: signals.multitone)
    phases             "random" (like music), "schroeder", or "low-crest" (descended; some seconds, kept)
    seed, realisation  make the phases again; each realisation has others
    drive_dbfs         r.m.s. of all lines together (AES17)
    lowest_hz          lines below it are left out, to protect a small loudspeaker; None: none are

    Raises SignalError when the fields do not make a multitone, or its peak would pass full scale; with low-crest phases
    the latter only when its samples or its peak are asked for.
    """

    lines_per_decade: float = 10.0
    low_hz: float = 20.0
    high_hz: float = 20000.0
    period_s: float = 2.0
    settling_periods: int = 2
    periods: int = 16
    spectrum: LineSpectrum = "pink"
    phases: Phases = "random"
    seed: int = 1
    realisation: int = 0
    sample_rate: int = 48000
    drive_dbfs: float = -20.0
    lowest_hz: float | None = None

    def __post_init__(self) -> None:
        require_positive(
            lines_per_decade=self.lines_per_decade,
            low_hz=self.low_hz,
            high_hz=self.high_hz,
            period_s=self.period_s,
            periods=self.periods,
            lowest_hz=self.lowest_hz,
        )
        require_sample_rate(self.sample_rate)
        require_finite(drive_dbfs=self.drive_dbfs)
        require_below_nyquist(self.high_hz, self.sample_rate, "high_hz")
        if self.phases not in get_args(Phases):
            raise SignalError(f"phases must be one of {', '.join(get_args(Phases))}, not {self.phases!r:.80}")
        for name in ("settling_periods", "periods", "seed", "realisation"):
            value = getattr(self, name)
            if not isinstance(value, int) or value < 0:
                raise SignalError(f"{name} must be a whole number, 0 or above, not {value!r:.80}")
        self._require_size()
        self._require_whole_period()
        self._require_lines()
        if self.phases != "low-crest":
            require_within_full_scale(self.peak_dbfs)

    def _require_size(self) -> None:
        """Before anything of it is made."""
        period = self.period_s * self.sample_rate
        require_length((self.settling_periods + self.periods + 1) * period)
        if period > MOST_PERIOD_SAMPLES:
            raise SignalError(f"a period of {period:g} samples is too long: at most {MOST_PERIOD_SAMPLES} are possible")
        if self.lines_per_decade > MOST_LINES_PER_DECADE:
            raise SignalError(
                f"{self.lines_per_decade:g} lines a decade are too many: at most {MOST_LINES_PER_DECADE} are possible"
            )

    def _require_whole_period(self) -> None:
        samples = self.period_s * self.sample_rate
        if abs(samples - self.period_samples) > 1e-6:  # rounding of a period written in decimals
            enough = repr(self.period_samples / self.sample_rate).removesuffix(".0")  # fewer digits are refused again
            raise SignalError(
                f"period_s = {self.period_s:g} is {samples:.10g} samples at {self.sample_rate} Hz, where an even whole "
                f"number is needed: take {enough} s"
            )

    def _require_lines(self) -> None:
        bins = self.line_bins
        if bins.size < 2:
            raise SignalError(
                f"a multitone needs at least two lines: {bins.size} lie between "
                f"{max(self.low_hz, self.lowest_hz or 0.0):g} and {self.high_hz:g} Hz"
            )
        close = np.flatnonzero(np.diff(bins) < LEAST_DISTANCE)
        if close.size:
            ratio = 10.0 ** (1.0 / self.lines_per_decade)
            at_hz = bins[close[0]] / self.period_s
            # two odd bins from line to line, and one more for the rounding of either
            enough_s = math.ceil((LEAST_DISTANCE + 2) / (bins[0] / self.period_s * (ratio - 1.0)))
            raise SignalError(
                f"{self.lines_per_decade:g} lines a decade leave no free bin between two lines at {at_hz:.1f} Hz with "
                f"a period of {self.period_s:g} s: take period_s = {enough_s:g}, fewer lines or a higher low_hz"
            )

    @property
    def period_samples(self) -> int:
        """Samples of one period, an even number."""
        return 2 * round(self.period_s * self.sample_rate / 2.0)

    @property
    def n_samples(self) -> int:
        """Length in samples: settling, measured periods, fade-out."""
        return (self.settling_periods + self.periods) * self.period_samples + round(FADE_OUT_S * self.sample_rate)

    @cached_property
    def line_bins(self) -> IntArray:
        """Bin of each line, `(lines,)`, all odd, ascending; line k turns `line_bins[k]` times a period."""
        lines = math.floor(self.lines_per_decade * math.log10(self.high_hz / self.low_hz) + 1e-9) + 1
        grid_hz = self.low_hz * 10.0 ** (np.arange(max(lines, 0)) / self.lines_per_decade)
        bins = 2 * np.floor(grid_hz * self.period_s / 2.0).astype(np.int64) + 1
        bins = np.where(bins < self.low_hz * self.period_s, bins + 2, bins)
        bins = np.where(bins > self.high_hz * self.period_s, bins - 2, bins)
        return np.asarray(bins[bins >= (self.lowest_hz or 0.0) * self.period_s])

    @property
    def line_hz(self) -> FloatArray:
        """Frequency of each line, `(lines,)`."""
        return np.asarray(self.line_bins / self.period_s)

    @property
    def highest_hz(self) -> float:
        """Of the highest line."""
        return float(self.line_hz[-1])

    @cached_property
    def line_amplitudes(self) -> FloatArray:
        """Amplitude of each line as played, `(lines,)`, digital full scale = 1."""
        shape = line_amplitudes(self.line_hz, self.spectrum)
        rms = FULL_SCALE_SINE_RMS * float(db_to_amplitude(self.drive_dbfs))
        return np.asarray(shape * (rms / math.sqrt(0.5 * float(np.sum(np.square(shape))))))

    @cached_property
    def line_phases_rad(self) -> FloatArray:
        """Phase of each line's cosine at the first sample of a period, `(lines,)`, radians."""
        shape = line_amplitudes(self.line_hz, self.spectrum)
        if self.phases == "random":
            return random_phases(self.line_bins.size, seed=self.seed, realisation=self.realisation)
        if self.phases == "schroeder":
            return schroeder_phases(self.line_bins, shape)
        return low_crest_phases(self.line_bins, shape, seed=self.seed, realisation=self.realisation)

    @property
    def crest_factor(self) -> float:
        """Peak of the continuous wave over its r.m.s., as a ratio (a sine: 1.414)."""
        return crest_factor(self.line_bins, line_amplitudes(self.line_hz, self.spectrum), self.line_phases_rad)

    @property
    def crest_factor_db(self) -> float:
        """The same in dB (a sine: 3.01)."""
        return 20.0 * math.log10(self.crest_factor)

    @property
    def peak_dbfs(self) -> float:
        """Peak of the continuous wave, dB re digital full scale: what is left up to 0 is headroom."""
        return self.drive_dbfs + 20.0 * math.log10(FULL_SCALE_SINE_RMS) + self.crest_factor_db

    def period(self) -> FloatArray:
        """One period as float64 `(period_samples,)`, digital full scale = 1.

        Raises SignalError when its peak, which may lie between two samples, passes full scale.
        """
        require_within_full_scale(self.peak_dbfs)
        return wave(self.line_bins, self.line_amplitudes, self.line_phases_rad, points=self.period_samples)

    def samples(self) -> FloatArray:
        """The multitone as float64 `(n_samples,)`, digital full scale = 1. Raises SignalError as `period` does."""
        one = self.period()
        played = np.tile(one, -(-self.n_samples // one.size))[: self.n_samples]
        if self.settling_periods:  # without them, nothing may be faded that is measured
            fade_in = round(FADE_IN_S * self.sample_rate)
            played[:fade_in] *= rise(np.arange(fade_in) / fade_in)
        fade_out = round(FADE_OUT_S * self.sample_rate)
        played[-fade_out:] *= rise(np.arange(fade_out, 0, -1) / fade_out)
        return played
