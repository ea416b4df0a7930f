"""What recordings keep of the set-up they were made in, where session.toml says another by now.

A distance or a name that is corrected later changes no recording, and so no result; whoever corrects one must hear it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields

from distort.session.plan.keys import Loudspeaker, Plan, Setup
from distort.session.results.condition_results import Findings

NOT_OF_ONE_CONDITION = {"conditions"}


@dataclass(frozen=True, kw_only=True)
class KeptSetup:
    """One key of [loudspeaker] or [setup] that recordings were made with another value of."""

    key: str
    now: str | float
    """What session.toml says."""
    recorded: str | float
    """What `conditions` were recorded with."""
    conditions: tuple[str, ...]


def kept_setup(plan: Plan, found: Sequence[Findings]) -> Iterator[KeptSetup]:
    """Every such key, in the order of the plan."""
    for section in (Loudspeaker, Setup):
        for key in (field.name for field in fields(section) if field.name not in NOT_OF_ONE_CONDITION):
            alike: dict[tuple[str | float, str | float], list[str]] = {}
            for one in found:
                now, kept = (getattr(_section(each, section), key) for each in (plan.of(one.condition), one))
                if kept != now:
                    alike.setdefault((now, kept), []).append(one.condition)
            for (now, kept), names in alike.items():
                yield KeptSetup(key=key, now=now, recorded=kept, conditions=tuple(names))


def _section(of: Plan | Findings, section: type[Loudspeaker] | type[Setup]) -> Loudspeaker | Setup:
    return of.loudspeaker if section is Loudspeaker else of.setup
