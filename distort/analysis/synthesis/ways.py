"""The ways of a loudspeaker: what is bent in the woofer does not mix with what the tweeter plays.

Each way is played its share of the signal, `1 / (1 + (f / crossover)^4)` and the rest: the size of a crossover of
fourth order after Linkwitz and Riley, without its phase, which fundamental and product share. Its kernels are those of
its own part of the axis. One crossover at most: three ways are read as two.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from distort.analysis.common.grid import grid_hz
from distort.analysis.synthesis.structure import Kernel, Structure, kernel_of

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]


@dataclass(frozen=True, kw_only=True)
class Form:
    """Ways and structure of a loudspeaker, as they were chosen."""

    crossover_hz: float | None
    """None: one way."""
    even: tuple[float | None, ...]
    """Of the even orders, a way each, the lowest first: the share in which one factor is not filtered, or None."""
    odd: tuple[float | None, ...]
    even_rate: tuple[float, ...] = field(default=(), metadata={"later": True, "only_if_said": True})
    """Likewise the share that is a rate of change; empty where nothing is."""
    odd_rate: tuple[float, ...] = field(default=(), metadata={"later": True, "only_if_said": True})
    even_advance_hz: float | None = field(default=None, metadata={"later": True, "only_if_said": True})
    """f_a of the even orders of the lowest way; None: the rate of change of no single factor counts."""

    def structure(self, way: int, order: int) -> Structure:
        """Of an order of a way."""
        shares, rates = (self.odd, self.odd_rate) if order % 2 else (self.even, self.even_rate)
        return Structure(
            unfiltered=shares[way],
            rate=rates[way] if rates else 0.0,
            advance_hz=self.even_advance_hz if order % 2 == 0 and way == 0 else None,
        )


def form_of(crossover_hz: float | None, even: Sequence[Structure], odd: Sequence[Structure]) -> Form:
    """Of the structures of the ways."""
    rates = [tuple(one.rate for one in each) for each in (even, odd)]
    even_rate, odd_rate = (each if any(each) else () for each in rates)
    return Form(
        crossover_hz=crossover_hz,
        even=tuple(one.unfiltered for one in even),
        odd=tuple(one.unfiltered for one in odd),
        even_rate=even_rate,
        odd_rate=odd_rate,
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class Way:
    """One way."""

    kernels: tuple[Kernel, ...]
    """Of the orders that are known in its part of the axis."""
    crossover_hz: float | None
    upper: bool = False

    def share(self, frequency_hz: FloatArray) -> FloatArray:
        """How much of the signal it is played, elementwise, 0 to 1."""
        if self.crossover_hz is None:
            return np.ones(frequency_hz.shape)
        low = 1.0 / (1.0 + (frequency_hz / self.crossover_hz) ** 4)
        return np.asarray(1.0 - low if self.upper else low)


def ways_of(kernels: Mapping[int, ComplexArray], crossover_hz: float | None) -> Sequence[Way]:
    """The ways, the lowest first; `kernels` by order, `(rows,)` on the grid."""
    if crossover_hz is None:
        return (Way(kernels=_known(kernels, np.ones(grid_hz().size, dtype=np.bool_)), crossover_hz=None),)
    lower = grid_hz() <= crossover_hz
    return (
        Way(kernels=_known(kernels, lower), crossover_hz=crossover_hz),
        Way(kernels=_known(kernels, ~lower), crossover_hz=crossover_hz, upper=True),
    )


def _known(kernels: Mapping[int, ComplexArray], rows: npt.NDArray[np.bool_]) -> tuple[Kernel, ...]:
    found = (kernel_of(order, np.where(rows, values, np.nan)) for order, values in kernels.items())
    return tuple(one for one in found if one is not None)
