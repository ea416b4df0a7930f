"""What sounded at a time while a sweep was recorded, and whether the loudspeaker made it.

A click, speech or a door is not a property of the loudspeaker: it stands between and above the orders at one time, is
not in another take, and is not at the same frequency of a sweep of another length. What rattles or blows belongs to the
loudspeaker: it is there in every take, no quieter at a higher level, and in the short sweep at the same frequency, so
at another time. Where nothing else was recorded a loose part is told by its strikes in step with the sweep's cycles,
and turbulence by growing as smoothly as the air moves; what starts suddenly and keeps no step is neither.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.sweep.cycles import UNKNOWN, Step, in_step
from distort.analysis.sweep.deconvolution import Deconvolved
from distort.analysis.sweep.plane import HOP_S, Plane, plane_of
from signals.levels import db_to_power, power_to_db

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

LEAST_DB = 6.0
"""Over what is usual. Traffic and ventilation wander by some decibels."""

NORMAL_QUANTILE = 5.2
"""Noise alone lets a cell stand out with the probability that a normal deviate is larger, 1e-7; a recording has some
ten thousand cells."""

LEAST_FREEDOM = 4.0
"""Of a cell that is looked at."""

LEAST_BANDS, LEAST_CELLS = 2, 8
"""Third octaves that stand out at a moment, and cells in all, where the recording alone tells: four moments of two
bands. At the loudest moment at least one more band does: an order that a converter mirrors stands in one or two."""

LEAST_CELLS_BESIDE = 8
"""Cells, at a moment of as little as one band and at the loudest of two, where another recording of the very sweep
tells: a voice may stand out with one formant alone. What a sweep of another speed lacks may be what a limiter makes
of it."""

PAUSE_S = 0.16
"""A pause that does not end an event: between two syllables."""

TINY = 1e-300

BESIDE_DB = 6.0
"""What another recording has at the same frequency of the sweep, this much louder, is still the same thing: loose parts
strike now harder, now more softly."""

PRESENT = 2.0
"""What has twice the usual power, 3 dB, may be there in the other recording."""

OTHER_SPEED_DB = 9.0
"""So much more where the other sweep was faster or slower and something stands out there as well: a resonance that
carries a loose part rises the less the faster it is passed."""

BESIDE_OCTAVES, BESIDE_S = 0.12, 0.12
"""So far from that frequency it may be there, and so much sooner or later: the threshold of a loose part moves by
some per cent, and what carries it rises and falls with a time constant of its own, Q / (pi f), however fast the sweep
is."""

NEAR_OCTAVES, HALF_AS_SUDDEN = 0.4, 0.5
"""Where a sweep of another speed has something so near, so much of a sudden rise is asked for."""

OWN_UP_TO_HZ = 1000.0
"""Of the sweep. Beyond it no part is moved so far that it strikes or blows (own choice; a loose grille in front of a
tweeter would be taken for an event where nothing else was recorded)."""

BELOW = 0.6
BELOW_FROM_HZ = ((100.0, 3), (200.0, 2))
"""Under so many times the frequency of the sweep, from the first number on, so many third octaves: what strikes or
blows sounds higher."""

BEYOND = 10.0
"""Times the frequency of the sweep, beyond which no strong order stands."""

RISE_MOMENTS = 3
RISE_DB, RISE_DB_S = 3.0, 2.8
"""By how much the sound rises in `RISE_MOMENTS` where it starts suddenly: 3 dB, and 2.8 dB over L in s. Turbulence
grows with at most the sixth power of a velocity, at a resonance of Q 5 by 130 dB in a neper of frequency, of which the
frames smooth some: made ports rose by up to 3.9 dB where L is 0.66 s, and by 4.2 where it is 1.3 s."""

RISING_TOGETHER, RISES_FROM_HZ = 3, 100.0
"""Third octaves whose rise is looked at by itself as well, as speech fills few of them; from that frequency of the
sweep on: lower down ports blow, and the largest of so many rises of their noise comes near to a sudden one."""

RISE_SIGMAS = 2.0
"""Standard deviations by which chance may make such a rise: some hundred of them are looked at in a sound."""

BETWEEN = 1.5
"""Times the frequency of the sweep, beyond which a rise is looked for where no part of the loudspeaker would do it."""

BEFORE_MOMENTS, AFTER_MOMENTS = 12, 6
"""So far before and after a sound its rise is looked for: from the noise of before."""

PART_MOMENTS = 5
"""Of the shorter part of a sound in which another begins."""

BEGINNING_MOMENTS = 10
"""Of that other one, in which its step is looked at."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Sound:
    """Something that stands out at a time."""

    first: int
    end: int
    """Moments of the plane, from `first` up to `end`."""
    excess: FloatArray
    """Power spectral density over what is usual, full scale squared per hertz, `(end - first, bands)`; 0 where nothing
    stands out."""
    below: int
    """Third octaves in which it stands out below the frequency of the sweep."""
    rise_db: float
    """The most by which it rises within `RISE_MOMENTS`, well above and below the sweep."""
    between_db: float
    """The same of third octaves between the strong orders as well."""
    step: Step
    """How it lies in the sweep's cycles."""

    @property
    def moments(self) -> slice:
        """Of the plane."""
        return slice(self.first, self.end)


