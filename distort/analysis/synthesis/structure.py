"""Where the memory of an order lies: which of its factors are filtered before they are multiplied.

    q factors filtered  y_nq = h * (sigma :(w * x)^q x^(n-q):)   w = |E_n|^(1/q) exp(j arg / q),   q = n or n - 1
    rate of change      y_nr = h * d/dt (sigma :(w * x)^n:)      w as for q = n, of E_n / (j 2 pi n f)
    one advanced        y_na = h * (sigma :(w * x)^(n-1) (x + x' / (2 pi f_a)):)
                                                                 w as for q = n - 1, of E_n / (1 + j f / f_a)
    none of them        y_n0 = h * (e_n * :x^n:)                 e_n(n f) = E_n(f)

A spring bends the displacement alone (q = n); a displacement that bends the force factor is one unfiltered factor, the
current, beside filtered ones (q = n - 1); the voltage of an inductance that changes is a rate of change; what arises
where the sound is radiated is filtered after it. A cone that moves while it bends the force factor also shifts the
sound in time (Doppler): it acts on the unfiltered factor in proportion to that and to its rate of change, and at f_a,
which may be negative, both are as large. Along the diagonal all of these are the same, so a sweep alone cannot
tell them, nor how much of an order each makes: either of the second and third has a share of it beside q = n, which may
be negative where the two work against one another. sigma is 1 or -1: arg is the unwrapped phase of E_n less the
multiple of pi that brings it nearest to 0 at the low end, and sigma its sign.
"""

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from distort.analysis.common.grid import ROWS_PER_OCTAVE, grid_hz
from distort.analysis.common.log_frequency import over_log_frequency

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

AFTER, RATE, ADVANCED = 0, -1, -2
"""Beside the numbers of filtered factors: none of them, all of them with the rate of change of their product, and all
but one, of which the rate of change counts as well."""


@dataclass(frozen=True, kw_only=True)
class Structure:
    """What an order is made of; the rest of it has all its factors filtered."""

    unfiltered: float | None = 0.0
    """Share in which one factor is not filtered; None: all of it is filtered after."""
    rate: float = 0.0
    """Share that is a rate of change."""
    advance_hz: float | None = None
    """f_a of the factor that is not filtered; None: its rate of change does not count."""

    def parts(self, order: int) -> dict[int, float]:
        """How much of the order has q filtered factors, by q, AFTER, RATE and ADVANCED among them."""
        if self.unfiltered is None or order == 1:
            return {AFTER: 1.0}
        one_not = order - 1 if self.advance_hz is None else ADVANCED
        every = {one_not: self.unfiltered, order: 1.0 - self.unfiltered - self.rate, RATE: self.rate}
        return {q: share for q, share in every.items() if share}


