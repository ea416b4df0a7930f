"""Which explanation of the orders at a place holds, by joint odds, and whether a curve speaks against it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.findings.explanations.before_source import before_source
from distort.analysis.findings.explanations.fit import Fit, passive
from distort.analysis.findings.explanations.local_source import local_source
from distort.analysis.findings.likelihoods import joint_limit
from distort.analysis.findings.places import Place

FloatArray = npt.NDArray[np.float64]

SOURCE = "loudspeaker-generated"
SHARED = "shared-way"
"""The products leave by the way of the fundamental: dips and peaks of the response at n f are theirs, too."""
OWN = "own-way"
"""They do not."""

BEFORE = "filter-before-source"
"""The dip or peak of the response lies before what distorts."""

BOTH = "filter-before-source, and a source"
"""The same, and something makes more of some orders there besides."""

LEAST_LEFT = 0.2
"""Where an explanation that no order contradicts is at least this probable, those that one contradicts are out."""

MOST_WAY_ODDS = 3.0
"""Natural logarithm: what the way elsewhere says of the way here. Of two drivers one may distort."""


@dataclass(frozen=True, kw_only=True)
class Weighed:
    """How probable each explanation is; those with a source and those without apart."""

    probability: Mapping[str, float]
    """SHARED, OWN and BEFORE: nothing more is made here; SOURCE, and BOTH."""
    source: Fit
    """The better of both ways."""
    best: Fit
    against: tuple[int, ...]
    """Orders that `best` fails to explain, at 1 % over all of them together."""


def weighed(place: Place, *, way_odds: float, source_prior: float, before_prior: float) -> Weighed:
    """All explanations of a place.

    way_odds       natural logarithm of the odds that products leave by the way of the fundamental
    source_prior   probability that something is made here, before it is looked at
    before_prior   that the dip or peak of the response lies before the non-linearity
    """
    shared = 1.0 / (1.0 + np.exp(-np.clip(way_odds, -MOST_WAY_ODDS, MOST_WAY_ODDS)))
    fits: list[tuple[str, float, Fit]] = []
    for alpha, share, name in ((1, shared, SHARED), (0, 1.0 - shared, OWN)):
        rest = (1.0 - source_prior) * (1.0 - before_prior)
        fits.append((name, share * rest, passive(place, name=name, alpha=alpha)))
        fits.append((SOURCE, share * source_prior * (1.0 - before_prior), local_source(place, alpha=alpha)))
        before = before_source(place, alpha=alpha)
        if before is not None and before_prior > 0.0:
            fits.append((BEFORE, share * before_prior * (1.0 - source_prior), before))
            both = local_source(place, alpha=alpha, name=BOTH, drive_db=place.fundamental_db)
            fits.append((BOTH, share * before_prior * source_prior, both))
    logs = np.array([np.log(max(prior, 1e-12)) + fit.log_likelihood for _, prior, fit in fits])
    shares = np.exp(logs - logs.max())
    shares /= shares.sum()
    shares = _without_contradicted(place, [fit for _, _, fit in fits], shares)
    probability: dict[str, float] = {}
    for (name, _, _), value in zip(fits, shares, strict=True):
        probability[name] = probability.get(name, 0.0) + float(value)
    sources = [(value, fit) for (name, _, fit), value in zip(fits, shares, strict=True) if name in (SOURCE, BOTH)]
    best = fits[int(np.argmax(shares))][2]
    return Weighed(
        probability=probability,
        source=max(sources, key=lambda each: each[0])[1],
        best=best,
        against=contradicting(place, best),
    )


def _without_contradicted(place: Place, fits: Sequence[Fit], shares: FloatArray) -> FloatArray:
    """The shares of those that no order contradicts, if they are not too improbable to be put in the others' place."""
    holds = np.array([not contradicting(place, fit) for fit in fits])
    left = float(shares[holds].sum())
    return shares if left < LEAST_LEFT else np.asarray(np.where(holds, shares, 0.0) / left)


def contradicting(place: Place, fit: Fit) -> tuple[int, ...]:
    """Orders that lie further off than chance allows, all of them taken together."""
    limit = joint_limit(len(place.orders))
    return tuple(
        one.order
        for one in place.orders
        if one.order not in fit.source_db
        and abs(one.mean_db - fit.predicted_db[one.order]) > limit * fit.spread_db[one.order]
    )
