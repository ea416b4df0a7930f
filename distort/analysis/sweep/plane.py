"""What a recording of a sweep holds at each moment and frequency, apart from the orders.

In the impulse response order n arrives `L ln n` before the fundamental, at all its frequencies alike. So frames of it
that no arrival touches hold nothing of the orders but their decay: no side lobes, however strong they are. What sounded
at time tau and frequency nu stands at `u = tau - t(nu)` there, t(nu) being when the sweep passes nu.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.sweep.deconvolution import BAND_FULL_HZ_RE_FADE_IN, Deconvolved
from signals.levels import db_to_power
from signals.sweep import Sweep
from signals.windows import hann

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

HOP_S = 0.02
"""Between moments. A band of 1/24 octave takes the default sweep 38 ms, so a shorter one would say nothing more."""

SHORT_HOPS, LONG_HOPS = 2, 8
"""Lengths of the frames above and below `SPLIT_HZ`. What sounds for a moment is a chirp of nu / L hertz a second in the
impulse response, which frames of sqrt(L / nu) resolve best: 36 ms at 1 kHz, 0.15 s at 60 Hz."""

SPLIT_HZ = 320.0

BANDS_PER_OCTAVE = 24
LOWEST_HZ = 45.0
"""Below it rumble and footsteps come and go in any room, and even the second order is that of the lowest half
octave."""

LOW_RATE_HZ = 1500.0
"""Sample rate, at least, at which the long frames are read: several times what they are read for."""

LOW_TAPS, LOW_PASS_HZ = 4, 400.0
"""Length of the low-pass before that, in samples of the low rate, and the middle of its edge: under a Hamming window it
has stopped 3.3 / 8 of the low rate higher, so that nothing folds onto what lies under `SPLIT_HZ`. What it takes off
there, up to 3 dB, is made good."""

GUARD_BEFORE_S, GUARD_AFTER_S = 0.015, 0.02
GUARD_PERIODS = 2.0
"""So much about the arrival of an order is left out, and so many periods: a filter's own ringing. Half a hop of it,
0.01 s, is by how much a frame may stand nearer to the arrival than the moment it is read for."""

HIGHEST_ORDER = 40
"""Beyond it the orders of a common sweep stand closer than a frame is long."""

ALONG_S, MOST_ALONG_OCTAVES = 3.6, 5.0
ALONG_QUANTILE = 35.0
"""What the loudspeaker leaves at a delay it leaves at every frequency; an event only where the sweep passes while it
lasts. So the share of an event of 1 s, among the frequencies that the sweep passes in 3.6 s (four octaves of the
default one), stays under the quantile (per cent) that is taken for the loudspeaker's."""

NOISE_ALONG = 1.5
"""Of a band's noise, so much may be along it by chance."""

DECAY_VARIES = 4.0
"""A decay may be 6 dB stronger at one frequency than at another: reverberation times differ by a fifth from octave to
octave (common practice, no source), which 30 dB down is 6 dB."""

GROUPED = 8
"""Bands taken together at last: a third of an octave."""

TOGETHER = 3
"""Moments taken together, so that a cell holds enough values."""

DECAY_SHARE = 0.9
"""How much of the time until half the excitation frequency arrives counts as the fundamental's decay."""

NOTHING = 1e-11
"""Re the fundamental in a band: 110 dB below it no microphone hears anything, and what stands there was computed."""

EVERY = 3
"""Moments from one to the next of which the noise of a band is the median."""

OVERLAP_SHORT, OVERLAP_LONG = 1.5, 6.0
"""How many neighbouring frames say what one says: Hann frames of 2 and of 8 hops (about 3/4 of their length)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Plane:
    """Cells of time and frequency apart from the orders, `(moments, bands)`: third octaves, `HOP_S` from each other."""

    sweep: Sweep
    """At 0 dBFS."""
    time_s: FloatArray
    """Seconds into the sweep, `(moments,)`."""
    frequency_hz: FloatArray
    """Middles of the bands, `(bands,)`."""
    density: FloatArray
    """What is there: power spectral density of the recording, full scale squared per hertz; 0 where no cell is clear of
    the orders' arrivals."""
    usual: FloatArray
    """What the noise of the whole recording, and the decay of the orders, leave there."""
    freedom: FloatArray
    """Degrees of freedom of `density`; 0 where nothing is known."""
    gain: FloatArray
    """What turns density into power in a reading, per energy of the order's window, `(bands,)`."""

    @property
    def sweep_hz(self) -> FloatArray:
        """Where the sweep is at each moment."""
        return np.asarray(self.sweep.start_hz * np.exp(self.time_s / self.sweep.rate_s))


