"""Where in a recording the stimulus lies, and how the recorder's clock stands against the player's.

The clock chirps are sought first, as a pair at the distance the reel gives them: they do not care about the clock. The
stimulus is then found by its own matched filter, stretched by the clock difference that they tell. Without chirps the
stimulus alone is found, and the clock stays unknown.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.common.statistics import TWO_SIDED_95
from distort.errors import CutOffError, RecordingError, WrongStimulusError
from distort.recording.alignment.chirp_places import as_recorded, place_sigma
from distort.recording.alignment.clock import LARGEST_CLOCK_DIFFERENCE, repair_clock
from distort.recording.alignment.lows import LOW_STANDS_OUT_DB, flat_band, through_lows
from distort.recording.alignment.matched import Lags, correlate, deconvolve, stands_out_db, summit
from distort.recording.alignment.silences import Silences, recorded_silences
from signals import Chirp, Reel, Stimulus, kind_of

__all__ = ["Alignment", "find_reel", "pad_to_stimulus", "repair_clock"]

FloatArray = npt.NDArray[np.float64]

SEEK_CLOCK_WITHIN = 2e-3
"""Within which the second chirp is sought. Crystals differ by 2e-4 at most; a lost buffer of 1024 samples looks like
1.4e-3 over a default reel, and is to be seen rather than missed."""

CHIRP_STANDS_OUT_DB = 16.0
"""Of noise alone, the highest of 5000 values stands 12 dB above the r.m.s.; of 1e6 values, 14 dB (Gaussian)."""

SWEEP_STANDS_OUT_DB = 20.0
"""Noise alone, or another sweep, reaches 14 dB. The right sweep stands 30 dB out even in a room whose reverberation is
10 dB stronger than the direct sound, and 23 dB when besides no chirp tells that the clocks differ by 150 ppm."""

LEAST_CORRELATION = 0.1
"""For tones and other line spectra: share of the recording's r.m.s. that is the stimulus. Of 31 lines from 20 Hz to
20 kHz, other lines and noise reach 0.01; the right ones keep 0.4 where the room is 10 dB over the direct sound."""

SUMMIT_REACH = 64
"""Samples within which a chirp's response has its summits: 1.3 ms at 48 kHz."""
NEARLY_HIGHEST = 0.7
"""Of a summit, re the highest: what changes from one chirp to the other by 3 dB is no small change."""

NEAR_S = 0.1
"""How far about the coarse place the fine search goes: more than any loudspeaker delays its lows."""

CUT_OFF_S = 1e-3
"""What may be missing at either end of the stimulus: its fades are longer."""


@dataclass(frozen=True, kw_only=True)
class Alignment:
    """Where the reel's parts lie in a recording. Positions count samples of the recording from its first, 0."""

    stimulus_start: float
    """Where the stimulus's first sample arrives, delays included; over 1 + 1e-6 clock_difference_ppm once repaired."""
    chirp_positions: tuple[float, ...]
    """Where the first sample of each of the reel's chirps arrives; NaN for one that was not found."""
    clock_difference_ppm: float
    """Recorder against player, positive when the recorder's clock is the faster; NaN unless two chirps were found."""
    clock_uncertainty_ppm: float
    """Half-width of the 95 % interval that noise leaves to it, on a path that stands still; NaN with it."""
    polarity: int
    """1, or -1 when the recording is upside down."""
    peak_to_background_db: tuple[float, ...]
    """How far each chirp's peak stands above the matched filter's output about it; NaN where none was found."""
    stimulus_peak_to_background_db: float
    """The same of a sweep's or noise's response; NaN for other stimuli."""
    silences: Silences
    """Where the recording holds its noise alone."""


@dataclass(frozen=True)
class _Found:
    start: float
    polarity: int
    stands_out_db: float


@dataclass(frozen=True)
class _Chirps:
    positions: tuple[float, ...]
    stands_out_db: tuple[float, ...]
    clock_difference: float  # a ratio less 1; NaN when unknown
    clock_sigma: float  # its standard deviation
    polarity: int  # of the first chirp found; 1 when there is none

    @property
    def clock_to_use(self) -> float:
        """0 when unknown, or within three standard deviations of 0: noise must not stretch and so move the stimulus."""
        return self.clock_difference if abs(self.clock_difference) > 3.0 * self.clock_sigma else 0.0


