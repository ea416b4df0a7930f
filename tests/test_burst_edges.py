"""Bursts that get louder, exactly at their edges: levels that are a rounding off, limits that are met to the last
digit, and every level that a series may still play, written out."""

import math
from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.burst import ORDERS, BurstReading
from distort.analysis.burst_series.judged import BurstLevel, Judged, judged_levels
from distort.analysis.burst_series.result import _crossing, burst_result
from distort.analysis.burst_series.steps import Band, BurstStep, bands_after, most_steps, next_step
from distort.analysis.common.burst_limits import BurstLimits
from distort.analysis.sweep.sweeps import Reference
from tests.test_burst_result import LIMITS, level, result_of

LOWEST = 80.0
HAIR, MORE = 1e-7, 1e-5
"""Within the rounding of decimal levels (a millionth), and beyond it."""


def band(**known) -> Band:
    return Band(**{"frequency_hz": 100.0, "drive_top_db_spl": 110.0, **known})


# --- one band ---------------------------------------------------------------------------------------------------------


def test_a_band_of_which_nothing_was_heard_is_kept_by_its_drive_alone() -> None:
    fresh = Band(frequency_hz=100.0, drive_top_db_spl=95.0, most_peak_db=100.0)
    assert fresh.top_db_spl == 95.0
    assert fresh.top_by == "drive"


@pytest.mark.parametrize(
    ("gain_db", "top_db_spl", "top_by"),
    [(4.0, 95.0, "drive"), (5.0, 95.0, "drive"), (6.0, 94.0, "ceiling"), (-4.0, 95.0, "drive")],
)
def test_what_sets_the_highest_level_is_whichever_is_lower(gain_db, top_db_spl, top_by) -> None:
    """At most 100 dB of peak, less the gain of the last burst, or 95 dB of drive; of two alike the drive."""
    one = band(drive_top_db_spl=95.0, most_peak_db=100.0, gain_db=gain_db)
    assert (one.top_db_spl, one.top_by) == (top_db_spl, top_by)


@pytest.mark.parametrize(
    ("known", "may"),
    [
        ({"drive_top_db_spl": LOWEST}, True),
        ({"drive_top_db_spl": LOWEST - HAIR}, True),
        ({"drive_top_db_spl": LOWEST - MORE}, False),
        ({"failed_db_spl": LOWEST - 1.0}, False),
        ({"failed_db_spl": LOWEST - MORE}, False),
        ({"failed_db_spl": LOWEST - HAIR}, True),
        ({"failed_db_spl": LOWEST}, True),
        ({"failed_db_spl": LOWEST + 1.0}, True),
    ],
)
def test_a_band_may_begin_that_nothing_forbids_and_that_failed_at_no_lower_level(known, may) -> None:
    assert band(**known).may_begin(LOWEST) == may


@pytest.mark.parametrize(
    ("known", "next_db_spl"),
    [
        ({"drive_top_db_spl": LOWEST}, LOWEST),
        ({"drive_top_db_spl": LOWEST - HAIR}, LOWEST),
        ({"drive_top_db_spl": LOWEST - MORE}, None),
        ({"clean_db_spl": 84.0}, 86.0),
        ({"clean_db_spl": 84.0, "near": True}, 85.0),
        ({"clean_db_spl": 84.0, "failed_db_spl": 87.0}, 86.0),
        ({"clean_db_spl": 84.0, "failed_db_spl": 86.0}, 85.0),
        ({"clean_db_spl": 84.0, "failed_db_spl": 86.0 + HAIR}, 85.0),  # and not 86 again
        ({"clean_db_spl": 84.0, "failed_db_spl": 86.0 + MORE}, 86.0),
        ({"clean_db_spl": 84.0, "drive_top_db_spl": 86.0 - HAIR}, 86.0),
        ({"clean_db_spl": 84.0, "drive_top_db_spl": 86.0 - MORE}, 85.0),
        ({"clean_db_spl": 84.0, "drive_top_db_spl": 84.9}, None),
        ({"clean_db_spl": 84.0 - HAIR, "drive_top_db_spl": 84.9}, None),  # it was played there
        ({"clean_db_spl": 84.0 - MORE, "drive_top_db_spl": 84.9}, 84.0),
        ({"clean_db_spl": 84.0, "unheard": True}, None),
        ({"failed_db_spl": LOWEST}, None),
    ],
)
def test_the_level_at_which_a_band_is_played_next(known, next_db_spl) -> None:
    assert band(**known).next_db_spl(LOWEST) == next_db_spl


