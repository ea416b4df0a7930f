"""Warnings that say the same of many recordings: told once, with how many there are."""

import re
from collections.abc import Callable, Sequence
from typing import TypeVar

MOST_TOLD = 2
"""Like warnings that are still told one by one; of more, the first with their number."""

_NUMBERS = re.compile("[-+\N{MINUS SIGN}]?[0-9]+(?:[.,][0-9]+)*")

One = TypeVar("One")


def is_alike(sentence: str) -> str:
    """What a sentence says apart from its numbers: two that give the same are like warnings."""
    return _NUMBERS.sub("#", sentence)


def alike(warnings: Sequence[One], says: Callable[[One], str]) -> list[list[One]]:
    """`warnings` in their order, like ones put together where they are more than MOST_TOLD; the others alone.

    says   the words of one, without the name of what it is about
    """
    groups: dict[str, list[One]] = {}
    for one in warnings:
        groups.setdefault(is_alike(says(one)), []).append(one)
    together = [[group] if len(group) > MOST_TOLD else [[one] for one in group] for group in groups.values()]
    return [part for parts in together for part in parts]


OF_THE_FIRST = "The numbers are those of the first: 'distort show FOLDER quality' lists each."
"""Said behind like warnings that are told once."""


def and_more(names: Sequence[str]) -> str:
    """The first name, and how many more there are: "sweep_81dB and 9 more"."""
    return names[0] if len(names) == 1 else f"{names[0]} and {len(names) - 1} more"


def and_more_like(sentences: Sequence[str]) -> str:
    """The first of sentences that say alike, and how many say the same of others."""
    return sentences[0] if len(sentences) == 1 else f"{sentences[0]} ({len(sentences) - 1} more like this.)"
