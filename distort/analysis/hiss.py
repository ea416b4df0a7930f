"""Hiss of an active loudspeaker: noise in silence with it switched on, less that with it switched off.

Both are read in parts of a silence, by Welch's method: blocks of 1 s under a Hann window, half overlapping (IEEE Trans.
Audio Electroacoust. 15(2), 1967). With N the noise power of a third octave with the loudspeaker on, S that with it off,

    net   = N - S
    var   = N^2 (2 / n_N + w^2 / m_N) + S^2 (2 / n_S + w^2 / m_S)
    floor = S sqrt((F(n_N, n_S) - 1)^2 + (3.3 w)^2 (1 / m_N + 1 / m_S))

n are degrees of freedom of all m parts together, w is how restless the parts are beyond that, F what the ratio of two
powers of one noise passes once in 2,000. A net that is no higher than its floor is not told. Sums over bands take
floors and errors as if they all went the same way, since what makes a room restless is heard in many bands at once.

Steady tones of either (hum, the whistle of a power supply) are left out of both, and their place is filled with the
mean of the rest of the band; the tones that the loudspeaker brings are stated by themselves. Own; checked by noise of
known level.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.common.a_weighting import a_weighting_db
from distort.analysis.common.curves import LevelUnit
from distort.analysis.common.grid import band_edges_hz, midbands_hz
from distort.analysis.common.microphone import MicrophoneResponse
from distort.analysis.common.statistics import TWO_SIDED_95
from distort.analysis.level_noise import BY_CHANCE, POOLED_BANDS, TOLD_FROM
from distort.analysis.multitone.hum_lines import SteadySounds, hum_lines
from distort.analysis.sweep.sweeps import Reference
from distort.analysis.sweep.uncertainty import interval_db
from signals.levels import FULL_SCALE_SINE_RMS, power_to_db

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

BLOCK_S = 1.0
"""Of Welch's blocks: bins 1 Hz apart, eight of them in the lowest third octave that is read."""

PART_S = 2.0
"""A silence is read in parts of at most this length, of which there are two or more in all: how far they differ tells
how restless it is. About as long as the silences beside a stimulus."""

LOWEST_HZ, HIGHEST_HZ = 35.0, 17000.0
"""Third octaves of 40 Hz to 16 kHz: below, footsteps and air pressure are louder than any loudspeaker's hiss, and two
seconds tell little; above, few hear anything (own choice)."""

TONE_HZ = 3.0
"""Left out on either side of a steady tone: a Hann window's main lobe reaches two bins, mains wanders by a third."""

LEAST_LEFT = 0.3
"""Of the bins of a band beside the tones: fewer do not speak for the others."""

BROUGHT = 2.0
"""A tone with the loudspeaker on counts as its own where it has this many times the power that there is with it off."""

HANN_BINS = 35.0 / 18.0
"""So many bins under a Hann window tell as much as one that is independent: 1 + 2 ((2/3)^2 + (1/6)^2)."""

