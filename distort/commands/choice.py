"""What the words of `distort measure` choose of the plan."""

import argparse
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from distort.capture.measuring.starting import Choice


def choice_of(arguments: argparse.Namespace, condition: str) -> "Choice":
    """What the user wants measured in a condition."""
    from distort.capture.measuring.starting import Choice

    return Choice(
        condition=condition,
        only=arguments.only,
        again=arguments.again,
        repositioned=arguments.repositioned,
        relevel=arguments.relevel,
        past_limiting=arguments.past_limiting,
    )
