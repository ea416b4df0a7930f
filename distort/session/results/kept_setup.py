"""What recordings keep of the set-up they were made in, where session.toml says another by now.

A distance or a name that is corrected later changes no recording, and so no result; whoever corrects one must hear it.
"""

from collections.abc import Sequence
from dataclasses import fields
from typing import Any

from distort.session.plan.keys import Plan
from distort.session.results.condition_results import Findings

NOT_OF_ONE_CONDITION = {"conditions"}


def kept_setup(plan: Plan, found: Sequence[Findings]) -> tuple[str, ...]:
    """One clause for each key of [loudspeaker] and [setup] that recordings were made with another value of."""
    clauses = []
    for section, now in (("loudspeaker", plan.loudspeaker), ("setup", plan.setup)):
        for key in (field.name for field in fields(now) if field.name not in NOT_OF_ONE_CONDITION):
            value = getattr(now, key)
            made_with = {one.condition: getattr(getattr(one, section), key) for one in found}
            other = [name for name, kept in made_with.items() if kept != value]
            if other:
                clauses.append(
                    f"session.toml says {key} = {_spelled(value)}, but {' and '.join(other)} "
                    f"{'was' if len(other) == 1 else 'were'} recorded with {_spelled(made_with[other[0]])}, and the "
                    f"results keep that"
                )
    return tuple(clauses)


def _spelled(value: Any) -> str:
    return f'"{value}"' if isinstance(value, str) else f"{value:g}"
