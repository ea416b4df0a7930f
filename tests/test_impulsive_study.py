"""Rattles, buzzes and ports of made loudspeakers in rooms are told, and nothing else is called a rattle."""

import pytest

from tests.impulsive_study import (
    EXPECTED,
    FIRST_REPORTED,
    HARMLESS,
    Told,
    noise_alarms,
    right_share,
    table,
    told,
)

NOISE_SEEDS = 20_000


@pytest.mark.sample
@pytest.mark.parametrize(
    ("seed", "made"), [(FIRST_REPORTED + 1, "rattle"), (FIRST_REPORTED, "buzz"), (FIRST_REPORTED + 2, "port")]
)
def test_a_sample_of_loud_ones_is_told(seed, made) -> None:
    assert told(seed, made).kind == EXPECTED[made]


@pytest.mark.sample
def test_an_amplifier_that_clips_is_no_rattle_although_its_low_end_is_uneven() -> None:
    """Judged by its clearest band, 45 Hz, it was one: some of its octaves' worth of bands are as even as noise."""
    assert set(told(40_038, "clipping").kinds) == {"rub"}


@pytest.mark.sample
@pytest.mark.parametrize("made", ["orders", "door"])
def test_a_sample_of_harmless_ones_is_no_rattle(made) -> None:
    assert "rattle" not in told(FIRST_REPORTED + 2000, made).kinds


@pytest.mark.sample
def test_a_sample_of_noise_does_not_alarm() -> None:
    assert noise_alarms(NOISE_SEEDS, 6)[2] == 0


@pytest.mark.study
def test_of_1000_recordings_of_noise_at_most_ten_alarm() -> None:
    alone, beside, alarms = noise_alarms(NOISE_SEEDS, 1000)
    print(f"\nnoise: z up to {alone:.2f}, with a neighbour {beside:.2f}, {alarms} of 1,000 alarm")
    assert alarms <= 10


@pytest.mark.study
def test_kinds_are_right_in_90_per_cent_of_those_called() -> None:
    """200 of each; a buzz that rings within an octave of 10.5 f is called nothing, since strong orders are no other."""
    found = [told(seed, made) for made in ("rattle", "buzz", "port") for seed in _seeds(FIRST_REPORTED, 200)]
    print(f"\n{table(found)}")
    for made in ("rattle", "buzz", "port"):
        assert right_share([one for one in found if one.made == made]) >= 0.9


@pytest.mark.study
def test_at_most_one_per_cent_of_the_harmless_is_a_rattle() -> None:
    found: list[Told] = [told(seed, made) for made in HARMLESS for seed in _seeds(FIRST_REPORTED + 2000, 60)]
    print(f"\n{table(found)}")
    assert sum("rattle" in one.kinds for one in found) <= 0.01 * len(found)


def _seeds(first: int, count: int) -> range:
    return range(first, first + count)