@dataclass(frozen=True, kw_only=True)
class _Circle:
    """Frames about a circular impulse response, whose length is as a rule no whole number of hops."""

    frames: int
    hops: float
    """Once around."""
    arrival: float
    """Of the fundamental, in hops."""

    def frame(self, since: FloatArray) -> npt.NDArray[np.int64]:
        """The frame that stands nearest to so many hops after the fundamental's arrival; before it: negative."""
        # not rint: of halves, as a fixed lead-in makes them, it takes every other frame twice
        return np.floor(np.mod(self.arrival + since, self.hops) + 0.5).astype(np.int64) % self.frames


def plane_of(deconvolved: Deconvolved) -> Plane:
    """The plane of one recording."""
    kept = deconvolved.filter
    sweep = kept.sweep
    hop, _, bands = _layout(sweep)
    frames = _all_frames(deconvolved.impulse, sweep)
    circle = _Circle(frames=frames.shape[0], hops=kept.n_fft / hop, arrival=deconvolved.arrival / hop)
    along = np.maximum(_along(frames, sweep.rate_s), _decay(frames, sweep, circle))
    since_s, clear = _cells(sweep)
    place = circle.frame(since_s / HOP_S)
    column = np.arange(bands.bins.size)
    power = frames[place, column]
    floor = _median(power[::EVERY], clear[::EVERY])
    fundamental = np.max(frames[circle.frame(np.arange(-SHORT_HOPS, SHORT_HOPS + 1.0))], axis=0)
    floor = np.maximum(floor, NOTHING * fundamental)
    # a decay is as strong over a wide stretch, or at another order, within some decibels; noise within tenths
    decay = np.maximum(along[place, column] - NOISE_ALONG * floor, 0.0)
    usual = floor + DECAY_VARIES * decay
    inverse_power = kept.inverse_power[np.rint(bands.frequency_hz / kept.bin_hz).astype(np.int64)]
    gain = inverse_power * sweep.sample_rate / 2.0 / float(db_to_power(deconvolved.drive_dbfs))
    density, usual = (
        np.divide(one, gain, out=np.zeros_like(one), where=gain > 0.0)  # nothing is read above the end of the sweep
        for one in (power, usual)
    )
    return _grouped(sweep, density, usual, gain=gain)


def _median(values: FloatArray, chosen: BoolArray) -> FloatArray:
    """Median of the chosen values of each column, `(columns,)`; 0 where none is."""
    rising = np.sort(np.where(chosen, values, np.inf), axis=0)
    count = np.count_nonzero(chosen, axis=0)
    below, above = np.maximum(count - 1, 0) // 2, np.minimum(count // 2, len(rising) - 1)
    column = np.arange(count.size)
    return np.where(count > 0, 0.5 * (rising[below, column] + rising[above, column]), 0.0)


def _grouped(sweep: Sweep, density: FloatArray, usual: FloatArray, *, gain: FloatArray) -> Plane:
    """Means over the clear cells of third octaves and of some moments."""
    _, _, bands = _layout(sweep)
    _, clear = _cells(sweep)
    first = np.arange(0, bands.bins.size, GROUPED)
    weights = clear * bands.bins

    def together(values: FloatArray) -> FloatArray:
        summed = np.add.reduceat(values, first, axis=1)
        return np.asarray(TOGETHER * scipy.ndimage.uniform_filter1d(summed, TOGETHER, axis=0, mode="nearest"))

    count = together(weights)
    known = np.maximum(count, 1.0)
    number = np.diff([*first, bands.bins.size])
    return Plane(
        sweep=sweep,
        time_s=np.arange(density.shape[0], dtype=np.float64) * HOP_S,
        frequency_hz=np.exp(np.add.reduceat(np.log(bands.frequency_hz), first) / number),
        density=together(density * weights) / known,
        usual=together(usual * weights) / known,
        freedom=np.where(count > 0.5, 2.0 * count / np.maximum.reduceat(bands.overlap, first), 0.0),
        gain=np.add.reduceat(gain, first) / number,
    )


