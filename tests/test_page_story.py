"""The story of the page: every finding once, whose it is, the sentences that the page begins with, and what a
comparison proves."""

from dataclasses import replace

import pytest

from distort.analysis.findings.across import FindingAcross, same_finding
from distort.report.page.what_was_found import chapters
from distort.report.text import where_shown
from distort.report.text.comparison_proof import proof
from distort.report.text.overview import WorstThd
from distort.report.text.story import (
    cause_words,
    confirm_words,
    opening,
    proof_words,
    shown_words,
    told,
    undecided_words,
)
from tests.page_examples import whole_results, with_findings
from tests.test_fault_changes import RISE

LEVELS = (86.0, 96.0)


def condition(name: str, *findings, among=("stand", "desk")):
    plain = whole_results(name, levels=LEVELS, conditions=among)
    return replace(plain, findings=replace(plain.findings, findings=findings))


def own(number: int = 1, frequency_hz: float = 400.0):
    """Distortion of the loudspeaker's own."""
    place = replace(RISE.places[0], frequency_hz=frequency_hz, low_hz=0.9 * frequency_hz, high_hz=1.1 * frequency_hz)
    headline = f"{frequency_hz:.0f} Hz: more third harmonic"
    return replace(
        RISE,
        number=number,
        explanation="loudspeaker-generated",
        part_of_loudspeaker=True,
        places=(place,),
        headline=headline,
    )


def test_a_finding_of_two_conditions_is_told_once_with_its_number_in_each() -> None:
    (one,) = told([condition("stand", own(1)), condition("desk", own(3, 410.0))])
    assert one.conditions == ("stand", "desk")
    assert one.not_in == ()
    assert one.numbers_in == (("stand", 1), ("desk", 3))
    assert shown_words(one) == "Seen in stand and desk, clearest at 96 dB."


def test_a_condition_that_was_never_as_loud_does_not_lack_a_finding() -> None:
    """RISE is clearest at the highest of LEVELS; what was only played more quietly cannot tell of it."""
    quiet = whole_results("loose", levels=LEVELS[:1], conditions=("stand", "desk", "loose"))
    (one,) = told([condition("desk", RISE), replace(quiet, findings=replace(quiet.findings, findings=()))])
    assert one.not_in == ()
    assert one.belongs_to == "open"
    (one,) = told([condition("desk", RISE), condition("stand")])
    assert one.not_in == ("stand",)
    tones = replace(RISE.evidence[0], quantity="multitone_odd", stimulus="multitone", level_db_spl=LEVELS[1])
    silent = condition("stand")
    fewer = replace(silent.findings, multitones=silent.findings.multitones[:1])
    silent = replace(silent, findings=fewer, multitones=silent.multitones[:1])
    (one,) = told([condition("desk", replace(RISE, evidence=(tones,))), silent])
    assert one.not_in == ()


def test_two_findings_of_one_condition_are_two_however_alike() -> None:
    story = told([condition("stand", own(1), own(2, 405.0))])
    assert [one.numbers_in for one in story] == [(("stand", 1),), (("stand", 2),)]
    assert [one.anchor for one in story] == ["finding-1", "finding-2"]


@pytest.mark.parametrize(
    ("changed", "elsewhere", "owner"),
    [
        ({}, True, "set-up"),  # a reflection that the other condition lacks
        ({}, False, "open"),  # nobody looked elsewhere
        ({"explanation": "product-on-peak"}, True, "open"),  # its absence elsewhere may have other reasons
        ({"explanation": "room"}, False, "set-up"),
        ({"part_of_loudspeaker": True}, True, "loudspeaker"),
        ({"part_of_loudspeaker": False}, False, "set-up"),
        ({"part_of_loudspeaker": True, "decided": False}, False, "open"),
    ],
)
def test_whose_a_finding_is(changed, elsewhere, owner) -> None:
    finding = replace(RISE, **changed)
    others = [condition("stand")] if elsewhere else []
    (one,) = told([*others, condition("desk", finding)])
    assert one.belongs_to == owner


def test_a_reflection_of_every_condition_may_be_the_loudspeakers() -> None:
    (one,) = told([condition("stand", RISE), condition("desk", RISE)])
    assert one.belongs_to == "open"


def test_the_loudspeakers_own_come_first_and_numbers_follow() -> None:
    story = told([condition("stand"), condition("desk", RISE, own(2))])
    assert [(one.number, one.belongs_to) for one in story] == [(1, "loudspeaker"), (2, "set-up")]


def test_the_opening_says_whose_is_what_and_leads_there() -> None:
    conditions = [condition("stand", own(1)), condition("desk", own(2), RISE)]
    loudspeaker, setup, caution = opening(conditions, told(conditions))
    assert loudspeaker.text == "More third harmonic (400 Hz)."
    assert [number for _, number in loudspeaker.parts if number] == [1]
    assert setup.text == "A reflection dips the fundamental (1 kHz, in desk only)."
    assert "THD is stated relative to the fundamental" in caution.text


