"""Whether what is loudest in a cycle is the same in every cycle, and whether it is as strong."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.impulsive.cycles import PARTS, begins_s
from distort.analysis.impulsive.residual import Residual, heard_hz
from distort.analysis.sweep.beyond import BEYOND_ORDER
from signals.sweep import Sweep

FloatArray = npt.NDArray[np.float64]

WAVE_PARTS, LEVEL_PARTS = 12, 8
"""Parts of a cycle in a row, at the loudest, whose waveform and whose level are looked at: a strike, how far it
wanders, and its ringing."""

NEIGHBOURS = (1, 2)
"""Cycles to either side: further ones are played at another frequency."""

LEAST_CYCLES = 5
"""That are loud: of fewer the second differences of the level say nothing."""

LOUD = 0.1
"""A cycle belongs to the stretch that is looked at from this share of the loudest cycle on (its power less the
noise)."""

TOGETHER = 6
"""Cycles in a row that wander alike."""

WANDERS = np.linspace(-0.6, 0.6, 25)
CURVES = np.linspace(-0.2, 0.2, 9)
MOST_WANDER = 2.0
"""In parts of a cycle: by how much what repeats may come later from cycle to cycle, by how much that itself may change,
and the most that it may be, as the phase of what carries it turns."""

FAR = 2.0
"""Times the lowest frequency that is heard: an octave."""

FINER = 4
"""Lags to a sample."""

MARGIN = 16
"""Samples beside a stretch, so that the interpolation between samples does not see its ends."""

MEDIAN_OF_SQUARE = 0.455
"""Of a normal deviate of variance 1: the median of chi squared of one degree of freedom."""

TINY = 1e-300


@dataclass(frozen=True)
class Repeats:
    """How the loudest stretch of a cycle behaves over the cycles of a place; NaN: too few cycles are loud."""

    regularity: float
    """G: 1 for what every cycle repeats, about 0 for what none does."""
    unevenness: float
    """U: variance of the level from cycle to cycle over that of noise of constant strength; about 1 for a jet or a
    buzz, 10 and more for a loose part that strikes now harder, now softly, now not at all."""
    spread: float
    """Share of the power, less the noise, above 21 times the frequency of the sweep: sharp sounds reach far up, orders
    that go on beyond the tenth fall off within an octave."""


UNKNOWN = Repeats(np.nan, np.nan, np.nan)


def repeats(residual: Residual, powers: FloatArray, *, first: int, noise: FloatArray, values: float) -> Repeats:
    """Of a place.

    powers   mean square of each part of its cycles, `(cycles, PARTS)`
    first    number of its first cycle
    noise    mean square of the noise in each, `(cycles,)`
    values   independent values in a part of one cycle

    `G = sum_i x_i . mean(x_(i-2), x_(i-1), x_(i+1), x_(i+2)) / (sum_i |x_i|^2 - noise)`, x_i the waveform of cycle i:
    noise adds nothing to the numerator. `U = median(d_i^2) / 0.455 / (1.5 * 2 / values)`, d_i the level of cycle i,
    neper of power, less the mean of its neighbours': a level that grows steadily has none.
    """
    if powers.shape[0] < LEAST_CYCLES:
        return UNKNOWN
    begin = loudest(powers, WAVE_PARTS)
    stretch = _loud(np.mean(_around(powers, begin, WAVE_PARTS), axis=1) - noise)
    if stretch.stop - stretch.start < LEAST_CYCLES:
        return UNKNOWN
    cycles = first + np.arange(stretch.start, stretch.stop) + begin / PARTS
    level = np.log(np.mean(_around(powers, loudest(powers, LEVEL_PARTS), LEVEL_PARTS), axis=1)[stretch])
    second = level[1:-1] - 0.5 * (level[:-2] + level[2:])
    of_noise = 1.5 * 2.0 / (values * LEVEL_PARTS)
    waves = [_waves(residual, cycles, steady=steady) for steady in (True, False)]
    sweep_hz = residual.sweep.start_hz + float(np.mean(cycles)) / residual.sweep.rate_s
    return Repeats(
        regularity=max(_regularity(wave, noise[stretch]) for wave in waves),
        unevenness=float(np.median(np.square(second))) / MEDIAN_OF_SQUARE / of_noise,
        spread=_spread(waves[0], residual.sweep, sweep_hz),
    )


def loudest(powers: FloatArray, parts: int) -> int:
    """The part with which the loudest stretch of so many parts begins; a cycle goes round."""
    mean = np.mean(powers, axis=0)
    around = np.convolve(np.concatenate([mean, mean[: parts - 1]]), np.ones(parts), mode="valid")
    return int(np.argmax(around))


def _around(powers: FloatArray, begin: int, parts: int) -> FloatArray:
    return np.concatenate([powers, powers[:, :parts]], axis=1)[:, begin : begin + parts]


def _loud(power: FloatArray) -> slice:
    """From the first loud cycle to the last."""
    on = np.flatnonzero(power >= LOUD * max(float(np.max(power)), TINY))
    return slice(int(on[0]), int(on[-1]) + 1) if on.size else slice(0, 0)


def _regularity(wave: FloatArray, noise: FloatArray) -> float:
    energy = float(np.sum(np.square(wave))) - float(np.sum(noise)) * wave.shape[1]
    return min(_alike(wave) / energy, 1.0) if energy > 0.0 else 0.0


def _alike(wave: FloatArray) -> float:
    """The numerator of G, for the wander that makes it largest: one for some cycles in a row, so that noise and strikes
    at random gain little."""
    cycles, size = wave.shape
    n_fft = int(scipy.fft.next_fast_len(2 * size, real=True))
    spectra = scipy.fft.rfft(wave, n_fft, axis=1)
    part = size / WAVE_PARTS * FINER
    wander, curve = (each.ravel() * part for each in np.meshgrid(WANDERS, CURVES))
    blocks = max(round(cycles / TOGETHER), 1)
    common = np.zeros((blocks, wander.size))
    for apart in NEIGHBOURS:
        products = scipy.fft.irfft(np.conj(spectra[:-apart]) * spectra[apart:], FINER * n_fft, axis=1) * FINER
        pair = np.arange(cycles - apart)
        block = pair * blocks // (cycles - apart)
        middle = (block + 0.5) * (cycles - apart) / blocks - 0.5
        turn = wander + curve * (pair - middle)[:, np.newaxis]
        lag = np.rint(apart * np.clip(turn, -MOST_WANDER * part, MOST_WANDER * part)).astype(np.int64)
        # fewer pairs than cycles: an end has one neighbour, and the mean is over those that there are
        share = cycles / (cycles - apart) / len(NEIGHBOURS)
        np.add.at(common, block, products[pair[:, np.newaxis], lag] * share)
    return float(np.sum(np.max(common, axis=1)))


def _spread(wave: FloatArray, sweep: Sweep, sweep_hz: float) -> float:
    window = np.hanning(wave.shape[1])
    spectrum = np.mean(np.square(np.abs(scipy.fft.rfft(wave * window, axis=1))), axis=0)
    density = spectrum / (np.sum(np.square(window)) * sweep.sample_rate / 2.0)
    frequency_hz = np.arange(density.size) * (sweep.sample_rate / wave.shape[1])
    low_hz, high_hz = heard_hz(sweep)
    above = np.where(
        (frequency_hz > max(low_hz, BEYOND_ORDER * sweep_hz)) & (frequency_hz < high_hz), density - 1.0, 0.0
    )
    far = float(np.sum(above[frequency_hz > FAR * BEYOND_ORDER * sweep_hz]))
    return float(np.clip(far / max(float(np.sum(above)), TINY), 0.0, 1.0))


def _waves(residual: Residual, cycle: FloatArray, *, steady: bool) -> FloatArray:
    """The waveform from each place in the cycles on, `(cycles, samples)`, half of the last cycle long.

    steady   in time: what strikes rings at its own frequency; else in phase, as harmonics of the sweep go
    """
    rate = residual.sweep.sample_rate
    begins = (begins_s(residual.sweep, np.append(cycle, cycle[-1] + 1.0)) - residual.first_s) * rate
    periods = np.diff(begins)
    size = max(int(periods[-1] * WAVE_PARTS / PARTS), WAVE_PARTS)
    step = np.ones(cycle.size) if steady else periods / periods[-1]
    place = begins[:-1, np.newaxis] + np.arange(size) * step[:, np.newaxis]
    low = max(int(place[0, 0]) - MARGIN, 0)
    piece = residual.samples[low : int(place[-1, -1]) + MARGIN]
    return np.asarray(scipy.ndimage.map_coordinates(piece, (place - low)[np.newaxis], order=3, mode="nearest"))
