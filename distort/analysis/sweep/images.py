"""Images that a poor conversion of the sample rate left in a recording of a sweep.

A converter from one sample rate to another whose filter is too short leaves, beside a tone of frequency f, tones at
`|F + f|` and `|F - f|`, F being the difference of the two rates or a multiple of it: 3,900 Hz for 48 and 44.1 kHz (the
spectrum of the sampled tone repeats at multiples of the one rate and is folded at the other). Mixers of operating
systems and players convert so. Such an image is a sweep of the same speed beside the sweep: with the recording's
spectrum shifted by F it is deconvolved like the fundamental, and stands where that arrives, while orders and noise
stand elsewhere or nowhere.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.common.grid import band_edges_hz, grid_hz, midbands_hz
from distort.analysis.sweep.deconvolution import Deconvolved
from distort.analysis.sweep.readings import Reading
from distort.analysis.sweep.touched import Touched, near, row_stretches
from distort.analysis.sweep.windows import order_window
from signals.levels import db_to_power, power_to_db
from signals.sweep import Sweep

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

Side = Literal["above", "below"]
SIDES: tuple[Side, ...] = ("above", "below")
"""Of F: the image is at F + f, or at |F - f|."""

OFFSETS_HZ = (3900.0, 7800.0, 11700.0, 12100.0, 16000.0)
"""F: three times the difference of 48 and 44.1 kHz, and those of 44.1 and 48 to 32 kHz."""

FROM_HZ, TO_HZ = 250.0, 10000.0
"""Frequencies of the sweep at which an image is sought. A poor filter lets more through the higher it is."""

LOWEST_IMAGE_HZ = 100.0

CUT_S = 0.012
"""Half of the stretch about the arrival that is looked at: a loudspeaker delays no frequency more than another by
that."""

KAISER_BETA = 9.0
"""Of the stretch's window, whose side lobes are 90 dB down (Kaiser, 1974, from memory): an order that crosses beside
a band is 30 dB and more above an image."""

BEFORE, AFTER = (-4, -3, -2), (3, 4, 5)
"""Stretches that it is held against, `CUT_S` from each other: what decays is stronger before, noise is as strong there,
and an image is not there."""

CLEAR_DB = 10.0
"""By which a band must stand over the mean of those before, and half as much over the mean of those after. Of noise a
third octave at 2 kHz holds 11 values in a stretch: passes in four bands, of which three are neighbours, by chance are
rarer than one in a million."""

LEAST_BANDS, LEAST_RUN = 4, 3
"""Third octaves that must do so, and how many of them beside one another."""

CROSSING_HZ = 170.0
"""So near to where an order crosses nothing is looked at: the width of the window's spectrum."""

HIGHEST_ORDER = 30

LEAST_SHARE = 0.5
"""Of a band that must be left then."""


@dataclass(frozen=True, kw_only=True)
class ConversionImage:
    """An image of the sweep. Its level re the fundamental is the same at every level of playback."""

    offset_hz: float
    """F."""
    side: Side
    frequency_hz: tuple[float, ...]
    """Middles of the third octaves of the sweep in which it was found, from the lowest up."""
    relative_db: tuple[float, ...]
    """In each, re the fundamental."""

    @property
    def highest_db(self) -> float:
        """Where it is strongest."""
        return max(self.relative_db)

    def sweep_hz(self, image_hz: FloatArray) -> tuple[FloatArray, ...]:
        """Where the sweep is while the image is at `image_hz`: what is not above 0 is nowhere."""
        if self.side == "above":
            return (image_hz - self.offset_hz,)
        return self.offset_hz - image_hz, self.offset_hz + image_hz


def conversion_images(deconvolved: Deconvolved) -> tuple[ConversionImage, ...]:
    """All images of the sweep in a recording of it. Held are its spectrum and, of all else, the bins looked at."""
    kept = deconvolved.filter
    bins = np.arange(*_searched_bins(kept.sweep, kept.bin_hz))
    heard = scipy.fft.rfft(deconvolved.impulse)
    # from the arrival on; a shift by F leaves a constant phase
    turned = np.exp(2j * np.pi * bins * (deconvolved.arrival / kept.n_fft))
    own = _stretches(heard[bins] * turned, bin_hz=kept.bin_hz)
    heard *= kept.spectrum
    turned *= kept.inverse[bins]
    found = []
    for offset_hz in OFFSETS_HZ:
        for side in SIDES:
            shifted = _shifted(heard, round(offset_hz / kept.bin_hz), side, bins)
            shifted *= turned
            found += _images(offset_hz, side, _stretches(shifted, bin_hz=kept.bin_hz), (own, kept.sweep))
    return tuple(found)


def _shifted(spectrum: ComplexArray, by: int, side: Side, bins: IntArray) -> ComplexArray:
    """What stands at F + f, or at |F - f|, on the bins of f; F being bin `by`. Below F it runs backwards."""
    places = bins + by if side == "above" else np.abs(bins - by)
    there = places < spectrum.size
    moved = np.zeros(bins.size, dtype=np.complex128)
    moved[there] = spectrum[places[there]]
    return np.conj(moved, out=moved, where=bins < by) if side == "below" else moved