def test_more_findings_than_a_sentence_holds_are_counted() -> None:
    conditions = [condition("stand", *(own(number, 100.0 * 2.0**number) for number in range(1, 6)))]
    loudspeaker, setup, _ = opening(conditions, told(conditions))
    assert loudspeaker.text.endswith("; and 2 more: 4, 5.")
    assert [number for _, number in loudspeaker.parts if number] == [1, 2, 3, 4, 5]
    assert setup.text == "Nothing that was found is known to be theirs."


def test_the_first_of_every_condition_comes_before_the_second_of_any() -> None:
    conditions = [
        condition("stand", *(own(number, 100.0 * 2.0**number) for number in range(1, 6))),
        condition("loose", own(1, 12800.0), own(2, 200.0)),
    ]
    loudspeaker, _, _ = opening(conditions, told(conditions))
    assert loudspeaker.text == (  # the curves of both are the same, so neither lacks what it does not list
        "More third harmonic (200 Hz); more third harmonic (12800 Hz); more third harmonic (400 Hz); "
        "and 3 more: 4, 5, 6."
    )


def test_results_from_before_there_were_findings_say_so() -> None:
    plain = whole_results("desk", levels=LEVELS, conditions=("desk",))
    loudspeaker, *_ = opening([plain], told([plain]))
    assert loudspeaker.text.endswith("the recordings must be analysed again.")
    nothing = [condition("desk")]
    assert opening(nothing, told(nothing))[0].text == "Nothing in its distortion or compression stands out."


def test_the_opening_warns_of_a_missing_noise_floor_and_of_a_room() -> None:
    (plain,) = [condition("desk", replace(RISE, decided=False))]
    unknown = tuple(
        replace(each, orders=tuple(replace(one, noise_db=one.noise_db * float("nan")) for one in each.orders))
        for each in plain.harmonics
    )
    setup = replace(plain.findings.setup, radiation="room", distance_m=2.0)
    bare = replace(plain, harmonics=unknown, findings=replace(plain.findings, setup=setup))
    *_, caution = opening([bare], told([bare]))
    assert "No noise floor is known" in caution.text
    assert "at one point in a room, 2 m away, without a time gate" in caution.text
    assert "Undecided of finding 1: the cause." in caution.text
    assert "No noise floor" not in opening([plain], ())[2].text


def test_what_a_part_makes_is_proven_by_the_conditions_without_it(monkeypatch) -> None:
    monkeypatch.setattr(
        where_shown, "elsewhere", lambda finding, *_: "less" if finding.explanation == "rattle" else "hidden"
    )
    rattle = replace(own(1), explanation="rattle", evidence=(), numbers={"level_db_spl": LEVELS[-1]})
    conditions = [condition("stand"), condition("loose", rattle)]
    (one,) = told(conditions, changed={"loose": "the ring loose"})
    assert one.only_with == "the ring loose"
    assert proof_words(one) == "Not found without it, in stand: what was changed makes it."
    assert confirm_words(one) == ""
    assert opening(conditions, [one])[0].text == "More third harmonic (400 Hz, only with the ring loose)."
    # Nobody said what was changed, or no other condition was measured: nothing is proven.
    for (unsaid,) in (told(conditions), told(conditions[1:], changed={"loose": "the ring loose"})):
        assert unsaid.only_with is None
        assert proof_words(unsaid) == ""
        assert confirm_words(unsaid) == rattle.next.text
    # A harmonic that is not found elsewhere proves nothing: it may be hidden there.
    (harmonic,) = told([condition("stand"), condition("loose", own(1))], changed={"loose": "the ring loose"})
    assert proof_words(harmonic) == ""


def test_what_the_same_loudspeaker_lacks_elsewhere_needs_nothing_to_confirm_it() -> None:
    (one,) = told([condition("stand"), condition("desk", RISE)])
    assert proof_words(one) == "Not found in stand, where the loudspeaker is the same."
    assert confirm_words(one) == ""
    (alone,) = told([condition("desk", RISE)])
    assert (proof_words(alone), confirm_words(alone)) == ("", RISE.next.text)


def test_what_is_undecided_is_said() -> None:
    (alone,) = told([condition("desk", RISE)])
    assert undecided_words(alone) == "whether the loudspeaker or the room makes it"
    (unclear,) = told([condition("desk", replace(RISE, decided=False))])
    assert undecided_words(unclear) == "the cause"
    (ours,) = told([condition("desk", own(1))])
    assert undecided_words(ours) == ""


def test_what_would_confirm_two_findings_is_said_once() -> None:
    conditions = [condition("stand", own(1), own(2, 1600.0))]
    (chapter,) = chapters(told(conditions), conditions, sounds={})
    said = [dict(one.facts)["To confirm"] for one in chapter.articles]
    assert said == [own(1).next.text, "As for finding 1."]