def test_the_lowest_level_that_failed_is_kept_whichever_was_played_first() -> None:
    assert band(failed_db_spl=88.0).told(90.0, fault=True).failed_db_spl == 88.0
    assert band(failed_db_spl=88.0).told(86.0, fault=True).failed_db_spl == 86.0
    assert band().told(86.0, fault=True).failed_db_spl == 86.0
    assert band(failed_db_spl=88.0, clean_db_spl=84.0).told(89.0, fault=False).clean_db_spl == 84.0


# --- all of them ------------------------------------------------------------------------------------------------------


def test_the_quietest_level_is_recorded_four_times() -> None:
    bands = [band(clean_db_spl=LOWEST), band(failed_db_spl=LOWEST - 1.0)]
    assert next_step(bands, lowest_db_spl=LOWEST, references=3) == BurstStep(level_db_spl=LOWEST, bands=(0,))
    for step in (next_step(bands, lowest_db_spl=LOWEST, references=4), next_step(bands, lowest_db_spl=LOWEST)):
        assert step == BurstStep(level_db_spl=LOWEST + 2.0, bands=(0,))


def test_more_than_can_be_played_is_every_level_with_every_band_twice() -> None:
    """By hand, from 81 dB on. The first goes up to 84 by its drive; the second says nothing; the third was clean at 82
    and has a top of 83; the fourth may lose 2 dB and a step's reading more: 100 - 20 + 3 = 83; the fifth failed at 82;
    the sixth was clean at 84 already."""
    bands = [
        band(drive_top_db_spl=84.0),
        band(unheard=True, clean_db_spl=81.0),
        band(drive_top_db_spl=83.0 - HAIR, clean_db_spl=82.0 - HAIR),
        band(most_peak_db=100.0, gain_db=20.0),
        band(failed_db_spl=82.0),
        band(drive_top_db_spl=84.0, clean_db_spl=84.0),
    ]
    steps = list(most_steps(bands, lowest_db_spl=81.0, compression_db=2.0, references=1))
    heard = (0, 2, 3, 4, 5)
    want = [(81.0, heard)] * 3
    want += [(82.0, (0, 3, 4)), (82.0, ()), (83.0, (0, 2, 3)), (83.0, ()), (84.0, (0,)), (84.0, ())]
    assert [(one.level_db_spl, one.bands) for one in steps] == want
    assert len(list(most_steps(bands, lowest_db_spl=81.0, compression_db=2.0))) == len(want) + 1
    assert not list(most_steps([bands[1]], lowest_db_spl=81.0, compression_db=2.0, references=4))
    over = list(most_steps([band(drive_top_db_spl=83.0 - HAIR)], lowest_db_spl=80.5, compression_db=2.0, references=4))
    assert [one.level_db_spl for one in over] == [81.5, 81.5, 82.5, 82.5]
    edge = list(most_steps([band(drive_top_db_spl=82.0 - HAIR)], lowest_db_spl=81.0, compression_db=2.0, references=4))
    assert [one.level_db_spl for one in edge] == [82.0, 82.0]


def test_levels_are_told_to_the_bands_that_they_played_by_a_millionth_of_a_hertz() -> None:
    bands = [
        replace(band(), frequency_hz=hz, clean_db_spl=None) for hz in (100.0 + 4e-7, 150.0, 200.0 - 4e-7)
    ]  # as files hold them
    judged = judged_levels([level(80.0), level(82.0, lost_db=(0.0, 4.0))])
    first, between, last = bands_after(judged, LIMITS, bands)
    assert (first.clean_db_spl, first.failed_db_spl) == (82.0, None)
    assert between == bands[1]
    assert (last.clean_db_spl, last.failed_db_spl) == (80.0, 82.0)
    # a peak of 82 dB lies 3.01 dB above the r.m.s. of a steady sine
    assert first.gain_db == pytest.approx(3.0103, abs=1e-4)
    assert bands_after(judged, LIMITS, bands, calibrated=False)[0].gain_db == -math.inf


# --- one level --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("above_db", "clear"), [(9.8, False), (10.2, True), (math.nan, True)])
def test_a_fundamental_is_clear_10_db_above_its_noise_or_where_that_is_not_known(above_db, clear) -> None:
    """The noise of the orders is far below, and far above."""
    for others in (1e-12, 10.0):
        noise = np.full((1 + len(ORDERS), 1), others)
        noise[0] = 10.0 ** (-above_db / 10.0)
        reading = BurstReading(
            frequency_hz=np.array([100.0]),
            energy=np.ones_like(noise),
            noise=noise,
            leak=np.zeros_like(noise),
            peak=np.ones(1),
        )
        one = BurstLevel(
            level_db_spl=80.0,
            drive_db=-40.0,
            played_dbfs=-40.0,
            reading=reading,
            reference=Reference(offset_db=0.0, unit="dbfs"),
        )
        assert judged_levels([one])[0].clear.tolist() == [clear]
        assert one.takes == 1


