"""What was once not listed: places of the response alone, sources that stand above the noise at one place, two causes.

The models are those of `tests/made_evidence.py`, in closed form.
"""

from dataclasses import replace

import numpy as np
import pytest
import scipy.stats

from distort.analysis.anomalies.anomalies import find_anomalies
from distort.analysis.common.quantities import Quantity
from distort.analysis.findings.evidence import Evidence, FrameAt, OctaveHeat, SetUps, TimeBehaviour
from distort.analysis.findings.find import find
from distort.analysis.findings.likelihoods import share_right, stands_out
from distort.analysis.frames.reading import FrameReading
from tests.families.filters import Resonance
from tests.made_evidence import ROWS_HZ, Made, anomaly, bell, comb, dips_of, ripple

TOP_DB = 25.0
"""Of the third order over its neighbourhood."""


def above_noise_at_one_place(*, at_hz: float = 700.0, bias_db: float = 0.0, at_the_highest: bool = True) -> Evidence:
    """A source at 700 Hz whose third order lies 15 dB above a floor that covers it everywhere else."""
    source = bell(at_hz, TOP_DB)
    evidence = Made(more={3: lambda f, _: source(f)}).evidence()

    def buried(level: float) -> np.ndarray:
        spared = 0.0 if at_the_highest or level < 96.0 else 60.0
        return np.full(ROWS_HZ.size, -50.0 - 2.0 * (96.0 - level) + spared)

    orders = tuple(
        replace(
            one,
            floor_db=buried(one.level_db_spl) if one.order == 3 else one.floor_db,
            bias_db=np.full(ROWS_HZ.size, bias_db),
        )
        for one in evidence.orders
    )
    return replace(evidence, orders=orders)


def test_a_source_that_stands_above_the_noise_at_one_place_alone_makes_at_least_so_much() -> None:
    """Beside it the third order is at most 10 dB above the floor: 15 dB are left of 25."""
    (one,) = find(above_noise_at_one_place())
    assert one.frequency_hz == pytest.approx(700.0, rel=0.05)
    assert one.numbers["at_least"] == 1.0
    assert 6.0 <= one.numbers["source_db"] <= TOP_DB


def test_what_the_short_sweep_does_not_have_is_no_source() -> None:
    """A click lies elsewhere in it, and a leak is stronger there."""
    assert find(above_noise_at_one_place(bias_db=-10.0)) == ()


def test_what_is_gone_at_the_highest_level_is_no_source() -> None:
    assert find(above_noise_at_one_place(at_the_highest=False)) == ()


def test_where_an_image_of_a_conversion_would_cross_it_a_bound_decides_nothing() -> None:
    """Order 3 meets 3.9 kHz - f at 975 Hz."""
    (one,) = find(above_noise_at_one_place(at_hz=975.0))
    assert (one.explanation, one.decided) == ("undecided", False)
    assert "sample rate conversion" in one.sentence


def test_a_peak_that_changes_with_level_is_no_place_at_which_products_meet_a_peak() -> None:
    """They do an octave below: of the peak itself the second word is a resonance."""
    top = bell(3600.0, 1.0)
    made = Made(
        after=bell(3600.0, 9.0), anomalies=(anomaly(3600.0, 9.0),), change=lambda f, level: top(f) * (level > 95.0)
    )
    one = next(one for one in find(made.evidence()) if one.explanation == "expansion")
    assert one.also == ("resonance",)


def covered(made: Made) -> Evidence:
    """All its orders lie in noise."""
    return replace(made, floor_db_spl=90.0).evidence()


@pytest.mark.parametrize("height_db", [-8.0, 8.0])
def test_a_resonance_is_told_by_the_response_alone(height_db: float) -> None:
    """No order is loud enough to be read; the way of the products is known from nothing."""
    made = Made(after=bell(3000.0, height_db), anomalies=(anomaly(3000.0, height_db),))
    (one,) = find(covered(made))
    assert one.numbers["response_db"] == height_db
    assert one.decided == (height_db > 0.0)  # of a dip it is not known whether two sources cancel
    assert f"{'peaks' if height_db > 0.0 else 'dips'} by 8 dB" in one.sentence