@dataclass(frozen=True, kw_only=True, eq=False)
class Overheard:
    """What one recording of a sweep holds apart from the orders."""

    plane: Plane
    sounds: tuple[Sound, ...]
    """What stands out of the recording itself, whoever made it."""
    start_s: float
    """Where the sweep begins in the recording."""


def overheard(deconvolved: Deconvolved, samples: FloatArray, *, start: float) -> Overheard:
    """What `samples` `(n,)`, deconvolved already, hold apart from the sweep that begins at sample `start`."""
    plane = plane_of(deconvolved)
    sweep = plane.sweep
    hits = _standing_out(plane)
    sounds = []
    for first, end, within in _parted(plane, _stretches(hits, bands=LEAST_BANDS, cells=LEAST_CELLS)):
        step = _how_it_begins(plane, samples, start=start, first=first, end=end) if within else UNKNOWN
        if not step.known:
            step = in_step(samples, sweep, start=start, from_s=plane.time_s[first], to_s=plane.time_s[end - 1])
        sounds.append(_sound(plane, hits, first, end, step=step))
    return Overheard(plane=plane, sounds=tuple(sounds), start_s=start / sweep.sample_rate)


def _how_it_begins(plane: Plane, samples: FloatArray, *, start: float, first: int, end: int) -> Step:
    """Of a sound within another, which may go on after it."""
    last = min(end, first + BEGINNING_MOMENTS) - 1
    return in_step(samples, plane.sweep, start=start, from_s=plane.time_s[first], to_s=plane.time_s[last], within=True)


def _parted(plane: Plane, stretches: Sequence[tuple[int, int]]) -> Iterator[tuple[int, int, bool]]:
    """Each stretch, or its two parts where something begins suddenly in the middle of it: a door within a port's
    noise. Whether it is such a second part goes with it."""
    for first, end in stretches:
        rise_db, at = _rise(plane, first, end)
        if rise_db > _sudden_db(plane) and first + PART_MOMENTS <= at <= end - PART_MOMENTS:
            yield first, at, False
            yield at, end, True
        else:
            yield first, end, False


def not_of_the_loudspeaker(heard: Overheard, beside: Sequence[Plane]) -> tuple[Sound, ...]:
    """Of the sounds of a recording those that the loudspeaker did not make.

    beside   planes of other recordings of the same loudspeaker in the same condition, of any sweep, at the same level
    or
             a higher one, so that they hold what the loudspeaker makes itself; none: the recording alone must tell
    """
    if not beside:
        return tuple(one for one in heard.sounds if _foreign(heard.plane, one))
    least = np.max([_at_the_same_frequency(one, heard.plane) for one in beside], axis=0)
    least = np.where(least > 0.0, least * float(db_to_power(BESIDE_DB)), np.inf)
    hits = _standing_out(heard.plane, least=least)
    same = any(one.sweep == heard.plane.sweep for one in beside)
    bands, cells = (1, LEAST_CELLS_BESIDE) if same else (LEAST_BANDS, LEAST_CELLS)
    found = tuple(
        _sound(heard.plane, hits, first, end, step=_step_of(heard, first, end))
        for first, end in _stretches(hits, bands=bands, cells=cells)
    )
    if same:
        return found
    near = np.any([_noisy_near(one, heard.plane) for one in beside], axis=0)
    told = [one for one in found if not np.any(near[one.moments]) or _foreign(heard.plane, one, share=HALF_AS_SUDDEN)]
    told += [
        one
        for one in heard.sounds
        if not any(one.first < each.end and each.first < one.end for each in told)
        and np.sum(hits[one.moments]) >= LEAST_CELLS
        and _foreign(heard.plane, one)
    ]
    return tuple(sorted(told, key=lambda one: one.first))


