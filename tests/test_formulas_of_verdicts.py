"""What frames, near fields and strikes add to a finding, and which findings are one: where each rule turns.

Numbers beside a test are the contract; what is held 5 % either side of them turns.
"""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.common.grid import grid_hz
from distort.analysis.common.quantities import CHANGE
from distort.analysis.findings import peak_findings
from distort.analysis.findings.across import across, same_finding
from distort.analysis.findings.broad_changes import broad_changes
from distort.analysis.findings.by_frames import frame_near, near_places, with_frames
from distort.analysis.findings.change_findings import change_drafts
from distort.analysis.findings.contrasts import flanks
from distort.analysis.findings.evidence import ChangeCurve, Evidence, FrameAt
from distort.analysis.findings.finding import Draft, PlaceFound
from distort.analysis.findings.impulse_findings import impulse_drafts
from distort.analysis.findings.local_changes import LocalChange
from distort.analysis.findings.measured import NearField, order_place, order_read
from distort.analysis.findings.peak_findings import peak_drafts
from distort.analysis.frames.reading import FrameReading
from distort.analysis.impulsive.impulsive import ImpulsivePlace
from tests.made_evidence import anomaly
from tests.report_examples import response
from tests.test_fault_changes import RISE, ROW, at
from tests.test_findings_across import CLOSED, OPEN_PORT, harmonics
from tests.test_near_field_told import near, verdict

HZ = grid_hz()


def evidence(**more) -> Evidence:
    return Evidence(frequency_hz=HZ, response_db=np.zeros(HZ.size), lowest_valid_hz=20.0, **more)


# --- which findings are one -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("octaves", "one"), [(0.158, True), (-0.158, True), (0.175, False), (-0.175, False)])
def test_findings_of_two_conditions_are_one_within_a_sixth_of_an_octave(octaves, one):
    """Or broad in both: wider than an octave."""
    other = at(1000.0 * 2.0**octaves)
    assert same_finding(RISE, other) is one
    assert not same_finding(RISE, replace(other, explanation="resonance"))
    for wide, broad in ((2.05, True), (1.95, False)):
        low, high = (
            replace(RISE, places=(PlaceFound(frequency_hz=hz, low_hz=300.0, high_hz=300.0 * wide),))
            for hz in (300.0, 500.0)
        )
        assert low.broad is broad
        assert same_finding(low, high) is broad


def test_what_only_near_fields_show_is_held_against_nothing():
    """The first condition at a distance is what the others are held against; without one there is none."""
    close = replace(OPEN_PORT, near_field=NearField(highest_hz=9000.0, radius_known=True))
    both = across([close, replace(close, condition="port")])
    assert [(one.conditions, one.verdict) for one in both] == [(("open", "port"), None)]
    assert across([]) == ()
    (one,) = across([close, replace(OPEN_PORT, condition="far"), replace(CLOSED, harmonics=(harmonics(-49.0),))])
    assert one.conditions == ("far", "open")
    assert one.verdict is not None


def test_the_near_field_that_reaches_highest_is_named_where_none_does():
    low, high = (
        near(name, -60.0, -20.0, near_field=NearField(highest_hz=hz, radius_known=True))
        for name, hz in (("cone", 400.0), ("port", 800.0))
    )
    assert verdict(low, high).startswith("The near field of port does not tell")
    assert verdict(high, low).startswith("The near field of port does not tell")


def test_a_finding_leads_by_the_order_that_rises_most_of_those_that_speak_for_it():
    rows = (
        replace(ROW, quantity="h2", rise_db=9.0, speaks="silent"),
        replace(ROW, quantity="h3", rise_db=-5.0, speaks="for"),
        replace(ROW, quantity="h4", rise_db=4.0, speaks="for"),
    )
    assert order_place(replace(RISE, evidence=rows)).number == 3
    assert order_place(replace(RISE, evidence=rows)).product_hz == 3.0 * ROW.frequency_hz
    assert order_place(replace(RISE, evidence=rows[:1])).number == 2
    assert order_place(replace(RISE, evidence=())) is None
    assert replace(RISE, evidence=rows).leading_row is rows[1]


def test_noise_moves_a_response_as_if_it_added_in_phase():
    """`20 lg(1 + 10^(-s / 20))` of a response s dB above its noise, beside the reading's own 0.3 dB."""
    one = replace(OPEN_PORT, response=response(76.0, noise_db=50.0))
    read = order_read(one, order_place(RISE))
    moved_db = 20.0 * np.log10(1.0 + 10.0 ** (-26.0 / 20.0))
    assert read.input_interval_db == pytest.approx(np.hypot(0.3, moved_db), rel=1e-6)
    assert np.isnan(order_read(OPEN_PORT, order_place(RISE)).input_interval_db)


