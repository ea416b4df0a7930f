"""Which bursts are played next: never above what is allowed, never longer than was said, and close to every limit."""

import math
from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.burst_series.steps import (
    FINE_DB,
    LEAST_REST_S,
    REFERENCES,
    STEP_DB,
    Band,
    BurstStep,
    bands_after,
    next_step,
    rest_after_s,
)
from distort.capture.bursts.duration import STARTING_S, at_most, fits, series_plan
from distort.capture.bursts.so_far import SoFar
from distort.capture.bursts.tops import bands_foretold
from distort.session.plan.keys import BurstPlan, Levels, Loudspeaker, Microphone, Plan, Safety, Setup, SweepPlan
from distort.session.plan.kinds import burst_limits, burst_stimulus
from signals.burst import PEAK_OVER_RMS_DB
from tests.devices.random_bursts import BurstDevice, quiet_run_of

LOWEST = 80.0


def band(**known) -> Band:
    return Band(**{"frequency_hz": 100.0, "drive_top_db_spl": 110.0, **known})


def test_a_band_begins_at_the_quietest_level_and_goes_up_by_two_decibels() -> None:
    fresh = band()
    assert fresh.next_db_spl(LOWEST) == LOWEST
    assert fresh.told(LOWEST, fault=False).next_db_spl(LOWEST) == LOWEST + STEP_DB


def test_near_a_limit_it_goes_up_by_one() -> None:
    assert band().told(LOWEST, fault=False, near=True).next_db_spl(LOWEST) == LOWEST + FINE_DB


def test_below_what_it_may_not_pass_the_last_step_is_a_small_one() -> None:
    assert band(drive_top_db_spl=81.9).told(LOWEST, fault=False).next_db_spl(LOWEST) == 81.0
    assert band(drive_top_db_spl=80.9).told(LOWEST, fault=False).next_db_spl(LOWEST) is None
    assert band(drive_top_db_spl=79.9).next_db_spl(LOWEST) is None


def test_where_a_limit_was_passed_it_is_played_between_until_one_decibel_is_left() -> None:
    passed = band().told(86.0, fault=False).told(91.0, fault=True)
    assert passed.next_db_spl(LOWEST) == 88.0
    passed = passed.told(88.0, fault=False)
    assert passed.next_db_spl(LOWEST) == 90.0
    assert passed.told(90.0, fault=True).next_db_spl(LOWEST) == 89.0
    assert passed.told(90.0, fault=False).next_db_spl(LOWEST) is None


def test_a_level_off_the_grid_is_met_from_below() -> None:
    """Levels of the plan may lie anywhere: 81.5 is followed by 83, not by 83.5."""
    assert band().told(81.5, fault=False).next_db_spl(LOWEST) == 83.0


def test_what_ends_a_band_ends_it() -> None:
    assert band().told(LOWEST, fault=True).next_db_spl(LOWEST) is None
    unheard = band().told(LOWEST, fault=False, clear=False)
    assert unheard.unheard
    assert unheard.next_db_spl(LOWEST) is None


def test_the_next_peak_is_expected_by_the_last_one() -> None:
    """The quiet run foretells 3 dB over the level, so 111 under a ceiling of 114. At 90 dB its peak is 96.5: the next
    is 98.5 at most, whatever it was when it was quiet; a band that lost 2 dB may go on for 2 dB more."""
    fresh = band(drive_top_db_spl=130.0, most_peak_db=97.6, gain_db=3.0)
    assert fresh.top_db_spl == 94.6
    expanding = fresh.told(90.0, fault=False, peak_db=96.5)
    assert expanding.top_db_spl == pytest.approx(91.1)
    assert expanding.next_db_spl(LOWEST) == 91.0
    compressing = fresh.told(94.0, fault=False, peak_db=95.0)
    assert compressing.top_db_spl == pytest.approx(96.6)
    assert (compressing.top_by, compressing.next_db_spl(LOWEST)) == ("ceiling", 96.0)
    assert band(most_peak_db=120.0, gain_db=3.0).top_by == "drive"


def test_the_quietest_level_is_recorded_four_times_then_the_lowest_level_that_is_needed() -> None:
    bands = (band(), band(frequency_hz=200.0, drive_top_db_spl=70.0), band(frequency_hz=400.0))
    first = next_step(bands, lowest_db_spl=LOWEST, references=3)
    assert first is not None
    assert (first.level_db_spl, first.bands) == (LOWEST, (0, 2))
    told = (bands[0].told(LOWEST, fault=False, near=True), bands[1], bands[2].told(LOWEST, fault=False))
    second = next_step(told, lowest_db_spl=LOWEST)
    assert second is not None
    assert (second.level_db_spl, second.bands) == (81.0, (0,))
    third = next_step((told[0].told(81.0, fault=False, near=True), *told[1:]), lowest_db_spl=LOWEST)
    assert third is not None
    assert (third.level_db_spl, third.bands) == (82.0, (0, 2))
    assert next_step((bands[1],), lowest_db_spl=LOWEST, references=0) is None


def test_the_rest_grows_with_the_energy() -> None:
    """As much energy as the sweep: 8 s. Twice as much: twice as long. Never less."""
    assert rest_after_s(3.0, reference_energy_s=3.0) == LEAST_REST_S == 8.0
    assert rest_after_s(6.0, reference_energy_s=3.0) == 16.0
    assert rest_after_s(0.1, reference_energy_s=3.0) == 8.0


