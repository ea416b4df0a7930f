"""A finer structure of the even orders, for loudspeakers that no plain one explains: several mechanisms at once.

Tried of the lowest way alone, whose cone moves far: a share in which one factor is not filtered but advanced, beside a
share that is a rate of change, at every f_a. So much freedom fits one level of nearly anything: whoever uses it has to
hold it against another.
"""

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from distort.analysis.synthesis.choosing import SHARES, Heard
from distort.analysis.synthesis.products import Played
from distort.analysis.synthesis.structure import ADVANCED, RATE
from distort.analysis.synthesis.ways import Form, Way, ways_of
from signals.levels import power_to_db

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

ADVANCES_HZ = (1000.0, -1000.0, 2000.0, -2000.0, 4000.0, -4000.0)
"""f_a, octaves apart: of a force factor that falls by 5 to 20 % a millimetre, beside sound of 343 m/s (own choice)."""

ORDER = 2
"""The leading one."""


def finer_form(played: Played, kernels: Mapping[int, ComplexArray], heard: Heard, form: Form) -> Form | None:
    """`form` with the finer structure of least even misfit; None where no even kernel of the lowest way is known."""
    ways = ways_of(kernels, form.crossover_hz)
    kernel = next((one for one in ways[0].kernels if one.order == ORDER), None)
    if kernel is None or not np.any(np.isfinite(heard.even_db)):
        return None
    above = _of_upper_ways(played, ways, form)
    plain = played.products(kernel, ways[0], (RATE, ORDER))
    best, least = form, np.inf
    for advance_hz in ADVANCES_HZ:
        advanced = played.products(kernel.advanced_from(advance_hz), ways[0], (ADVANCED,))[ADVANCED]
        misfit, unfiltered, rate = _least((plain[ORDER], advanced, plain[RATE], above), played, heard)
        if misfit < least:
            rates = (rate, *(form.even_rate[1:] or (0.0,) * (len(ways) - 1)))
            best = replace(
                form,
                even=(unfiltered, *form.even[1:]),
                even_rate=rates if any(rates) else (),
                even_advance_hz=advance_hz,
            )
            least = misfit
    return best


def _of_upper_ways(played: Played, ways: Sequence[Way], form: Form) -> ComplexArray:
    made = np.zeros(played.top + 1, dtype=np.complex128)
    for number, way in enumerate(ways[1:], 1):
        for kernel in way.kernels:
            if kernel.order == ORDER:
                made += played.product(kernel, form.structure(number, ORDER), way)
    return made


def _least(
    made: tuple[ComplexArray, ComplexArray, ComplexArray, ComplexArray], played: Played, heard: Heard
) -> tuple[float, float, float]:
    """Least misfit, dB, and the shares of the second and third of `made` that have it; of the first is what they leave,
    of the last all.

    A band's power is sum_ij s_i s_j G_ij, G_ij being what parts i and j have in common in it.
    """
    common = np.array([[played.even_power(one, other) for other in made] for one in made])
    shares = np.array(list(itertools.product(SHARES, SHARES)))
    every = np.column_stack([1.0 - shares.sum(axis=1), shares, np.ones(len(shares))])
    power = np.einsum("ci,ijb,cj->cb", every, common, every)
    known = np.isfinite(heard.even_db) & np.isfinite(power[0])
    misfit = np.sqrt(np.mean(np.square(power_to_db(power[:, known]) - heard.even_db[known]), axis=1))
    first = int(np.argmin(misfit))
    return float(misfit[first]), float(shares[first, 0]), float(shares[first, 1])
