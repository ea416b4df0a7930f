"""The spectra of the separated orders: one complex spectrum an order, referred to its own arrival."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.common.smoothing import PowerSpectrum
from distort.analysis.sweep.deconvolution import Deconvolved, InverseFilter
from distort.analysis.sweep.windows import Cut, OrderWindow, cut, order_window, require_orders, window_energy
from distort.errors import AnalysisError
from signals.sweep import Sweep

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

ZERO_PADDING = 2
"""A window's spectrum is sampled this many times finer than its length asks for: all that its power holds."""


@dataclass(frozen=True, kw_only=True)
class WindowedSpectrum:
    """What one window holds."""

    window: OrderWindow
    values: ComplexArray
    """`(bins,)` at 0, bin_hz, 2 bin_hz, ...; phase referred to the window's first sample."""
    bin_hz: float
    energy: float
    """Sum of the squared window: how much noise it lets in."""
    first_s: float
    """Time of the window's first sample re the arrival."""

    @cached_property
    def power(self) -> PowerSpectrum:
        """|values|^2."""
        return PowerSpectrum(np.square(self.values.real) + np.square(self.values.imag), self.bin_hz)

    def at_arrival(self) -> ComplexArray:
        """The values with their phase referred to the arrival of the order, so that takes can be averaged."""
        turns = np.arange(self.values.size) * (self.bin_hz * self.first_s)
        return np.asarray(self.values * np.exp(-2j * np.pi * turns))


@dataclass(frozen=True, kw_only=True)
class SeparatedOrders:
    """Orders 1 ... N of a sweep's recording, or the coherent mean of several."""

    filter: InverseFilter
    """What they were deconvolved with; the noise goes through it too."""
    drive_dbfs: float
    """Of the sweep as it was played; `filter` is of the sweep at 0 dBFS."""
    spectra: tuple[WindowedSpectrum, ...]
    """Order n at index n - 1."""
    fundamental_in: tuple[WindowedSpectrum, ...]
    """The fundamental once more, cut with the window of order n (index n - 1): what that window loses of a decay."""
    fundamental_leak: tuple[WindowedSpectrum, ...]
    """The fundamental as far into its decay as the window of order n lies behind order n + 1 (index n - 1)."""
    gate_s: float | None
    takes: int = 1

    @property
    def sweep(self) -> Sweep:
        """The sweep whose orders these are, at 0 dBFS."""
        return self.filter.sweep


def separate(deconvolved: Deconvolved, *, orders: int = 10, gate_s: float | None = None) -> SeparatedOrders:
    """Cut orders 1 ... `orders` out of an impulse response; `gate_s` closes every window that long after its arrival.

    Raises AnalysisError when the sweep is too short for that many orders, or the gate is not above 0.
    """
    sweep = deconvolved.filter.sweep
    require_orders(sweep, orders)
    if gate_s is not None and not gate_s > 0:
        raise AnalysisError(f"the time gate must be above 0 ms, not {1000 * gate_s:g}")

    def spectrum(window: OrderWindow, arrival_s: float) -> WindowedSpectrum:
        """`window` laid on the impulse response `arrival_s` after the fundamental's arrival."""
        arrival = deconvolved.arrival + arrival_s * sweep.sample_rate
        piece = cut(deconvolved.impulse, window, arrival=arrival, sample_rate=sweep.sample_rate)
        return spectrum_of(piece, window, sweep.sample_rate)

    windows = [order_window(sweep, order, gate_s=gate_s) for order in range(1, orders + 1)]
    own = tuple(spectrum(window, -sweep.advance_s(window.order)) for window in windows)
    return SeparatedOrders(
        filter=deconvolved.filter,
        drive_dbfs=deconvolved.drive_dbfs,
        spectra=own,
        fundamental_in=(own[0], *(spectrum(window, 0.0) for window in windows[1:])),
        fundamental_leak=tuple(
            spectrum(window, sweep.advance_s(window.order + 1) - sweep.advance_s(window.order)) for window in windows
        ),
        gate_s=gate_s,
    )


def spectrum_of(piece: Cut, window: OrderWindow, sample_rate: int) -> WindowedSpectrum:
    """The spectrum of what `window` cut out."""
    n_fft = int(scipy.fft.next_fast_len(ZERO_PADDING * piece.samples.size, real=True))
    bin_hz = sample_rate / n_fft
    values = scipy.fft.rfft(piece.samples, n_fft)
    energy = window_energy(window, sample_rate)
    return WindowedSpectrum(window=window, values=values, bin_hz=bin_hz, energy=energy, first_s=piece.first_s)


def _kind(separated: SeparatedOrders) -> tuple[Sweep, float, int, float | None]:
    return separated.sweep, separated.drive_dbfs, len(separated.spectra), separated.gate_s


def mean_of_takes(takes: Sequence[SeparatedOrders]) -> SeparatedOrders:
    """Coherent mean of several takes of one sweep: noise falls as 1 / takes, what repeats stays.

    Raises AnalysisError when there is none, or they are of different sweeps, orders or gates.
    """
    if not takes:
        raise AnalysisError("there is no take to average")
    first = takes[0]
    if any(_kind(one) != _kind(first) for one in takes):
        raise AnalysisError("takes of different sweeps, orders or gates cannot be averaged: analyse them one by one")
    if len(takes) == 1:
        return first

    def mean(of: Sequence[tuple[WindowedSpectrum, ...]]) -> tuple[WindowedSpectrum, ...]:
        return tuple(
            replace(same[0], values=np.mean([one.at_arrival() for one in same], axis=0), first_s=0.0)
            for same in zip(*of, strict=True)
        )

    return replace(
        first,
        spectra=mean([t.spectra for t in takes]),
        fundamental_in=mean([t.fundamental_in for t in takes]),
        fundamental_leak=mean([t.fundamental_leak for t in takes]),
        takes=sum(t.takes for t in takes),
    )
