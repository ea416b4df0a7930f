"""Findings of block models in closed form: each explanation where it is true, and none where nothing is.

The models are in `tests/made_evidence.py`; every rise that a finding states is compared with what the model was given.
"""

import re
from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.findings.evidence import Event
from distort.analysis.findings.explanations.fit import passive
from distort.analysis.findings.explanations.local_source import grows, local_source
from distort.analysis.findings.find import find
from distort.analysis.findings.finding import Finding
from distort.analysis.findings.likelihoods import joint_limit, log_density, log_density_of_source
from distort.analysis.findings.order_findings import SOURCE_AT_ANOMALY, before_prior
from distort.analysis.findings.places import AtMost, OrderAt, Place
from distort.analysis.findings.weighing import BOTH, weighed
from distort.analysis.findings.words import _fitting
from tests.made_evidence import LEVELS, ROWS_HZ, Made, anomaly, bell, comb, dips_of

SAME_PLACE_OCTAVES = 1.0 / 12.0
"""Two rows: ripple of 0.3 dB moves the top of a bell of 0.12 octave by about one."""


def found(made: Made) -> tuple[Finding, ...]:
    return find(made.evidence())


def the_one(made: Made) -> Finding:
    (one,) = found(made)
    return one


def test_ripple_alone_is_no_finding() -> None:
    for seed in range(1, 7):
        assert found(Made(seed=seed, ripple_db=1.0)) == ()


def test_a_delayed_copy_is_one_finding_at_all_its_dips() -> None:
    one = the_one(Made(after=comb(600.0, 0.7), anomalies=dips_of(600.0, 0.7)))
    assert (one.explanation, one.also, one.decided) == ("delayed-copy", (), True)
    assert len(one.places) > 1
    assert {round(place.frequency_hz) for place in one.places} <= {600, 1800, 3000}
    assert one.part_of_loudspeaker is None
    assert one.numbers["path_m"] == pytest.approx(0.286, abs=0.001)  # 343.2 / (2 * 600)


def test_products_that_do_not_follow_the_comb_tell_two_sources() -> None:
    one = the_one(Made(after=comb(600.0, 0.7), anomalies=dips_of(600.0, 0.7), shared=False))
    assert one.explanation == "cancellation"


def test_a_resonance_after_the_source_lowers_the_fundamental_alone() -> None:
    one = the_one(Made(after=bell(900.0, -9.0), anomalies=(anomaly(900.0, -9.0),)))
    assert (one.explanation, one.decided) == ("resonance", True)
    rows = [row for row in one.evidence if row.quantity == "h2" and row.level_db_spl == 96.0]
    assert rows[0].rise_db == pytest.approx(9.0, abs=1.5)  # two ripples of 0.3 dB, each against flanks, at 95 %
    assert rows[0].speaks != "against"


def test_a_dip_of_which_nobody_knows_the_shape_is_left_open() -> None:
    one = the_one(Made(after=bell(900.0, -9.0), anomalies=(anomaly(900.0, -9.0, shape="unknown"),)))
    assert (one.explanation, one.decided) == ("undecided", False)
    assert "cannot tell a reflection from a resonance" in one.sentence


def test_what_the_room_alone_has_is_the_rooms() -> None:
    dip = anomaly(900.0, -9.0, elsewhere="filled-in", elsewhere_db=-0.5)
    assert the_one(Made(after=bell(900.0, -9.0), anomalies=(dip,))).explanation == "room"


def test_a_dip_before_the_non_linearity_takes_n_times_as_much_of_order_n() -> None:
    one = the_one(Made(before=bell(900.0, -7.0), anomalies=(anomaly(900.0, -7.0),)))
    assert one.explanation == "filter-before-source"
    row = next(row for row in one.evidence if row.quantity == "h2" and row.level_db_spl == 96.0)
    assert row.rise_db == pytest.approx(-7.0, abs=1.5)  # D_2 falls by (2 - 1) 7 dB


def test_a_source_of_its_own_is_found_without_any_dip() -> None:
    source = bell(700.0, 10.0)
    one = the_one(Made(more={3: lambda f, _: source(f)}))
    assert (one.explanation, one.part_of_loudspeaker) == ("loudspeaker-generated", True)
    assert abs(np.log2(one.frequency_hz / 700.0)) < SAME_PLACE_OCTAVES
    assert one.numbers["order"] == 3.0
    assert one.numbers["source_db"] == pytest.approx(10.0, abs=one.numbers["source_interval_db"])


def test_a_source_above_a_level_only() -> None:
    source = bell(700.0, 12.0)
    one = the_one(Made(more={3: lambda f, level: source(f) if level >= 91.0 else 0.0 * f}))
    assert one.explanation == "loudspeaker-generated"


