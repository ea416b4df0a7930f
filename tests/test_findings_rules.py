"""By what rules findings are told, joined and left open: just on either side of where each turns, and their closed
forms."""

from dataclasses import replace

import numpy as np
import pytest
import scipy.stats

from distort.analysis.common.grid import grid_hz
from distort.analysis.common.quantities import CHANGE
from distort.analysis.findings.broad_changes import broad_changes
from distort.analysis.findings.contrasts import Flanks, flanks, gap_for, ripple_at, ripple_db
from distort.analysis.findings.evidence import ChangeCurve
from distort.analysis.findings.finding import Draft, EvidenceRow, PlaceFound
from distort.analysis.findings.likelihoods import log_below, log_density_of_source
from distort.analysis.findings.local_changes import LocalChange, _excess, _half, _of_curve, _one_place
from distort.analysis.findings.saturating import _fill, with_saturation
from distort.analysis.findings.together import _made_by_the_third, one_a_place, same_place
from tests.made_evidence import Made, anomaly, bell

HZ = grid_hz()
PER_OCTAVE = 1.0 / np.log2(HZ[1] / HZ[0])
ROW = int(np.argmin(np.abs(HZ - 1000.0)))
THERE = np.abs(np.arange(HZ.size) - ROW) <= 1
"""The row and its neighbours."""


def curve(
    change_db: np.ndarray, *, uncertainty_db: float = 0.02, bias_db: float = 0.0, level: float = 96.0
) -> ChangeCurve:
    return ChangeCurve(
        quantity=CHANGE,
        level_db_spl=level,
        frequency_hz=HZ,
        change_db=change_db,
        uncertainty_db=np.full(HZ.size, uncertainty_db),
        bias_db=np.zeros(HZ.size),
    )


def draft(at_hz: float, explanation: str = "resonance", *, decided: bool = True, **fields) -> Draft:
    place = PlaceFound(frequency_hz=at_hz, low_hz=at_hz / 1.1, high_hz=at_hz * 1.1)
    given = {"probability": 0.9, "places": (place,), "strength_db": 5.0} | fields
    return Draft(explanation=explanation, decided=decided, **given)


# --- densities --------------------------------------------------------------------------------------------------------


def test_a_bound_is_kept_as_often_as_student_says():
    """Twelve degrees of freedom, scipy's own distribution."""
    for off_db in (-3.0, 0.0, 1.5):
        assert log_below(off_db, 0.7) == pytest.approx(scipy.stats.t.logcdf(off_db / 0.7, 12))


def test_a_source_makes_between_2_and_22_db_more():
    """At an end of the range half of the density is left."""
    assert np.exp(log_density_of_source(2.0, 0.5)) == pytest.approx(0.5 / 20.0, rel=1e-6)
    assert np.exp(log_density_of_source(22.0, 0.5)) == pytest.approx(0.5 / 20.0, rel=1e-6)


# --- contrasts --------------------------------------------------------------------------------------------------------


def test_a_straight_line_has_no_contrast_and_a_row_above_it_its_height():
    """Through the medians of both flanks, over log frequency."""
    line = 3.0 * np.log2(HZ / 1000.0)
    found = flanks(HZ, np.array([line, line + np.where(THERE, 5.0, 0.0)]), gap_octaves=0.15)
    assert found.contrast_db[0, ROW] == pytest.approx(0.0, abs=1e-9)
    assert found.contrast_db[1, ROW] == pytest.approx(5.0)
    # a flank is as far as its rows' median, which lies beyond the gap and half of the flank
    near = max(round(0.15 * PER_OCTAVE), 2)
    far = near + max(round(0.5 * PER_OCTAVE), 5)
    assert found.right_db[0, ROW] - line[ROW] == pytest.approx(3.0 * 0.5 * (near + far) / PER_OCTAVE, rel=1e-6)


def test_beyond_both_flanks():
    """Above the higher, below the lower, and nothing between."""
    made = {"left_db": np.full((1, 3), 1.0), "right_db": np.full((1, 3), 4.0), "line_db": np.full((1, 3), 2.5)}
    found = Flanks(centre_db=np.array([[6.0, 2.0, -3.0]]), **made)
    np.testing.assert_allclose(found.beyond_both_db, [[2.0, 0.0, -4.0]])


def test_which_gap_suits_a_width():
    """Nine tenths of it; 0.15, 0.3 and 0.55 octaves: halfway at 0.225 and 0.425."""
    widths = (0.1, 0.249, 0.251, 0.471, 0.473, 2.0)
    assert [gap_for(width) for width in widths] == [0.15, 0.15, 0.3, 0.3, 0.55, 0.55]