HALF_OVERLAP = 1.0 / 36.0
"""Squared correlation of two bins of blocks that overlap by half under a Hann window (Welch 1967: (1/6)^2)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class HissResult:
    """A row a third octave, `(bands,)` each; levels at 1 m, in `unit`."""

    frequency_hz: FloatArray
    unit: LevelUnit
    on_db: FloatArray
    """Noise with the loudspeaker on, steady tones left out; NaN where tones leave too little."""
    off_db: FloatArray
    """The same with it off."""
    floor_db: FloatArray
    """No hiss below this is told."""
    error_db: FloatArray
    """Level of one standard deviation of the difference of the two powers."""
    tones_db: FloatArray
    """Steady tones that come with the loudspeaker; NaN: none."""

    @property
    def net_power(self) -> FloatArray:
        """On less off, told or not, re the reference of the unit; NaN where nothing is read."""
        return _power(self.on_db) - _power(self.off_db)

    @property
    def hiss_db(self) -> FloatArray:
        """NaN where it is not above its floor."""
        net = self.net_power
        with np.errstate(invalid="ignore"):
            told = net > _power(self.floor_db)
        return np.where(told, power_to_db(np.where(told, net, 1.0)), np.nan)

    @property
    def uncertainty_db(self) -> FloatArray:
        """Half-width of the 95 % interval of `hiss_db`."""
        return interval_db(np.square(_power(self.error_db) / np.where(np.isnan(self.hiss_db), np.nan, self.net_power)))

    @property
    def a_weighted(self) -> "HissTotal":
        """All bands together, A-weighted: each by the weighting of its middle."""
        gain = 10.0 ** (a_weighting_db(self.frequency_hz) / 10.0)
        return HissTotal(
            net=float(np.nansum(gain * self.net_power)),
            error=float(np.nansum(gain * _power(self.error_db))),
            floor=float(np.nansum(gain * _power(self.floor_db))),
            off_db=float(power_to_db(np.nansum(gain * _power(self.off_db)))),
        )


@dataclass(frozen=True, kw_only=True)
class HissTotal:
    """Powers over all bands, re the reference of the unit."""

    net: float
    error: float
    """One standard deviation."""
    floor: float
    off_db: float
    """Level of the noise with the loudspeaker off."""

    @property
    def told(self) -> bool:
        """Whether there is more noise with it on than both scatter by."""
        return self.net > self.floor

    @property
    def level_db(self) -> float:
        """NaN where it is not told."""
        return float(power_to_db(self.net)) if self.told else float("nan")

    @property
    def uncertainty_db(self) -> float:
        """Half-width of the 95 % interval; NaN where it is not told."""
        return float(interval_db(np.square(np.array(self.error / self.net)))) if self.told else float("nan")

    @property
    def bound_db(self) -> float:
        """It is not above this: the upper end of the 95 % interval, and never below the floor."""
        return float(power_to_db(max(self.floor, self.net + TWO_SIDED_95 * self.error)))

    @property
    def louder_off(self) -> bool:
        """Whether there is surely less noise with it on than with it off."""
        return -self.net > self.floor


def hiss(
    on: Sequence[FloatArray],
    off: Sequence[FloatArray],
    *,
    sample_rate: int,
    microphone: MicrophoneResponse | None,
    reference: Reference,
) -> HissResult | None:
    """What the silences `on` have over those `off`, each `(samples,)`, full scale 1; None where either has less than
    two parts of a second, so that how far it scatters is not known."""
    parts_on, parts_off = _parts(on, sample_rate), _parts(off, sample_rate)
    if min(len(parts_on), len(parts_off)) < 2:
        return None
    middle_hz = midbands_hz(bands_per_octave=3, from_hz=LOWEST_HZ, to_hz=min(HIGHEST_HZ, 0.44 * sample_rate))
    tones_on, tones_off = (hum_lines(one, sample_rate=sample_rate) for one in (parts_on, parts_off))
    tone_hz = np.concatenate([tones_on.frequency_hz, tones_off.frequency_hz])
    heard = [
        _heard(one, sample_rate, middle_hz, tone_hz=tone_hz, microphone=microphone) for one in (parts_on, parts_off)
    ]
    powers = [one.mean for one in heard]
    numbers = [len(one.parts) for one in heard]
    freedoms = [one.freedom * number for one, number in zip(heard, numbers, strict=True)]
    unrest = _unrest(heard)
    parts = [np.square(p) * (2.0 / n + unrest / m) for p, n, m in zip(powers, freedoms, numbers, strict=True)]
    by_chance = scipy.special.fdtri(freedoms[0], freedoms[1], 1.0 - BY_CHANCE) - 1.0
    floor = powers[1] * np.sqrt(np.square(by_chance) + TOLD_FROM**2 * unrest * (1.0 / numbers[0] + 1.0 / numbers[1]))

    def level_db(power: FloatArray) -> FloatArray:
        return np.asarray(power_to_db(power / FULL_SCALE_SINE_RMS**2) + reference.offset_db)

    return HissResult(
        frequency_hz=middle_hz,
        unit=reference.unit,
        on_db=level_db(powers[0]),
        off_db=level_db(powers[1]),
        floor_db=level_db(floor),
        error_db=level_db(np.sqrt(parts[0] + parts[1])),
        tones_db=level_db(_brought(tones_on, tones_off, middle_hz, microphone)),
    )


def _power(level_db: FloatArray) -> FloatArray:
    return np.asarray(10.0 ** (level_db / 10.0))


def _parts(silences: Sequence[FloatArray], sample_rate: int) -> list[FloatArray]:
    """Equally long, as hum is sought: `PART_S`, or the shortest silence of a second or more if that is shorter."""
    long_enough = [one for one in silences if one.size >= BLOCK_S * sample_rate]
    size = min([round(PART_S * sample_rate), *(one.size for one in long_enough)])
    return [one[at : at + size] for one in long_enough for at in range(0, one.size - size + 1, size)]


@dataclass(frozen=True, kw_only=True, eq=False)
class _Heard:
    """The powers of each part, full scale squared, and the degrees of freedom of one."""

    parts: FloatArray
    """`(parts, bands)`."""
    freedom: FloatArray

    @property
    def mean(self) -> FloatArray:
        return np.asarray(np.mean(self.parts, axis=0))


def _heard(
    parts: Sequence[FloatArray],
    sample_rate: int,
    middle_hz: FloatArray,
    *,
    tone_hz: FloatArray,
    microphone: MicrophoneResponse | None,
) -> _Heard:
    """Of `parts`, with what lies near a tone left out."""
    block = round(BLOCK_S * sample_rate)
    frequency_hz, density = scipy.signal.welch(np.array(parts), sample_rate, nperseg=block, detrend="constant")
    density = density / np.square(1.0 if microphone is None else microphone.amplitude(frequency_hz))
    free = ~np.any(np.abs(frequency_hz[:, None] - tone_hz) <= TONE_HZ, axis=1)
    low_hz, high_hz = band_edges_hz(middle_hz, bands_per_octave=3)
    step_hz = frequency_hz[1]
    # Share of each bin that lies in each band: bins reach half a step to either side.
    above, below = (frequency_hz + side * step_hz / 2 for side in (1, -1))
    both_hz = np.minimum(high_hz[:, None], above) - np.maximum(low_hz[:, None], below)
    inside = np.maximum(both_hz, 0.0) / step_hz
    used = inside * free
    left = used.sum(axis=1)
    kept = np.where(left >= LEAST_LEFT * inside.sum(axis=1), left, np.nan)
    blocks = 1 + (len(parts[0]) - block) // (block - block // 2)
    overlap = 1.0 + 2.0 * HALF_OVERLAP * (blocks - 1) / blocks
    return _Heard(
        parts=density @ used.T / kept * (high_hz - low_hz),
        freedom=2.0 * np.maximum(kept / HANN_BINS, 1.0) * blocks / overlap,
    )


def _unrest(heard: Sequence[_Heard]) -> FloatArray:
    """w^2: variance of the parts about their mean, re its square, beyond what their length leaves; of five neighbouring
    bands and of both together."""
    squares = sum(np.sum(np.square(one.parts / one.mean - 1.0), axis=0) for one in heard)
    beyond = squares / sum(len(one.parts) - 1 for one in heard) - 2.0 / np.maximum(heard[0].freedom, heard[1].freedom)
    known = np.isfinite(beyond)
    near = np.ones(POOLED_BANDS)
    count = np.convolve(known.astype(np.float64), near, mode="same")
    return np.maximum(np.convolve(np.where(known, beyond, 0.0), near, mode="same") / np.maximum(count, 1.0), 0.0)


def _brought(
    on: SteadySounds, off: SteadySounds, middle_hz: FloatArray, microphone: MicrophoneResponse | None
) -> FloatArray:
    """Power of the tones of each band that are there, or twice as strong, with the loudspeaker on only; NaN: none."""
    low_hz, high_hz = band_edges_hz(middle_hz, bands_per_octave=3)
    found = np.full(middle_hz.size, np.nan)
    for hz, power in zip(on.frequency_hz, on.power, strict=True):
        before = float(np.sum(off.power[np.abs(off.frequency_hz - hz) <= TONE_HZ]))
        (band,) = np.nonzero((hz >= low_hz) & (hz < high_hz))
        if band.size and power > BROUGHT * before:
            own = (power - before) / (1.0 if microphone is None else float(microphone.amplitude(hz)) ** 2)
            found[band[0]] = np.nansum([found[band[0]], own])
    return found
