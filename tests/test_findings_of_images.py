"""Findings of images that a conversion of the sample rate left, and how an open finding reads."""

from dataclasses import replace

import pytest

from distort.analysis.findings.evidence import Image
from distort.analysis.findings.find import find
from distort.analysis.findings.finding import Draft, PlaceFound
from distort.analysis.findings.words import words as words_of
from distort.analysis.impulsive.impulsive import ImpulsivePlace
from tests.made_evidence import Made, bell


def test_images_of_a_conversion_rise_where_orders_cross_them() -> None:
    """Order n at f = 3900 / (n - 1) and 3900 / (n + 1), as far below the tone at each level."""
    more = {}
    for number in (3, 4, 5):
        images = [bell(3900.0 / (number + side), 9.0, octaves=0.05) for side in (-1, 1)]
        more[number] = lambda f, level, n=number, both=images: (
            sum(one(f) for one in both) * (1.0 + (96.0 - level) * (n - 1.0) / 9.0)
        )
    (one,) = find(Made(more=more, floor_db_spl=-60.0).evidence())
    assert (one.explanation, one.part_of_loudspeaker) == ("conversion-image", False)


def test_images_that_were_heard_decide_what_rises_where_orders_cross_them() -> None:
    """One order at one crossing, 3900 Hz / 3, is left open; images found beside the sweep decide it, also where they
    were found elsewhere alone."""
    image = bell(1300.0, 9.0, octaves=0.05)
    made = Made(more={4: lambda f, level: image(f) * (1.0 + (96.0 - level) * 3.0 / 9.0)}, floor_db_spl=-60.0)
    (opened,) = find(made.evidence())
    assert (opened.decided, opened.explanation) == (False, "undecided")
    heard = Image(difference_hz=3900.0, highest_db=-61.0, touched_hz=())
    (decided,) = find(replace(made.evidence(), images=(heard,)))
    assert (decided.decided, decided.explanation, decided.part_of_loudspeaker) == (True, "conversion-image", False)
    (place,) = decided.places
    assert place.frequency_hz == pytest.approx(1300.0, rel=0.02)
    assert find(replace(Made().evidence(), images=(heard,))) == ()  # it touches nothing
    other = replace(heard, difference_hz=16000.0)  # of 48 and 32 kHz: order 4 meets it at 5333 and 3200 Hz
    assert all(one.explanation != "conversion-image" for one in find(replace(made.evidence(), images=(other,))))


def test_what_an_open_finding_lies_between_reads_as_a_sentence() -> None:
    (one,) = find(
        Made(
            more={4: lambda f, level: bell(1300.0, 9.0, octaves=0.05)(f) * (1.0 + (96.0 - level) / 3.0)},
            floor_db_spl=-60.0,
        ).evidence()
    )
    assert "cannot tell distortion of the loudspeaker's own from images of a sample rate conversion" in one.sentence


@pytest.mark.parametrize(
    ("between", "words"),
    [
        ((), "the data cannot tell the cause."),
        (("cancellation",), "the data cannot tell whether it is two sources that nearly cancel."),
    ],
)
def test_an_open_change_says_what_is_open(between, words) -> None:
    place = PlaceFound(frequency_hz=900.0, low_hz=800.0, high_hz=1000.0)
    draft = Draft(
        explanation="undecided",
        decided=False,
        probability=0.5,
        places=(place,),
        strength_db=3.0,
        numbers={"excess_db": 0.4},
        between=between,
    )
    assert words in words_of(draft, Made().evidence())[1]


def test_what_strikes_in_step_beside_images_is_one_open_finding() -> None:
    """A tone at F + f and one at F - f, alike: their envelope is |cos(2 pi f t)|, which every cycle of f repeats."""
    strikes = tuple(
        ImpulsivePlace(
            level_db_spl=96.0,
            frequency_hz=at_hz,
            low_hz=at_hz / 1.1,
            high_hz=at_hz * 1.1,
            z=5.0,
            regularity=0.62,
            unevenness=0.3,
            spread=1.0,
            kind="rub",
        )
        for at_hz in (63.0, 141.0)
    )
    evidence = replace(Made().evidence(), impulses=strikes)
    assert [one.explanation for one in find(evidence)] == ["rub", "rub"]
    (one,) = find(replace(evidence, images=(Image(difference_hz=3900.0, highest_db=-61.0, touched_hz=()),)))
    assert (one.explanation, one.decided, one.part_of_loudspeaker, len(one.places)) == ("undecided", False, None, 2)
    assert "2 stretches from 57 to 155 Hz" in one.headline
    assert len(one.headline) <= 78
    assert len(one.sentence.split()) <= 45
    assert one.next.text.startswith("Record the level again with nothing that converts")
