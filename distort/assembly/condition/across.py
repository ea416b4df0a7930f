"""What the conditions of a session say together."""

from collections.abc import Sequence

from distort.analysis.findings.across import Measured, across
from distort.errors import SessionError
from distort.session.files.folder import SessionFolder
from distort.session.plan.keys import Plan
from distort.session.results.across_results import write_across
from distort.session.results.condition_results import ConditionResults, read_results


def write_across_conditions(
    folder: SessionFolder, place: SessionFolder, plan: Plan, analysed: Sequence[ConditionResults]
) -> None:
    """Hold the results of all conditions against one another and write what that says.

    folder     the session, which says what is recorded
    place      where its results are written
    analysed   of now; those of other conditions are read as they were written

    Raises SessionError when the folder does not allow it.
    """
    now = {one.findings.condition: one for one in analysed}
    order = plan.setup.conditions
    names = sorted(folder.conditions_recorded(), key=lambda name: order.index(name) if name in order else len(order))
    results = [now.get(name) or _written(place, name) for name in names]
    measured = [_measured(one, plan) for one in results if one is not None and one.findings.findings is not None]
    write_across(place, across(measured))


def _written(place: SessionFolder, condition: str) -> ConditionResults | None:
    """What was written of a condition before; None where that is not there, or not to be trusted."""
    try:
        return read_results(place, condition)
    except SessionError:
        return None


def _measured(one: ConditionResults, plan: Plan) -> Measured:
    condition = one.findings.condition
    return Measured(
        condition=condition,
        findings=one.findings.findings or (),
        levels_db_spl=one.levels_db_spl,
        harmonics=one.harmonics,
        changed=plan.changed(condition),
    )