def test_ripple_at_a_row_lies_between_those_of_both_sides():
    """Normal scatter of 1 dB below and 4 dB above: 2 dB, within a fifth for some 70 rows either side; one side alone
    counts 1.3 times."""
    random = np.random.default_rng(2)
    scatter = np.where(HZ < 1000.0, 1.0, 4.0) * random.standard_normal((400, HZ.size))
    calm = np.ones(HZ.size, dtype=np.bool_)
    assert np.median([ripple_at(HZ, one, ROW, calm=calm) for one in scatter]) == pytest.approx(2.0, rel=0.05)
    alone = np.where(HZ > 1000.0, np.nan, scatter)
    assert np.median([ripple_at(HZ, one, ROW, calm=calm) for one in alone]) == pytest.approx(1.3, rel=0.07)
    assert ripple_at(HZ, np.zeros(HZ.size), ROW, calm=calm) == 0.35
    assert np.isinf(ripple_at(HZ, np.full(HZ.size, np.nan), ROW, calm=calm))
    # what lies within 0.6 octaves or beyond 2 says nothing of it
    away = np.abs(np.log2(HZ / HZ[ROW]))
    elsewhere = np.where((away < 0.59) | (away > 2.01), 100.0, 0.0)
    assert ripple_at(HZ, elsewhere, ROW, calm=calm) == 0.35
    assert ripple_at(HZ, np.where((away < 0.63) | (away > 1.97), np.nan, 1.0), ROW, calm=calm) == pytest.approx(
        1 / 1.036
    )


def test_ripple_of_a_curve_is_that_of_its_calm_rows():
    random = np.random.default_rng(3)
    calm = HZ < 2000.0
    scatter = np.where(calm, 0.5, 50.0) * random.standard_normal((200, HZ.size))
    found = np.median([ripple_db(HZ, one, calm=calm, least_db=0.01)[0] for one in scatter])
    assert found == pytest.approx(0.5, rel=0.05)
    assert np.isinf(ripple_db(HZ, np.full(HZ.size, np.nan), calm=calm, least_db=0.01)).all()


# --- changes with level -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("height_db", "uncertainty_db", "told"),
    [(0.21, 0.02, True), (0.19, 0.02, False), (0.6, 0.225, True), (0.6, 0.245, False)],
)
def test_a_place_stands_out_by_five_spreads(height_db, uncertainty_db, told):
    """And 0.2 dB. Noise of 0.225 / 1.96 = 0.115 dB and the 0.03 dB of two runs make 0.119 dB, five times 0.593."""
    made = curve(np.where(THERE, height_db, 0.0), uncertainty_db=uncertainty_db)
    assert bool(_of_curve(_excess(made, 0.3), 20.0)) is told
    assert not _of_curve(_excess(made, 0.3), 1100.0)


def test_half_of_what_the_speed_of_the_sweep_changes_is_uncertain():
    """A bias of 0.4 dB at the place alone, in quadrature with 1.96 x 0.05 and 0.03 dB."""
    top = np.where(THERE, 1.0, 0.0)
    made = replace(curve(top, uncertainty_db=0.098), bias_db=0.4 * top)
    assert _excess(made, 0.3).sigma_db[ROW] == pytest.approx(np.sqrt(0.03**2 + 0.05**2 + 0.2**2), rel=1e-3)
    unknown = replace(made, uncertainty_db=np.full(HZ.size, np.nan))
    assert np.isnan(_excess(unknown, 0.3).excess_db).all()


def test_where_half_of_the_excess_is_left():
    """Of a bell: 2.355 standard deviations wide."""
    octaves = 0.2
    top = -2.0 * np.exp(-0.5 * (np.log2(HZ / HZ[ROW]) / octaves) ** 2)
    low_hz, high_hz = _half(curve(top), ROW, -2.0)
    assert np.log2(high_hz / low_hz) == pytest.approx(2.3548 * octaves, abs=2.0 / PER_OCTAVE)
    assert np.log2(HZ[ROW] / low_hz) == pytest.approx(np.log2(high_hz / HZ[ROW]), abs=1e-9)


def test_what_is_one_place():
    """A quarter of an octave apart; or one within the other, of one sign."""

    def place(at_hz: float, excess_db: float = 1.0, *, reach: float = 1.05) -> LocalChange:
        row = int(np.argmin(np.abs(HZ - at_hz)))
        return LocalChange(
            curve=curve(np.zeros(HZ.size)),
            row=row,
            excess_db=excess_db,
            sigma_db=0.1,
            low_hz=HZ[row] / reach,
            high_hz=HZ[row] * reach,
        )

    one = place(1000.0)
    assert _one_place(one, place(1000.0 * 2.0**0.21, -1.0))
    assert not _one_place(one, place(1000.0 * 2.0**0.3))
    assert _one_place(one, place(1000.0 * 2.0**0.3, reach=2.0**0.35))
    assert _one_place(place(1000.0 * 2.0**0.3, reach=2.0**0.35), one)
    assert not _one_place(one, place(1000.0 * 2.0**0.3, -1.0, reach=2.0**0.35))


