"""The probe after the loud stretch: what was lost is given back, soon (a limiter lets go) or late (a coil cools)."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.frames.baseband import WINDOW_STEPS, Baseband
from distort.analysis.frames.shapes import go

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

ROOM_SHARE = 0.03
"""Of what the room still gives back of the loud stretch, so much is not trusted: its fit leaves about as much."""

FIT_SHARE = 0.003
"""Of the probe: what steps of a millisecond and a first probe that ends leave of any fit (devices to tune on)."""

TOLD_PERIODS = 10.0
"""An attack or a release of fewer periods cannot be told from something instantaneous: an edge takes two of them, the
window three."""

RELEASES = 3.0
"""What the probe still lacks after so many releases is given back by something slower; a longer release than the third
of the probe is not told from heat."""

SLOWEST_S = 30.0
"""Time constant of what is given back slowly: two seconds of probe do not tell a longer one from it."""

MARGIN = 1.1
"""A limiter takes no more than all that is lost, and what a fit is off by."""

SIGMAS = 4.0
"""A part counts when it is so many standard deviations of noise: one in 16,000 by chance."""

MOST_SLOW_DB = 20.0
BELOW_NOTHING_DB = -1.0
"""What is slow is sought down to here, so that noise about nothing is not pushed up by a bound."""

ROBUST_AT = 3.0
"""Standard deviations from which on a misfit counts in proportion, no more in square: right after the stretch the room
gives back what the fit of it left."""

MOST_TURN = 0.5
"""Radians of phase per neper of loss: a limiter that holds one side of a crossover turns the phase of the sum."""

BEGIN_SHARES = (0.35, 0.6, 0.85)
"""Of the way from the shortest release to the longest, over its logarithm: where the search begins."""

TRIES = 40
DECIBEL = 20.0 / np.log(10.0)


@dataclass(frozen=True, kw_only=True)
class Release:
    """What the probe lacks after the loud stretch, dB re the probe before it."""

    limiter_db: float
    """At the stretch's end, positive where level is lost; 0 where it is no `SIGMAS` of noise."""
    time_s: float
    """Until 63 % of it is given back; NaN without a limiter."""
    time_sigma: float
    """Standard deviation of its natural logarithm: of its share, while that is small."""
    limiter_sigma_db: float
    slow_db: float
    """What is given back more slowly, at the stretch's end."""
    slow_sigma_db: float


@dataclass(frozen=True, kw_only=True)
class Expected:
    """What the attack says of the limiter's part, dB, and its standard deviation."""

    limiter_db: float
    sigma_db: float


@dataclass(frozen=True, kw_only=True)
class _Part:
    """Where the search for the values of a part begins, and its bounds."""

    begin: tuple[float, ...]
    lower: tuple[float, ...]
    upper: tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class _Fit:
    values: FloatArray
    sigmas: FloatArray
    cost: float
    """Half the sum of squares."""
    scale: float
    """What a square is by chance."""

    def clears(self, other: "_Fit") -> bool:
        """Whether it explains more than `other` does, and more than noise lets it."""
        return bool(2.0 * (other.cost - self.cost) > SIGMAS**2 * self.scale)

    def part(self, first: int, end: int) -> tuple[FloatArray, FloatArray]:
        """Some of the values, and their standard deviations."""
        return self.values[first:end], self.sigmas[first:end]


def read_release(base: Baseband, gain: ComplexArray, *, least_db: float, expected: Expected | None = None) -> Release:
    """Fit the probe after the loud stretch.

    gain       of every step of that stretch, as it was read
    least_db   a limiter that takes less is none
    expected   what the attack says of the limiter's part; None: nothing
    """
    probe = _Probe(base, gain, expected)
    most_db = max(MARGIN * -20.0 * float(np.log10(max(abs(gain[-1]), 1e-3))), 2.0 * least_db)
    lowest, highest = np.log(TOLD_PERIODS / base.frame.frequency_hz), np.log(float(probe.since_s[-1]) / RELEASES)
    slowly = _Part(begin=(0.0, np.log(3.0)), lower=(BELOW_NOTHING_DB, highest), upper=(MOST_SLOW_DB, np.log(SLOWEST_S)))
    slow = _fit(probe.slow, [slowly])
    if lowest < highest:
        limits = [
            _Part(
                begin=(0.5 * most_db, lowest + share * (highest - lowest), 0.5),
                lower=(0.0, lowest, 0.02),
                upper=(most_db, highest, 1.5),
            )
            for share in BEGIN_SHARES
        ]
        alone = min((_fit(probe.limited, [one]) for one in limits), key=lambda one: one.cost)
        begins = [(slowly, _beginning(limits[0], alone.values[1:])), (_beginning(slowly, slow.values[1:]), limits[0])]
        both = min((_fit(probe.both, parts) for parts in begins), key=lambda one: one.cost)
        if both.values[3] > least_db and both.clears(slow):
            if both.clears(alone):
                return _release(slow=both.part(1, 3), limiter=both.part(3, 6))
            return replace(_release(limiter=alone.part(1, 4)), slow_sigma_db=float(both.sigmas[1]))
    return _release(slow=slow.part(1, 3))


