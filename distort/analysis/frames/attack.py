"""The test of a frame: the gain at its first moment and at its end, and how fast it went from one to the other."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.frames.baseband import Baseband
from distort.analysis.frames.shapes import come, held

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

OVER = (0.5, 1.0, 2.0, 4.0)
"""Nepers of power by which a tone may be over a threshold."""

SHAPES = (1.0, 1.5, 2.2)
"""Of a reduction that is smoothed in dB, and of a detector that settles sooner than it began."""

TIMES_PER_OCTAVE = 3
LONGEST_OF_HOLD = 2.0
"""An attack that lasts longer than twice the stretch cannot be told from one that lasts for ever."""

CLEAR = 9.0
"""Standard deviations of a step by which a course must explain the stretch better than a steady gain: four, for steps
of which three are one, and for the best of some 150 courses (4^2 + 2 ln 150 = 26, times 3)."""

LATE_SHARE = 1.0 / 3.0
"""Of the stretch: by then an attack that can be told has settled or goes slowly."""

TURNS = 2
"""The first fit tells how many dB the gain goes; the second lets it go that way in dB."""

LEAST_WAY_DB, MOST_WAY_DB = 0.1, 20.0
"""Below the first, dB and amplitude are alike."""

TINY = 1e-6
DECIBEL = 20.0 / np.log(10.0)


@dataclass(frozen=True, kw_only=True)
class Attack:
    """Gains re the probe's, complex: what the loudspeaker does to the phase is in them."""

    first: complex
    last: complex
    time_s: float
    """From the middle of the test's rise until 63 % of the way in dB; NaN where the gain does not change."""
    gain: ComplexArray
    """Of every step of the test."""
    clear: bool
    """Whether the gain goes anywhere: else it is taken to be steady, and `first` is `last`."""


def read_attack(base: Baseband, lost_slowly_db: FloatArray) -> Attack:
    """Fit the test.

    lost_slowly_db   `(hold steps,)` what else is known to take level meanwhile, dB: heat
    """
    steps = base.hold_steps
    since_s: FloatArray = (np.arange(steps, dtype=np.float64) + 0.5) * base.frame.step_s
    known = 10.0 ** (-lost_slowly_db / 20.0)
    offset = _answer(base, np.zeros(steps))
    heard, steady = base.envelope[:steps] - offset, _answer(base, known) - offset
    alone, error_alone = _fitted(heard, [steady])
    way_db = 0.0
    for _ in range(TURNS):
        tried = []
        for course in _courses(base, since_s):
            way = course if abs(way_db) < LEAST_WAY_DB else _in_decibels(course, way_db)
            tried.append((*_fitted(heard, [steady, _answer(base, known * way) - offset]), way))
        gains, error, way = min(tried, key=lambda one: one[1])
        first, last = complex(gains[0]), complex(gains[0] + gains[1])
        way_db = float(
            np.clip(20.0 * np.log10(max(abs(last), TINY) / max(abs(first), TINY)), -MOST_WAY_DB, MOST_WAY_DB)
        )
    gain = known * (gains[0] + gains[1] * way)
    gain = gain + known * _late(base, known, heard + offset - _answer(base, gain))
    scatter = max(base.noise**2, error / steps)
    if error_alone - error <= CLEAR**2 * scatter:
        return Attack(
            first=complex(alone[0]),
            last=complex(alone[0] * known[-1]),
            time_s=np.nan,
            gain=known * alone[0],
            clear=False,
        )
    return Attack(
        first=first,
        last=complex(gain[-1]),
        time_s=_time_to_share(since_s, np.abs(gain / known), abs(first)),
        gain=gain,
        clear=True,
    )


def _late(base: Baseband, known: FloatArray, left: ComplexArray) -> ComplexArray:
    """What the gain of the stretch's last third must be mended by, so that its end is what was heard there, whatever
    the course; 0 before. `left` is what the fit leaves."""
    late = np.arange(base.hold_steps) >= (1.0 - LATE_SHARE) * base.hold_steps
    column = _answer(base, known * late) - _answer(base, np.zeros(base.hold_steps))
    mended, _ = _fitted(left[late], [column[late]])
    return np.asarray(mended[0] * late)


def _in_decibels(course: FloatArray, way_db: float) -> FloatArray:
    """The course of an amplitude whose decibels take `course`, from 0 to 1."""
    return np.asarray(np.expm1(course * way_db / DECIBEL) / np.expm1(way_db / DECIBEL))


def _answer(base: Baseband, gain: npt.ArrayLike) -> ComplexArray:
    """What would be heard in the test for these gains, `(hold steps,)`."""
    sent = np.ones(base.envelope.size, dtype=np.complex128)
    sent[: base.hold_steps] = base.loud * np.asarray(gain)
    return base.through_room(sent)[: base.hold_steps]


def _courses(base: Baseband, since_s: FloatArray) -> Iterator[FloatArray]:
    shortest, longest = base.frame.step_s, LONGEST_OF_HOLD * base.frame.hold_s
    count = round(TIMES_PER_OCTAVE * np.log2(longest / shortest)) + 1
    for time_s in np.geomspace(shortest, longest, count):
        for over in OVER:
            yield held(since_s, time_s=float(time_s), over=over)
        for shape in SHAPES:
            yield come(since_s, time_s=float(time_s), shape=shape)


def _fitted(heard: ComplexArray, columns: list[ComplexArray]) -> tuple[ComplexArray, float]:
    """Least squares, and what is left."""
    matrix = np.stack(columns, axis=1)
    found = scipy.linalg.lstsq(matrix, heard)[0]
    return found, float(np.sum(np.square(np.abs(heard - matrix @ found))))


def _time_to_share(since_s: FloatArray, gain: FloatArray, first: float) -> float:
    """When the gain has made 63 % of its way in dB."""
    way = np.log(np.maximum(gain, TINY) / max(first, TINY))
    share = way / way[-1] if way[-1] != 0.0 else np.full(way.size, np.nan)
    beyond = np.flatnonzero(share >= 1.0 - np.exp(-1.0))
    if beyond.size == 0 or beyond[0] == 0:
        return float(since_s[0]) if beyond.size else np.nan
    place = int(beyond[0])
    return float(np.interp(1.0 - np.exp(-1.0), share[place - 1 : place + 1], since_s[place - 1 : place + 1]))