def test_what_keeps_its_ratio_at_every_level_is_no_product() -> None:
    """Order 5 at -62 dB re the tone at every level, about 700 Hz: it would have to grow 5 dB per dB."""
    top = bell(700.0, 1.0)

    def more(f: np.ndarray, level: float) -> np.ndarray:
        return top(f) * (12.0 - 4.0 * (level - 96.0))  # the body's order 5 falls by 5 dB a dB, this by 1

    assert [one for one in found(Made(more={5: more}, floor_db_spl=-40.0)) if one.decided] == []


def test_without_a_noise_floor_nothing_is_said_of_orders() -> None:
    source = bell(700.0, 15.0)
    evidence = Made(more={3: lambda f, _: source(f)}).evidence()
    unknown = tuple(replace(one, floor_db=np.full_like(one.floor_db, np.nan)) for one in evidence.orders)
    assert find(evidence)
    assert find(replace(evidence, orders=unknown)) == ()


def test_an_order_that_is_readable_at_a_few_rows_alone_says_nothing() -> None:
    """There is no flank to hold it against, and no ripple to stand out of."""
    evidence = Made().evidence()
    few = np.abs(np.log2(ROWS_HZ / 700.0)) < 0.1
    buried = tuple(replace(one, floor_db=np.where(few, one.floor_db, 0.0)) for one in evidence.orders)
    assert find(replace(evidence, orders=buried)) == ()


def test_orders_that_rise_at_one_n_f_meet_a_resonance_there() -> None:
    """The response does not show it, as a cone's break-up above a crossover."""
    peak = bell(3600.0, 10.0)
    more = {number: (lambda f, _, n=number: peak(n * f)) for number in (2, 3, 4, 5)}
    one = the_one(Made(more=more))
    assert one.explanation == "product-on-peak"
    assert one.numbers["heard_hz"] == pytest.approx(3600.0, rel=0.05)  # a row and a half of the order that shows it
    # Each order that meets the resonance speaks for it, and the sentence says that the response does not show it.
    assert len({row.quantity for row in one.evidence if row.speaks == "for"}) > 1
    assert "The response does not show it" in one.sentence
    assert len(one.places) >= 3
    # a near field is compared by its orders alone, so it would show no resonance: both are heard at a distance
    assert one.next.text.startswith("Move the microphone by a hand's breadth, measure that as condition 'moved'")
    assert one.next.text.endswith("compare it with 'main': peak and rise must both stay, or move together.")


def test_a_peak_of_the_response_raises_what_comes_out_there() -> None:
    one = the_one(Made(after=bell(3600.0, 9.0), anomalies=(anomaly(3600.0, 9.0),)))
    assert one.explanation == "product-on-peak"
    assert {round(place.frequency_hz / 100.0) for place in one.places} >= {18, 12}  # 3600 / 2 and / 3


def test_a_dip_and_a_source_at_one_place_are_one_finding() -> None:
    source = bell(900.0, 12.0)
    one = the_one(Made(after=bell(900.0, -8.0), anomalies=(anomaly(900.0, -8.0),), more={3: lambda f, _: source(f)}))
    assert {one.explanation, *one.also} == {"resonance", "loudspeaker-generated"}


def test_what_sounded_meanwhile_is_no_part_of_the_loudspeaker() -> None:
    """Two stretches of one recording that nearly touch are one finding; what touches the fundamental alone is none."""
    event = Event(level_db_spl=96.0, low_hz=400.0, high_hz=500.0, orders=(1, 2, 7))
    later, other = replace(event, low_hz=600.0, high_hz=900.0), replace(event, level_db_spl=91.0, orders=(1,))
    (one,) = find(replace(Made().evidence(), events=(event, later, other)))
    assert (one.explanation, one.part_of_loudspeaker) == ("event-in-time", False)
    assert (one.places[0].low_hz, one.places[0].high_hz) == (400.0, 900.0)
    assert "orders 2 to 7" in one.sentence


def changing(made: Made, change_db: float, *, at_hz: float = 900.0) -> Made:
    """With a change of its own at a place, growing as the cube of the amplitude."""
    top = bell(at_hz, 1.0)
    return replace(made, change=lambda f, level: change_db * top(f) * 10.0 ** ((level - 96.0) / 10.0))


@pytest.mark.parametrize(
    ("deviation_db", "change_db", "explanation"),
    [
        (-8.0, -1.0, "compression"),
        (-8.0, 1.0, "level-dependent-resonance"),  # the dip fills
        (8.0, -1.0, "compression"),
        (8.0, 1.0, "expansion"),
    ],
)
def test_a_change_of_its_own_at_a_dip_or_peak(deviation_db: float, change_db: float, explanation: str) -> None:
    made = Made(after=bell(900.0, deviation_db), anomalies=(anomaly(900.0, deviation_db),))
    one = next(one for one in found(changing(made, change_db)) if "excess_db" in one.numbers)
    assert one.explanation == explanation
    assert one.numbers["change_db"] == pytest.approx(change_db, abs=0.02)  # the row lies within 1/48 octave of the top
    assert one.places[0].frequency_hz == pytest.approx(900.0, rel=0.03)


