"""What the conditions of a session say together."""

from collections.abc import Sequence
from dataclasses import replace

from distort.analysis.common.near_field import highest_near_field_hz
from distort.analysis.common.quantities import Quantity
from distort.analysis.findings.across import across
from distort.analysis.findings.evidence import ChangeCurve
from distort.analysis.findings.measured import Measured, NearField
from distort.assembly.condition.impulsive import IMPULSIVE
from distort.errors import SessionError
from distort.session.files.folder import SessionFolder
from distort.session.plan.keys import NEAR_FIELD, Plan
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
    heard = [name for name in folder.conditions_recorded() if name != plan.analysis.chain_condition]
    names = sorted(heard, key=lambda name: order.index(name) if name in order else len(order))
    results = [now.get(name) or _written(place, name) for name in names]
    measured = [measured_of(one, plan) for one in results if one is not None and one.findings.findings is not None]
    write_across(place, across(measured))


def _written(place: SessionFolder, condition: str) -> ConditionResults | None:
    """What was written of a condition before; None where that is not there, or not to be trusted."""
    try:
        return read_results(place, condition)
    except SessionError:
        return None


def measured_of(one: ConditionResults, plan: Plan) -> Measured:
    """The results of a condition, as they are held against those of others.

    plan   of the session; whether it was in the near field its recordings know
    """
    findings = one.findings
    said = plan.said(findings.condition)
    near_field = None
    if findings.setup.radiation == NEAR_FIELD and plan.of(findings.condition).near_field_of is not None:
        near_field = NearField(
            highest_hz=highest_near_field_hz(said.radius_m, findings.setup.temperature_c),
            radius_known=said.radius_m is not None,
        )
    return replace(curves_measured(one), changed=said.changed, near_field=near_field)


def curves_measured(one: ConditionResults) -> Measured:
    """The results of a condition, without what the plan says of it."""
    return Measured(
        condition=one.findings.condition,
        findings=one.findings.findings or (),
        levels_db_spl=one.levels_db_spl,
        harmonics=one.harmonics,
        response=one.responses[0] if one.responses else None,
        changes=tuple(
            ChangeCurve(
                quantity=Quantity("change", curves.source),
                level_db_spl=each.level_db_spl,
                frequency_hz=curves.frequency_hz,
                change_db=each.change_db,
                uncertainty_db=each.uncertainty_db,
                bias_db=each.bias_db,
            )
            for curves in one.changes
            for each in curves.levels[1:]
        ),
        strikes=one.further.get(IMPULSIVE),
    )