def _noisy_near(other: Plane, plane: Plane) -> BoolArray:
    """Moments of this recording at which, while the other's sweep was not far from the same frequency, something
    stood out there: what carries a loose part is passed otherwise by a sweep of another speed."""
    noisy = np.any(_standing_out(other), axis=1)
    reach = round(NEAR_OCTAVES * np.log(2.0) * other.sweep.rate_s / HOP_S)
    near = scipy.ndimage.maximum_filter1d(noisy.astype(np.int8), 2 * reach + 1) > 0
    return np.asarray(near[_place_of(other, plane)])


def _place_of(other: Plane, plane: Plane) -> npt.NDArray[np.int64]:
    """The moment of the other recording at which its sweep is where this one's is at each of its moments."""
    place = np.rint(other.sweep.time_s(plane.sweep_hz) / HOP_S).astype(np.int64)
    return np.clip(place, 0, other.time_s.size - 1)


def _step_of(heard: Overheard, first: int, end: int) -> Step:
    """That of the sound of the recording of which most of the moments are; unknown where it is none."""
    overlaps = {min(end, one.end) - max(first, one.first): one.step for one in heard.sounds}
    most = max(overlaps, default=0)
    return overlaps[most] if most > 0 else UNKNOWN


def _standing_out(plane: Plane, *, least: FloatArray | None = None) -> BoolArray:
    """Cells that stand out of the usual by more than chance, and over the density `least`, `(moments, bands)` both."""
    freedom = np.maximum(plane.freedom, LEAST_FREEDOM)
    # quantile of chi squared over its degrees of freedom (Wilson and Hilferty, 1931, from memory)
    chance = (1.0 - 2.0 / (9.0 * freedom) + NORMAL_QUANTILE * np.sqrt(2.0 / (9.0 * freedom))) ** 3
    over = plane.usual * np.maximum(chance, float(db_to_power(LEAST_DB)))
    hits = (plane.density > (over if least is None else np.maximum(over, least))) & (plane.freedom >= LEAST_FREEDOM)
    # beyond, the second order is above the sweep, and nothing is left that could be touched
    hits[plane.sweep_hz > 0.5 * plane.sweep.fade_out_hz] = False
    return hits


def _stretches(hits: BoolArray, *, bands: int, cells: int) -> list[tuple[int, int]]:
    """First moment and the one after the last of each stretch in which that many bands and cells stand out."""
    count = np.sum(hits, axis=1)
    on = np.flatnonzero(count >= bands)
    if on.size == 0:
        return []
    parts = np.split(on, np.flatnonzero(np.diff(on) > round(PAUSE_S / HOP_S)) + 1)
    found = [(int(part[0]), int(part[-1]) + 1) for part in parts]
    return [
        (first, end) for first, end in found if np.max(count[first:end]) > bands and np.sum(count[first:end]) >= cells
    ]


def _sound(plane: Plane, hits: BoolArray, first: int, end: int, *, step: Step) -> Sound:
    stands = hits[first:end]
    low = plane.frequency_hz < BELOW * plane.sweep_hz[first:end, np.newaxis]
    return Sound(
        first=first,
        end=end,
        excess=np.where(stands, plane.density[first:end] - plane.usual[first:end], 0.0),
        below=int(np.max(np.sum(stands & low, axis=1))),
        rise_db=_rise(plane, first, end)[0],
        between_db=_rise(plane, first, end, beyond=BETWEEN)[0],
        step=step,
    )