def test_a_place_that_moves_with_the_level_is_one_finding() -> None:
    """Twice the travel lowers the frequency at which it ends: each place lies in the other's band, 0.33 octaves off."""

    def falls_short(at_hz: float, low_hz: float, high_hz: float):
        place = replace(RISE.places[0], frequency_hz=at_hz, low_hz=low_hz, high_hz=high_hz)
        return replace(own(1), explanation="compression", places=(place,), numbers={"excess_db": -0.5})

    loud, quiet = falls_short(59.6, 46.0, 72.9), falls_short(47.3, 36.5, 61.3)
    assert same_finding(loud, quiet)
    assert not same_finding(loud, falls_short(47.3, 36.5, 59.5))
    assert not same_finding(loud, replace(quiet, explanation="limiting"))
    assert not same_finding(loud, replace(quiet, numbers={}))
    (one,) = told([condition("stand", loud), condition("desk", quiet)])
    assert one.conditions == ("stand", "desk")


def test_a_place_inside_a_wide_change_says_so() -> None:
    def change(low_hz: float, high_hz: float, **numbers: float):
        at_hz = (low_hz * high_hz) ** 0.5
        place = replace(RISE.places[0], frequency_hz=at_hz, low_hz=low_hz, high_hz=high_hz)
        return replace(own(1), explanation="compression", places=(place,), numbers=numbers, evidence=())

    wide, place = change(34.5, 1780.0, change_db=-2.0), change(46.0, 73.0, excess_db=-0.6)
    assert wide.broad
    story = told([condition("stand", wide, replace(place, number=2))])
    assert [one.inside for one in story] == [None, 1]
    assert shown_words(story[1]) == "Inside the range of finding 1."
    elsewhere = told([condition("stand", wide), condition("desk", place)])
    assert [one.inside for one in elsewhere] == [None, None]
    outside = told([condition("stand", wide, replace(change(20.0, 30.0, excess_db=-0.6), number=2))])
    assert [one.inside for one in outside] == [None, None]


def test_a_proof_of_a_changed_condition_is_told() -> None:
    conditions = [condition("stand", own(1)), condition("desk")]
    verdict = FindingAcross(finding=own(1), conditions=("stand",), verdict="With the port closed it fell.")
    (one,) = told(conditions, [verdict])
    assert one.verdict == "With the port closed it fell."


def test_the_cause_of_the_worst_thd_is_its_finding_or_the_dip_it_lies_in() -> None:
    worst = WorstThd(percent=2.0, frequency_hz=1000.0, order=3, order_db=-34.0, mark="", finding=None, dip=None)
    (one,) = told([condition("desk", RISE)])
    assert cause_words(worst, one) == "1: a reflection dips the fundamental"
    assert cause_words(replace(worst, dip="B"), None) == "in dip B of the response"
    assert cause_words(worst, None) == ""


def test_the_story_of_the_page_example_has_an_owner_each() -> None:
    results = with_findings(whole_results("stand", levels=LEVELS, conditions=("stand", "desk")))
    other = condition("desk")
    assert [one.belongs_to for one in told([results, other])] == ["loudspeaker", "loudspeaker", "set-up"]


# ------------------------------------------------------------------ comparisons
def judged(quantity: str, difference_db: float | None = None, *, at_hz: float = 1200.0, excluded_db: float = 0.05):
    """What a comparison's document holds of a quantity, as far as a proof needs it."""
    changed = difference_db is not None
    regions = [{"difference_db": difference_db, "peak_hz": at_hz}] if changed else []
    return {
        "quantity": quantity,
        "judged": 20,
        "changed": changed,
        "excluded_above_db": excluded_db,
        "regions": regions,
    }


def test_a_response_that_changed_without_compression_changed_on_its_way() -> None:
    found = proof([judged("response", -10.4), judged("thd", 14.0), judged("change"), judged("h3")], "stand", "desk")
    assert found is not None
    assert found.claim == "From stand to desk the response changed, and what limits the loudspeaker did not:"
    assert "\N{MINUS SIGN}10.4 dB at 1.2 kHz" in found.reason
    assert "a change above 0.05 dB is excluded" in found.reason
    assert "Distortion re the fundamental changed with the response" in found.reason


def test_compression_that_changed_is_the_loudspeakers() -> None:
    found = proof([judged("response", -10.4), judged("change"), judged("change-multitone", 1.2)], "a", "b")
    assert found is not None
    assert found.claim == "From a to b the loudspeaker itself behaved differently:"
    assert "+1.2 dB at 1.2 kHz" in found.reason


def test_without_compression_nothing_is_claimed_of_the_loudspeaker() -> None:
    unread = {**judged("change"), "judged": 0}
    found = proof([judged("response", 3.0), unread], "a", "b")
    assert found is not None
    assert "open: compression was not compared" in found.reason
    assert proof([unread], "a", "b") is None
    assert proof("nonsense", "a", "b") is None
    assert proof([3, None], "a", "b") is None


def test_no_change_at_all_is_said_as_that() -> None:
    found = proof([judged("response"), judged("change")], "a", "b")
    assert found is not None
    assert found.claim == "From a to b nothing changed that can be told:"