def random_plan(rng: np.random.Generator) -> Plan:
    lowest_hz = float(rng.choice([40.0, 63.0, 100.0, 200.0]))
    quietest = float(np.round(rng.uniform(70.0, 88.0), 1))
    ceiling = float(np.round(quietest + rng.uniform(6.0, 22.0), 1))
    distance_m = float(rng.choice([0.5, 1.0, 2.0]))
    microphone_db_spl = float(ceiling + rng.uniform(-8.0, 5.0)) - 20.0 * math.log10(distance_m)
    return Plan(
        loudspeaker=Loudspeaker(name="made up"),
        setup=Setup(distance_m=distance_m),
        levels=Levels(db_spl=(quietest, round(quietest + 5.0, 1)), rest_s=float(rng.choice([0.0, 10.0, 20.0, 60.0]))),
        safety=Safety(ceiling_db_spl=ceiling, max_drive_dbfs=float(np.round(rng.uniform(-20.0, 0.0), 1))),
        microphone=Microphone(max_db_spl=microphone_db_spl if rng.random() < 0.3 else None),
        sweep=SweepPlan(seconds=1.0, sample_rate=32000, stop_hz=14000.0),
        burst=BurstPlan(
            lowest_hz=lowest_hz,
            highest_hz=float(rng.choice([1000.0, 4000.0, 8000.0])),
            ceiling_db_peak=float(np.round(ceiling + rng.uniform(0.0, 9.0), 1)) if rng.random() < 0.3 else None,
        ),
    )


def played_through(plan: Plan, device: BurstDevice, rng: np.random.Generator) -> dict[str, float]:
    """The whole series without a clock: what it came to. Asserts all that must hold on the way."""
    full_scale_db = device.nominal_of_full_scale_db
    whole = burst_stimulus(plan, drive_dbfs=-60.0)
    bands_hz = np.array(whole.bands_hz)
    quiet = quiet_run_of(device, bands_hz)
    series = series_plan(plan, whole, level_of_full_scale_db=full_scale_db)
    bands = bands_foretold(quiet, plan, whole.bands_hz, level_of_full_scale_db=full_scale_db)
    limits, lowest = burst_limits(plan), plan.levels.db_spl[0]
    state = SoFar(lowest_db_spl=lowest, bands=bands, references=0)
    assert all(one.gain_db > -math.inf for one in bands)
    most = at_most(series, state, plan)
    elapsed_s, rest_s, recordings, repeated, first = 0.0, 0.0, 0, 0, {}
    if most is not None:
        whole_step = BurstStep(level_db_spl=lowest, bands=tuple(range(len(bands_hz))))
        reel = series.item(whole_step).reel
        assert series.seconds(whole_step) == pytest.approx(reel.n_samples / reel.sample_rate, abs=1e-9)
    while (step := state.next()) is not None:
        if not fits(series, step, rest_s=rest_s, elapsed_s=elapsed_s, most_s=most.seconds):
            assert repeated, "without a take that was no good there is always time"
            break
        judged = device.judged(step, bands_hz, first)
        assert judged.played_dbfs <= plan.safety.max_drive_dbfs + 1e-6
        assert np.all(judged.peak_db <= limits.ceiling_db_peak + device.expands_db + 1e-6)
        chirps_db = step.level_db_spl - 10.0 + float(np.max(device.knots_db))
        assert chirps_db <= plan.safety.ceiling_db_spl + 1e-6
        if plan.microphone.max_db_spl is not None:
            gain_db = 20.0 * math.log10(plan.setup.distance_m)
            at_microphone = judged.peak_db - PEAK_OVER_RMS_DB - gain_db
            assert np.all(at_microphone <= plan.microphone.max_db_spl + device.expands_db + 1e-6)
        at_input = judged.peak_db - PEAK_OVER_RMS_DB - quiet.offset_db
        assert np.all(at_input <= -1.0 + device.expands_db + 1e-6)
        twice = rng.random() < 0.02  # a take that was no good
        lasts_s = (series.seconds(step) + STARTING_S) * (2 if twice else 1)
        elapsed_s += rest_s + lasts_s + (plan.levels.rest_s if twice else 0.0)
        assert elapsed_s <= most.seconds + 1e-6
        recordings, repeated = recordings + 1, repeated + twice
        references = min(state.references + 1, REFERENCES)
        state = replace(state, bands=bands_after([judged], limits, state.bands), references=references)
        rest_s = series.rest_after_s(step)
    for one in state.bands:
        assert one.clean_db_spl is None or one.failed_db_spl is None or one.failed_db_spl - one.clean_db_spl <= 2.0
    return {"recordings": recordings, "elapsed_s": elapsed_s, "most_s": most.seconds if most else 0.0}


def some_plans(seed: int, count: int) -> list[dict[str, float]]:
    """Random plans against random loudspeakers: compressing, distorting, expanding, noisy."""
    found = []
    for index in range(count):
        rng = np.random.default_rng([seed, index])
        plan = random_plan(rng)
        found.append(played_through(plan, BurstDevice(rng, plan), rng))
    return found


def test_no_series_is_louder_higher_or_longer_than_it_may_be() -> None:
    """100 of them; a study of 10,000 is below."""
    found = some_plans(1, 100)
    assert sum(one["recordings"] > 4 for one in found) > 75


@pytest.mark.study
def test_ten_thousand_series() -> None:
    found = [one for seed in range(2, 52) for one in some_plans(seed, 200)]
    names = ("recordings", "elapsed_s", "most_s")
    recordings, elapsed_s, most_s = (np.array([one[name] for one in found]) for name in names)
    played = recordings > 0
    share = elapsed_s[played] / most_s[played]
    print(
        f"\n{len(found)} plans, {int(recordings.sum())} recordings: none above ceiling, drive, microphone or input; of "
        f"{int(played.sum())} that played, time taken re the bound: median {np.median(share):.2f}, largest "
        f"{share.max():.2f}; recordings: median {np.median(recordings[played]):.0f}, most {recordings.max():.0f}"
    )
