"""The checker of findings: of made-up findings it passes those that their tables bear out, and names the others."""

import math

import numpy as np
import pytest

from tests.families.held import contradictions
from tests.families.held_form import sentences
from tests.made_results import GRID_HZ, THIRDS_HZ, MadeResults, bump, finding, row


def _rules(root) -> list[str]:
    return [one.rule for one in contradictions(root)]


@pytest.fixture
def made(tmp_path) -> MadeResults:
    return MadeResults(tmp_path)


@pytest.mark.parametrize(
    ("word", "there_db", "rules"),
    [
        ("compression", -0.3, []),
        ("limiting", -0.3, []),
        ("compression", -0.04, ["change"]),  # within its interval of 0.05 dB
        ("compression", 0.3, ["change"]),  # the other sign
        ("expansion", 0.3, []),
        ("expansion", -0.3, ["change"]),
        ("level-dependent-resonance", 0.3, []),
        ("level-dependent-resonance", -0.3, []),
        ("level-dependent-resonance", 0.04, ["change"]),
    ],
)
def test_a_change_with_level_stands_in_the_table_of_change(made, word, there_db, rules):
    made.change = bump(GRID_HZ, 1000.0, there_db)
    assert _rules(made.write(finding(word, 1000.0))) == rules


def test_a_place_beside_one_that_changes_does_not_change(made):
    made.change = bump(GRID_HZ, 700.0, 2.0, octaves=0.08)
    assert _rules(made.write(finding("compression", 1000.0), finding("expansion", 700.0))) == ["change"]


def test_a_broad_change_is_looked_for_over_all_of_it(made):
    made.change = bump(GRID_HZ, 60.0, -3.0, octaves=0.3)
    place = {"frequency_hz": 150.0, "low_hz": 40.0, "high_hz": 400.0}
    assert _rules(made.write(finding("limiting", 150.0, places=[place]))) == []


def test_what_is_undecided_claims_no_change(made):
    assert _rules(made.write(finding("undecided", 1000.0, also=[]))) == []


def test_heat_that_did_not_stay_is_none(made):
    made.change = bump(GRID_HZ, 1000.0, -1.0)
    assert _rules(made.write(finding("heating", 1000.0))) == ["heating"]


def test_heat_that_stayed_may_be_named(made):
    made.change, made.heating_db = bump(GRID_HZ, 1000.0, -1.0), -0.4
    assert _rules(made.write(finding("heating", 1000.0))) == []


@pytest.mark.parametrize(("height_db", "rules"), [(6.0, []), (0.3, ["generated"]), (-6.0, ["generated"])])
def test_what_the_loudspeaker_makes_rises_over_its_flanks(made, height_db, rules):
    made.orders[3, 91.0] = made.orders[3, 91.0] + bump(GRID_HZ, 800.0, height_db)
    said = finding("loudspeaker-generated", 800.0, evidence=[row("h3", 800.0, 6.0)])
    assert _rules(made.write(said)) == rules


def test_a_dip_of_the_fundamental_is_no_rise_of_what_is_made(made):
    """D3 rises by the depth of the dip; the level of the order stays where it was."""
    dip = -bump(GRID_HZ, 800.0, 12.0)
    made.response = dip
    for order, level in made.orders:
        made.orders[order, level] = -60.0 - dip
    said = finding("loudspeaker-generated", 800.0, evidence=[row("h3", 800.0, 12.0)])
    assert _rules(made.write(said)) == ["generated"]


def test_what_a_dip_at_n_f_takes_away_may_be_made_all_the_same(made):
    """3 x 800 Hz lies in a dip of 8 dB, and the order's level is as beside: so the source makes 8 dB more."""
    made.response = -bump(GRID_HZ, 2400.0, 8.0)
    made.orders[3, 91.0] = np.full(GRID_HZ.size, -60.0) - made.response
    said = finding("loudspeaker-generated", 800.0, evidence=[row("h3", 800.0, 8.0)])
    assert _rules(made.write(said)) == []


def test_an_order_within_its_noise_rises_nowhere(made):
    made.orders[3, 91.0] = -60.0 + bump(GRID_HZ, 800.0, 6.0)
    made.floors[3, 91.0] = -50.0
    said = finding("loudspeaker-generated", 800.0, evidence=[row("h3", 800.0, 6.0)])
    assert _rules(made.write(said)) == ["generated"]


def test_what_the_short_sweep_does_not_show_the_loudspeaker_does_not_make(made):
    made.orders[3, 91.0] = -60.0 + bump(GRID_HZ, 800.0, 8.0)
    made.bias[3, 91.0] = -bump(GRID_HZ, 800.0, 8.0)
    said = finding("loudspeaker-generated", 800.0, evidence=[row("h3", 800.0, 8.0)])
    assert _rules(made.write(said)) == ["sweep lengths"]


def _two_local(made, second_hz):
    for order, at_hz in ((2, 900.0), (3, second_hz)):
        made.orders[order, 91.0] = made.orders[order, 91.0] + bump(GRID_HZ, at_hz, 9.0)
    return [
        finding("loudspeaker-generated", 900.0, evidence=[row("h2", 900.0, 9.0)]),
        finding("loudspeaker-generated", second_hz, evidence=[row("h3", second_hz, 9.0)]),
    ]


@pytest.mark.parametrize(("second_hz", "rules"), [(600.0, ["common n f"]), (400.0, [])])
def test_two_local_sources_do_not_share_one_product(made, second_hz, rules):
    """2 x 900 = 3 x 600 Hz."""
    assert _rules(made.write(*_two_local(made, second_hz))) == rules


