"""From the parts of a rise to its cause: which explanation is how probable, given the scatter of the curves.

Four explanations are weighed: the product leaves by its own way (alpha 0) or by that of the fundamental (alpha 1), and
the source makes nothing of its own here (S = 0 but for scatter) or something (S anywhere from LEAST_MADE_DB to
MOST_MADE_DB, all equally probable beforehand). What the ripple away from the place says about alpha comes in as a prior
probability. Bayes' rule does the rest; where no cause reaches DECIDED the answer is that the data cannot tell.
"""

import math
from dataclasses import dataclass

import numpy as np
import scipy

from distort.analysis.coincidences.faults import Cause
from distort.analysis.coincidences.split import CLEAR_DB, Split

LEAST_RISE_DB = 1.5
RISE_SCATTERS = 1.4
"""How many standard deviations a rise must stand out of its curve's own roughness."""

LEAST_MADE_DB, MOST_MADE_DB = 2.0, 20.0
MADE_BEFOREHAND = 0.35
"""Probability that a source makes something of its own at a place, before it is looked at (own choice)."""

EXTRA_DB = 0.4
"""Standard deviation of S besides that of the curve: flanks, and the place itself, are never known exactly."""

FLANKS_SHARE = 1.1
"""The flanks scatter, too."""

DECIDED = 0.7

LEAST_EXPLAINED_DB = 1.0
"""Fundamental and way out together make a rise from here on."""

LEAST_NAMED_DB = 4.5
"""What a rise is put down to is at least this large, or nothing is named: ripple of 1.5 dB reaches it at few places."""

HIDDEN_DB, HIDDEN_SCATTERS, HIDDEN_PROBABILITY = 4.0, 3.0, 0.9
"""What the source makes where no rise is seen must be this large, this far out of the roughness, and this probable."""


@dataclass(frozen=True, kw_only=True)
class Weighed:
    """The cause, and how probable each was."""

    cause: Cause
    probability: float
    alpha: float
    """0 or 1: under which the most probable explanation stands."""


def risen(split: Split) -> bool:
    """Whether the reading rises by a decibel and a half, and above the roughness of its curve."""
    return split.raw_rise_db >= max(LEAST_RISE_DB, RISE_SCATTERS * split.rise_scatter_db)


def source_db(split: Split, alpha: float) -> float:
    """S."""
    return split.product_db - alpha * split.response_there_db


def worth_weighing(split: Split) -> bool:
    """Whether there is a rise, or one that a dip at n f may hide, whatever the way out."""
    return risen(split) or (split.response_there_db < 0.0 and source_db(split, 1.0) >= HIDDEN_DB)


def cause_of_rise(split: Split) -> Weighed | None:
    """The cause of a rise of distortion; None where there is no rise to speak of, not even one that a dip hides."""
    if not split.margin_db >= CLEAR_DB:  # without a floor nothing is put down to the loudspeaker either
        if not risen(split):
            return None
        if split.raw_rise_db < LEAST_NAMED_DB or math.isnan(split.margin_db):
            return Weighed(cause="undecided", probability=1.0, alpha=0.0)
        # a floor stays where it is: what rises together with the fundamental is not the floor
        cause: Cause = "noise" if split.fundamental_db > -LEAST_EXPLAINED_DB else "undecided"
        return Weighed(cause=cause, probability=1.0, alpha=0.0)
    weighed = _weighed(split)
    if risen(split) or (weighed is not None and _hidden(split, weighed)):
        return weighed
    return None


def _hidden(split: Split, weighed: Weighed) -> bool:
    """Whether the source clearly makes more here, although a dip at n f takes it away again."""
    if weighed.cause != "made-here" or weighed.probability < HIDDEN_PROBABILITY or weighed.alpha == 0.0:
        return False
    scatter_db = split.source_scatter_db[1]
    return source_db(split, 1.0) >= max(HIDDEN_DB, HIDDEN_SCATTERS * scatter_db) and split.response_there_db < 0.0


def _weighed(split: Split) -> Weighed | None:
    weights: dict[tuple[Cause | None, float], float] = {}
    for alpha, prior in ((0.0, 1.0 - split.way.shared_probability), (1.0, split.way.shared_probability)):
        nothing, something = _likelihoods(split, alpha)
        weights["made-here", alpha] = prior * MADE_BEFOREHAND * something
        passive = _passive(split, alpha)
        weights[passive, alpha] = prior * (1.0 - MADE_BEFOREHAND) * nothing
    total = sum(weights.values()) + 1e-300
    probable: dict[Cause | None, float] = {}
    for (cause, _), weight in weights.items():
        probable[cause] = probable.get(cause, 0.0) + weight / total
    best = max(probable, key=lambda cause: probable[cause])
    if best is None:
        return None
    alpha = max((0.0, 1.0), key=lambda one: weights.get((best, one), 0.0))
    decided = probable[best] >= DECIDED and _large(split, best, alpha)
    return Weighed(cause=best if decided else "undecided", probability=probable[best], alpha=alpha)


def _large(split: Split, cause: Cause, alpha: float) -> bool:
    """Whether the part that gives a cause its name is no ripple.

    Where the fundamental rises (-F) the tone may be louder before the non-linearity, and what is made of it rises n
    times as much: however large that is, it is no more remarkable than the rise of the fundamental.
    """
    if cause == "made-here":
        return not -LEAST_NAMED_DB < split.fundamental_db < -LEAST_EXPLAINED_DB
    return max(split.fundamental_db, alpha * split.response_there_db) >= LEAST_NAMED_DB


def _passive(split: Split, alpha: float) -> Cause | None:
    """The cause if the source makes nothing of its own here; None where fundamental and way out explain no rise."""
    way_db = alpha * split.response_there_db
    if split.fundamental_db + way_db < LEAST_EXPLAINED_DB:
        return None
    return "weak-fundamental" if split.fundamental_db >= way_db else "response-peak"


def _likelihoods(split: Split, alpha: float) -> tuple[float, float]:
    """Density of the S that was found if the source makes nothing here, and if it makes something."""
    made_db = source_db(split, alpha)
    scatter_db = float(np.hypot(FLANKS_SHARE * split.source_scatter_db[int(alpha)], EXTRA_DB))
    nothing = np.exp(-0.5 * (made_db / scatter_db) ** 2) / (np.sqrt(2.0 * np.pi) * scatter_db)
    low, high = (made_db - MOST_MADE_DB) / scatter_db, (made_db - LEAST_MADE_DB) / scatter_db
    something = (scipy.special.ndtr(high) - scipy.special.ndtr(low)) / (MOST_MADE_DB - LEAST_MADE_DB)
    return float(nothing), float(something)
