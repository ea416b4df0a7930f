"""Which condition of a session a command works on."""

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

from distort.errors import UsageError, did_you_mean, shown

if TYPE_CHECKING:
    from distort.report.figures.drawing import Drawers
    from distort.session.files.folder import SessionFolder
    from distort.session.plan.keys import Plan
    from distort.session.results.condition_results import ConditionResults, Findings


def analysed(
    folder: "SessionFolder", wanted: str | None, *, drawers: "Drawers | None" = None
) -> "tuple[ConditionResults, ...]":
    """Results of the condition `wanted`, or of all that have some, which `drawers` help to read.

    Says on stderr why they may not be what the session holds now. Raises SessionError when nothing was analysed,
    UsageError when `wanted` is not among the conditions that were.
    """
    from distort.errors import SessionError
    from distort.session.results.condition_results import read_results

    folder.require()
    known = folder.conditions_analysed()
    if not known:
        raise SessionError(f"{folder.root} has no results yet: run `distort analyze {folder.root}`")
    if wanted is not None and wanted not in known:
        raise UsageError(
            f"no condition {shown(wanted)} was analysed in {folder.root}{did_you_mean(wanted, known)}: "
            f"there are {', '.join(known)}"
        )
    names = [name for name in known if wanted in (None, name)]
    read = partial(read_results, folder)
    found = in_plan_order([*(map(read, names) if drawers is None else drawers.shared(read, names))])
    say_stale(folder, [one.findings for one in found])
    return found


def recorded_condition(folder: "SessionFolder", wanted: str | None) -> str:
    """`wanted`, or the only condition that has recordings. Raises UsageError where there are several, or none called
    so, SessionError where there is none at all."""
    from distort.errors import SessionError

    recorded = folder.conditions_recorded()
    if not recorded:
        raise SessionError(f"{folder.root} holds no recording: `distort measure {folder.root}` makes some")
    if wanted is None and len(recorded) > 1:
        names = ", ".join(f"{folder.root}:{name}" for name in recorded)
        raise UsageError(f"{folder.root} needs a condition: say which, one of {names}")
    if wanted is not None and wanted not in recorded:
        raise UsageError(
            f"{folder.root} has no recordings of condition {shown(wanted)}{did_you_mean(wanted, recorded)}: there are "
            f"{', '.join(recorded)}"
        )
    return wanted or recorded[0]


def in_plan_order(found: "Sequence[ConditionResults]") -> "tuple[ConditionResults, ...]":
    """Conditions in the order in which the plan named them when they were analysed; those it did not name come last."""
    planned = found[0].findings.setup.conditions if found else ()
    places = {name: place for place, name in enumerate(planned)}
    return tuple(sorted(found, key=lambda one: places.get(one.findings.condition, len(places))))


def say_stale(folder: "SessionFolder", found: "Sequence[Findings]") -> None:
    """Say on stderr why the results may not be what an analysis would give now, so that no old number is published.

    found   what was found, of the conditions in question
    """
    from distort.errors import DistortError
    from distort.report.terminal.console import make_console, say
    from distort.report.text.staleness import stale_clauses
    from distort.session.plan.reading import read_plan
    from distort.session.results.analysed import staleness

    console = make_console(stderr=True)
    try:
        plan = read_plan(folder.root)
        stale = stale_clauses(staleness(folder, plan))
    except DistortError as error:  # what was analysed may be read all the same
        say(console, f"Careful: whether these results are up to date cannot be told. {error}")
        return
    say(console, *(f"Careful: {one}. Run 'distort analyze {folder.root}'." for one in stale))
    say_kept_setup(plan, found)


def say_kept_setup(plan: "Plan", found: "Sequence[Findings]") -> None:
    """Say on stderr where recordings keep a set-up that session.toml no longer states."""
    from distort.report.terminal.console import make_console, say
    from distort.report.text.staleness import kept_setup_clause
    from distort.session.results.kept_setup import kept_setup

    again = "To correct it, add or measure them again"
    say(make_console(stderr=True), *(f"Careful: {kept_setup_clause(one)}. {again}." for one in kept_setup(plan, found)))


def of_the_plan(plan: "Plan", wanted: str | None) -> tuple[str, ...]:
    """`wanted` alone, or all conditions of the plan. Raises UsageError when the plan has no such condition."""
    conditions = plan.setup.conditions
    if wanted is None:
        return conditions
    if wanted not in conditions:
        raise UsageError(
            f"session.toml has no condition {shown(wanted)}{did_you_mean(wanted, conditions)}: "
            f"it has {', '.join(conditions)}; another is added there, under [setup] conditions"
        )
    return (wanted,)
