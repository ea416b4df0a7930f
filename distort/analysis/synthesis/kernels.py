"""The kernel of each order along its diagonal, from the orders of a sweep, referred to what is played.

With A the amplitude of the sweep (full scale 1), V_n the spectrum of order n after deconvolution by the sweep at that
amplitude, and H the fundamental cut with the same window, both at n f (Novak, Lotton and Simon, J. Audio Eng. Soc.
63(10), 2015, from memory):

    D_n(f) = V_n(n f) A^(1-n) 2^(n-1) / (j (-j)^n)              what x^n has to be multiplied by for a tone of f
    E_n(f) = sum D_n conj(H(n f)) / sum |H(n f)|^2              over 1/6 octave: without the path that both go

E_n is the product as it would have to be played. Where fundamental and product go different ways (a crossover between
them), the sum over the band loses some of it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from distort.analysis.common.grid import OCTAVE_RATIO, grid_hz
from distort.analysis.common.smoothing import PowerSpectrum
from distort.analysis.sweep.orders import SeparatedOrders, WindowedSpectrum
from signals.levels import db_to_amplitude

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]
BoolArray = npt.NDArray[np.bool_]

ORDERS = (2, 3, 4, 5)
"""Those that are used: higher ones of a loudspeaker below its limiter add less than these leave open."""

OCTAVES = 1.0 / 6.0
"""Width of the band over which a kernel is averaged: narrower it follows noise, wider it loses phase (prototype)."""

LEAST_ENVELOPE = 0.5
"""Rows that the sweep plays weaker than this are left out: order n is weaker by its n-th power."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Step:
    """One level of the sweep: what its orders say."""

    drive_dbfs: float
    """As played, with what the volume was turned up."""
    kernels: Mapping[int, ComplexArray]
    """E_n by order, `(rows,)` on the grid; NaN where it is not known."""
    response: WindowedSpectrum
    """H, re what is played with the volume turned up."""


def step_of(separated: SeparatedOrders, *, turned_db: float, readable: Mapping[int, BoolArray]) -> Step:
    """What the sweep of one level says.

    turned_db  by how much the volume was turned up
    readable   by order, which rows of the grid stand clear of what else may have made them, `(rows,)`
    """
    kernels, turned = {}, float(db_to_amplitude(turned_db))
    for order in ORDERS:
        if order in readable and order <= len(separated.spectra):
            kernel = equivalent_kernel(separated, order) * turned ** (1 - order)
            kernels[order] = np.where(readable[order], kernel, np.nan)
    return Step(
        drive_dbfs=separated.drive_dbfs + turned_db,
        kernels=kernels,
        response=replace(separated.spectra[0], values=separated.spectra[0].values / turned),
    )


def equivalent_kernel(separated: SeparatedOrders, order: int) -> ComplexArray:
    """E_n of `order` on the grid, `(rows,)`; NaN outside what the sweep plays at full level."""
    sweep, at_hz = separated.sweep, grid_hz()
    own, path = separated.spectra[order - 1], separated.fundamental_in[order - 1]
    later = np.arange(own.values.size) * (own.bin_hz * (own.first_s - path.first_s))
    cross = own.values * np.conj(path.values) * np.exp(-2j * np.pi * later)
    half = OCTAVE_RATIO ** (OCTAVES / 2.0)
    low_hz, high_hz = order * at_hz / half, order * at_hz * half

    def mean(values: FloatArray) -> FloatArray:
        return PowerSpectrum(values, own.bin_hz).mean(low_hz, high_hz)

    amplitude = float(db_to_amplitude(separated.drive_dbfs))
    at = sweep.envelope(at_hz)
    played = (at > LEAST_ENVELOPE) & (high_hz <= sweep.fade_out_hz)
    with np.errstate(divide="ignore", invalid="ignore"):  # where nothing was played
        ratio = (mean(cross.real) + 1j * mean(cross.imag)) / mean(path.power.power)
        scale = amplitude ** (1 - order) * 2.0 ** (order - 1) * sweep.envelope(order * at_hz) / at**order
        return np.where(played, ratio * scale / (1j * (-1j) ** order), np.nan)


def kernels_at(steps: Sequence[Step], drive_dbfs: float) -> dict[int, ComplexArray]:
    """E_n by order for a noise-like signal of this drive, `(rows,)` each; NaN where no step knows it.

    Such a signal of r.m.s. s acts on order n as a sine of amplitude `sqrt(2 (n + 1)) s` does, since a term of order
    n + 2 adds to order n by that amplitude squared; order n is read at the drive + 10 lg(n + 1) dB. Between two steps
    E_n is straight over dB; below the lowest step that knows a row it is what it is there, as of a weak curve.
    `highest_drive` says up to where.
    """
    orders = sorted({order for step in steps for order in step.kernels})
    return {order: _between(steps, order, drive_dbfs + level_rule_db(order)) for order in orders}


def level_rule_db(order: int) -> float:
    """By how much a sine must be driven above a noise-like signal to act on `order` alike."""
    return float(10.0 * np.log10(order + 1.0))


def highest_drive_dbfs(steps: Sequence[Step]) -> float:
    """The highest drive of a noise-like signal at which all orders are read at a step or between two."""
    return max(step.drive_dbfs for step in steps) - level_rule_db(max(ORDERS))


def _between(steps: Sequence[Step], order: int, drive_dbfs: float) -> ComplexArray:
    """E_n at a drive of a sine, `(rows,)`."""
    having = sorted((step for step in steps if order in step.kernels), key=lambda step: step.drive_dbfs)
    drives = np.array([step.drive_dbfs for step in having])
    values = np.array([step.kernels[order] for step in having])
    found = np.full(values.shape[1], np.nan + 0j)
    known = np.isfinite(values)
    for pattern in np.unique(known, axis=1).T:
        if np.any(pattern):
            rows = np.all(known == pattern[:, None], axis=0)
            of_rows, at = values[pattern][:, rows], drives[pattern]
            weights = np.array([np.interp(drive_dbfs, at, one) for one in np.eye(at.size)])
            found[rows] = weights @ of_rows
    return found
