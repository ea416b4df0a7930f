"""Findings at one place are joined: what leads, what is named beside it, and which rows stand behind both."""

from dataclasses import replace

import pytest

from distort.analysis.findings.finding import Draft, EvidenceRow, PlaceFound
from distort.analysis.findings.together import (
    _at_the_place,
    _made_by_the_third,
    _third_explains,
    one_a_place,
    same_place,
    strongest_first,
)


def place(at_hz: float, *, reach: float = 1.1) -> PlaceFound:
    return PlaceFound(frequency_hz=at_hz, low_hz=at_hz / reach, high_hz=at_hz * reach)


def draft(explanation: str, strength_db: float = 5.0, *, at_hz: float = 1000.0, decided: bool = True, **more) -> Draft:
    given = {"probability": 0.9, "places": (place(at_hz),)} | more
    return Draft(explanation=explanation, decided=decided, strength_db=strength_db, **given)


def row(quantity: str = "h3", *, value_db: float | None = -40.0, level: float = 96.0, rise_db: float = 5.0):
    return EvidenceRow(
        quantity=quantity,
        stimulus="sweep",
        level_db_spl=level,
        frequency_hz=1000.0,
        rise_db=rise_db,
        interval_db=1.0,
        value_db=value_db,
    )


def test_what_changes_with_level_leads_and_then_the_strongest():
    """If it is decided; the list itself goes by strength, what is open last."""
    change, dip, made = draft("compression", 2.0), draft("resonance", 9.0), draft("loudspeaker-generated", 12.0)
    (one,) = one_a_place([dip, made, change])
    assert (one.explanation, one.also, one.strength_db) == ("compression", ("loudspeaker-generated",), 2.0)
    (one,) = one_a_place([made, dip, replace(change, decided=False)])
    assert (one.explanation, one.also) == ("loudspeaker-generated", ("resonance",))
    (one,) = one_a_place([dip, made])
    assert one.explanation == "loudspeaker-generated"
    apart = [draft("resonance", 1.0, at_hz=100.0), draft("undecided", 20.0, at_hz=300.0, decided=False), dip, change]
    assert [each.strength_db for each in strongest_first(apart)] == [9.0, 2.0, 1.0, 20.0]


def test_every_draft_is_in_one_finding_also_one_that_is_equal_to_another():
    here, there = draft("resonance", 3.0), draft("resonance", 3.0, at_hz=3000.0)
    assert one_a_place([here, there, replace(here), replace(there)]) == [here, there]


@pytest.mark.parametrize(
    ("first", "second", "also"),
    [
        ("resonance", "loudspeaker-generated", ("loudspeaker-generated",)),
        ("resonance", "resonance", ()),
        ("product-on-peak", "loudspeaker-generated", ()),
        ("cancellation", "delayed-copy", ()),
        ("cancellation", "loudspeaker-generated", ("loudspeaker-generated",)),
        ("level-dependent-resonance", "expansion", ()),
        ("level-dependent-resonance", "delayed-copy", ("delayed-copy",)),
    ],
)
def test_a_second_cause_is_one_that_the_first_does_not_say_already(first, second, also):
    lead, other = draft(first, 9.0, numbers={"a": 1.0}), draft(second, 3.0, numbers={"a": 2.0, "b": 3.0})
    (one,) = one_a_place([lead, other])
    assert (one.explanation, one.also) == (first, also)
    assert one.numbers == ({"a": 1.0, "b": 3.0} if also else {"a": 1.0})
    (one,) = one_a_place([lead, replace(other, decided=False)])
    assert one.also == ()
    (one,) = one_a_place([replace(lead, decided=False), replace(other, decided=False)])
    assert one.also == ()
    (one,) = one_a_place([replace(lead, also=("heating",)), other])
    assert one.also == ("heating",)


def test_each_row_stands_once_and_the_leaders_own_counts():
    own, other = row(rise_db=7.0), row(rise_db=2.0)
    more = (row("h2"), row("h3", level=86.0))
    (one,) = one_a_place([draft("resonance", 9.0, evidence=(own,)), draft("room", 3.0, evidence=(other, *more))])
    assert {(each.quantity, each.level_db_spl, each.rise_db) for each in one.evidence} == {
        ("h3", 96.0, 7.0),
        ("h2", 96.0, 5.0),
        ("h3", 86.0, 5.0),
    }


def test_a_filter_before_the_source_does_not_saturate():
    """A dip that fills and lies before what distorts expands."""
    (one,) = one_a_place([draft("level-dependent-resonance", 9.0), draft("filter-before-source", 3.0)])
    assert (one.explanation, one.also) == ("expansion", ("filter-before-source",))


def test_a_product_on_a_peak_is_a_resonance_where_the_peak_itself_is():
    """The last of its places; at the others it is what products do."""
    met = draft("product-on-peak", also=("resonance",), places=(place(1500.0), place(1000.0), place(3000.0)))
    assert _at_the_place(draft("compression", at_hz=3000.0), met) == "resonance"
    assert _at_the_place(draft("compression", at_hz=1000.0), met) == "product-on-peak"
    assert _at_the_place(draft("compression", at_hz=3000.0), replace(met, also=())) == "product-on-peak"
    assert _at_the_place(draft("compression"), draft("room")) == "room"


def test_any_two_places_join_findings_but_bands_stay():
    """An octave is a place, more is a band."""
    comb = draft("delayed-copy", places=(place(500.0), place(1500.0)))
    assert same_place(comb, draft("resonance", at_hz=1500.0))
    assert same_place(draft("resonance", at_hz=1500.0), comb)
    assert not same_place(comb, draft("resonance"))
    for reach, joined in ((1.38, True), (1.45, False)):
        wide = draft("compression", places=(place(1000.0, reach=reach),))
        assert same_place(wide, draft("resonance")) is joined
        assert same_place(draft("resonance"), wide) is joined


def test_the_loudest_third_harmonic_explains_a_change():
    """1 + 3 x 10^(-34 / 20) is 0.504 dB: two fifths of 1.26 dB. Without a third or a size nothing is explained."""
    change = draft("compression", numbers={"excess_db": -1.25})
    rows = (
        row(value_db=-60.0),
        row(value_db=-34.0, level=91.0),
        row(value_db=None, level=86.0),
        row("h2", value_db=-3.0),
    )
    source = draft("loudspeaker-generated", evidence=rows)
    for excess_db, explained in ((-1.25, True), (-1.27, False), (1.25, True)):
        sized = replace(change, numbers={"excess_db": excess_db})
        assert _third_explains(sized, source) is explained
        assert _made_by_the_third(sized, source) is explained
    assert not _third_explains(replace(change, numbers={}), source)
    assert not _third_explains(change, replace(source, evidence=rows[-1:]))
    assert not _made_by_the_third(change, replace(source, explanation="resonance"))
    assert _made_by_the_third(replace(change, explanation="expansion"), source)
    (one,) = one_a_place([change, source])
    assert (one.explanation, one.also, len(one.evidence)) == ("loudspeaker-generated", ("compression",), 4)