def _stretches(searched: ComplexArray, *, bin_hz: float) -> FloatArray:
    """Power of each bin of each stretch about the arrival, `(stretches, bins)`: before, at, and after it."""
    length = int(scipy.fft.next_fast_len(searched.size))
    impulse = scipy.fft.ifft(searched, length)
    half = round(CUT_S * length * bin_hz)
    window = np.kaiser(2 * half + 1, KAISER_BETA)
    pieces = [
        np.take(impulse, np.arange(-half, half + 1) + at * half, mode="wrap") * window for at in (*BEFORE, 0, *AFTER)
    ]
    return np.asarray(np.square(np.abs(scipy.fft.fft(pieces, _bins_of_stretch(half), axis=1))))


def _bins_of_stretch(half: int) -> int:
    return int(scipy.fft.next_fast_len(4 * half))


def _searched_bins(sweep: Sweep, bin_hz: float) -> tuple[int, int]:
    to_hz = min(TO_HZ, sweep.fade_out_hz)
    return math.ceil(FROM_HZ / bin_hz), math.floor(to_hz / bin_hz)


def _images(
    offset_hz: float, side: Side, power: FloatArray, fundamental: tuple[FloatArray, Sweep]
) -> list[ConversionImage]:
    """What stands at the arrival in third octaves; none where too little does."""
    own, sweep = fundamental
    to_hz = min(TO_HZ, sweep.fade_out_hz)
    sweep_hz = FROM_HZ + np.arange(power.shape[1]) * ((to_hz - FROM_HZ) / power.shape[1])
    free = _free(offset_hz, side, sweep_hz, highest_hz=sweep.fade_out_hz)
    middles = midbands_hz(bands_per_octave=3, from_hz=FROM_HZ, to_hz=to_hz)
    low, high = band_edges_hz(middles, bands_per_octave=3)
    inside = (sweep_hz >= low[:, np.newaxis]) & (sweep_hz < high[:, np.newaxis])
    used = inside & free
    bands = power @ used.T
    before, at, after = np.mean(bands[: len(BEFORE)], axis=0), bands[len(BEFORE)], np.mean(bands[-len(AFTER) :], axis=0)
    clear = float(db_to_power(CLEAR_DB))
    stands = (at > clear * before) & (at > math.sqrt(clear) * after)
    stands &= np.sum(used, axis=1) > LEAST_SHARE * np.sum(inside, axis=1)
    if np.sum(stands) < LEAST_BANDS or _longest_run(stands) < LEAST_RUN:
        return []
    relative_db = power_to_db((at - before)[stands] / (own[len(BEFORE)] @ used.T)[stands])
    return [
        ConversionImage(
            offset_hz=offset_hz,
            side=side,
            frequency_hz=tuple(float(one) for one in middles[stands]),
            relative_db=tuple(float(one) for one in relative_db),
        )
    ]


def _free(offset_hz: float, side: Side, sweep_hz: FloatArray, *, highest_hz: float) -> BoolArray:
    """Frequencies of the sweep at which the image lies in the band, and which no order crosses: n f = |F +- f|."""
    orders = np.arange(2, HIGHEST_ORDER + 1)
    image_hz = np.abs(offset_hz + (sweep_hz if side == "above" else -sweep_hz))
    crossings_hz = offset_hz / (orders - 1 if side == "above" else orders + 1)
    away = np.min(np.abs(sweep_hz - crossings_hz[:, np.newaxis]), axis=0) > CROSSING_HZ
    return np.asarray((image_hz > LOWEST_IMAGE_HZ) & (image_hz < highest_hz) & away)


def _longest_run(stands: BoolArray) -> int:
    longest = run = 0
    for one in stands:
        run = run + 1 if one else 0
        longest = max(longest, run)
    return longest


def touched_by(image: ConversionImage, readings: Sequence[Reading], sweep: Sweep) -> tuple[Touched, ...]:
    """What an image touches of the readings of orders 1 ... N, on the grid."""
    return tuple(
        Touched(order=order, low_hz=low_hz, high_hz=high_hz)
        for order in range(2, len(readings) + 1)
        for low_hz, high_hz in row_stretches(near(added_by(image, readings[0], sweep, order), readings[order - 1]))
    )


def added_by(image: ConversionImage, fundamental: Reading, sweep: Sweep, order: int) -> FloatArray:
    """Power that the image puts into the readings of an order, on the grid.

    At nu = n f its sweep is at f', passes nu with the rate f' / L where the order does with nu / L, and comes
    `t(f') - t(f)` after the order, under the order's window.
    """
    excitation_hz = grid_hz()
    order_hz = order * excitation_hz
    window = order_window(sweep, order)
    edge = 2.0 ** (1.0 / 6.0)
    low_hz, high_hz = image.frequency_hz[0] / edge, image.frequency_hz[-1] * edge
    added = np.zeros_like(excitation_hz)
    for sweep_hz in image.sweep_hz(order_hz):
        there = (sweep_hz > low_hz) & (sweep_hz < high_hz)
        at_hz = np.where(there, sweep_hz, low_hz)
        level_db = np.interp(np.log(at_hz), np.log(image.frequency_hz), image.relative_db)
        power = db_to_power(level_db) * np.interp(at_hz, excitation_hz, np.nan_to_num(fundamental.power))
        open_by = np.square(window.at(sweep.time_s(at_hz) - sweep.time_s(excitation_hz)))
        added += np.where(there, power * open_by * order_hz / at_hz, 0.0)
    return added