@pytest.mark.parametrize(
    ("change_db", "uncertainty_db", "told"),
    [(-0.51, 0.02, True), (-0.49, 0.02, False), (0.9, 0.43, True), (0.9, 0.45, False)],
)
def test_a_band_changes_by_half_a_decibel_and_four_spreads(change_db, uncertainty_db, told):
    """4 x 0.441 / 1.96 = 0.9. The interval holds 0.03 dB of two runs as well."""
    inside = (HZ > 300.0) & (HZ < 900.0)
    found = broad_changes(
        [curve(np.where(inside, change_db, 0.0), uncertainty_db=uncertainty_db)], [], lowest_valid_hz=20.0
    )
    assert bool(found) is told
    if found:
        assert found[0].interval_db == pytest.approx(np.hypot(uncertainty_db, 1.96 * 0.03), rel=1e-4)


def test_stretches_within_half_an_octave_are_one_band_and_less_than_a_third_none():
    def bands(*ends_hz: tuple[float, float]) -> list[tuple[float, float]]:
        inside = np.any([(low <= HZ) & (high >= HZ) for low, high in ends_hz], axis=0)
        made = broad_changes([curve(np.where(inside, -1.0, 0.0))], [], lowest_valid_hz=20.0)
        return sorted((one.low_hz, one.high_hz) for one in made)

    assert len(bands((300.0, 500.0), (680.0, 1100.0))) == 1  # 0.44 octaves
    assert len(bands((300.0, 500.0), (740.0, 1200.0))) == 2  # 0.57
    assert bands((300.0, 300.0 * 2.0**0.25)) == []
    assert len(bands((300.0, 300.0 * 2.0**0.45))) == 1


def test_from_which_level_a_band_changes():
    """The lowest that shows it there by more than its interval and 0.1 dB, with the same sign."""
    inside = (HZ > 300.0) & (HZ < 900.0)
    changes = [
        curve(np.where(inside, db, 0.0), uncertainty_db=sure_db, level=level)
        for level, db, sure_db in (
            (81.0, 0.3, 0.02),
            (84.0, -0.09, 0.02),
            (86.0, -0.3, 0.35),
            (91.0, -0.3, 0.25),
            (96.0, -1.0, 0.02),
        )
    ]
    (found,) = broad_changes(changes, [], lowest_valid_hz=20.0)
    assert (found.from_level_db_spl, found.change_db) == (91.0, -1.0)


# --- a dip that fills -------------------------------------------------------------------------------------------------


def test_how_far_a_dip_fills_beyond_its_flanks():
    """1 dB at the place, 0.4 dB beside it; 0.098 / 1.96 = 0.05 dB of noise, 0.03 dB of two runs, and half of what the
    short sweep changes at the place alone, 0.2 dB."""
    made = replace(curve(np.where(THERE, 1.0, 0.4), uncertainty_db=0.098), bias_db=np.where(THERE, 0.4, 0.0))
    excess_db, sigma_db = _fill(made, ROW, 0.3)
    assert excess_db == pytest.approx(0.6)
    assert sigma_db == pytest.approx(np.sqrt(0.05**2 + 0.03**2 + 0.2**2), rel=1e-3)


@pytest.mark.parametrize(
    ("fill_db", "uncertainty_db", "explanation"),
    [
        (0.16, 0.02, "level-dependent-resonance"),
        (0.149, 0.02, "undecided"),
        (0.066, 0.02, "undecided"),
        (0.058, 0.02, "resonance"),
        (0.3, 0.149, "undecided"),
        (0.3, 0.151, "resonance"),
    ],
)
def test_a_resonance_whose_dip_fills_is_open_and_then_saturates(fill_db, uncertainty_db, explanation):
    """Two and five standard deviations of hypot(0.02 / 1.96, 0.03) = 0.0317 dB: 0.063 and 0.158 dB; and twice the
    interval of the change itself."""
    at_hz = float(HZ[ROW])
    evidence = replace(
        Made(after=bell(at_hz, -8.0), anomalies=(anomaly(at_hz, -8.0),)).evidence(),
        changes=(curve(np.where(THERE, fill_db, 0.0), uncertainty_db=uncertainty_db),),
    )
    found = with_saturation(draft(at_hz), evidence)
    assert found.explanation == explanation
    assert found.decided is (explanation != "undecided")
    # with something made there as well any change beyond twice its interval leaves both open
    both = with_saturation(draft(at_hz, also=("loudspeaker-generated",)), evidence)
    assert both.decided is not (fill_db > 2.0 * uncertainty_db)
    assert with_saturation(draft(at_hz, "filter-before-source"), evidence).explanation == "filter-before-source"