@dataclass(frozen=True, eq=False)
class _Bands:
    """Which bins of a frame make which band, `(bands,)` each."""

    first: npt.NDArray[np.int64]
    """First bin; one more at the end, the first beyond the last band."""
    frequency_hz: FloatArray
    frame_s: FloatArray
    bins: FloatArray
    overlap: FloatArray


def _bands(rate: int, *, frame: int, band_hz: tuple[float, float], overlap: float) -> _Bands:
    """Bands of 1/24 octave, or of one bin where that is wider."""
    bin_hz = rate / frame
    edges = [band_hz[0]]
    while edges[-1] < band_hz[1]:
        edges.append(max(edges[-1] * 2.0 ** (1.0 / BANDS_PER_OCTAVE), edges[-1] + bin_hz))
    first = np.unique(np.ceil(np.array(edges) / bin_hz).astype(np.int64))
    middles = (first[:-1] + first[1:] - 1) / 2.0 * bin_hz
    of_each = np.ones(middles.size)
    return _Bands(first, middles, frame / rate * of_each, np.diff(first).astype(np.float64), overlap * of_each)


@lru_cache(maxsize=8)
def _parts(sweep: Sweep) -> tuple[_Bands, _Bands]:
    """Bands of the long frames and of the short ones."""
    rate = sweep.sample_rate
    hop = round(HOP_S * rate)
    lowest_hz = max(LOWEST_HZ, BAND_FULL_HZ_RE_FADE_IN * sweep.full_level_hz)
    highest_hz = min(sweep.fade_out_hz, 0.45 * rate)
    split_hz = min(max(SPLIT_HZ, lowest_hz), highest_hz)
    return (
        _bands(rate, frame=LONG_HOPS * hop, band_hz=(lowest_hz, split_hz), overlap=OVERLAP_LONG),
        _bands(rate, frame=SHORT_HOPS * hop, band_hz=(split_hz, highest_hz), overlap=OVERLAP_SHORT),
    )


