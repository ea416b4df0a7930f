"""The finding of multitone distortion that the orders of the sweeps do not predict: something with memory acts."""

from collections.abc import Sequence

from distort.analysis.findings.evidence import Evidence
from distort.analysis.findings.finding import Draft, PlaceFound
from distort.analysis.findings.likelihoods import share_right

PROBABILITY = share_right(7, 7)
"""Of 60 random loudspeakers that nobody had looked at: 7 of 20 with a limiter were called so, and none of 40 with
curves alone or a narrow source (tests/STUDIES.md, Distortion with memory). Few, so it is told as no more than that."""


def memory_drafts(evidence: Evidence, found: Sequence[Draft]) -> list[Draft]:
    """One, at the lowest level that shows it; none where no misfit grows, nor where a source of its own was `found`:
    the prediction gives all that is made of an order one structure, and many tones drive a narrow one otherwise."""
    if evidence.prediction is None or evidence.prediction.grown is None:
        return []
    if any("loudspeaker-generated" in (one.explanation, *one.also) for one in found):
        return []
    level, part = evidence.prediction.grown
    low = next(one for one in evidence.prediction.reached if one.fits)
    high, below = level.part(part), low.part(part)
    if high is None or below is None:
        return []
    return [
        Draft(
            explanation="unpredicted-by-orders",
            decided=True,
            probability=PROBABILITY,
            places=(PlaceFound(frequency_hz=high.worst_hz, low_hz=high.low_hz, high_hz=high.high_hz),),
            strength_db=high.excess_db,
            part_of_loudspeaker=True,
            numbers={
                "level_db_spl": level.level_db_spl,
                "fits_at_db_spl": low.level_db_spl,
                "misfit_db": high.misfit_db,
                "misfit_where_it_fits_db": below.misfit_db,
                "above_db": high.excess_db,
                "odd": float(part == "odd"),
            },
        )
    ]
