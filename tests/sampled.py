"""Values of a parameter of which a few run always and the others where samples are asked for."""

from collections.abc import Iterable

import pytest


def sampled(values: Iterable[object], *, always: int = 1) -> list[object]:
    """`values` for `pytest.mark.parametrize`, all but the first few marked `sample`; a tuple is several arguments."""
    given = [one if isinstance(one, tuple) else (one,) for one in values]
    return [pytest.param(*one, marks=() if place < always else pytest.mark.sample) for place, one in enumerate(given)]
