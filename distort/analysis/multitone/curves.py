"""What the analysis of multitones hands on, each quantity with its unit in its name.

`*_db` of a band is re the lines in the same band; NaN where the band holds no line. `level_db` is in `unit`: "db_spl"
is dB re 20 uPa referred to 1 m, "dbfs" is dB re digital full scale (AES17), where no calibration is known. Nothing at
all is -300 dB, re the lines or re the unit.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.common.caution import near_noise
from distort.analysis.common.curves import LevelUnit
from signals.levels import db_to_power, power_to_db

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class MultitoneBands:
    """Distortion and noise of a multitone, one row a third octave, `(bands,)` each."""

    frequency_hz: FloatArray
    """Exact midbands of IEC 61260-1."""
    unit: LevelUnit
    level_db: FloatArray
    """Of the lines in the band."""
    distortion_db: FloatArray
    """Even and odd together, noise power removed."""
    even_db: FloatArray
    odd_db: FloatArray
    noise_db: FloatArray
    """Noise of the recording in the whole band, as it would be heard; averaging has not made it smaller."""
    even_floor_db: FloatArray
    """What noise leaves in `even_db` after averaging, what the clocks' wander may have put there, and steady sounds."""
    odd_floor_db: FloatArray
    even_uncertainty_db: FloatArray
    """Half-width of the 95 % interval of `even_db`, from noise and from the draw of the phases (`draws`)."""
    odd_uncertainty_db: FloatArray
    even_noise_uncertainty_db: FloatArray
    """Of noise alone: between recordings of the same phases nothing else differs."""
    odd_noise_uncertainty_db: FloatArray

    @property
    def floor_db(self) -> FloatArray:
        """Of `distortion_db`: the floors of even and odd together."""
        return power_to_db(db_to_power(self.even_floor_db) + db_to_power(self.odd_floor_db))

    @property
    def doubtful(self) -> BoolArray:
        """Where `distortion_db` is less than 10 dB above its floor: to be used with caution."""
        return near_noise(self.distortion_db, self.floor_db)


@dataclass(frozen=True, kw_only=True)
class MultitoneResponse:
    """The best linear response, one row a line, `(lines,)` each."""

    frequency_hz: FloatArray
    unit: LevelUnit
    gain_db: FloatArray
    """What came per what was played."""
    response_db: FloatArray
    """Level that a tone of the multitone's whole drive would have: `gain_db`, put beside a sweep's response."""
    level_db: FloatArray
    """Of the line itself."""
    phase_deg: FloatArray
    """-180 ... 180, of the stimulus as it arrives at the start that was found (so the delay is out of it)."""
    noise_db: FloatArray
    """Noise in `level_db`, after averaging."""
    distortion_db: FloatArray
    """Level of the odd distortion that lies on the line: a mean over its free neighbours. It scatters `gain_db` and
    `phase_deg` from realisation to realisation."""
    uncertainty_db: FloatArray
    """Half-width of the 95 % interval of `gain_db` that noise leaves."""


@dataclass(frozen=True, kw_only=True)
class ClockFound:
    """What the lines' phases say of the two clocks, after whatever the chirps had repaired."""

    difference_ppm: float
    """Constant part that was found and taken out, recorder against player."""
    wander_ppm: float
    """r.m.s. of what varies from period to period, as a difference of rate."""
    repaired: bool
    """The recording was resampled for it."""
    fast_wander: bool
    """The lines' phases move together faster than could be repaired: the floors are raised accordingly."""


@dataclass(frozen=True, kw_only=True)
class MultitoneResult:
    """Everything one recording of a multitone says, or several together."""

    bands: MultitoneBands
    response: MultitoneResponse
    clock: ClockFound
    level_db: float
    """Of all lines together."""
    distortion_db: float
    """Even and odd over the whole band, re all lines."""
    even_db: float
    odd_db: float
    noise_db: float
    floor_db: float
    """What noise and wander may account for in `distortion_db`; nearer to it than 10 dB, read the bands instead."""
    realisations: int
    """How many recordings were averaged."""
    draws: int
    """How many different draws of the phases are among them."""
