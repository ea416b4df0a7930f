"""The operating limit as one number: the highest level at which a loudspeaker does what it should, and what ends it.

Of third octaves, each against the lowest level: change of level, less that of the drive, and the share of the power
that is still the signal, gamma^2 = S / (S + D + N); for a multitone its distortion over all of them as well. Two curves
with a limit on each are the idea of AES75, with any programme.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from distort.analysis.common.operating_limit import Limits

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

Limit = Literal["change", "broad-change", "distortion", "coherence"]
LevelStimulus = Literal["multitone", "programme"]

BROAD_BANDS = 6
"""Third octaves of two octaves."""

COUNTS_FROM = 0.95
"""Coherence that noise alone must leave to a band, or it says nothing."""

MOST_NOISE_DB = float(10.0 * np.log10(1.0 / COUNTS_FROM - 1.0))
"""Of the noise re the signal, in a band that counts: -12.8 dB."""


@dataclass(frozen=True, kw_only=True)
class Passed:
    """A limit that did not hold, where it was passed furthest."""

    limit: Limit
    value: float
    """dB (negative: the output falls short), coherence, or per cent."""
    frequency_hz: float | None
    """Middle of the third octave or of the two octaves; None: of all together."""


@dataclass(frozen=True, kw_only=True, eq=False)
class LevelBands:
    """One level, `(bands,)` each."""

    level_db_spl: float
    """Nominal."""
    frequency_hz: FloatArray
    change_db: FloatArray
    """NaN: not known, as where nobody said how far the volume was turned."""
    coherence: FloatArray
    counts: BoolArray
    """Bands that are judged."""
    distortion_percent: float | None = None
    """None: not a multitone."""


@dataclass(frozen=True, kw_only=True)
class LevelLimit:
    """Up to which level a stimulus holds every limit."""

    stimulus: LevelStimulus
    up_to_db_spl: float | None
    """Nominal: the highest level below which none fails; None: the lowest one judged fails."""
    ended_at_db_spl: float | None
    """The level that fails; None: nothing louder was judged."""
    passed: tuple[Passed, ...]
    """What that level passes, by how many times its limit, the most first."""
    judged: int
    """Third octaves that count, at the level that is named last."""
    bands: int
    """Of so many."""
    limits: Limits


def level_limit(stimulus: LevelStimulus, levels: Iterable[LevelBands], limits: Limits) -> LevelLimit | None:
    """Of levels from the lowest up; None where the lowest cannot be judged: no band counts or no change is known."""
    up_to: LevelBands | None = None
    failed: LevelBands | None = None
    passed: tuple[Passed, ...] = ()
    for one in levels:
        found = passed_by(one, limits)
        if found is None:
            break
        if found:
            failed, passed = one, found
            break
        up_to = one
    last = failed or up_to
    if last is None:
        return None
    return LevelLimit(
        stimulus=stimulus,
        up_to_db_spl=None if up_to is None else up_to.level_db_spl,
        ended_at_db_spl=None if failed is None else failed.level_db_spl,
        passed=passed,
        judged=int(np.count_nonzero(_judged(last))),
        bands=last.frequency_hz.size,
        limits=limits,
    )


def passed_by(one: LevelBands, limits: Limits) -> tuple[Passed, ...] | None:
    """Every limit that a level passes, the one by most times first; None where it cannot be judged."""
    judged = _judged(one)
    if not np.any(judged):
        return None
    found = sorted(_passed(one, judged, limits), key=lambda each: -each[0])
    return tuple(each for _, each in found)


def _judged(one: LevelBands) -> BoolArray:
    return np.asarray(one.counts & np.isfinite(one.change_db))


def _passed(one: LevelBands, judged: BoolArray, limits: Limits) -> Iterator[tuple[float, Passed]]:
    """Each limit that is passed, and how many times its limit the value is: of coherence the share that is lost."""
    hz, change_db = one.frequency_hz, np.where(judged, one.change_db, 0.0)
    worst = int(np.argmax(np.abs(change_db)))
    if abs(change_db[worst]) > limits.change_db:
        yield (
            float(abs(change_db[worst])) / limits.change_db,
            Passed(limit="change", value=float(change_db[worst]), frequency_hz=float(hz[worst])),
        )
    broad_db, middle_hz = _broad(change_db, judged, hz)
    if broad_db > limits.broad_change_db:
        yield (
            broad_db / limits.broad_change_db,
            Passed(limit="broad-change", value=broad_db, frequency_hz=middle_hz),
        )
    coherence = np.where(judged, one.coherence, 1.0)
    least = int(np.argmin(coherence))
    if coherence[least] < limits.coherence:
        yield (
            float(1.0 - coherence[least]) / max(1.0 - limits.coherence, 1e-9),
            Passed(limit="coherence", value=float(coherence[least]), frequency_hz=float(hz[least])),
        )
    if one.distortion_percent is not None and one.distortion_percent > limits.distortion_percent:
        yield (
            one.distortion_percent / limits.distortion_percent,
            Passed(limit="distortion", value=one.distortion_percent, frequency_hz=None),
        )


def _broad(change_db: FloatArray, judged: BoolArray, frequency_hz: FloatArray) -> tuple[float, float]:
    """The largest mean change, either way counted alike, of two octaves of which more than half is judged, and their
    middle."""
    width = min(BROAD_BANDS, change_db.size)
    window = np.ones(width)
    count = np.convolve(judged, window, mode="valid")
    mean_db = np.convolve(np.abs(change_db), window, mode="valid") / np.maximum(count, 1.0)
    mean_db[count <= BROAD_BANDS / 2] = 0.0
    first = int(np.argmax(mean_db))
    return float(mean_db[first]), float(np.sqrt(frequency_hz[first] * frequency_hz[first + width - 1]))
