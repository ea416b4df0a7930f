"""What strikes, rubs or blows at each level of a condition: where, and of which kind."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from distort.analysis.impulsive.cycles import PER_DECADE
from distort.analysis.impulsive.heard import CyclesHeard, repeats_at, standing_out, untouched
from distort.analysis.impulsive.regularity import UNKNOWN, Repeats

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

Kind = Literal["rub", "rattle", "airflow-noise", "high-orders", "undecided"]

ALONE, BESIDE = 6.0, 4.0
"""z from which on a band stands out by itself, and together with a neighbour: of 1,000 recordings of noise that wanders
and hums none passes (`tests/STUDIES.md`)."""

REGULAR, IRREGULAR = 0.6, 0.47
"""G from which on uneven strikes repeat, and below which they are a loose part's. Between them lay as many made buzzes
that begin or end there as loose parts that hold their step."""

UNEVEN = 6.5
"""U from which on strikes differ from cycle to cycle. Of made jets and rough rubs the largest was 5.4, of made loose
parts the smallest 8.2."""

NOISE_REGULAR = 0.2
"""G of a jet stays below, 0.14 at most: noise gains so much by the wander that suits it best. Of made buzzes as even as
that the smallest was 0.33."""

SHARP = 0.25
"""Share of what repeats that must lie more than an octave above 10.5 f: of made clipping it was 0.33 and more, of a
driver whose orders go on beyond the tenth up to 0.17."""

NARROW, JUDGED_BY = 4, 5
"""Bands: a place of up to so many is judged by its clearest, a wider one by so many from all over it. A loose part's
resonance is narrow. Clipping goes on over octaves; at its low end, where a cycle holds many echoes of the room, it is
uneven, and judged by its clearest band alone, 5 of 81 made amplifiers that clip were called a loose part."""

NOTHING, ONCE, CONFIRMED = 0, 1, 2
"""How far a band stands out: not, in one recording alone, in another one too."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Listening:
    """One recording of a sweep, and when something foreign sounded in it."""

    level_db_spl: float
    heard: CyclesHeard
    foreign_s: tuple[tuple[float, float], ...] = ()
    """Seconds into the sweep."""
    short: bool = False


@dataclass(frozen=True, kw_only=True, eq=False)
class ImpulsiveLevel:
    """One level; all arrays are `(bands,)`, NaN: not measurable."""

    level_db_spl: float
    """Nominal."""
    z: FloatArray
    """How far the loudest part of a cycle stands out, in standard deviations of noise; the largest of the takes."""
    regularity: FloatArray
    """G of the place that a band belongs to; NaN where none is."""
    unevenness: FloatArray
    """U of that place."""
    spread: FloatArray
    """Of that place."""
    alarm: IntArray
    """NOTHING, ONCE or CONFIRMED."""


@dataclass(frozen=True, kw_only=True)
class ImpulsivePlace:
    """Neighbouring bands in which something stands out at a level, in two recordings at least."""

    level_db_spl: float
    frequency_hz: float
    """Where it is clearest."""
    low_hz: float
    high_hz: float
    z: float
    regularity: float
    unevenness: float
    spread: float
    kind: Kind


@dataclass(frozen=True, kw_only=True, eq=False)
class ImpulsiveResult:
    """All levels of a condition, from the lowest up."""

    frequency_hz: FloatArray
    """Middles of sixth octaves, Hz of the sweep, `(bands,)`."""
    levels: tuple[ImpulsiveLevel, ...]

    @property
    def places(self) -> tuple[ImpulsivePlace, ...]:
        """The confirmed ones, level by level."""
        return tuple(one for level in self.levels for one in _places(self.frequency_hz, level))


def kind_of(found: Repeats) -> Kind:
    """Of what stands out: what repeats is a buzz in step, a rub, a hard stop or clipping, or only orders beyond the
    tenth; uneven strikes are a loose part's; noise of even strength that no cycle repeats is that of an airflow."""
    if not np.isfinite(found.regularity):
        return "undecided"
    if found.regularity > (REGULAR if found.unevenness > UNEVEN else NOISE_REGULAR):
        return "rub" if found.spread > SHARP else "high-orders"
    if found.unevenness > UNEVEN:
        return "rattle" if found.regularity < IRREGULAR else "undecided"
    return "airflow-noise"