def test_a_dip_that_the_response_measured_elsewhere_has_not_is_the_rooms() -> None:
    at_point = anomaly(3000.0, -8.0, elsewhere="filled-in")
    made = Made(after=bell(3000.0, -8.0), anomalies=(at_point,), shared=True)
    (one,) = [each for each in find(made.evidence()) if "response_db" in each.numbers or each.explanation == "room"]
    assert one.explanation == "room"
    (alone,) = find(covered(made))  # no order tells whether two sources cancel at this point
    assert alone.explanation in ("room", "undecided")
    assert "resonance" not in alone.sentence


def test_in_a_room_a_dip_alone_is_no_finding() -> None:
    made = Made(after=bell(3000.0, 8.0), anomalies=(anomaly(3000.0, 8.0),))
    assert find(replace(covered(made), in_room=True)) == ()


def test_a_small_dip_of_the_response_alone_is_no_finding() -> None:
    made = Made(after=bell(3000.0, 2.5), anomalies=(anomaly(3000.0, 2.5),))
    assert find(covered(made)) == ()


def test_a_peak_and_the_harmonics_that_come_out_there_are_one_finding() -> None:
    (one,) = find(Made(after=bell(3600.0, 9.0), anomalies=(anomaly(3600.0, 9.0),)).evidence())
    assert (one.explanation, one.also) == ("product-on-peak", ("resonance",))
    assert one.places[-1].frequency_hz == 3600.0
    assert "second cause" not in one.sentence


def test_a_filter_before_the_source_and_a_source_behind_it_are_two_causes_of_one_place() -> None:
    """Orders 3 to 5 fall by n 7 dB; order 2 would, too, and stays as it is."""
    source = bell(900.0, 14.0)
    made = Made(before=bell(900.0, -7.0), anomalies=(anomaly(900.0, -7.0),), more={2: lambda f, _: source(f)})
    (one,) = [one for one in find(made.evidence()) if one.decided]
    assert {one.explanation, *one.also} == {"filter-before-source", "loudspeaker-generated"}


def test_one_order_of_one_dip_does_not_unmake_a_comb() -> None:
    """It is a source at that dip, as it would be beside it."""
    source = bell(1800.0, 14.0)
    made = Made(after=comb(600.0, 0.7), anomalies=dips_of(600.0, 0.7), more={3: lambda f, _: source(f)})
    decided = [one for one in find(made.evidence()) if one.decided]
    assert {word for one in decided for word in (one.explanation, *one.also)} == {
        "delayed-copy",
        "loudspeaker-generated",
    }


def test_a_dip_that_pulls_the_trend_down_does_not_hide_another_an_octave_above() -> None:
    """Two resonances, of 18 and 9 dB; against one trend through both the second stands 3.7 dB out."""
    both = Resonance(at_hz=1300.0, q=5.4, gain_db=-18.0)(ROWS_HZ) * Resonance(at_hz=2600.0, q=5.6, gain_db=-9.0)(
        ROWS_HZ
    )
    found = find_anomalies(ROWS_HZ, 20.0 * np.log10(np.abs(both)) + ripple(2, 0.5)(ROWS_HZ))
    assert [round(one.frequency_hz / 1300.0) for one in found if one.kind == "dip"] == [1, 2]


def test_a_change_that_moves_with_level_is_one_place() -> None:
    """About 100 Hz at one level, about 125 Hz a level higher: each lies within what the other leaves half of."""
    tops = {91.0: bell(100.0, -0.6, octaves=0.3), 96.0: bell(125.0, -0.9, octaves=0.3)}
    made = Made(change=lambda f, level: tops[level](f) if level in tops else 0.0 * f)
    assert [one.explanation for one in find(made.evidence())] == ["compression"]


def test_the_interval_of_a_band_holds_how_well_two_runs_agree() -> None:
    made = Made(change=lambda f, level: -2.0 * (f < 400.0) * (level - 81.0) / 15.0)
    evidence = made.evidence()
    calm = tuple(replace(one, uncertainty_db=np.full(ROWS_HZ.size, 0.0005)) for one in evidence.changes)
    (one,) = find(replace(evidence, changes=calm))
    assert one.evidence[0].interval_db == pytest.approx(1.96 * 0.03, rel=0.01)


