"""Whether what is called distortion with memory is that: of loudspeakers with a limiter and of curves alone."""

import pytest

from tests.memory_study import LIMITER, judged, table


@pytest.mark.study
def test_what_is_called_memory_is_a_limiter() -> None:
    """Truth: which of them have a limiter. None of the seeds was looked at when the rule was made."""
    found = [judged(seed) for seed in range(1000, 1060)]
    print(f"\n{table(found)}")
    assert not any(one.called for one in found if one.kind != LIMITER)
    assert sum(one.called for one in found if one.kind == LIMITER) > 3
