"""Which ways and structure explain the multitone of one level best: those are tried on the others.

Only the second and third order are tried, which lead among even and odd: every crossover, and in each way every
structure of each. A crossover is looked for, not asked for: what counts is where one mechanism ends.
"""

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.synthesis.predicted import MOST_EVEN_DB, MOST_ODD_DB
from distort.analysis.synthesis.products import Played
from distort.analysis.synthesis.structure import AFTER, RATE, Structure
from distort.analysis.synthesis.ways import Form, Way, form_of, ways_of

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]
BoolArray = npt.NDArray[np.bool_]

CROSSOVERS_HZ = (1000.0, 2000.0, 4000.0)
"""Octaves where crossovers of two ways lie (common practice, no source); half an octave beside one costs about 1 dB
of misfit, of having none where there is one 5 dB (measured on the simulated monitor)."""


SHARES = (0.0, 1.0, 0.5, -0.5, 0.25, -0.25, 0.125, -0.125, 0.75, 1.5, -1.0, 2.0)
"""Of an order in which one factor is not filtered, or that is a rate of change, of either sign: in steps of 6 dB and
less (own choice; half a step costs 3 dB where that part alone is heard)."""

PLAIN_SHARES = (0.0, 1.0)
"""Of an upper way, whose kernel spans few octaves, so that mixtures look alike."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Heard:
    """What a multitone of one level showed, dB re the lines, `(bands,)`; NaN where it is not clear of its floor."""

    even_db: FloatArray
    odd_db: FloatArray


def misfit_db(measured_db: FloatArray, predicted_db: FloatArray) -> float:
    """r.m.s. of the difference over the bands of both; NaN where there is none."""
    both = np.isfinite(measured_db) & np.isfinite(predicted_db)
    return float(np.sqrt(np.mean(np.square((measured_db - predicted_db)[both])))) if np.any(both) else float("nan")


def best_form(played: Played, kernels: Mapping[int, ComplexArray], heard: Heard) -> Form:
    """The form of least misfit, each part counted by its limit; one way where two explain nothing better."""
    found = [_of_crossover(played, kernels, heard, crossover) for crossover in (None, *CROSSOVERS_HZ)]
    return min(found, key=lambda each: each[0])[1]


def _of_crossover(
    played: Played, kernels: Mapping[int, ComplexArray], heard: Heard, crossover_hz: float | None
) -> tuple[float, Form]:
    """Misfit and form of the best structures of these ways."""
    ways = ways_of(kernels, crossover_hz)
    even = [(misfit_db(heard.even_db, played.even_db(made)), one) for one, made in _tried(played, ways, 2)]
    odd = [(misfit_db(heard.odd_db, played.odd_db(made)), one) for one, made in _tried(played, ways, 3)]
    (even_db, evens), (odd_db, odds) = (min(each, key=lambda one: np.nan_to_num(one[0])) for each in (even, odd))
    counted = np.nan_to_num([even_db / MOST_EVEN_DB, odd_db / MOST_ODD_DB])
    return float(np.sum(np.square(counted))), form_of(crossover_hz, evens, odds)


def _tried(played: Played, ways: Sequence[Way], order: int) -> Iterator[tuple[tuple[Structure, ...], ComplexArray]]:
    """Every structure of every way, and what all ways together make of that order; of an upper way the plain ones."""
    of_ways = [
        dict(_of_way(played, way, order, SHARES if number == 0 else PLAIN_SHARES)) for number, way in enumerate(ways)
    ]
    for chosen in itertools.product(*of_ways):
        yield chosen, np.asarray(sum(of_way[one] for of_way, one in zip(of_ways, chosen, strict=True)))


def _of_way(played: Played, way: Way, order: int, shares: Sequence[float]) -> Iterator[tuple[Structure, ComplexArray]]:
    kernel = next((one for one in way.kernels if one.order == order), None)
    if kernel is None:
        yield Structure(), np.zeros(played.top + 1, dtype=np.complex128)
        return
    made = played.products(kernel, way, (AFTER, RATE, order - 1, order))
    yield Structure(unfiltered=None), made[AFTER]
    for share in shares:
        yield Structure(unfiltered=share), np.asarray(share * made[order - 1] + (1.0 - share) * made[order])
        if share:
            yield Structure(rate=share), np.asarray(share * made[RATE] + (1.0 - share) * made[order])