@pytest.mark.parametrize(
    ("set_ups", "command", "text"),
    [
        (SetUps(planned=("main",), recorded=("main",)), "distort measure FOLDER:moved", 'Add "moved" to conditions'),
        (
            SetUps(planned=("main", "moved"), recorded=("main",)),
            "distort measure FOLDER:moved",
            "",
        ),
        (
            SetUps(planned=("main", "desk"), recorded=("main", "desk")),
            "distort measure FOLDER:moved",
            'Add "moved"',
        ),
        (
            SetUps(planned=("main",), recorded=("main",), simulated=True),
            "distort measure FOLDER:moved --simulate",
            'Add "moved"',
        ),
    ],
)
def test_what_would_confirm_a_dip_is_in_the_plan_or_said_to_be_added(set_ups: SetUps, command: str, text: str) -> None:
    made = Made(after=comb(600.0, 0.7), anomalies=dips_of(600.0, 0.7))
    (one,) = find(replace(made.evidence(), set_ups=set_ups))
    assert one.next.command == command
    assert text in one.next.first if text else one.next.first == ""
    assert "measure that as condition 'moved' and" in one.next.text


def test_the_first_that_tells_how_a_band_falls_short_is_what_is_not_recorded_yet() -> None:
    """Frames at that level and place; where those do not tell, multitones, the lowest level once more, then bursts."""
    made = Made(change=lambda f, level: -2.0 * (f < 400.0) * (level - 81.0) / 15.0)
    bare = made.evidence()
    tones = tuple(replace(one, quantity=Quantity("change", "multitone")) for one in bare.changes)
    with_tones = replace(bare, changes=bare.changes + tones)
    heat = (OctaveHeat(midband_hz=125.0, change_db=-0.01, uncertainty_db=0.02),)
    reading = replace(FrameReading.nothing(), compression_db=2.0, uncertainty_db=0.0, either_db=2.0)
    frame = FrameAt(level_db_spl=96.0, frequency_hz=125.0, reading=reading)
    played = replace(with_tones, frames=(frame,))
    told = (bare, replace(bare, frames=(frame,)), played, replace(played, heating=heat))
    assert [find(one)[0].next.command for one in told] == [
        "distort measure FOLDER:main --only frames_96dB",
        "distort measure FOLDER:main --only multitone_96dB",
        "distort measure FOLDER:main --again",
        "distort measure FOLDER:main",
    ]


def test_probabilities_of_changes_follow_their_readings() -> None:
    """`(1 - 2 Q(z))^60`, Q of Student's t with 12 degrees of freedom: 5 standard deviations by scipy's own table."""
    assert stands_out(5.0, 1.0, places=60) == pytest.approx((1.0 - 2.0 * scipy.stats.t.sf(5.0, 12)) ** 60)
    assert stands_out(4.0, 1.0, places=60) < stands_out(5.0, 1.0, places=60) < stands_out(9.0, 1.0, places=60)
    assert share_right(19, 19) == pytest.approx(20 / 21)


@pytest.mark.parametrize(
    ("settles_s", "words"), [(2.8, "a limiter or the voice coil"), (8.0, "heat or a slow protection")]
)
def test_how_slowly_a_band_settles_says_what_it_may_be(settles_s: float, words: str) -> None:
    """0.3 to 5 s is a limiter or a voice coil, longer is heat or a slow protection: named is neither."""
    made = Made(change=lambda f, level: -2.0 * (f > 4000.0) * (level - 81.0) / 15.0)
    slow = TimeBehaviour(
        level_db_spl=96.0, low_hz=2000.0, high_hz=2e4, depth_db=-0.8, uncertainty_db=0.05, time_constant_s=settles_s
    )
    (one,) = find(replace(made.evidence(), warm_ups=(slow,)))
    assert one.explanation == "compression"
    assert words in one.sentence
    (one,) = find(replace(made.evidence(), warm_ups=(replace(slow, depth_db=-0.2),)))
    assert "the recordings do not show why" in one.sentence