def impulsive(recordings: Sequence[Listening]) -> ImpulsiveResult:
    """What stands out in the long sweeps of every level; the short ones, other takes and other levels confirm it.

    recordings   all sweeps of a condition, of one kind and its short one; not empty
    """
    kept = [untouched(one.heard, one.foreign_s) for one in recordings]
    frequency_hz = max((one.heard.bands.frequency_hz for one in recordings if not one.short), key=len)
    z = [
        _on(frequency_hz, one.heard, standing_out(one.heard, each)) for one, each in zip(recordings, kept, strict=True)
    ]
    levels = []
    for level_db_spl in sorted({one.level_db_spl for one in recordings if not one.short}):
        own = [place for place, one in enumerate(recordings) if one.level_db_spl == level_db_spl and not one.short]
        alarm = np.max([_alarm(z, place) for place in own], axis=0)
        behaviour = [UNKNOWN] * frequency_hz.size
        highest = np.fmax.reduce([z[place] for place in own])
        for first, end in stretches(alarm == CONFIRMED):
            clearest = first + int(np.argmax(highest[first:end]))
            at = [place for place, one in enumerate(recordings) if one.level_db_spl == level_db_spl]
            found = [
                _mean(
                    [
                        repeats_at(recordings[place].heard, kept[place], its_band)
                        for place in at
                        if z[place][band] > BESIDE
                        and (its_band := _band(recordings[place].heard, frequency_hz[band])) is not None
                    ]
                )
                for band in _looked_at(first, end, clearest)
            ]
            behaviour[first:end] = [_middle(found)] * (end - first)
        levels.append(
            ImpulsiveLevel(
                level_db_spl=level_db_spl,
                z=highest,
                regularity=np.array([one.regularity for one in behaviour]),
                unevenness=np.array([one.unevenness for one in behaviour]),
                spread=np.array([one.spread for one in behaviour]),
                alarm=alarm,
            )
        )
    return ImpulsiveResult(frequency_hz=frequency_hz, levels=tuple(levels))


def alarmed(z: FloatArray) -> BoolArray:
    """Bands that stand out of one recording, by themselves or with a neighbour, `(bands,)`."""
    above = np.nan_to_num(z) > BESIDE
    pair = above[:-1] & above[1:]
    beside = np.concatenate([[False], pair]) | np.concatenate([pair, [False]])
    return np.asarray(beside | (np.nan_to_num(z) > ALONE))


def _alarm(z: Sequence[FloatArray], place: int) -> IntArray:
    """Of one recording among all: confirmed where another stands out in the same band or the next one."""
    own = alarmed(z[place])
    others = [np.nan_to_num(each) > BESIDE for at, each in enumerate(z) if at != place]
    again = np.any(others, axis=0) if others else np.zeros(own.size, dtype=np.bool_)
    near = again | np.concatenate([again[1:], [False]]) | np.concatenate([[False], again[:-1]])
    return np.where(own, np.where(near, CONFIRMED, ONCE), NOTHING)


def _on(frequency_hz: FloatArray, heard: CyclesHeard, z: FloatArray) -> FloatArray:
    """On the bands of all: a shorter sweep has fewer."""
    common = np.full(frequency_hz.size, np.nan)
    for band, value in enumerate(z):
        common[np.isclose(frequency_hz, heard.bands.frequency_hz[band])] = value
    return common


def _band(heard: CyclesHeard, frequency_hz: float) -> int | None:
    near = np.flatnonzero(np.isclose(heard.bands.frequency_hz, frequency_hz))
    return int(near[0]) if near.size else None


def _mean(found: Sequence[Repeats]) -> Repeats:
    """Of several recordings: of G the mean, of U the mean in decibels."""
    known = [one for one in found if np.isfinite(one.regularity)]
    if not known:
        return UNKNOWN
    return Repeats(
        regularity=float(np.mean([one.regularity for one in known])),
        unevenness=float(np.exp(np.mean([np.log(max(one.unevenness, 1e-3)) for one in known]))),
        spread=float(np.mean([one.spread for one in known])),
    )


def _looked_at(first: int, end: int, clearest: int) -> list[int]:
    """Bands of a place by which it is judged: its clearest, or of a wide one some from all over it."""
    if end - first <= NARROW:
        return [clearest]
    return [round(first + share * (end - 1 - first)) for share in np.linspace(0.0, 1.0, JUDGED_BY)]


def _middle(found: Sequence[Repeats]) -> Repeats:
    """The medians over the bands of a place."""
    known = [one for one in found if np.isfinite(one.regularity)]
    if not known:
        return UNKNOWN
    return Repeats(
        regularity=float(np.median([one.regularity for one in known])),
        unevenness=float(np.median([one.unevenness for one in known])),
        spread=float(np.median([one.spread for one in known])),
    )


def stretches(on: BoolArray) -> Iterator[tuple[int, int]]:
    """First band and the one after the last of each stretch."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], on, [False]]).astype(np.int64)))
    yield from zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)


def _places(frequency_hz: FloatArray, level: ImpulsiveLevel) -> Iterator[ImpulsivePlace]:
    edge = 10.0 ** (0.5 / PER_DECADE)
    for first, end in stretches(level.alarm == CONFIRMED):
        clearest = first + int(np.argmax(np.nan_to_num(level.z[first:end])))
        found = Repeats(*(float(each[clearest]) for each in (level.regularity, level.unevenness, level.spread)))
        yield ImpulsivePlace(
            level_db_spl=level.level_db_spl,
            frequency_hz=float(frequency_hz[clearest]),
            low_hz=float(frequency_hz[first]) / edge,
            high_hz=float(frequency_hz[end - 1]) * edge,
            z=float(level.z[clearest]),
            regularity=found.regularity,
            unevenness=found.unevenness,
            spread=found.spread,
            kind=kind_of(found),
        )
