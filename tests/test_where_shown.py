"""Where a finding is said to be, whose it is, and what that proves: not listed is not missing."""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.findings.elsewhere import elsewhere
from distort.report.text import where_shown
from distort.report.text.story import opening, proof_words, shown_words, told, undecided_words
from tests.test_page_story import LEVELS, condition, own

RING = {"loose": "the ring loose"}


def louder(results, by_db: float):
    """The same condition, of which every order is so much stronger re the fundamental."""
    curves = tuple(
        replace(each, orders=tuple(replace(one, relative_db=one.relative_db + by_db) for one in each.orders))
        for each in results.harmonics
    )
    return replace(results, harmonics=curves)


def unread(results):
    """The same condition in noise that hides every order."""
    curves = tuple(
        replace(
            each,
            orders=tuple(
                replace(one, noise_db=one.relative_db, doubtful=np.ones(one.doubtful.shape, bool))
                for one in each.orders
            ),
        )
        for each in results.harmonics
    )
    return replace(results, harmonics=curves)


def strikes(word: str = "rattle", *, low_hz: float = 380.0, high_hz: float = 420.0):
    """Something in a band, which no curve of these examples could show elsewhere."""
    place = replace(own().places[0], low_hz=low_hz, high_hz=high_hz)
    numbers = {"level_db_spl": LEVELS[-1], "lowest_level_db_spl": LEVELS[0], "standing_out": 20.0}
    headline = "400 Hz: something rattles"
    return replace(own(), explanation=word, places=(place,), numbers=numbers, evidence=(), headline=headline)


def test_what_is_read_as_strong_elsewhere_is_not_missing_there() -> None:
    conditions = [condition("stand", own()), condition("desk")]
    (one,) = told(conditions, changed={"stand": "the grille off"})
    assert shown_words(one) == "Seen in stand, clearest at 96 dB; about as strong in desk."
    assert (one.not_in, one.only_with, one.belongs_to) == ((), None, "loudspeaker")
    assert opening(conditions, [one])[0].text == "More third harmonic (400 Hz)."


def test_what_noise_hides_elsewhere_is_not_missing_there() -> None:
    (one,) = told([condition("stand", own()), unread(condition("desk"))], changed={"stand": "the grille off"})
    assert shown_words(one) == "Seen in stand, clearest at 96 dB; may be hidden in desk."
    assert (one.not_in, one.only_with, one.belongs_to) == ((), None, "loudspeaker")


def test_what_the_same_loudspeaker_does_not_make_elsewhere_may_be_of_what_it_stands_on() -> None:
    conditions = [condition("stand"), louder(condition("desk", own()), 9.0)]
    (one,) = told(conditions)
    assert shown_words(one) == "Seen in desk, clearest at 96 dB; not found in stand."
    assert (one.belongs_to, undecided_words(one)) == ("open", "whether the loudspeaker or what it stands on makes it")
    # Where a part was changed, in either, it is not the same loudspeaker.
    for name in ("stand", "desk"):
        (changed,) = told(conditions, changed={name: "the ring loose"})
        assert changed.belongs_to == "loudspeaker"


def test_of_three_conditions_each_is_said_what_is_read_there() -> None:
    among = ("stand", "desk", "loose")
    conditions = [
        condition("stand", among=among),
        louder(condition("desk", own(), among=among), 9.0),
        unread(louder(condition("loose", among=among), 9.0)),
    ]
    (one,) = told(conditions, changed={"desk": "the feet off"})
    assert shown_words(one) == "Seen in desk, clearest at 96 dB; may be hidden in loose; not found in stand."
    assert one.only_with is None  # nobody knows of the third
    assert opening(conditions, [one])[0].text == "More third harmonic (400 Hz, not in stand)."


def test_an_event_says_nothing_of_a_condition() -> None:
    event = replace(own(), explanation="event-in-time", part_of_loudspeaker=False, numbers={"level_db_spl": 96.0})
    (one,) = told([condition("stand"), condition("loose", event)], changed=RING)
    assert (one.not_in, one.only_with, one.belongs_to, proof_words(one)) == ((), None, "set-up", "")


@pytest.mark.parametrize(("low_hz", "owner"), [(380.0, "open"), (450.0, "set-up")])
def test_an_event_where_something_strikes_in_another_recording_is_open(low_hz: float, owner: str) -> None:
    event = replace(own(), explanation="event-in-time", part_of_loudspeaker=False, numbers={"level_db_spl": 96.0})
    story = told([condition("stand", strikes(low_hz=low_hz, high_hz=500.0)), condition("loose", event)], changed=RING)
    (one,) = (each for each in story if each.finding.explanation == "event-in-time")
    assert one.belongs_to == owner
    if owner == "open":
        assert undecided_words(one) == "whether something else sounded or the loudspeaker strikes there"


@pytest.fixture
def read_as_silent(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where a condition does not list what strikes, its reading says that nothing does."""

    def read(finding, here, there):
        return "less" if "standing_out" in finding.numbers else elsewhere(finding, here, there)

    monkeypatch.setattr(where_shown, "elsewhere", read)


def test_what_cannot_be_read_elsewhere_is_not_missing_there() -> None:
    """Without a silence there nobody knows what strikes: nothing proves that what was changed makes it."""
    (rattle,) = told([condition("stand"), condition("loose", strikes())], changed=RING)
    assert shown_words(rattle) == "Seen in loose; may be hidden in stand."
    assert (rattle.not_in, rattle.only_with, rattle.belongs_to) == ((), None, "loudspeaker")
    assert proof_words(rattle) == ""


def test_an_order_that_strikes_fall_on_is_where_these_are(read_as_silent: None) -> None:
    """Of uneven strikes every recording has as much on an order as chance gives: here 9 dB more in one of two."""
    order = replace(own(2), evidence=(replace(own().evidence[0], frequency_hz=400.0),))
    conditions = [louder(condition("stand", strikes(), order), 9.0), condition("loose", strikes())]
    rattle, third = told(conditions, changed=RING)
    assert rattle.conditions == ("stand", "loose")
    assert shown_words(third) == "Inside the range of finding 1."
    # Where a condition without strikes shows it, they do not make it.
    both = told([condition("stand", strikes(), order), condition("loose", order)])
    assert [one.inside for one in both] == [None, None]
    # An order that strikes make is whose these are: nobody changed a part.
    desk = louder(condition("desk", replace(strikes(), evidence=order.evidence), order), 9.0)
    assert [one.belongs_to for one in told([condition("stand"), desk])] == ["open", "open"]
    # Beside the band it stands for itself.
    beside = replace(order, evidence=(replace(order.evidence[0], frequency_hz=500.0),))
    conditions = [louder(condition("stand", strikes(), beside), 9.0), condition("loose", strikes())]
    third = next(one for one in told(conditions) if one.finding.evidence)
    assert shown_words(third) == "Seen in stand, clearest at 96 dB; not found in loose."


def test_what_one_condition_decides_is_told_as_it_has_it() -> None:
    opened = replace(own(3), explanation="undecided", decided=False, part_of_loudspeaker=None)
    (one,) = told([condition("stand", opened), condition("desk", own(1))])
    assert (one.finding.decided, one.conditions) == (True, ("desk", "stand"))
    assert one.numbers_in == (("desk", 1), ("stand", 3))
    assert shown_words(one) == "Seen in desk and stand, clearest at 96 dB."