@pytest.mark.parametrize(
    ("at_hz", "order", "numbers", "rules"),
    [
        (1300.0, 2, {"difference_hz": 3900.0}, []),  # 2 f = 3900 - f
        (1950.0, 3, {"difference_hz": 3900.0}, []),  # 3 f = 3900 + f
        (1600.0, 2, {"difference_hz": 3900.0}, ["image"]),
        (1300.0, 2, {}, ["image"]),
    ],
)
def test_images_lie_where_the_difference_of_the_rates_puts_them(made, at_hz, order, numbers, rules):
    evidence = [row(f"h{order}", at_hz, 5.0)]
    said = finding("conversion-image", at_hz, evidence=evidence, numbers=numbers, part_of_loudspeaker=False)
    assert _rules(made.write(said)) == rules


def test_what_grows_with_level_is_no_image(made):
    made.orders[2, 91.0] = made.orders[2, 91.0] + 10.0
    said = finding("conversion-image", 1300.0, evidence=[row("h2", 1300.0, 5.0)], numbers={"difference_hz": 3900.0})
    assert _rules(made.write(said)) == ["image"]


@pytest.mark.parametrize(("floor_db", "rules"), [(-90.0, []), (-50.0, ["audible"])])
def test_nothing_below_its_floor_is_heard_for_certain(made, floor_db, rules):
    made.floors[2, 91.0] = floor_db
    heard = {"verdict": "yes", "at_db_spl": 91.0}
    said = finding("resonance", 1000.0, evidence=[row("h2", 1000.0, 5.0)], audible=heard)
    assert _rules(made.write(said)) == rules


@pytest.mark.parametrize(("at_hz", "rules"), [(20.0 * 1000.0**0.5, []), (3000.0, ["event"])])
def test_an_event_shows_where_the_sweep_was(made, at_hz, rules):
    """Half of the way through, the sweep from 20 Hz to 20 kHz is at 632 Hz."""
    said = finding("event-in-time", at_hz, numbers={"at_s": 2.0}, part_of_loudspeaker=False)
    assert _rules(made.write(said)) == rules


@pytest.mark.parametrize(("rise_db", "rules"), [(8.0, ["multitone"]), (0.0, [])])
def test_a_dip_is_not_why_distortion_rises_that_another_condition_has_without_it(made, tmp_path, rise_db, rules):
    made.response = -bump(GRID_HZ, 1000.0, 9.0)
    made.even[91.0] = -50.0 + bump(THIRDS_HZ, 1000.0, 8.0)
    other = MadeResults(tmp_path, "stand")
    other.even[91.0] = -50.0 + bump(THIRDS_HZ, 1000.0, rise_db)
    other.write()
    said = finding("delayed-copy", 1000.0, evidence=[row("multitone_even", 1000.0, 8.0)])
    assert _rules(made.write(said)) == rules


def test_two_findings_do_not_stand_at_one_place(made):
    assert _rules(made.write(finding("resonance", 1000.0), finding("noise", 1030.0))) == ["one place"]
    broad = {"frequency_hz": 1000.0, "low_hz": 200.0, "high_hz": 4000.0}
    made = MadeResults(made.root / "another")
    made.change = np.full(GRID_HZ.size, -1.0)
    apart = (finding("resonance", 1000.0), finding("compression", 1000.0, places=[broad]), finding("noise", 1200.0))
    assert _rules(made.write(*apart)) == []


@pytest.mark.parametrize(
    ("said", "rule"),
    [
        ({"explanation": "witchcraft"}, "form"),
        ({"decided": False}, "form"),
        ({"probability": 1.2}, "form"),
        ({"probability": 0.3}, "form"),
        ({"also": ["resonance"]}, "form"),
        ({"explanation": "room", "part_of_loudspeaker": True}, "form"),
        ({"places": [{"frequency_hz": 900.0, "low_hz": 1000.0, "high_hz": 1100.0}]}, "form"),
        ({"headline": "x" * 79}, "length"),
        ({"sentence": "It is " + "so " * 44 + "."}, "length"),
        ({"next": {"text": "", "command": "distort exorcise monitor"}}, "command"),
        ({"next": {"text": "", "command": "distort show monitor response --louder"}}, "command"),
        ({"next": {"text": "", "command": "mail somebody"}}, "command"),
    ],
)
def test_what_every_finding_must_have(made, said, rule):
    assert _rules(made.write({**finding("resonance", 1000.0), **said})) == [rule]


@pytest.mark.parametrize(
    "said",
    [
        {"headline": "x" * 78},
        {"sentence": "word " * 44 + "end. " + "word " * 44 + "end."},
        {"next": {"text": "", "command": "distort measure monitor --condition desk"}},
        {"next": None},
    ],
)
def test_what_is_within_its_bounds_passes(made, said):
    assert _rules(made.write(finding("resonance", 1000.0, **said))) == []


def test_a_finding_that_lacks_a_key_is_told(made):
    said = finding("resonance", 1000.0)
    del said["part_of_loudspeaker"]
    (one,) = contradictions(made.write(said))
    assert (one.rule, one.number, one.condition) == ("form", 1, "desk")
    assert "part_of_loudspeaker" in one.text


def test_sentences_end_at_full_stops_and_not_at_decimals():
    assert sentences("It rose by 2.4 dB. It fell.") == ["It rose by 2.4 dB.", "It fell."]
    assert math.prod(len(one.split()) for one in sentences("no stop")) == 2
