"""What recordings keep of the set-up they were made in, where session.toml says another by now.

A distance or a name that is corrected later changes no recording, and so no result; whoever corrects one must hear it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields

from distort.session.plan.keys import Plan
from distort.session.results.condition_results import Findings

NOT_OF_ONE_CONDITION = {"conditions"}


@dataclass(frozen=True, kw_only=True)
class KeptSetup:
    """One key of [loudspeaker] or [setup] that recordings were made with another value of."""

    key: str
    now: str | float
    """What session.toml says."""
    recorded: str | float
    """What the first of `conditions` was recorded with."""
    conditions: tuple[str, ...]


def kept_setup(plan: Plan, found: Sequence[Findings]) -> Iterator[KeptSetup]:
    """Every such key, in the order of the plan."""
    for section, now in (("loudspeaker", plan.loudspeaker), ("setup", plan.setup)):
        for key in (field.name for field in fields(now) if field.name not in NOT_OF_ONE_CONDITION):
            value = getattr(now, key)
            made_with = {one.condition: getattr(getattr(one, section), key) for one in found}
            other = tuple(name for name, kept in made_with.items() if kept != value)
            if other:
                yield KeptSetup(key=key, now=value, recorded=made_with[other[0]], conditions=other)