def _release(
    *, slow: tuple[FloatArray, FloatArray] | None = None, limiter: tuple[FloatArray, FloatArray] | None = None
) -> Release:
    return Release(
        limiter_db=0.0 if limiter is None else float(limiter[0][0]),
        time_s=np.nan if limiter is None else float(np.exp(limiter[0][1])),
        time_sigma=np.inf if limiter is None else float(limiter[1][1]),
        limiter_sigma_db=0.0 if limiter is None else float(limiter[1][0]),
        slow_db=0.0 if slow is None else float(slow[0][0]),
        slow_sigma_db=0.0 if slow is None else float(slow[1][0]),
    )


def _beginning(part: _Part, values: FloatArray) -> _Part:
    """The same part, begun where another fit ended."""
    return replace(part, begin=tuple(np.clip(values, part.lower, part.upper).tolist()))


class _Probe:
    """The probe after a loud stretch: what parts of a loss leave of it unexplained, in standard deviations.

    Values are the turn of phase, then of the slow part its dB and the logarithm of its time constant, then of the
    limiter its dB, the logarithm of its release and its shape, as far as they are there.
    """

    def __init__(self, base: Baseband, gain: ComplexArray, expected: Expected | None) -> None:
        self._expected = expected
        first = base.hold_steps
        steps = np.arange(base.envelope.size - first, dtype=np.float64)
        self.since_s: FloatArray = (steps + 0.5) * base.frame.step_s
        self._base = base
        self._sent = np.zeros(base.envelope.size, dtype=np.complex128)
        self._sent[:first] = base.loud * gain
        reverberant = np.abs(base.through_room(self._sent)[first:])
        self._sigma = np.hypot(np.hypot(base.noise, FIT_SHARE), ROOM_SHARE * reverberant)

    def slow(self, values: FloatArray) -> FloatArray:
        return self._left(values[0], self._slow_db(values[1:]))

    def limited(self, values: FloatArray) -> FloatArray:
        return self._anchored(self._left(values[0], self._limiter_db(values[1:])), values[1])

    def both(self, values: FloatArray) -> FloatArray:
        lost_db = self._slow_db(values[1:3]) + self._limiter_db(values[3:])
        return self._anchored(self._left(values[0], lost_db), values[3])

    def _anchored(self, left: FloatArray, limiter_db: float) -> FloatArray:
        """With how far the limiter's part is from what the attack says; as heavy as if it were that many readings."""
        if self._expected is None:
            return left
        off = (limiter_db - self._expected.limiter_db) / self._expected.sigma_db
        return np.append(left, np.sqrt(WINDOW_STEPS) * off)

    def _slow_db(self, values: FloatArray) -> FloatArray:
        return np.asarray(values[0] * np.exp(-self.since_s / np.exp(values[1])))

    def _limiter_db(self, values: FloatArray) -> FloatArray:
        return np.asarray(values[0] * go(self.since_s, time_s=float(np.exp(values[1])), shape=float(values[2])))

    def _left(self, turn: float, lost_db: FloatArray) -> FloatArray:
        first = self._base.hold_steps
        self._sent[first:] = np.exp(-(1.0 + 1j * turn) * lost_db / DECIBEL)
        off = (self._base.through_room(self._sent)[first:] - self._base.envelope[first:]) / self._sigma
        return np.concatenate([off.real, off.imag])


def _fit(misfit: Callable[[FloatArray], FloatArray], parts: Sequence[_Part]) -> _Fit:
    """Bounded least squares. Neighbouring steps share their windows, so that `WINDOW_STEPS` of them are one."""
    found: Any = scipy.optimize.least_squares(
        misfit,
        [0.0, *(value for one in parts for value in one.begin)],
        bounds=(
            [-MOST_TURN, *(value for one in parts for value in one.lower)],
            [MOST_TURN, *(value for one in parts for value in one.upper)],
        ),
        x_scale="jac",
        loss="soft_l1",
        f_scale=ROBUST_AT,
        max_nfev=TRIES,
    )
    independent = max(found.fun.size / WINDOW_STEPS - found.x.size, 1.0)
    scale = WINDOW_STEPS * max(2.0 * found.cost / WINDOW_STEPS / independent, 1.0)
    variances = np.diag(np.linalg.pinv(found.jac.T @ found.jac)) * scale
    return _Fit(values=found.x, sigmas=np.sqrt(np.maximum(variances, 0.0)), cost=float(found.cost), scale=scale)