# --- one place --------------------------------------------------------------------------------------------------------


def test_places_a_fifth_of_an_octave_apart_are_one():
    """Tops of what the loudspeaker makes, half an octave; bands are findings of their own."""
    assert same_place(draft(1000.0), draft(1000.0 * 2.0**0.19))
    assert not same_place(draft(1000.0), draft(1000.0 * 2.0**0.21))
    made = [draft(1000.0 * 2.0**octaves, "loudspeaker-generated") for octaves in (0.0, 0.49, 0.51)]
    assert same_place(made[0], made[1])
    assert not same_place(made[0], made[2])
    assert not same_place(made[0], draft(1000.0 * 2.0**0.49))
    wide = draft(1000.0, places=(PlaceFound(frequency_hz=1000.0, low_hz=200.0, high_hz=5000.0),))
    assert not same_place(wide, draft(1000.0))


@pytest.mark.parametrize(("third_db", "explained"), [(-33.6, True), (-34.2, False)])
def test_a_third_harmonic_explains_three_times_its_amplitude_of_a_change(third_db, explained):
    """1 + 3 x 10^(-33.9 / 20) is 0.51 dB: two fifths of 1.275 dB."""
    change = draft(1000.0, "compression", numbers={"excess_db": -1.275})
    row = EvidenceRow(
        quantity="h3",
        level_db_spl=96.0,
        frequency_hz=1000.0,
        value_db=third_db,
        stimulus="sweep",
        rise_db=5.0,
        interval_db=1.0,
    )
    source = draft(1000.0, "loudspeaker-generated", evidence=(row,))
    assert _made_by_the_third(change, source) is explained
    assert not _made_by_the_third(change, replace(source, decided=False))
    assert not _made_by_the_third(replace(change, explanation="cancellation"), source)
    assert not _made_by_the_third(change, replace(source, evidence=(replace(row, quantity="h2"),)))
    (one,) = one_a_place([change, replace(source, strength_db=9.0)])
    assert one.explanation in ("compression", "loudspeaker-generated")


def test_the_strongest_that_is_decided_comes_first():
    weak, strong, opened = (
        draft(100.0, strength_db=1.0),
        draft(500.0, strength_db=9.0),
        draft(3000.0, decided=False, strength_db=20.0),
    )
    assert one_a_place([opened, weak, strong]) == [strong, weak, opened]


def test_a_second_cause_at_a_place_is_named_beside_the_first():
    """Unless the first says it already."""
    resonance, source = draft(1000.0, strength_db=8.0), draft(1020.0, "loudspeaker-generated", strength_db=5.0)
    (one,) = one_a_place([source, resonance])
    assert (one.explanation, one.also) == ("resonance", ("loudspeaker-generated",))
    moving = draft(1000.0, "level-dependent-resonance", strength_db=2.0)
    (one,) = one_a_place([source, resonance, moving])
    assert (one.explanation, one.also) == ("level-dependent-resonance", ())
    (one,) = one_a_place([resonance, replace(source, decided=False)])
    assert (one.explanation, one.also) == ("resonance", ())


def test_a_dip_that_fills_by_its_third_harmonic_is_open_unless_other_orders_say_that_it_lies_behind() -> None:
    """A third harmonic 34 dB down explains 0.5 dB, more than the 0.4 dB that the dip fills by."""
    fills = draft(1000.0, "level-dependent-resonance", numbers={"excess_db": 0.4})
    row = EvidenceRow(
        quantity="h3",
        stimulus="sweep",
        level_db_spl=96.0,
        frequency_hz=1000.0,
        rise_db=30.0,
        interval_db=1.0,
        value_db=-34.0,
        speaks="for",
    )
    source = draft(1000.0, "loudspeaker-generated", evidence=(row,))
    (opened,) = one_a_place([fills, source])
    assert (opened.explanation, opened.decided) == ("undecided", False)
    assert opened.between == ("level-dependent-resonance", "loudspeaker-generated")
    (kept,) = one_a_place([fills, source, draft(1000.0, "resonance")])
    assert (kept.explanation, kept.decided) == ("level-dependent-resonance", True)
    (weak,) = one_a_place([fills, replace(source, evidence=(replace(row, value_db=-60.0),))])
    assert weak.explanation == "level-dependent-resonance"
