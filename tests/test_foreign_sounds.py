"""What sounds at a time is told from what the loudspeaker makes: on devices made of their physics."""

import pytest

from tests.foreign_study import FIRST_REPORTED, TAPS, Told, converted, table, with_and_without, without


def test_the_sample_of_events_is_told_and_nothing_else() -> None:
    """Quiet loudspeakers with another take: nothing is hard to hear there."""
    seed = FIRST_REPORTED + 4  # another take, no noise of its own
    (clean, heard) = with_and_without(seed)
    assert (clean.situation, clean.own) == ("another take", "nothing")
    assert (clean.told, heard.told) == (False, True)


@pytest.mark.sample
@pytest.mark.parametrize("seed", range(FIRST_REPORTED + 500, FIRST_REPORTED + 504))
def test_what_the_loudspeaker_makes_itself_is_not_told(seed: int) -> None:
    """Rattles, buzzes, ports, rubbing coils and clipping: of 200 in the study at most 2 are told."""
    assert not without(seed).told


@pytest.mark.sample
def test_a_sample_of_events() -> None:
    """8 of the 200 of the study; 6 are told with a probability of 99 % where 95 % are."""
    found = [one for seed in range(FIRST_REPORTED, FIRST_REPORTED + 8) for one in with_and_without(seed)]
    assert sum(one.told for one in found if one.event != "none") >= 6
    assert sum(one.told for one in found if one.event == "none") <= 1


@pytest.mark.study
def test_events_are_told_and_own_noise_is_not() -> None:
    """200 recordings with an event, 200 without, and 200 more of loudspeakers with noise of their own."""
    found: list[Told] = []
    for seed in range(FIRST_REPORTED, FIRST_REPORTED + 200):
        found += with_and_without(seed)
    print(f"\nevents in time:\n{table(found)}")
    more = [without(seed) for seed in range(FIRST_REPORTED + 500, FIRST_REPORTED + 700)]
    print(f"own noise alone:\n{table(more)}")
    with_event = [one for one in found if one.event != "none"]
    assert sum(one.told for one in with_event) >= 0.95 * len(with_event)
    for each in ([one for one in found if one.event == "none"], more):
        assert sum(one.told for one in each) <= 0.01 * len(each)


def test_a_sample_of_conversions_is_told() -> None:
    taps, poor, clean = converted(FIRST_REPORTED + 3)
    assert (taps, poor, clean) == (12, True, False)


@pytest.mark.study
def test_poor_conversions_are_told_and_good_recordings_are_not() -> None:
    """100 recordings with images of a conversion 48 to 44.1 to 48 kHz or the other way round, and without."""
    found = [converted(seed) for seed in range(FIRST_REPORTED, FIRST_REPORTED + 100)]
    print("\nconversion images, told with and without:")
    for taps in TAPS:
        of_taps = [(poor, clean) for each, poor, clean in found if each == taps]
        poor_told, clean_told = (sum(each) for each in zip(*of_taps, strict=True))
        print(f"    {taps:2d} samples: {poor_told} of {len(of_taps)}, {clean_told} of {len(of_taps)}")
    assert sum(poor for _, poor, _ in found) >= 95
    assert sum(clean for _, _, clean in found) == 0
