"""The scorer: what is true is right, what is not is wrong, and what a family did not put there is looked up."""

import dataclasses

import pytest

from tests.families import summary
from tests.families.catalogue import FAMILIES
from tests.families.claims import is_true, most_changed_db, response_rise_db, source_rises_db
from tests.families.drawing import Case
from tests.families.score import Judged, judge
from tests.families.tables import Condition
from tests.made_results import MadeResults, finding


def _judged(tmp_path, case: Case, *said) -> list[Judged]:
    root = MadeResults(tmp_path).write(*said)
    return judge(case, Condition(root / "results" / "desk"))


def _place(hz: float) -> dict[str, float]:
    return {"frequency_hz": hz, "low_hz": 0.95 * hz, "high_hz": 1.05 * hz}


@pytest.fixture(scope="module")
def reflection() -> Case:
    return FAMILIES["reflection"](3)


@pytest.mark.parametrize(
    ("word", "verdict"),
    [
        ("delayed-copy", "right"),
        ("room", "right"),
        ("loudspeaker-generated", "wrong"),
        ("resonance", "wrong"),  # the comb's own dip is none
        ("compression", "wrong"),
        ("undecided", "undecided"),
        ("noise", "undecided"),
    ],
)
def test_a_reflection_is_a_delayed_copy_and_nothing_else(tmp_path, reflection, word, verdict):
    at_hz = reflection.truth.causes[0].frequency_hz
    (one,) = _judged(tmp_path, reflection, finding(word, at_hz * 1.03))
    assert (one.true, one.verdict, one.large) == ("delayed-copy", verdict, True)


def test_what_is_not_there_is_not_listed(tmp_path, reflection):
    (one,) = _judged(tmp_path, reflection)
    assert (one.verdict, one.probability) == ("not listed", None)


def test_one_wrong_finding_at_a_place_makes_it_wrong(tmp_path, reflection):
    at_hz = reflection.truth.causes[0].frequency_hz
    said = finding("delayed-copy", at_hz), finding("filter-before-source", 3.0 * at_hz, probability=0.8)
    (one,) = _judged(tmp_path, reflection, *said)
    assert (one.verdict, one.said, one.probability) == ("wrong", "filter-before-source", 0.8)


def test_a_wrong_word_besides_makes_it_wrong(tmp_path, reflection):
    at_hz = reflection.truth.causes[0].frequency_hz
    (one,) = _judged(tmp_path, reflection, finding("delayed-copy", at_hz, also=["limiting"]))
    assert one.verdict == "wrong"


def test_what_meets_no_cause_and_is_not_true_is_one_more_wrong(tmp_path):
    case = FAMILIES["local-source"](3)
    at_hz = case.truth.causes[0].frequency_hz
    said = finding("loudspeaker-generated", at_hz), finding("limiting", 4.0 * at_hz)
    one, other = _judged(tmp_path, case, *said)
    assert (one.verdict, other.true, other.said, other.verdict) == ("right", "nothing", "limiting", "wrong")


def test_the_dip_alone_leaves_a_large_change_undecided(tmp_path):
    case = next(one for one in map(FAMILIES["own-compression"], range(99)) if _loses(one) > 0.6)
    at_hz = case.truth.causes[0].frequency_hz
    dip = next(word for word in case.truth.causes[0].also if word in ("resonance", "delayed-copy"))
    assert _judged(tmp_path / "dip", case, finding(dip, at_hz))[0].verdict == "undecided"
    assert _judged(tmp_path / "both", case, finding(dip, at_hz, also=["compression"]))[0].verdict == "right"
    assert _judged(tmp_path / "other", case, finding("expansion", at_hz))[0].verdict == "wrong"


def _loses(case: Case) -> float:
    return case.truth.causes[0].largest_change_db()


def test_claims_are_looked_up_in_the_equations():
    """A peak of 13.6 dB at 1,360 Hz: a resonance there, products on it at half and a third, and nothing made."""
    case = FAMILIES["response-peak"](3)
    peak_hz = case.truth.causes[0].frequency_hz
    device = case.devices["default"]
    assert response_rise_db(device, peak_hz) > 8.0
    assert is_true("resonance", _place(peak_hz), case)
    assert is_true("product-on-peak", _place(peak_hz / 2.0), case)
    assert max(source_rises_db(device, peak_hz / 2.0, 96.0)) < 1.5
    assert not is_true("loudspeaker-generated", _place(peak_hz / 2.0), case)
    assert not is_true("unpredicted-by-orders", _place(peak_hz), case)


def test_a_change_is_looked_up_with_its_sign():
    case = next(one for one in map(FAMILIES["own-compression"], range(99)) if _loses(one) > 0.6)
    place = _place(case.truth.causes[0].frequency_hz)
    lost_db = most_changed_db(case.devices["default"], place, case.levels, falls=True)
    assert lost_db == pytest.approx(-_loses(case), abs=0.3)  # the place's width, and the smoothing
    assert is_true("compression", place, case)
    assert not is_true("expansion", place, case)


def _answer(verdicts: list[tuple[str, float]]) -> dict:
    judged = [
        Judged(true="room", said="room", verdict=verdict, probability=said, large=True, at_hz=100.0)
        for verdict, said in verdicts
    ]
    return {
        "family": "room",
        "seed": 1,
        "note": "",
        "judged": [dataclasses.asdict(one) for one in judged],
        "findings": 1,
        "decided": ["room"],
        "contradictions": [],
        "made_s": 1.0,
        "analysed_s": 2.0,
    }


def test_the_tables_count_what_was_judged():
    answer = _answer([("right", 0.95), ("right", 1.0), ("wrong", 0.9), ("right", 0.6), ("undecided", None)])
    table = list(summary.confusion([answer]))
    assert table[-1].split() == ["all", "1", "3", "1", "1", "0", "75.0", "99", "5", "20"]
    assert [line.split() for line in summary.calibration([answer])][1:] == [
        ["0.5", "to", "0.7", "1", "0.60", "1.00"],
        ["0.9", "to", "1", "3", "0.95", "0.67"],
    ]


def test_the_upper_limit_is_that_of_tables():
    """57 of 60: 0.8608 to 0.9896 (exact binomial tables; here the root of the binomial tail, by its own sum)."""
    from math import comb

    limit = summary.upper_limit(57, 60)
    assert sum(comb(60, k) * limit**k * (1.0 - limit) ** (60 - k) for k in range(58)) == pytest.approx(0.025, abs=1e-9)
    assert summary.upper_limit(60, 60) == 1.0
