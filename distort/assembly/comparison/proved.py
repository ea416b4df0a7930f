"""What two conditions of one session prove of its findings, where one was changed or is in the near field."""

from distort.analysis.findings.across import FindingAcross, across
from distort.assembly.comparison.side import Side
from distort.assembly.condition.across import measured_of
from distort.session.plan.reading import read_plan
from distort.session.results.condition_results import read_results


def proved(a: Side, b: Side) -> tuple[FindingAcross, ...]:
    """Findings of the two of which something is proved, each held against the first condition of the plan.

    Both have results. Raises SessionError where those of the first condition cannot be read, PlanError for the plan.
    """
    if a.folder.root.resolve() != b.folder.root.resolve():
        return ()
    folder, plan = a.folder, read_plan(a.folder.root)
    wanted = {a.condition, b.condition}
    if a.plan.main in folder.conditions_analysed():
        wanted.add(a.plan.main)
    names = [name for name in plan.setup.conditions if name in wanted]
    measured = [measured_of(read_results(folder, name), plan) for name in names]
    return tuple(one for one in across(measured) if one.verdict is not None)
