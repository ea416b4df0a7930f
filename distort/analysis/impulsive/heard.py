"""How far the loudest part of a cycle stands out, in each sixth octave of one recording."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.impulsive.cycles import LEAST_CYCLES, Bands, bands_of, begins_s, part_powers
from distort.analysis.impulsive.regularity import UNKNOWN, Repeats, repeats
from distort.analysis.impulsive.residual import Residual, bandwidth_hz, whitened
from distort.analysis.sweep.beyond import BeyondOrders
from distort.analysis.sweep.noise import NoiseDensity

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

DROPPED = 10
"""One cycle in so many, the loudest of each part, counts for nothing, and one at least: a door slams once."""

HIGHEST_Z = 1e9
"""More is not told: the noise of a converter is 90 dB below what it can record, and rounding makes any of less."""

BESIDE_S = 0.15
"""So long before and after a foreign sound nothing is looked at: the room's decay, and how sharply it is timed."""


@dataclass(frozen=True, kw_only=True, eq=False)
class CyclesHeard:
    """The cycles of one recording beyond the tenth order."""

    residual: Residual
    bands: Bands
    powers: FloatArray
    """Mean square of each part of every cycle, `(cycles, PARTS)`; 1 per hertz for noise as in the silence."""
    first: int
    """Number of the first of them."""

    def cycles(self, low: int, high: int) -> slice:
        """Rows of the cycles of the bands from `low` to `high`, both counted."""
        return slice(int(self.bands.first[low]) - self.first, int(self.bands.end[high]) - self.first)


def cycles_heard(beyond: BeyondOrders, noise: NoiseDensity) -> CyclesHeard:
    """Of one recording; `noise` is that of its silence."""
    residual = whitened(beyond, noise)
    bands = bands_of(residual.sweep)
    powers, first = part_powers(residual, bands)
    return CyclesHeard(residual=residual, bands=bands, powers=powers, first=first)


def untouched(heard: CyclesHeard, foreign_s: Sequence[tuple[float, float]]) -> BoolArray:
    """Cycles during which nothing foreign sounded, `(cycles,)`.

    foreign_s   begin and end of each foreign sound, seconds into the sweep
    """
    kept = np.ones(heard.powers.shape[0], dtype=np.bool_)
    edges_s = begins_s(heard.residual.sweep, heard.first + np.arange(kept.size + 1))
    for begin_s, end_s in foreign_s:
        kept &= (edges_s[1:] < begin_s - BESIDE_S) | (edges_s[:-1] > end_s + BESIDE_S)
    return kept


def standing_out(heard: CyclesHeard, kept: BoolArray) -> FloatArray:
    """`z = (max E_b / median E_b - 1) sqrt(nu / 2)` of each band, `(bands,)`: about a normal deviate where noise is
    steady. E_b is the mean power of part b over the cycles but the loudest tenth, nu its degrees of freedom.

    kept   cycles that are looked at; NaN where a band has too few
    """
    z = np.full(heard.bands.frequency_hz.size, np.nan)
    for band in range(z.size):
        rows = heard.cycles(band, band)
        powers = np.sort(heard.powers[rows][kept[rows]], axis=0)
        count = powers.shape[0] - max(1, powers.shape[0] // DROPPED)
        if powers.shape[0] >= LEAST_CYCLES:
            mean = np.mean(powers[:count], axis=0)
            freedom = heard.bands.values[band] * count
            z[band] = (np.max(mean) / max(float(np.median(mean)), 1e-300) - 1.0) * np.sqrt(freedom / 2.0)
    return np.asarray(np.minimum(z, HIGHEST_Z))


def repeats_at(heard: CyclesHeard, kept: BoolArray, band: int) -> Repeats:
    """How what is loudest in a band and its neighbours behaves from cycle to cycle; nothing where something foreign
    sounded among them."""
    low, high = max(band - 1, 0), min(band + 1, heard.bands.frequency_hz.size - 1)
    rows = heard.cycles(low, high)
    powers = heard.powers[rows]
    if not np.all(kept[rows]):
        return UNKNOWN
    first = rows.start + heard.first
    sweep = heard.residual.sweep
    sweep_hz = sweep.start_hz + (first + np.arange(powers.shape[0])) / sweep.rate_s
    noise = bandwidth_hz(sweep, sweep_hz)
    return repeats(heard.residual, powers, first=first, noise=noise, values=float(heard.bands.values[band]))