def find_reel(recording: npt.ArrayLike, reel: Reel) -> Alignment:
    """Find `reel` (one stimulus, with or without chirps and silences about it) in `recording` `(samples,)`.

    The recording has the reel's sample rate, any gain and polarity, and may be longer or begin and end anywhere outside
    the stimulus. Raises RecordingError when the stimulus is not in it, or not whole; SignalError when the reel holds
    no stimulus or several.
    """
    samples = np.asarray(recording, dtype=np.float64)
    stimulus_first, stimulus = reel.only_stimulus()
    _require_usable(samples, stimulus)
    template = stimulus.samples()
    chirp_output = _chirp_output(samples, reel)
    for coarse in _coarse_starts(samples, reel, chirp_output):
        chirps = _find_chirps(samples, reel, chirp_output, coarse - stimulus_first)
        found = _find_stimulus(samples, stimulus, template, coarse=coarse, chirps=chirps, reel=reel)
        if abs(chirps.clock_to_use) > LARGEST_CLOCK_DIFFERENCE:
            kept = replace(chirps, clock_difference=0.0)
            other = _find_stimulus(samples, stimulus, template, coarse=coarse, chirps=kept, reel=reel)
            found = _clearer(found, other)
        if found is not None:
            _require_whole(found.start, samples.size, stimulus, 1.0 + chirps.clock_to_use)
            return _alignment(found, chirps, reel, samples)
    raise WrongStimulusError(
        f"Nothing in this recording of {samples.size / reel.sample_rate:.1f} s matches the stimulus "
        f"({_named(stimulus)}): it holds another stimulus, or noise drowns it. "
        f"Give the stimulus that was played, or record again."
    )


def _require_usable(samples: FloatArray, stimulus: Stimulus) -> None:
    rate = stimulus.sample_rate
    if samples.ndim != 1:
        raise ValueError(f"find_reel takes one channel (samples,), not an array of shape {samples.shape}")
    bad = np.flatnonzero(~np.isfinite(samples))
    if bad.size:
        raise RecordingError(
            f"The recording holds {bad.size} samples that are no numbers, the first at {bad[0] / rate:.3f} s: "
            f"export it again, or record again."
        )
    if samples.size < stimulus.n_samples:
        raise RecordingError(
            f"The recording is {samples.size / rate:.3f} s long, shorter than the stimulus "
            f"({stimulus.n_samples / rate:.3f} s): record all of it, with two seconds of silence before and after."
        )
    if not np.any(samples != samples[0]):
        raise RecordingError("The recording is silent throughout: check the cable, the channel and the input gain.")


def _require_whole(start: float, n_recorded: int, stimulus: Stimulus, stretch: float) -> None:
    rate = stimulus.sample_rate
    if start < -CUT_OFF_S * rate:
        raise CutOffError(
            f"The recording is cut off at its start: it begins {-start / rate:.2f} s after the stimulus began. "
            f"Start recording before playing, and record again."
        )
    missing = start + stimulus.n_samples * stretch - n_recorded
    if missing > CUT_OFF_S * rate:
        raise CutOffError(
            f"The recording is cut off at its end: it stops {missing / rate:.2f} s before the stimulus is over. "
            f"Stop recording only after the last sound, and record again."
        )


def _named(stimulus: Stimulus) -> str:
    return f"{kind_of(stimulus)}, {stimulus.n_samples / stimulus.sample_rate:.2f} s"


def _chirp_output(samples: FloatArray, reel: Reel) -> Lags | None:
    """The whole recording through the first chirp's matched filter; None when the reel has no chirps."""
    chirps = reel.chirps()
    return correlate(samples, chirps[0][1].samples()) if chirps else None


def _coarse_starts(samples: FloatArray, reel: Reel, chirp_output: Lags | None) -> Iterator[int]:
    """Places, to some milliseconds, where the stimulus may begin: after a pair of chirps, then by its own filter."""
    stimulus_first, stimulus = reel.only_stimulus()
    chirps = reel.chirps()
    if chirp_output is not None and len(chirps) > 1:
        distance = chirps[-1][0] - chirps[0][0]
        first = _first_of_pair(chirp_output, distance)
        if first is not None:
            yield first + stimulus_first - chirps[0][0]
    template = stimulus.samples()
    band = flat_band(stimulus)
    if band is not None:
        yield deconvolve(samples, template, band=band).highest()
        lows = through_lows(samples, stimulus, template)
        if lows is not None:
            yield lows.highest()
    else:
        yield correlate(samples, template).highest()


def _first_of_pair(output: Lags, distance: int) -> int | None:
    """Lag of the first of the two strongest peaks that lie `distance` apart, give or take a clock difference."""
    reach = _clock_reach(distance, chirp_samples=1 - output.first)
    strength = np.abs(output.values)
    if strength.size <= distance:
        return None
    later = scipy.ndimage.maximum_filter1d(strength, 2 * reach + 1, mode="constant")
    both = np.minimum(strength[: strength.size - distance], later[distance:])
    return output.first + int(np.argmax(both))