# --- frames -----------------------------------------------------------------------------------------------------------


def draft(**more) -> Draft:
    given = {"explanation": "compression", "decided": True, "probability": 0.8, "strength_db": 5.0} | more
    place = PlaceFound(frequency_hz=1000.0, low_hz=950.0, high_hz=1050.0)
    return Draft(**({"places": (place,), "numbers": {"level_db_spl": 96.0}} | given))


@pytest.mark.parametrize(("octaves", "near_it"), [(0.158, True), (-0.158, True), (0.175, False), (-0.175, False)])
def test_a_frame_speaks_for_a_place_within_a_sixth_of_an_octave(octaves, near_it):
    """And for the band in which it lies, its ends among it."""
    assert near_places(draft(), 1000.0 * 2.0**octaves) is near_it
    band = draft(places=(PlaceFound(frequency_hz=1000.0, low_hz=200.0, high_hz=8000.0),))
    assert [near_places(band, at_hz) for at_hz in (199.0, 200.0, 500.0, 8000.0, 8001.0)] == [
        False,
        True,
        True,
        True,
        False,
    ]


def frame(level: float = 96.0, at_hz: float = 1000.0, **parts_db: float) -> FrameAt:
    reading = replace(FrameReading.nothing(), uncertainty_db=0.0, compression_db=sum(parts_db.values()), **parts_db)
    return FrameAt(level_db_spl=level, frequency_hz=at_hz, reading=reading)


def test_the_frame_that_loses_most_at_the_level_speaks():
    less, most, other = frame(limiter_db=1.0), frame(heat_db=2.0), frame(91.0, limiter_db=9.0)
    unknown = replace(less, reading=replace(less.reading, compression_db=9.0, uncertainty_db=5.0))
    known = evidence(frames=(less, most, other, unknown))
    assert frame_near(draft(), known) is most
    told = with_frames(draft(), known)
    assert (told.explanation, told.also) == ("heating", ())
    assert told.probability == pytest.approx(0.8 * 182.0 / 184.0)
    assert told.numbers == {"level_db_spl": 96.0, "frame_hz": 1000.0, "frame_loss_db": 2.0, "frame_heat_db": 2.0}
    assert with_frames(draft(explanation="heating"), known).probability == 0.8
    assert with_frames(draft(explanation="limiting"), known).also == ("limiting",)
    assert with_frames(draft(explanation="expansion"), known).explanation == "expansion"


# --- strikes ----------------------------------------------------------------------------------------------------------


def strike(level: float, low_hz: float, high_hz: float, *, kind="rattle", z: float = 10.0) -> ImpulsivePlace:
    fields = {name: 0.0 for name in ImpulsivePlace.__dataclass_fields__}
    given = {"level_db_spl": level, "low_hz": low_hz, "high_hz": high_hz, "kind": kind, "z": z}
    return ImpulsivePlace(**(fields | {"frequency_hz": float(np.sqrt(low_hz * high_hz))} | given))


def test_strikes_that_overlap_at_several_levels_are_one():
    found = impulse_drafts(
        evidence(
            impulses=(
                strike(86.0, 90.0, 110.0, kind="undecided"),
                strike(96.0, 105.0, 130.0, kind="undecided", z=50.0),
                strike(91.0, 95.0, 125.0, kind="rub", z=20.0),
                strike(96.0, 130.0, 160.0),
                strike(96.0, 200.0, 300.0, kind="high-orders"),
            )
        )
    )
    one, other = sorted(found, key=lambda each: each.places[0].low_hz)
    assert (one.explanation, one.decided) == ("rub", True)
    assert one.numbers["lowest_level_db_spl"] == 86.0
    assert (one.numbers["level_db_spl"], one.numbers["standing_out"]) == (91.0, 20.0)
    assert one.strength_db == pytest.approx(20.0 * np.log10(20.0))
    assert (other.explanation, other.probability) == ("rattle", pytest.approx(33.0 / 36.0))
    assert one.probability == pytest.approx(28.0 / 32.0)


# --- peaks and bands --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("deviation_db", "at_hz", "in_room", "asked"),
    [
        (4.2, 300.0, False, True),
        (3.8, 300.0, False, False),
        (-6.0, 300.0, False, False),
        (6.0, 475.0, True, False),
        (6.0, 525.0, True, True),
        (6.0, 500.0, True, True),
    ],
)
def test_peaks_of_4_db_are_looked_at_and_in_rooms_above_500_hz(monkeypatch, deviation_db, at_hz, in_room, asked):
    monkeypatch.setattr(peak_findings, "_at_peak", lambda *_: draft())
    found = peak_drafts(
        evidence(anomalies=(anomaly(at_hz, deviation_db),), in_room=in_room), {0.15: None, 0.3: None, 0.55: None}, []
    )
    assert bool(found) is asked