LOW_END_ROWS = ROWS_PER_OCTAVE // 4
"""The low end of a kernel is its lowest quarter octave; one that is known over less says nothing."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Smooth:
    """A complex curve that is read anywhere: straight in dB and phase over log frequency.

    Below its first row it keeps its size, and its phase turns to 0 with the frequency, as a delay's. Above its last row
    it keeps its phase and falls as it does over its last octave, but never rises: there the sweep says nothing, or only
    noise. It has LOW_END_ROWS rows at least.
    """

    frequency_hz: FloatArray
    log_size: FloatArray
    """Natural logarithm of its absolute value, `(rows,)`."""
    phase_rad: FloatArray
    """Unwrapped."""

    def at(self, frequency_hz: FloatArray) -> ComplexArray:
        """Its values, elementwise."""
        lowest_hz = self.frequency_hz[0]
        at_hz = np.maximum(frequency_hz, lowest_hz)
        size = over_log_frequency(at_hz, self.frequency_hz, self.log_size)
        beyond = np.maximum(np.log(at_hz / self.frequency_hz[-1]), 0.0)
        phase = over_log_frequency(at_hz, self.frequency_hz, self.phase_rad)
        phase = phase * np.minimum(frequency_hz / lowest_hz, 1.0)
        return np.asarray(np.exp(size + self._slope() * beyond + 1j * phase))

    def root(self, q: int) -> "Smooth":
        """Its q-th root, with the q-th part of its phase as that stands."""
        return Smooth(
            frequency_hz=self.frequency_hz,
            log_size=np.asarray(self.log_size / q),
            phase_rad=np.asarray(self.phase_rad / q),
        )

    def _slope(self) -> float:
        """Of the last octave, nepers a neper of frequency; 0 where it rises. Where few rows of it are known, of as many
        as a low end takes."""
        last = self.frequency_hz >= min(self.frequency_hz[-1] / 2.0, self.frequency_hz[-LOW_END_ROWS])
        return min(float(np.polyfit(np.log(self.frequency_hz[last]), self.log_size[last], 1)[0]), 0.0)


@dataclass(frozen=True, kw_only=True, eq=False)
class Signed:
    """A curve but for its sign, so that its roots begin near a phase of 0."""

    sign: float
    """sigma."""
    curve: Smooth

    def times(self, frequency_hz: FloatArray) -> ComplexArray:
        """The curve with its sign, elementwise."""
        return self.sign * self.curve.at(frequency_hz)


@dataclass(frozen=True, kw_only=True, eq=False)
class Kernel:
    """E_n of one order, ready to be used in any structure."""

    order: int
    whole: Signed
    """E_n."""
    rate: Signed
    """E_n / (j 2 pi n f)."""
    advance_hz: float = math.inf
    """f_a."""

    def advanced_from(self, advance_hz: float | None) -> "Kernel":
        """The same with this f_a; None: none."""
        return replace(self, advance_hz=math.inf if advance_hz is None else advance_hz)

    @cached_property
    def _advanced(self) -> Signed:
        """E_n / (1 + j f / f_a)."""
        curve = self.whole.curve
        by = 1.0 + 1j * curve.frequency_hz / self.advance_hz
        phase = curve.phase_rad - np.angle(by) + (np.pi if self.whole.sign < 0.0 else 0.0)
        return _signed(curve.frequency_hz, np.asarray(curve.log_size - np.log(np.abs(by))), np.asarray(phase))

    def before(self, q: int, frequency_hz: FloatArray) -> ComplexArray:
        """What filters each of the filtered factors of part `q`, elementwise."""
        if q == RATE:
            return self.rate.curve.root(self.order).at(frequency_hz)
        if q == ADVANCED:
            return self._advanced.curve.root(self.order - 1).at(frequency_hz)
        return self.whole.curve.root(q).at(frequency_hz)

    def beside(self, q: int, frequency_hz: FloatArray) -> ComplexArray | float:
        """What the factors of part `q` are multiplied by that are not filtered, elementwise."""
        return np.asarray(1.0 + 1j * frequency_hz / self.advance_hz) if q == ADVANCED else 1.0

    def after(self, q: int, frequency_hz: FloatArray) -> ComplexArray | float:
        """What the product of part `q` is multiplied by, its sign among it, elementwise at the product's frequency."""
        if q == RATE:
            return np.asarray(2j * np.pi * self.rate.sign * frequency_hz, dtype=np.complex128)
        if q == ADVANCED:
            return self._advanced.sign
        return self.whole.times(frequency_hz / self.order) if q == AFTER else self.whole.sign

    def factors(self, q: int) -> tuple[int, int]:
        """How many factors of part `q` are filtered before they are multiplied, and how many are not."""
        filtered = {AFTER: 0, RATE: self.order, ADVANCED: self.order - 1}.get(q, q)
        return filtered, self.order - filtered


def kernel_of(order: int, values: ComplexArray) -> Kernel | None:
    """The kernel with these values on the grid, `(rows,)`, NaN where they are not known; None where too few are."""
    known = np.isfinite(values) & (np.abs(values) > 0.0)
    if np.count_nonzero(known) < LOW_END_ROWS:
        return None
    frequency_hz, log_size = grid_hz()[known], np.log(np.abs(values[known]))
    phase = np.unwrap(np.angle(values[known]))
    rate_size = np.asarray(log_size - np.log(2.0 * np.pi * order * frequency_hz))
    return Kernel(
        order=order,
        whole=_signed(frequency_hz, log_size, phase),
        rate=_signed(frequency_hz, rate_size, phase - 0.5 * np.pi),
    )


def _signed(frequency_hz: FloatArray, log_size: FloatArray, phase_rad: FloatArray) -> Signed:
    turns = round(float(np.median(phase_rad[:LOW_END_ROWS])) / np.pi)
    curve = Smooth(frequency_hz=frequency_hz, log_size=log_size, phase_rad=np.asarray(phase_rad - np.pi * turns))
    return Signed(sign=-1.0 if turns % 2 else 1.0, curve=curve)
