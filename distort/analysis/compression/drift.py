"""The reference level repeated: after a rest it shows drift, at once it shows heating.

    reference(t) = (1 - w) G_before + w G_after,    w = (t - t_before) / (t_after - t_before)

G are the gains (output less drive, dB) of the first reference and its rested repeats, taken as straight lines over time
between them. Linear drift is so removed exactly; of exponential drift that runs its course during the ladder about a
quarter remains. Hot repeats are reported and never used: taking one off would take away the heating that is to be
shown.
"""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from distort.analysis.compression.curves import Output, Repeat, RepeatChange, Repeated
from distort.analysis.sweep.uncertainty import interval_db

FloatArray = npt.NDArray[np.float64]


def repeat_changes(reference: Output, repeats: Sequence[Repeat]) -> tuple[RepeatChange, ...]:
    """Every repeat against the first reference, in the order of time."""
    return tuple(
        RepeatChange(
            time_s=one.time_s,
            rested=one.rested,
            change_db=one.output.gain_db - reference.gain_db,
            uncertainty_db=interval_db(one.output.variance + reference.variance),
        )
        for one in sorted(repeats, key=lambda repeat: repeat.time_s)
    )


def how_repeated(repeats: Sequence[Repeat]) -> Repeated:
    """Whether the reference was repeated hot, rested, both or not."""
    found: dict[tuple[bool, bool], Repeated] = {
        (False, False): "no",
        (True, False): "hot",
        (False, True): "rested",
        (True, True): "hot and rested",
    }
    return found[any(not one.rested for one in repeats), any(one.rested for one in repeats)]


def drifted_reference(
    reference: Output, repeats: Sequence[Repeat], *, reference_time_s: float, time_s: float
) -> tuple[FloatArray, FloatArray]:
    """Gain of the reference at `time_s` in dB, and the relative variance of its power, `(rows,)` each.

    NaN where no rested repeat was played at that time or later: drift is never extrapolated.
    """
    rested = sorted((one for one in repeats if one.rested), key=lambda repeat: repeat.time_s)
    known = [(reference_time_s, reference), *((one.time_s, one.output) for one in rested)]
    for (before_s, before), (after_s, after) in pairwise(known):
        if before_s <= time_s <= after_s:
            share = (time_s - before_s) / (after_s - before_s) if after_s > before_s else 0.0
            gain_db = (1.0 - share) * before.gain_db + share * after.gain_db
            return gain_db, (1.0 - share) ** 2 * before.variance + share**2 * after.variance
    return np.full_like(reference.level_db, np.nan), np.full_like(reference.level_db, np.nan)


def last_of_kind(changes: Sequence[RepeatChange], rows: int) -> tuple[FloatArray, FloatArray]:
    """Change and uncertainty of the last of some repeats, `(rows,)` each; NaN where there is none."""
    if not changes:
        return np.full(rows, np.nan), np.full(rows, np.nan)
    return changes[-1].change_db, changes[-1].uncertainty_db
