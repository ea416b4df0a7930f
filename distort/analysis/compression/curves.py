"""What goes into the compression analysis and what comes out: levels, repeats, changes, octaves, operating range.

Arrays over frequency are `(rows,)`, the same rows for every level: the grid for sweeps, the lines for multitones.
Tables over octaves are `(levels, bands)`, levels from the lowest up. NaN means "not measurable here". Every uncertainty
is the half-width of a 95 % interval in dB.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

Word = Literal["reference", "linear", "gradual compression", "limiting", "expansion", "unknown"]
"""What a band does at a level; "unknown" where there is no reading, or none whose uncertainty is known."""

Repeated = Literal["no", "hot", "rested", "hot and rested"]
"""How the reference level was played again after other levels."""

Basis = Literal["change", "corrected"]
"""Which of the two stands behind a word: the plain change, or the one corrected for drift."""


@dataclass(frozen=True, kw_only=True)
class Output:
    """What came out at one drive."""

    drive_dbfs: float
    """As played."""
    level_db: FloatArray
    """`(rows,)`, noise removed, in one unit for all that are compared (dB SPL or dBFS)."""
    variance: FloatArray
    """`(rows,)`: variance of the power from noise, relative to its square; NaN where no noise was recorded."""

    @property
    def gain_db(self) -> FloatArray:
        """Output less drive."""
        return self.level_db - self.drive_dbfs


@dataclass(frozen=True, kw_only=True)
class LevelStep:
    """One level of the ladder."""

    level_db_spl: float
    """Nominal."""
    time_s: float
    """When it was played, seconds from any origin; its place in the order of playing where no time is known."""
    output: Output
    """The mean of its takes."""
    takes_db: FloatArray | None = None
    """`(takes, rows)`: level of each take alone, unit as `output`; None where there is one take."""
    short: Output | None = None
    """The sweep of half the length at the same level."""


@dataclass(frozen=True, kw_only=True)
class Repeat:
    """The reference level, played again."""

    time_s: float
    """On the clock of the rungs."""
    rested: bool
    """True: the loudspeaker had cooled, so it shows drift. False: played at once, so it shows heating."""
    output: Output


@dataclass(frozen=True, kw_only=True)
class LevelChange:
    """One level against the reference level, as it is written and drawn."""

    level_db_spl: float
    change_db: FloatArray
    """Negative: the output lags the drive. Never corrected for drift or heating."""
    corrected_db: FloatArray
    """Against the reference as rested repeats say it was at that time; NaN without one, or after the last."""
    uncertainty_db: FloatArray
    """Of `change_db`, from the noise of both levels and, where there are takes, from their scatter."""
    bias_db: FloatArray
    """Change of the short sweep less change of this one: what the sweep's speed adds to `change_db`. NaN without."""


@dataclass(frozen=True, kw_only=True)
class AnalysedChange(LevelChange):
    """The same with what the octaves and the lag of the sweep are read from."""

    drive_dbfs: float
    output_db: FloatArray
    bias_uncertainty_db: FloatArray
    corrected_uncertainty_db: FloatArray


@dataclass(frozen=True, kw_only=True)
class RepeatChange:
    """A repeat of the reference against its first time."""

    time_s: float
    rested: bool
    change_db: FloatArray
    uncertainty_db: FloatArray


@dataclass(frozen=True, kw_only=True)
class Compression:
    """Changes of all levels, and what the repeats of the reference say about them."""

    frequency_hz: FloatArray
    levels: tuple[AnalysedChange, ...]
    """From the reference (change 0) up."""
    drift_db: FloatArray
    """Last rested repeat less first reference: microphone, air, electronics. NaN without a rested repeat."""
    drift_uncertainty_db: FloatArray
    heating_db: FloatArray
    """Last hot repeat less first reference: what the levels before it left behind, drift included. NaN without."""
    heating_uncertainty_db: FloatArray
    repeats: tuple[RepeatChange, ...]
    repeated: Repeated
    includes_heating: bool
    """True as soon as there is a louder level: the coil warms while it plays, and within one run that cannot be told
    from other compression. No repeat of the reference takes it out of `change_db` or `corrected_db`."""


@dataclass(frozen=True, kw_only=True)
class OctaveLevels:
    """One octave band over the levels; every tuple has one value a level, from the lowest up; None: not measurable.

    heating_db, drift_db: the reference played again at once, and after a rest, less its first time.
    """

    midband_hz: float
    """Exact mid-band of IEC 61260-1."""
    output_db: tuple[float | None, ...]
    """Power mean over the rows of the band."""
    change_db: tuple[float | None, ...]
    uncertainty_db: tuple[float | None, ...]
    """At most this: as if the noise of all rows were common, because that of neighbours and the scatter of takes is."""
    corrected_db: tuple[float | None, ...]
    corrected_uncertainty_db: tuple[float | None, ...]
    bias_db: tuple[float | None, ...]
    heating_db: float | None
    heating_uncertainty_db: float | None
    drift_db: float | None
    drift_uncertainty_db: float | None


@dataclass(frozen=True, kw_only=True)
class InputOutput:
    """Output and change per octave band, against drive."""

    level_db_spl: FloatArray
    """`(levels,)`: nominal."""
    drive_dbfs: FloatArray
    """`(levels,)`"""
    octaves: tuple[OctaveLevels, ...]

    @property
    def midband_hz(self) -> FloatArray:
        """`(bands,)`"""
        return np.array([one.midband_hz for one in self.octaves])


@dataclass(frozen=True, kw_only=True)
class Onset:
    """From which level a band leaves the straight line."""

    kind: Literal["compression", "expansion"]
    above_db_spl: float
    """The last rung that is still linear within its uncertainty (or the reference)."""
    up_to_db_spl: float
    """The first rung that is not."""
    level_db_spl: float | None
    """Interpolated; None where the rungs are too far apart for a number."""


Limited = Literal["distortion", "compression"]
Verdict = Literal["found", "kept to the last", "exceeded at the first", "unknown"]


@dataclass(frozen=True, kw_only=True)
class HighestLevel:
    """The highest level at which a limit is still kept."""

    quantity: Limited
    limit: float
    """Per cent for distortion, dB for compression."""
    level_db_spl: float | None
    """Interpolated between two rungs; None unless `verdict` is "found"."""
    verdict: Verdict
    kept_at_db_spl: float | None
    """The last rung that was measured to keep it, before the first that does not."""
    exceeded_at_db_spl: float | None
    """The first rung that exceeds it."""


@dataclass(frozen=True, kw_only=True)
class BandRange:
    """What one octave band does over the ladder."""

    midband_hz: float
    words: tuple[Word, ...]
    """One a level."""
    word: Word
    """For the whole band: limiting where there is any, else that of the highest level where it is not linear."""
    basis: Basis
    onset: Onset | None
    """None where the band is linear at the highest level, or unknown."""
    compression_limits: tuple[HighestLevel, ...]
    distortion_limits: tuple[HighestLevel, ...]