@pytest.mark.parametrize(
    ("fill_db", "everywhere_db", "explanation"),
    [
        (0.19, 0.0, "level-dependent-resonance"),  # six times how well two runs agree; too little to be listed alone
        (0.10, 0.0, "undecided"),  # three times
        (0.04, 0.0, "resonance"),
        (0.0, 0.3, "resonance"),  # the flanks do as the dip does
    ],
)
def test_a_dip_that_fills_by_little_is_no_plain_resonance(fill_db, everywhere_db, explanation) -> None:
    top = bell(900.0, 1.0)
    made = replace(
        Made(after=bell(900.0, -8.0), anomalies=(anomaly(900.0, -8.0),)),
        change=lambda f, level: (everywhere_db + fill_db * top(f)) * 10.0 ** ((level - 96.0) / 10.0),
    )
    found = {one.explanation for one in find(made.evidence()) if 800.0 < one.places[0].frequency_hz < 1000.0}
    assert found == {explanation}


def test_a_dip_before_the_source_does_not_saturate() -> None:
    """What the loudspeaker gains there is an expansion of its own, and the dip a filter's."""
    made = Made(before=bell(900.0, -7.0), anomalies=(anomaly(900.0, -7.0),))
    one = the_one(changing(made, 1.0))
    assert (one.explanation, one.also) == ("expansion", ("filter-before-source",))


@pytest.mark.parametrize(("change_db", "told"), [(0.15, False), (0.5, True)])
def test_a_change_within_what_two_runs_agree_to_is_none(change_db: float, told: bool) -> None:
    assert bool(found(changing(Made(), change_db))) == told


def test_a_step_is_no_place() -> None:
    """The end of a band that falls short is no change of its own."""
    step = replace(Made(), change=lambda f, level: -0.45 * (f < 900.0) * (level - 81.0) / 15.0)
    assert found(step) == ()


def test_a_change_at_every_dip_of_a_comb_is_that_of_a_sum() -> None:
    """The weaker of two sources loses 1 dB: `20 lg |1 + r g e| - 20 lg |1 + r e|`, exactly."""
    rotated = np.exp(-1j * np.pi * ROWS_HZ / 600.0)
    lost = 10.0 ** (-1.0 / 20.0)

    def change(f: np.ndarray, level: float) -> np.ndarray:
        whole = 20.0 * np.log10(np.abs(1.0 + 0.8 * lost * rotated) / np.abs(1.0 + 0.8 * rotated))
        return whole * 10.0 ** ((level - 96.0) / 10.0)

    made = Made(after=comb(600.0, 0.8), anomalies=dips_of(600.0, 0.8), shared=False, change=change)
    assert [one.explanation for one in found(made)] == ["cancellation"]


def test_a_band_that_falls_short_is_compression_of_unknown_kind() -> None:
    one = the_one(replace(Made(), change=lambda f, level: -2.0 * (f < 400.0) * (level - 81.0) / 15.0))
    assert (one.explanation, one.also) == ("compression", ())
    assert "the recordings do not show why" in one.sentence
    assert one.places[0].high_hz == pytest.approx(400.0, rel=0.03)
    assert one.numbers["change_db"] == pytest.approx(-2.0)


def test_sentences_and_headlines_keep_their_lengths() -> None:
    """At most 45 words and 78 characters, whatever the finding."""
    source = bell(900.0, 12.0)
    cases = [
        Made(after=comb(600.0, 0.7), anomalies=dips_of(600.0, 0.7), shared=shared, more={3: lambda f, _: source(f)})
        for shared in (True, False)
    ]
    cases += [changing(Made(after=bell(900.0, -8.0), anomalies=(anomaly(900.0, -8.0),)), one) for one in (-1.0, 1.0)]
    for made in cases:
        for one in find(replace(made.evidence(), in_room=True)):
            assert len(one.headline) <= 78
            for sentence in re.split(r"\.\s", one.sentence):
                assert len(sentence.split()) <= 45, sentence
            assert one.next.command is not None
            assert one.next.command.startswith("distort ")


@pytest.mark.parametrize(
    ("whole", "kept"),
    [
        ("461 Hz: a reflection (path 37 cm longer) weakens the fundamental",) * 2,
        (
            "461 Hz, 1.38 kHz and 2.3 kHz: a reflection (path 37 cm longer) weakens the fundamental",
            "461 Hz, 1.38 kHz and 2.3 kHz: a reflection weakens the fundamental",
        ),
        (f"{'461 Hz, ' * 9}and more: an echo", f"{'461 Hz, ' * 9}and"),
    ],
)
def test_a_headline_that_is_too_long_loses_its_brackets_and_then_whole_words(whole: str, kept: str) -> None:
    assert _fitting(whole) == kept