def _clock_reach(distance: int, *, chirp_samples: int) -> int:
    """Samples by which the second chirp may be off after `distance`; a lost buffer is at most half a chirp."""
    return max(round(SEEK_CLOCK_WITHIN * distance), chirp_samples // 2)


def _find_chirps(samples: FloatArray, reel: Reel, output: Lags | None, reel_start: int) -> _Chirps:
    """The reel's chirps where they should lie if the reel began at `reel_start`, and the clock they tell."""
    chirps = reel.chirps()
    if output is None:
        return _Chirps((), (), math.nan, math.nan, 1)
    lags = [_chirp_lag(output, reel_start + first, reel.n_samples, n_recorded=samples.size) for first, chirp in chirps]
    background = [math.nan if lag is None else _chirp_stands_out(output, lag, chirps[0][1]) for lag in lags]
    heard = [lag if margin >= CHIRP_STANDS_OUT_DB else None for lag, margin in zip(lags, background, strict=True)]
    if len(heard) > 1 and heard[0] is not None and heard[-1] is not None:
        heard[-1] = _same_summit(output, heard[0], output, heard[-1])
    margins = tuple(math.nan if lag is None else margin for lag, margin in zip(heard, background, strict=True))
    positions = tuple(math.nan if lag is None else summit(output, lag) for lag in heard)
    polarity = next((-1 for lag in heard if lag is not None and output.at(lag) < 0), 1)
    if len(chirps) < 2 or heard[0] is None or heard[-1] is None:
        return _Chirps(positions, margins, math.nan, math.nan, polarity)
    distance = chirps[-1][0] - chirps[0][0]
    clock = (positions[-1] - positions[0]) / distance - 1.0
    stretched = _stretched_places(samples, chirps[0][1], positions, clock)
    clock = (stretched[-1] - stretched[0]) / distance - 1.0
    sigma = math.hypot(*(place_sigma(chirps[0][1], margins[end]) for end in (0, -1))) / distance
    return _Chirps(stretched, margins, clock, sigma, polarity)


def _chirp_lag(output: Lags, expected: int, reel_samples: int, *, n_recorded: int) -> int | None:
    """Whole lag of the highest peak within reach of `expected` at which the whole chirp lies in the recording."""
    chirp_samples = 1 - output.first
    reach = 2 * _clock_reach(reel_samples, chirp_samples=chirp_samples)  # once for the clock, once for the coarse place
    near = output.between(max(expected - reach, 0), min(expected + reach, n_recorded - chirp_samples + 1))
    return near.highest() if near.values.size else None


def _chirp_stands_out(output: Lags, lag: int, chirp: Chirp) -> float:
    """Against what comes before it: behind it the room still rings."""
    rate = chirp.sample_rate
    before = output.between(lag - 0.25 * rate, lag - 0.01 * rate)
    around = before if before.values.size > 0.05 * rate else output.between(lag + 0.3 * rate, lag + 0.5 * rate)
    return stands_out_db(Lags(np.append(around.values, output.at(lag)), 0), around.values.size, inner=1, outer=rate)


def _stretched_places(samples: FloatArray, chirp: Chirp, places: tuple[float, ...], clock: float) -> tuple[float, ...]:
    """The places found again with the chirp as the recorder's clock sampled it: stretching shifts the plain peak.

    The first and the last were found; NaN stays NaN.
    """
    template = as_recorded(chirp.samples(), clock, chirp.sample_rate)
    outputs = [None if math.isnan(place) else _filtered_about(samples, template, math.floor(place)) for place in places]
    lags = [
        0 if output is None else output.between(math.floor(place) - SUMMIT_REACH, place + SUMMIT_REACH).highest()
        for output, place in zip(outputs, places, strict=True)
    ]
    first, last = outputs[0], outputs[-1]
    if first is not None and last is not None:
        lags[-1] = _same_summit(first, lags[0], last, lags[-1])
    return tuple(math.nan if output is None else summit(output, lag) for output, lag in zip(outputs, lags, strict=True))


def _filtered_about(samples: FloatArray, template: FloatArray, place: int) -> Lags:
    """The matched filter's output within some hundred samples of `place`."""
    first = max(place - 1024, 0)
    output = correlate(samples[first : first + template.size + 2048], template)
    return Lags(output.values, output.first + first)


def _same_summit(first_output: Lags, first: int, last_output: Lags, last: int) -> int:
    """Whole lag near `last` that lies on the last chirp's output as `first` does on the first's.

    A path that disperses has several summits of nearly one height, and a level that changed by 0.1 dB over frequency
    makes another one the highest: the two outputs are laid over one another instead.
    """
    reach = 2 * SUMMIT_REACH
    one = first_output.about(first, reach)
    likeness = np.correlate(last_output.about(last, reach + SUMMIT_REACH), one)
    heights = np.abs(last_output.about(last, SUMMIT_REACH))
    nearly_highest = heights > NEARLY_HIGHEST * abs(last_output.at(last))
    return last + int(np.argmax(np.where(nearly_highest, likeness, -np.inf))) - SUMMIT_REACH


def _find_stimulus(
    samples: FloatArray, stimulus: Stimulus, template: FloatArray, *, coarse: int, chirps: _Chirps, reel: Reel
) -> _Found | None:
    """The stimulus near the whole lag `coarse`; None when what lies there is something else."""
    near = round(NEAR_S * stimulus.sample_rate)
    stretched = as_recorded(template, chirps.clock_to_use, stimulus.sample_rate)
    first = coarse - 3 * near
    piece = _cut(samples, first, coarse + stretched.size + 3 * near)
    band = flat_band(stimulus)
    if band is not None:
        output = deconvolve(piece, stretched, band=band, whole=True)
        lag = output.between(2 * near, 4 * near).highest()
        margin = stands_out_db(output, lag, inner=0.05 * near, outer=2 * near)
        if margin < SWEEP_STANDS_OUT_DB:
            lows = through_lows(piece, stimulus, stretched, whole=True)
            if lows is None:
                return None
            output = lows
            lag = output.between(2 * near, 4 * near).highest()
            margin = stands_out_db(output, lag, inner=0.5 * near, outer=2 * near)
            if margin < LOW_STANDS_OUT_DB:
                return None
        return _Found(first + summit(output, lag), 1 if output.at(lag) > 0 else -1, margin)
    output = correlate(piece, stretched)
    lag = output.between(2 * near, 4 * near).highest()
    heard = _cut(samples, first + lag, first + lag + stretched.size)
    norm = float(np.linalg.norm(heard) * np.linalg.norm(stretched))
    if norm == 0.0 or abs(output.at(lag)) < LEAST_CORRELATION * norm:
        return None
    by_chirps = _start_by_chirps(chirps, reel)
    if by_chirps is not None:
        return _Found(by_chirps, chirps.polarity, math.nan)
    return _Found(first + summit(output, lag), 1 if output.at(lag) > 0 else -1, math.nan)


def _start_by_chirps(chirps: _Chirps, reel: Reel) -> float | None:
    """Where the stimulus begins by the chirps alone: for tones, whose own filter takes one period for the next."""
    stimulus_first, _ = reel.only_stimulus()
    stretch = 1.0 + chirps.clock_to_use
    starts = [
        place + (stimulus_first - first) * stretch
        for (first, _), place in zip(reel.chirps(), chirps.positions, strict=True)
        if not math.isnan(place)
    ]
    return float(np.mean(starts)) if starts else None


def _clearer(one: _Found | None, other: _Found | None) -> _Found | None:
    if one is None or other is None:
        return other if one is None else one
    return other if other.stands_out_db > one.stands_out_db else one


def _cut(samples: FloatArray, first: int, end: int) -> FloatArray:
    """Samples from `first` up to before `end`, zeros where the recording has none."""
    inside = samples[max(first, 0) : max(end, 0)]
    before = min(max(-first, 0), end - first)
    return np.pad(inside, (before, end - first - before - inside.size))


def _alignment(found: _Found, chirps: _Chirps, reel: Reel, samples: FloatArray) -> Alignment:
    return Alignment(
        stimulus_start=found.start,
        chirp_positions=chirps.positions,
        clock_difference_ppm=1e6 * chirps.clock_difference,
        clock_uncertainty_ppm=1e6 * TWO_SIDED_95 * chirps.clock_sigma,
        polarity=found.polarity,
        peak_to_background_db=chirps.stands_out_db,
        stimulus_peak_to_background_db=found.stands_out_db,
        silences=recorded_silences(samples, reel, start=found.start, stretch=1.0 + chirps.clock_to_use),
    )


MOST_MISSING_S = 1.0
"""Ten times what `find_reel` lets be missing; more is no recording of this stimulus, or a sidecar that was changed."""


def pad_to_stimulus(samples: FloatArray, *, start: float, stimulus: Stimulus) -> tuple[FloatArray, float]:
    """`samples` `(n,)` with zeros for what may be missing of the stimulus at either end, and where it starts then.

    `find_reel` lets up to `CUT_OFF_S` be missing: there a sweep is faded out so far that nothing is lost.
    """
    first = math.floor(start)
    before = max(-first, 0)
    after = max(first + stimulus.n_samples - samples.size, 0)
    if before == after == 0:
        return samples, start
    if max(before, after) > MOST_MISSING_S * stimulus.sample_rate:
        raise RecordingError(
            f"the stimulus is said to begin at sample {start:.0f}, but the {samples.size} samples do not hold it: "
            f"bring the recording in again"
        )
    return np.pad(samples, (before, after)), start + before