@lru_cache(maxsize=8)
def _layout(sweep: Sweep) -> tuple[int, int, _Bands]:
    """Hop in samples, how many samples are one of the low rate, and all bands together."""
    hop = round(HOP_S * sweep.sample_rate)
    fewer = next(count for count in range(int(sweep.sample_rate // LOW_RATE_HZ), 0, -1) if hop % count == 0)
    long, short = _parts(sweep)

    def both(name: str) -> FloatArray:
        return np.concatenate([getattr(long, name), getattr(short, name)])

    return hop, fewer, _Bands(short.first, both("frequency_hz"), both("frame_s"), both("bins"), both("overlap"))


def _all_frames(impulse: FloatArray, sweep: Sweep) -> FloatArray:
    """Power per energy of the window, `(frames, bands)`, one frame a hop: long ones of the low bands, read at a low
    rate, and short ones of the others."""
    hop, fewer, _ = _layout(sweep)
    long, short = _parts(sweep)
    count, half = -(-impulse.size // hop), LOW_TAPS * fewer // 2
    low_pass, passed = _low_pass(sweep)
    around = _around(impulse, LONG_HOPS * hop // 2 + half, more=hop)
    low = np.lib.stride_tricks.sliding_window_view(around, low_pass.size)[::fewer] @ low_pass
    low_power = _frames(low.astype(np.float32), hop // fewer, LONG_HOPS, long, count=count)
    low_power *= fewer / passed
    around = _around(impulse.astype(np.float32), SHORT_HOPS * hop // 2, more=hop)  # in half the memory
    return np.concatenate([low_power, _frames(around, hop, SHORT_HOPS, short, count=count)], axis=1)


@lru_cache(maxsize=8)
def _low_pass(sweep: Sweep) -> tuple[FloatArray, FloatArray]:
    """The low-pass before the low rate, and which share of power it lets through in the low bands."""
    _, fewer, _ = _layout(sweep)
    long, _ = _parts(sweep)
    half = LOW_TAPS * fewer // 2
    time_s = np.arange(-half, half + 1) / sweep.sample_rate
    taps = np.sinc(2.0 * LOW_PASS_HZ * time_s) * np.hamming(time_s.size)
    taps /= np.sum(taps)
    passed = np.exp(-2j * np.pi * np.outer(long.frequency_hz, time_s)) @ taps
    return taps, np.square(np.abs(passed))


def _around(impulse: npt.NDArray[Any], reach: int, *, more: int) -> npt.NDArray[Any]:
    """A circular impulse response with so many samples of itself before and after it, and some more behind."""
    return np.concatenate([impulse[-reach:], impulse, impulse[: reach + more]])


def _frames(around: npt.NDArray[np.float32], hop: int, hops: int, bands: _Bands, *, count: int) -> FloatArray:
    """So many frames under a Hann window, of which the first begins where `around` does."""
    frame = hops * hop
    pieces = np.lib.stride_tricks.sliding_window_view(around, frame)[: count * hop : hop]
    window = hann(frame)
    window = (window / np.sqrt(np.sum(np.square(window)))).astype(np.float32)
    spectra = scipy.fft.rfft(pieces * window, axis=1)[:, : bands.first[-1]]
    power = np.square(spectra.real) + np.square(spectra.imag)
    return np.asarray(np.add.reduceat(power, bands.first[:-1], axis=1) / bands.bins, dtype=np.float64)


def _along(frames: FloatArray, rate_s: float) -> FloatArray:
    """What stands at each delay over a wide stretch of frequencies, `(frames, bands)`; `rate_s` is that of the
    sweep."""
    floor = np.maximum(np.median(frames[::EVERY], axis=0), 1e-300)
    first = np.arange(0, frames.shape[1], GROUPED)
    grouped = np.add.reduceat(frames / floor, first, axis=1) / np.diff([*first, frames.shape[1]])
    octaves = min(ALONG_S / (rate_s * np.log(2.0)), MOST_ALONG_OCTAVES)
    size = 2 * round(octaves * BANDS_PER_OCTAVE / GROUPED / 2.0) + 1
    low = scipy.ndimage.percentile_filter(grouped, ALONG_QUANTILE, size=(1, size), mode="nearest")
    return np.asarray(np.repeat(low, GROUPED, axis=1)[:, : frames.shape[1]] * floor)


def _decay(frames: FloatArray, sweep: Sweep, circle: _Circle) -> FloatArray:
    """What decays after the arrival of each order, `(frames, bands)`, as the fundamental does at the same frequency."""
    _, _, bands = _layout(sweep)
    reach = np.rint(bands.frame_s / HOP_S / 2.0).astype(np.int64)
    lags = np.arange(float(round(DECAY_SHARE * sweep.rate_s * np.log(2.0) / HOP_S)))
    own = frames[circle.frame(lags)]
    share = own / np.maximum(np.max(own[: LONG_HOPS // 2 + 1], axis=0), 1e-300)
    share = np.where(lags[:, np.newaxis] <= reach, 1.0, share)
    left = np.zeros_like(frames)
    for order in range(2, HIGHEST_ORDER + 1):
        if sweep.rate_s * np.log(1.0 + 1.0 / order) < LONG_HOPS * HOP_S:
            break
        at = -sweep.advance_s(order) / HOP_S
        about = at + np.arange(-SHORT_HOPS // 2, SHORT_HOPS // 2 + 1, dtype=np.float64)
        level = np.max(frames[circle.frame(about)], axis=0)
        left[circle.frame(at + lags)] += level * share
    return left


@lru_cache(maxsize=8)
def _cells(sweep: Sweep) -> tuple[FloatArray, BoolArray]:
    """Seconds from the fundamental's arrival to each cell, and whether neither an order's nor a subharmonic's arrival
    touches it; `(moments, bands)`."""
    _, _, bands = _layout(sweep)
    time_s = np.arange(0.0, sweep.duration_s, HOP_S)
    since_s = time_s[:, np.newaxis] - sweep.time_s(bands.frequency_hz)[np.newaxis, :]
    periods_s = GUARD_PERIODS / bands.frequency_hz
    before, after = (bands.frame_s / 2.0 + guard + periods_s for guard in (GUARD_BEFORE_S, GUARD_AFTER_S))
    clear = np.ones(since_s.shape, dtype=np.bool_)
    for order in (0.5, 1.5, *range(1, HIGHEST_ORDER + 1)):
        since = since_s + sweep.rate_s * np.log(order)
        clear &= (since < -before) | (since > after)
    since_s.setflags(write=False)
    clear.setflags(write=False)
    return since_s, clear
