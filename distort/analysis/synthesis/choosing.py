"""Which ways and structure explain the multitone of one level best: those are tried on the others.

Only the second and third order are tried, which lead among even and odd: every crossover, and in each way every
structure of each. A crossover is looked for, not asked for: what counts is where one mechanism ends.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.synthesis.predicted import MOST_EVEN_DB, MOST_ODD_DB
from distort.analysis.synthesis.products import Played
from distort.analysis.synthesis.structure import STRUCTURES, Structure
from distort.analysis.synthesis.ways import Form, Way, ways_of

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]
BoolArray = npt.NDArray[np.bool_]

CROSSOVERS_HZ = (1000.0, 2000.0, 4000.0)
"""Octaves where crossovers of two ways lie (common practice, no source); half an octave beside one costs about 1 dB
of misfit, of having none where there is one 5 dB (measured on the simulated monitor)."""


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
    return float(np.sum(np.square(counted))), Form(crossover_hz=crossover_hz, even=evens, odd=odds)


def _tried(played: Played, ways: Sequence[Way], order: int) -> Iterator[tuple[tuple[Structure, ...], ComplexArray]]:
    """Every structure of every way, and what all ways together make of that order."""
    nothing = np.zeros(played.top + 1, dtype=np.complex128)
    of_ways = []
    for way in ways:
        kernel = next((one for one in way.kernels if one.order == order), None)
        of_ways.append(dict.fromkeys(STRUCTURES, nothing) if kernel is None else played.products(kernel, way))
    if len(of_ways) == 1:
        yield from (((one,), made) for one, made in of_ways[0].items())
        return
    for one, low in of_ways[0].items():
        for other, high in of_ways[1].items():
            yield (one, other), low + high
