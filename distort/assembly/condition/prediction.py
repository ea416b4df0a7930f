"""The multitones of a condition, predicted from its sweeps."""

from collections.abc import Mapping

from distort.analysis.common.curves import Harmonics
from distort.analysis.synthesis.kernels import ORDERS, Step, step_of
from distort.analysis.synthesis.predicted import Prediction
from distort.analysis.synthesis.prediction import MultitoneMeasured, predict
from distort.assembly.condition.curves import Curves
from distort.assembly.condition.evidence import order_curves
from distort.assembly.condition.levels import LevelsRead
from distort.recording.reading import LevelRead, SweepLevel
from distort.session.results.foreign_found import Foreign


def prediction_of(read: LevelsRead, curves: Curves, foreign: Foreign) -> Prediction | None:
    """The prediction; None without multitones, or where nobody said how far the volume was turned."""
    measured = [
        MultitoneMeasured(level_db_spl=level, tone=one.tone, turned_db=turned, bands=one.result.bands)
        for level, one in read.multitones.items()
        if (turned := turned_db(one)) is not None
    ]
    steps = steps_of(read.sweeps, curves.harmonics, foreign) if measured else ()
    return predict(steps, measured) if steps else None


def steps_of(
    sweeps: Mapping[float, SweepLevel], harmonics: tuple[Harmonics, ...], foreign: Foreign
) -> tuple[Step, ...]:
    """What the sweeps say of the kernels, a level each, as far as it is known how far the volume was turned."""
    steps = []
    for (level, one), curves in zip(sweeps.items(), harmonics, strict=True):
        turned = turned_db(one)
        if turned is not None:
            orders = order_curves(curves, level, touched=foreign.touched_at(level))
            readable = {each.order: each.readable for each in orders if each.order in ORDERS}
            steps.append(step_of(one.read.separated, turned_db=turned, readable=readable))
    return tuple(steps)


def turned_db(one: LevelRead) -> float | None:
    """By how much the volume was turned up for this level; None: nobody knows."""
    return one.takes[0].sidecar.turned_db