def judged(
    *, compression_db: float = math.nan, h2_db: float = -60.0, floor_db: float = -90.0, at: float = 80.0
) -> Judged:
    """One band, of which the second order stands out; the others are far below."""
    harmonics, floor = np.full((len(ORDERS), 1), -80.0), np.full((len(ORDERS), 1), -120.0)
    harmonics[0], floor[0] = h2_db, floor_db
    return Judged(
        level_db_spl=at,
        played_dbfs=at - 120.0,
        frequency_hz=np.array([100.0]),
        peak_db=np.array([at]),
        input_peak_dbfs=np.array([at - 120.0]),
        compression_db=np.array([compression_db]),
        harmonics_db=harmonics,
        floor_db=floor,
        clear=np.array([True]),
    )


@pytest.mark.parametrize(
    ("below", "above", "share", "name"),
    [
        # the limits are 3 dB of compression and -10 dB of h2
        ({"compression_db": 1.0}, {"compression_db": 5.0}, 0.5, "compression"),
        ({}, {"compression_db": 4.0}, 0.75, "compression"),  # nothing is lost at the reference
        ({"compression_db": 1.0}, {"compression_db": 3.0}, 1.0, "compression"),  # met exactly at the higher level
        ({"h2_db": -14.0}, {"h2_db": -10.0}, 1.0, "h2"),
        ({"h2_db": -14.0}, {"h2_db": -9.0}, 0.8, "h2"),
        ({"h2_db": -14.0, "compression_db": 1.0}, {"h2_db": -9.0, "compression_db": 4.0}, 2.0 / 3.0, "compression"),
        ({"h2_db": math.nan}, {"h2_db": -9.0}, 0.0, "h2"),  # not known below: it may have been there
        ({"h2_db": math.nan}, {"h2_db": -10.0}, 0.0, "h2"),
        ({"h2_db": -9.5, "floor_db": -9.5}, {"h2_db": -9.0}, 0.0, "h2"),  # within its floor, which is above the limit
        ({"h2_db": -9.0, "floor_db": -9.0}, {"h2_db": -9.5}, 0.0, "h2"),
    ],
)
def test_where_between_two_levels_a_limit_is_met(below, above, share, name) -> None:
    found = _crossing((judged(**below), 0), (judged(**above, at=82.0), 0), BurstLimits())
    assert found == (pytest.approx(share), name)


def test_a_limit_that_is_met_exactly_ends_a_band() -> None:
    """Driven 3 dB higher the output is what it was: 3 dB of compression to the last digit."""
    first = level(80.0)
    same = replace(first, level_db_spl=83.0, drive_db=first.drive_db + 3.0)
    found = burst_result([first, same], LIMITS)
    assert found.ended_by == ("compression", "compression")
    np.testing.assert_allclose(found.level_db_spl, 83.0)
    np.testing.assert_allclose(found.compression_db, 3.0)


@pytest.mark.parametrize(("room_db", "ended_by"), [(1.9, "drive"), (2.0 - HAIR, "plan"), (2.0, "plan"), (2.1, "plan")])
def test_a_band_is_kept_by_what_leaves_less_than_a_step(room_db, ended_by) -> None:
    """Driven at -30 dBFS."""
    limits = BurstLimits(max_drive_dbfs=-30.0 + room_db)
    assert result_of(level(80.0), level(90.0), limits=limits).ended_by == (ended_by, ended_by)


def test_without_a_calibration_no_pressure_is_held_against_a_ceiling() -> None:
    levels = [replace(level(own), reference=Reference(offset_db=0.0, unit="dbfs")) for own in (80.0, 90.0)]
    assert burst_result(levels, BurstLimits(ceiling_db_peak=0.0)).ended_by == ("plan", "plan")


def test_every_level_keeps_what_it_said_of_its_bands() -> None:
    """Peaks 3.01 dB above the level, less what is lost; harmonics near their noise are left out."""
    orders_db = {2: (-20.0, -25.0), 3: (-85.0, -50.0)}
    found = result_of(
        level(80.0, bands=(1,)), level(90.0, lost_db=(1.0, 2.0), orders_db=orders_db), level(90.0, bands=(1,))
    )
    quiet, loud = found.levels
    np.testing.assert_allclose(quiet.peak_db, [np.nan, 83.0103], atol=1e-4)
    np.testing.assert_allclose(loud.peak_db, [92.0103, 93.0103], atol=1e-4)
    np.testing.assert_allclose(loud.compression_db, [np.nan, 0.0], atol=1e-9)
    assert np.isnan(quiet.compression_db).all()
    assert loud.harmonics_db[0, 0] == pytest.approx(-20.0)
    assert np.isnan(loud.harmonics_db[2:, 0]).all()
