"""Holds what a session's findings say against its own tables, and returns every sentence that a table contradicts.

Written from the form of findings.json and the physics of each word, without a look at how findings are made. Where it
cannot tell, it says nothing: what it returns is wrong beyond the intervals that the tables state.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.families import held_changes, held_form, held_orders, held_others
from tests.families.tables import Condition, Results

Finding = dict[str, Any]


@dataclass(frozen=True, kw_only=True)
class Contradiction:
    """A finding, or a pair of them, and what speaks against it."""

    condition: str
    number: int
    """Of the finding, 0 where it is the list as a whole."""
    rule: str
    """A short name of what was looked at."""
    text: str


OF_ONE: dict[str, Callable[[Finding, Condition], Iterator[str]]] = {
    "form": held_form.form,
    "length": held_form.lengths,
    "command": held_form.command,
    "change": held_changes.change,
    "heating": held_changes.heating,
    "generated": held_orders.generated,
    "sweep lengths": held_orders.sweep_lengths,
    "image": held_others.image,
    "audible": held_others.audible,
}
"""Each looks at one finding with the tables of its condition, and yields a sentence a contradiction."""

OF_PAIRS: dict[str, Callable[[Finding, Finding], Iterator[str]]] = {
    "one place": held_form.one_place,
    "common n f": held_orders.common_product,
}
"""Each looks at two findings of one condition."""

ACROSS: dict[str, Callable[[Finding, Condition, Results], Iterator[str]]] = {
    "multitone": held_others.multitone,
    "event": held_others.event,
}
"""Each looks at one finding with all conditions of the session, and its stimuli."""


def contradictions(root: Path) -> tuple[Contradiction, ...]:
    """All that contradict the tables of the session in `root`, its conditions by name and their findings in order."""
    results = Results(root)
    return tuple(one for condition in results.conditions.values() for one in _of_condition(condition, results))


def _of_condition(condition: Condition, results: Results) -> Iterator[Contradiction]:
    findings = condition.findings
    for finding in findings:
        found = {rule: look(finding, condition) for rule, look in OF_ONE.items()}
        found |= {rule: look(finding, condition, results) for rule, look in ACROSS.items()}
        for rule, texts in found.items():
            for text in texts:
                yield Contradiction(condition=condition.name, number=int(finding["number"]), rule=rule, text=text)
    for place, finding in enumerate(findings):
        for other in findings[place + 1 :]:
            for rule, pair in OF_PAIRS.items():
                for text in pair(finding, other):
                    yield Contradiction(condition=condition.name, number=int(other["number"]), rule=rule, text=text)