def order_at(number: int, values_db: list[float], *, relative_db: list[float], ripple_db: float = 0.5) -> OrderAt:
    levels = np.array(LEVELS[: len(values_db)])
    return OrderAt(
        order=number,
        levels_db_spl=levels,
        product_db=np.array(values_db),
        error_db=np.full(levels.size, 0.1),
        short_db=np.array(values_db),
        there_db=0.0,
        ripple_db=(ripple_db, ripple_db),
        relative_db=np.array(relative_db),
    )


def test_no_dip_of_a_comb_is_a_filters_with_a_source_that_makes_up_for_it() -> None:
    """A dip of 15 dB, and harmonics that are read 1.5 and 2.6 dB short of what comes out at n f: before the source the
    dip would cost it 30 dB, and a source of 28 dB that fits would explain any reading. Of a single dip that is
    thought possible, of all dips of a delayed copy it is not."""
    (first, *_) = dips = dips_of(210.0, 0.87)
    evidence = Made(after=comb(210.0, 0.87), anomalies=(*dips, anomaly(5000.0, -9.0, number=9))).evidence()
    second = OrderAt(
        order=2,
        levels_db_spl=np.array([91.0, 96.0]),
        product_db=np.array([-0.1, 2.0]),
        error_db=np.array([0.8, 0.4]),
        short_db=np.array([0.7, 2.4]),
        there_db=3.5,
        ripple_db=(2.2, 0.4),
        relative_db=np.array([-42.2, -37.4]),
    )
    third = AtMost(order=3, at_most_db=-8.2, there_db=-5.6, ripple_db=(1.9, 0.4))
    place = Place(frequency_hz=630.0, gap_octaves=0.15, fundamental_db=-15.0, orders=(second,), under=(third,))
    with_source = {
        each.number: weighed(
            place, way_odds=2.0, source_prior=SOURCE_AT_ANOMALY, before_prior=before_prior(evidence, each)
        ).probability[BOTH]
        for each in (first, evidence.anomalies[-1])
    }
    assert with_source[first.number] < 0.1
    assert with_source[9] > 0.5


@pytest.mark.parametrize(("per_db", "grown"), [(1.0, False), (1.15, False), (1.25, True), (2.0, True)])
def test_growth_with_level_is_read_off_the_ratio(per_db: float, grown: bool) -> None:
    ratios = [-60.0 + (per_db - 1.0) * (level - 81.0) for level in LEVELS]
    place = Place(
        frequency_hz=500.0,
        gap_octaves=0.3,
        fundamental_db=0.0,
        orders=(order_at(3, [8.0] * 4, relative_db=ratios),),
    )
    assert grows(place, (3,)) is grown
    assert grows(place, (2,)) is None


def test_levels_that_say_the_same_count_ripple_once() -> None:
    """Four levels of one ripple are not four readings: the odds of a source grow little from one level to four."""
    odds = []
    for count in (1, 4):
        one = order_at(3, [2.5] * count, relative_db=[-50.0 + 10.0 * index for index in range(count)])
        place = Place(frequency_hz=500.0, gap_octaves=0.3, fundamental_db=0.0, orders=(one,))
        nothing = passive(place, name="nothing", alpha=0).log_likelihood
        odds.append(local_source(place, alpha=0).log_likelihood - nothing)
    assert odds[1] - odds[0] < 1.0  # readings of their own would add three times as much again
    assert odds[0] > 1.0


def test_densities() -> None:
    """Student's t with 12 degrees of freedom at 0: Gamma(6.5) / (sqrt(12 pi) Gamma(6)) = 0.39073; at 2.179 (its 97.5 %
    point, common tables) the tail beyond is 0.025; a source spreads evenly over 20 dB far from its ends."""
    assert np.exp(log_density(0.0, 1.0)) == pytest.approx(0.39073, abs=1e-5)
    assert log_density(1.0, 2.0) == pytest.approx(log_density(0.5, 1.0) - np.log(2.0))
    grid = np.linspace(2.179, 60.0, 20001)
    tail = np.trapezoid([np.exp(log_density(value, 1.0)) for value in grid], grid)
    assert tail == pytest.approx(0.025, abs=2e-5)
    assert np.exp(log_density_of_source(12.0, 0.5)) == pytest.approx(1.0 / 20.0, rel=1e-6)


def test_the_joint_limit_is_sidaks() -> None:
    """One reading at 1 %, two-sided: 2.5758 (common tables); ten: each at 0.1005 %, 3.2894."""
    assert joint_limit(1) == pytest.approx(2.5758, abs=1e-4)
    assert joint_limit(10) == pytest.approx(3.289, abs=1e-3)
