"""Which condition of a session a command works on."""

from typing import TYPE_CHECKING

from distort.commands.parser import nearest
from distort.errors import UsageError

if TYPE_CHECKING:
    from distort.session.files.folder import SessionFolder
    from distort.session.plan.keys import Plan
    from distort.session.results.condition_results import ConditionResults


def analysed(folder: "SessionFolder", wanted: str | None) -> "tuple[ConditionResults, ...]":
    """Results of the condition `wanted`, or of all that have some.

    Says on stderr why they may not be what the session holds now. Raises SessionError when nothing was analysed,
    UsageError when `wanted` is not among the conditions that were.
    """
    from distort.errors import SessionError
    from distort.session.results.condition_results import conditions_analysed, read_results

    folder.require()
    known = conditions_analysed(folder)
    if not known:
        raise SessionError(f"{folder.root} has no results yet: run `distort analyze {folder.root}`")
    if wanted is not None and wanted not in known:
        raise UsageError(
            f"no condition {wanted!r} was analysed in {folder.root}{nearest(wanted, known)}: "
            f"there are {', '.join(known)}"
        )
    found = tuple(read_results(folder, name) for name in known if wanted in (None, name))
    say_doubts(folder)
    return found


def say_doubts(folder: "SessionFolder") -> None:
    """Say on stderr why the results may not be what an analysis would give now, so that no old number is published."""
    from distort.errors import DistortError
    from distort.report.terminal.console import make_console, say
    from distort.session.plan.reading import read_plan
    from distort.session.results.analysed import doubts

    console = make_console(stderr=True)
    try:
        found = doubts(folder, read_plan(folder.root))
    except DistortError as error:  # what was analysed may be read all the same
        say(console, f"Careful: whether these results are up to date cannot be told. {error}")
        return
    say(console, *(f"Careful: {one}. Run 'distort analyze {folder.root}'." for one in found))


def of_the_plan(plan: "Plan", wanted: str | None) -> tuple[str, ...]:
    """`wanted` alone, or all conditions of the plan. Raises UsageError when the plan has no such condition."""
    conditions = plan.setup.conditions
    if wanted is None:
        return conditions
    if wanted not in conditions:
        raise UsageError(
            f"session.toml has no condition {wanted!r}{nearest(wanted, conditions)}: it has {', '.join(conditions)}; "
            f"another is added there, under [setup] conditions"
        )
    return (wanted,)