def curve(change_db: np.ndarray) -> ChangeCurve:
    return ChangeCurve(
        quantity=CHANGE,
        level_db_spl=96.0,
        frequency_hz=HZ,
        change_db=change_db,
        uncertainty_db=np.full(HZ.size, 0.02),
        bias_db=np.zeros(HZ.size),
    )


def bands(inside: np.ndarray, *places: LocalChange, lowest_valid_hz: float = 20.0) -> list[tuple[float, float]]:
    made = broad_changes([curve(np.where(inside, -1.0, 0.0))], places, lowest_valid_hz=lowest_valid_hz)
    return [(one.low_hz, one.high_hz) for one in made]


def test_a_band_is_a_third_of_an_octave_and_a_place_of_its_sign_is_none():
    first = int(np.argmin(np.abs(HZ - 1000.0)))
    rows = round(1.0 / (3.0 * np.log2(HZ[1] / HZ[0])))
    for wide, told in ((rows - 1, False), (rows + 1, True)):
        inside = (np.arange(HZ.size) >= first) & (np.arange(HZ.size) <= first + wide)
        assert bool(bands(inside)) is told
    assert bands((HZ > 300.0) & (HZ < 3000.0), lowest_valid_hz=float(HZ[first]))[0][0] == HZ[first]
    inside = (HZ > 900.0) & (HZ < 1500.0)
    place = LocalChange(
        curve=curve(np.zeros(HZ.size)), row=first, excess_db=-1.0, sigma_db=0.1, low_hz=890.0, high_hz=1510.0
    )
    assert bands(inside, place) == []
    assert len(bands(inside, replace(place, excess_db=1.0))) == 1
    # between two stretches further apart than half an octave only a place of their sign joins them
    apart = (HZ > 300.0) & (HZ < 3000.0) & ~((HZ > 700.0) & (HZ < 1400.0))
    joining = replace(place, low_hz=680.0, high_hz=1420.0)
    assert len(bands(apart)) == 2
    assert len(bands(apart, joining)) == 1


def test_on_a_coarse_grid_flanks_begin_two_rows_away_and_hold_five_and_more():
    """Eight rows an octave, a curve that is the square of the distance in rows. A gap of 0.15 octaves is one row: two
    are taken, and five beyond them, 4 to 49, in the middle 20.5. One of 0.55 octaves is four: 16 to 81, in the middle
    42.5, and the core holds three rows, 1 in the middle."""
    rows = np.arange(41) - 20.0
    at_hz = 1000.0 * 2.0 ** (rows / 8.0)
    for gap, contrast_db in ((0.15, 0.0 - 20.5), (0.55, 1.0 - 42.5)):
        assert flanks(at_hz, np.square(rows)[None, :], gap_octaves=gap).contrast_db[0, 20] == pytest.approx(contrast_db)
    few = np.where(np.abs(rows) > 5, np.nan, rows)
    assert np.isnan(flanks(at_hz, few[None, :], gap_octaves=0.15).contrast_db[0, 20])
    enough = np.where(np.abs(rows) > 6, np.nan, rows)
    assert flanks(at_hz, enough[None, :], gap_octaves=0.15).contrast_db[0, 20] == pytest.approx(0.0, abs=1e-9)


def test_a_decibel_of_change_counts_as_eight_of_distortion():
    """A place of 2 dB beyond its flanks, the best of 60 places beyond its noise; its change at every level is told."""
    top = np.where(np.abs(np.arange(HZ.size) - np.argmin(np.abs(HZ - 1000.0))) <= 1, 2.0, 0.0)
    quiet = replace(curve(-0.5 * top), level_db_spl=91.0)
    (one,) = change_drafts(evidence(changes=(quiet, curve(-top)), in_room=True))
    assert (one.explanation, one.in_room) == ("compression", False)
    excess_db = one.numbers["excess_db"]
    assert excess_db == pytest.approx(-2.0, abs=0.05)
    assert one.strength_db == pytest.approx(8.0 * abs(excess_db))
    assert [(row.level_db_spl, row.speaks) for row in one.evidence] == [(91.0, "silent"), (96.0, "for")]
    assert one.evidence[0].rise_db == pytest.approx(-1.0, abs=0.02)
    assert one.evidence[0].interval_db == 0.02
    assert one.evidence[1].interval_db == pytest.approx(1.96 * np.hypot(0.03, 0.02 / 1.96), rel=0.2)
