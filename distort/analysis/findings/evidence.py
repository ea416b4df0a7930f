"""Everything that was measured in a condition, as the findings look at it: made once, before anything is explained.

All arrays are `(rows,)` over their own `frequency_hz`, evenly spaced in log frequency; NaN: not measurable. A product
of order n stands at the excitation frequency f; it is heard at n f. Uncertainties are half-widths of 95 % intervals.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.anomalies.anomaly import Anomaly
from distort.analysis.common.caution import CLEAR_OF_NOISE_DB
from distort.analysis.common.quantities import Quantity
from distort.analysis.frames.reading import FrameReading
from distort.analysis.impulsive.impulsive import ImpulsivePlace
from distort.analysis.level_noise import Growing
from distort.analysis.synthesis.predicted import Prediction

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True, eq=False)
class OrderCurve:
    """One order at one level."""

    order: int
    level_db_spl: float
    """Nominal; differences of it are differences of drive."""
    relative_db: FloatArray
    """Re the fundamental at f."""
    fundamental_db: FloatArray
    """At f, at this level."""
    floor_db: FloatArray
    """Re the fundamental: noise, decay of the next order and chain, less what each has to be cleared by beyond noise.
    NaN: not known, and then nothing is concluded from the row."""
    uncertainty_db: FloatArray
    bias_db: FloatArray
    """The short sweep's reading less this one; NaN without."""

    @property
    def product_db(self) -> FloatArray:
        """Level of the product, in the unit of the fundamental."""
        return self.relative_db + self.fundamental_db

    @property
    def readable(self) -> BoolArray:
        """Rows that stand clear of a floor that is known."""
        with np.errstate(invalid="ignore"):
            return np.asarray(self.relative_db >= self.floor_db + CLEAR_OF_NOISE_DB)


@dataclass(frozen=True, kw_only=True, eq=False)
class BandCurve:
    """Even or odd distortion of a multitone at one level, re the lines in the band."""

    quantity: Quantity
    level_db_spl: float
    frequency_hz: FloatArray
    relative_db: FloatArray
    floor_db: FloatArray
    uncertainty_db: FloatArray
    lines_db: FloatArray
    """Level of the lines in the band."""

    @property
    def readable(self) -> BoolArray:
        """Bands that stand clear of a floor that is known."""
        with np.errstate(invalid="ignore"):
            return np.asarray(self.relative_db >= self.floor_db + CLEAR_OF_NOISE_DB)


@dataclass(frozen=True, kw_only=True, eq=False)
class ChangeCurve:
    """The change of one level against the lowest; negative: the output falls short of the drive."""

    quantity: Quantity
    level_db_spl: float
    frequency_hz: FloatArray
    change_db: FloatArray
    uncertainty_db: FloatArray
    bias_db: FloatArray
    """Change of the short sweep less this one; NaN without."""


@dataclass(frozen=True, kw_only=True)
class TimeBehaviour:
    """What the level of a band did while a multitone played: an exponential settling."""

    level_db_spl: float
    low_hz: float
    high_hz: float
    depth_db: float
    uncertainty_db: float
    time_constant_s: float


@dataclass(frozen=True, kw_only=True)
class OctaveHeat:
    """What an octave of the lowest level had lost when it was played again at once after the loudest."""

    midband_hz: float
    change_db: float
    uncertainty_db: float


@dataclass(frozen=True, kw_only=True)
class Event:
    """Something that sounded while a sweep was recorded, and that the loudspeaker did not make."""

    level_db_spl: float
    """Of the sweep."""
    low_hz: float
    high_hz: float
    """Where the sweep was meanwhile."""
    orders: tuple[int, ...]
    """Whose curves it touches; 1 is the fundamental."""


@dataclass(frozen=True, kw_only=True)
class Image:
    """An image of the sweep that a conversion of the sample rate left in the recordings."""

    difference_hz: float
    """Of the two sample rates, or a multiple."""
    highest_db: float
    """Re the fundamental, where it is strongest."""
    touched_hz: tuple[tuple[float, float], ...]
    """Stretches of orders that it touches at the highest level, by the frequency of the excitation; may be none."""


@dataclass(frozen=True, kw_only=True)
class SetUps:
    """What the session plans and holds besides, for the commands that a finding proposes."""

    planned: tuple[str, ...] = ()
    """Conditions of the plan."""
    recorded: tuple[str, ...] = ()
    """Those that have recordings."""
    bursts: bool = False
    """The plan has tone bursts."""
    simulated: bool = False
    """The loudspeaker is the simulated one."""
    frames_hz: tuple[float, ...] = ()
    """Frequencies of the plan's frames; empty: it has none."""
    frames_levels: tuple[float, ...] = ()
    """Levels at which it plays them."""


@dataclass(frozen=True, kw_only=True)
class FrameAt:
    """A frame that was recorded, and what it says."""

    level_db_spl: float
    frequency_hz: float
    reading: FrameReading


@dataclass(frozen=True, kw_only=True, eq=False)
class Evidence:
    """All of a condition."""

    condition: str = "main"
    """Its name, for the commands that a finding proposes."""
    set_ups: SetUps = SetUps()
    frequency_hz: FloatArray
    """Of responses and orders."""
    response_db: FloatArray
    """Of the lowest level."""
    lowest_valid_hz: float
    anomalies: tuple[Anomaly, ...] = ()
    orders: tuple[OrderCurve, ...] = ()
    """Every order at every level, from the lowest level up."""
    bands: tuple[BandCurve, ...] = ()
    changes: tuple[ChangeCurve, ...] = ()
    """Every level but the lowest."""
    attacks: tuple[TimeBehaviour, ...] = ()
    """Bands of a multitone that began louder than they settled, within its first period."""
    warm_ups: tuple[TimeBehaviour, ...] = ()
    """Bands whose level changed from period to period."""
    events: tuple[Event, ...] = ()
    """Those that touch a curve; what they touch is not readable in the curves here."""
    images: tuple[Image, ...] = ()
    """Those that were found beside the sweep itself; likewise."""
    impulses: tuple[ImpulsivePlace, ...] = ()
    """Where something strikes, rubs or blows in step with the sweep, level by level."""
    noise: tuple[Growing, ...] = ()
    """Where the noise of the multitones grows with the level."""
    frames: tuple[FrameAt, ...] = ()
    """Empty: none were played."""
    heating: tuple[OctaveHeat, ...] = ()
    """Empty: the lowest level was not played again at once."""
    prediction: Prediction | None = None
    """The multitones, predicted from the sweeps."""
    in_room: bool = False
    """The set-up stands in a room, and neither a gate nor a curve measured elsewhere takes the room out."""

    @property
    def levels(self) -> tuple[float, ...]:
        """Nominal levels of the orders, from the lowest up."""
        return tuple(sorted({one.level_db_spl for one in self.orders}))

    @property
    def numbers(self) -> tuple[int, ...]:
        """Orders that were read."""
        return tuple(sorted({one.order for one in self.orders}))

    def response_at(self, frequency_hz: FloatArray) -> FloatArray:
        """The lowest level's response at other frequencies; NaN beyond its ends."""
        known = np.isfinite(self.response_db)
        if not np.any(known):
            return np.full_like(frequency_hz, np.nan)
        at = np.log(frequency_hz)
        return np.asarray(
            np.interp(at, np.log(self.frequency_hz[known]), self.response_db[known], left=np.nan, right=np.nan)
        )