def _rise(plane: Plane, first: int, end: int, *, beyond: float = BEYOND) -> tuple[float, int]:
    """The most by which what is well above and below the sweep rises, and the moment from which on: the mean over all
    its cells, and over neighbouring third octaves."""
    near = slice(max(first - BEFORE_MOMENTS, 0), end + AFTER_MOMENTS)
    sweep_hz = plane.sweep_hz[near, np.newaxis]
    away = (plane.frequency_hz > beyond * sweep_hz) | (plane.frequency_hz < BELOW * sweep_hz)
    weights = np.where(away & (plane.freedom[near] >= LEAST_FREEDOM), plane.freedom[near], 0.0)
    over = plane.density[near] / np.maximum(plane.usual[near], TINY)
    both = np.minimum(weights[:-RISE_MOMENTS], weights[RISE_MOMENTS:])  # the same cells sooner and later
    broad = _rises(both, over, bands=over.shape[1], sigmas=0.0)
    few = _rises(both, np.maximum(over, 1.0), bands=RISING_TOGETHER, sigmas=RISE_SIGMAS)
    few[plane.sweep_hz[near][RISE_MOMENTS:] < RISES_FROM_HZ] = 0.0
    rises = np.maximum(broad[:, 0], few.max(axis=1))
    return float(np.max(rises)), near.start + int(np.argmax(rises)) + 1


def _rises(weights: FloatArray, over: FloatArray, *, bands: int, sigmas: float) -> FloatArray:
    """By how many dB so many neighbouring bands rise together at each moment, less so many standard deviations."""
    sooner, later, known = (
        np.sum(np.lib.stride_tricks.sliding_window_view(part, bands, axis=1), axis=-1)
        for part in (weights * over[:-RISE_MOMENTS], weights * over[RISE_MOMENTS:], weights)
    )
    # the mean of chi squared of nu degrees of freedom scatters by sqrt(2 / nu), each of the two
    scatter_db = 10.0 / np.log(10.0) * np.sqrt(4.0 / np.maximum(known, 1.0))
    rises = power_to_db(np.maximum(later, TINY) / np.maximum(sooner, TINY)) - sigmas * scatter_db
    return np.asarray(np.where(known > 0.0, rises, 0.0))


def _sudden_db(plane: Plane) -> float:
    """The rise from which on something begins suddenly."""
    return RISE_DB + RISE_DB_S / plane.sweep.rate_s


def _at_the_same_frequency(other: Plane, plane: Plane) -> FloatArray:
    """The density of another recording while its sweep was about where this one's is, on the cells of this one; 0 where
    nothing is known of it."""
    reach = round(max(BESIDE_OCTAVES * np.log(2.0) * other.sweep.rate_s, BESIDE_S) / HOP_S)
    there = np.where(other.density > PRESENT * other.usual, other.density, other.usual)  # else it is noise's scatter
    known = np.where(other.freedom >= LEAST_FREEDOM, there, 0.0)
    if other.sweep != plane.sweep:
        known = np.where(_standing_out(other), known * float(db_to_power(OTHER_SPEED_DB)), known)
    most = scipy.ndimage.maximum_filter1d(known, 2 * reach + 1, axis=0, mode="nearest")
    beside = scipy.ndimage.maximum_filter1d(most, 3, axis=1, mode="nearest")
    most = np.where(most > 0.0, most, beside)  # what strikes or blows is broader than a third octave
    most = most[_place_of(other, plane)]
    band = np.argmin(np.abs(np.log(plane.frequency_hz[:, np.newaxis] / other.frequency_hz)), axis=1)
    return np.asarray(most[:, band])


def _foreign(plane: Plane, sound: Sound, *, share: float = 1.0) -> bool:
    """Whether the sound itself shows that the loudspeaker did not make it; `share` of the rise is asked for where
    another recording speaks for it as well."""
    sweep_hz = float(plane.sweep_hz[sound.first])
    if any(sweep_hz > from_hz and sound.below >= least for from_hz, least in BELOW_FROM_HZ):
        return True  # in step or not: orders that keep it do not reach there
    no_part = sweep_hz > OWN_UP_TO_HZ
    between = no_part or not sound.step.known or share < 1.0
    rise_db = max(sound.rise_db, sound.between_db) if between else sound.rise_db
    return rise_db > share * _sudden_db(plane) and (no_part or not sound.step.kept)
