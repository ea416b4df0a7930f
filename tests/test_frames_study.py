"""What takes level is told of random limiters, curves and coils in rooms, and nothing is told of noise."""

import pytest

from tests.frames_study import FIRST_NOISE, FIRST_REPORTED, LIMITS, errors, linear_in_noise, table, told


@pytest.mark.sample
@pytest.mark.parametrize("seed", range(FIRST_REPORTED, FIRST_REPORTED + 4))
def test_a_sample_is_told(seed) -> None:
    """One of each kind; limits as the study has them."""
    found = told(seed)
    assert not found.called or found.right
    for name, off in errors([found]).items():
        assert all(off <= LIMITS[name]), name


@pytest.mark.sample
def test_a_sample_of_noise_tells_nothing() -> None:
    assert not any(linear_in_noise(seed).called for seed in range(FIRST_NOISE, FIRST_NOISE + 3))


@pytest.mark.study
def test_of_200_devices_90_per_cent_of_those_called_are_right() -> None:
    found = [told(seed) for seed in range(FIRST_REPORTED, FIRST_REPORTED + 200)]
    print(f"\n{table(found)}")
    called = [one for one in found if one.called]
    assert len(called) >= 0.8 * len(found)
    assert sum(one.right for one in called) >= 0.9 * len(called)
    for name, off in errors(found).items():
        assert sum(off <= LIMITS[name]) >= 0.95 * off.size, name


@pytest.mark.study
def test_of_100_linear_loudspeakers_in_noise_none_is_called() -> None:
    found = [linear_in_noise(seed) for seed in range(FIRST_NOISE, FIRST_NOISE + 100)]
    print(f"\n{table(found)}")
    assert not any(one.called for one in found)
