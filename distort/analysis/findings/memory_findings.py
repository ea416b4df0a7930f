"""The finding of multitone distortion that the orders of the sweeps do not predict: something with memory acts."""

from distort.analysis.findings.evidence import Evidence
from distort.analysis.findings.finding import Draft, PlaceFound
from distort.analysis.findings.likelihoods import share_right

PROBABILITY = share_right(1, 1)


def memory_drafts(evidence: Evidence) -> list[Draft]:
    """One, at the lowest level that shows it; none where no misfit grows."""
    if evidence.prediction is None or evidence.prediction.grown is None:
        return []
    level, part = evidence.prediction.grown
    low = next(one for one in evidence.prediction.judged if one.fits)
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
