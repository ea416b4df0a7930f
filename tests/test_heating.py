"""Minutes of a multitone: what is played, exponentials, and a recording read in stretches, against closed forms."""

from dataclasses import replace

import numpy as np
import pytest
import scipy.signal

from distort.analysis.heating.exponentials import course_of
from distort.analysis.heating.following import powers_of
from distort.analysis.heating.periods import CHUNK_PERIODS, chunks_of, third_octaves
from distort.analysis.heating.places import Place
from distort.analysis.heating.result import TIMES_S, HeatingResult, heating_level, not_heard
from distort.session.results.heating_table import heating_columns, heating_of_columns
from signals import Multitone, SignalError
from signals.heating import Heating
from signals.levels import db_to_amplitude

RATE = 16000
TONE = Multitone(high_hz=6000.0, low_hz=100.0, lines_per_decade=3, period_s=0.25, sample_rate=RATE, drive_dbfs=-12.0)
HEATING = Heating(tone=TONE, loud_periods=160, asked_periods=160, pilots_after_s=(0.0, 2.0, 9.0))
LOSSES_DB, TAUS_S = np.array([1.0, 0.5]), np.array([1.5, 15.0])


def lost_db(heating: Heating, time_s: np.ndarray) -> np.ndarray:
    """Closed form: both stages fill while it is loud, and empty afterwards; seconds from the start of the loud one."""
    loud, after = np.clip(time_s, 0.0, heating.loud_s), np.maximum(time_s - heating.loud_s, 0.0)
    stages = (1.0 - np.exp(-loud[:, None] / TAUS_S)) * np.exp(-after[:, None] / TAUS_S)
    return stages @ LOSSES_DB


def heard(heating: Heating, *, noise: float = 1e-5, seed: int = 1) -> np.ndarray:
    """The heating through that loss, with a second of silence on either side."""
    time_s = (np.arange(heating.n_samples) - heating.loud_start) / RATE
    played = heating.samples() * db_to_amplitude(-lost_db(heating, time_s))
    return np.pad(played, RATE) + noise * np.random.default_rng(seed).standard_normal(played.size + 2 * RATE)


def of(recording: np.ndarray):
    """How it is read from a file."""

    def part(first: int, end: int) -> np.ndarray:
        inside = recording[max(first, 0) : max(end, 0)]
        return np.pad(inside, (max(-first, 0), end - first - max(-first, 0) - inside.size))

    return part


def test_stretches_are_those_of_the_whole_and_an_end_that_is_moved_leaves_what_was_before() -> None:
    whole, rng = HEATING.samples(), np.random.default_rng(3)
    for first in rng.integers(-RATE, whole.size, 20):
        wanted = np.pad(whole, RATE)[first + RATE : first + RATE + 5000]
        np.testing.assert_array_equal(HEATING.part(int(first), int(first) + wanted.size), wanted)
    shorter = HEATING.ended_after(90, pilots=2)
    np.testing.assert_array_equal(shorter.part(0, shorter.loud_end), whole[: shorter.loud_end])
    assert shorter.pilot_starts == tuple(start - 70 * TONE.period_samples for start in HEATING.pilot_starts[:2])
    assert np.max(np.abs(whole)) <= np.max(np.abs(TONE.period())) + 1e-12  # also where it fades into a pilot


def test_the_pilots_are_as_much_quieter_as_stated_and_the_pause_before_it_is_loud_is_silent() -> None:
    pilot = HEATING.part(HEATING.pilot_starts[1], HEATING.pilot_starts[1] + HEATING.pilot.n_samples)
    middle = slice(TONE.period_samples, 2 * TONE.period_samples)
    np.testing.assert_allclose(pilot[middle], 0.1 * TONE.period(), atol=1e-12)  # 20 dB
    assert not np.any(HEATING.part(HEATING.pilot.n_samples, HEATING.loud_start))


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"loud_periods": 7}, "at least 8"),
        ({"loud_periods": 301}, "more than the 300"),
        ({"pilots_after_s": (0.0, 0.5)}, "after the end of the pilot before"),
        ({"pilots_after_s": (-1.0,)}, "after the end of the pilot before"),
    ],
)
def test_a_heating_that_cannot_be_is_refused(wrong, said) -> None:
    with pytest.raises(SignalError, match=said):
        Heating(**wrong)


TIME_S = (np.arange(300) + 0.5) * 2.0


def mean_of_decay(tau_s: float) -> np.ndarray:
    """Of exp(-t / tau) over moments of 2 s, by adding up 2,000 values in each."""
    within = (np.arange(2000) + 0.5) / 1000.0 - 1.0
    return np.mean(np.exp(-(TIME_S[:, None] + within) / tau_s), axis=1)


def test_two_time_constants_come_back_with_their_intervals() -> None:
    level_db = -1.2 * (1.0 - mean_of_decay(9.0)) - 0.5 * (1.0 - mean_of_decay(240.0))
    level_db += 0.01 * np.random.default_rng(5).standard_normal(300)
    course = course_of(TIME_S, level_db, span_s=2.0)
    assert [term.tau_s for term in course.terms] == pytest.approx([9.0, 240.0], rel=0.05)  # 95 %: 2.4 and 4 %
    assert [term.change_db for term in course.terms] == pytest.approx([-1.2, -0.5], abs=0.02)
    true_db = -1.2 * (1.0 - np.exp(-600.0 / 9.0)) - 0.5 * (1.0 - np.exp(-600.0 / 240.0))
    assert abs(course.change_db - true_db) < 1.5 * course.uncertainty_db < 0.06
    for term, tau_s in zip(course.terms, (9.0, 240.0), strict=True):
        assert term.low_s < term.tau_s < term.high_s
        assert term.low_s / 1.03 < tau_s < term.high_s * 1.03  # of one draw: half as far again as the interval


def test_one_time_constant_is_one() -> None:
    level_db = 0.8 * mean_of_decay(60.0) + 0.02 * np.random.default_rng(6).standard_normal(300)
    (term,) = course_of(TIME_S, level_db, span_s=2.0).terms
    assert term.tau_s == pytest.approx(60.0, rel=0.06)  # its 95 % interval
    assert term.change_db == pytest.approx(-0.8, abs=0.02)


@pytest.mark.parametrize("tau_s", [0.0, 3000.0])
def test_no_time_constant_is_named_in_noise_or_where_the_course_is_a_straight_line(tau_s) -> None:
    level_db = 0.02 * np.random.default_rng(7).standard_normal(300)
    true_db = 0.0
    if tau_s:
        level_db += mean_of_decay(tau_s)
        true_db = np.exp(-600.0 / tau_s) - 1.0
    course = course_of(TIME_S, level_db, span_s=2.0)
    assert course.terms == ()
    assert course.change_db == pytest.approx(true_db, abs=1.5 * course.uncertainty_db)


def test_too_few_moments_say_nothing() -> None:
    course = course_of(TIME_S[:6], TIME_S[:6], span_s=2.0)
    assert np.isnan([course.change_db, course.uncertainty_db]).all()
    assert course.terms == ()


@pytest.mark.first(1)
@pytest.mark.parametrize("clock_ppm", [100.0, 0.0, -100.0])
def test_a_recording_gives_back_change_time_constants_and_recovery_whatever_its_clock(clock_ppm) -> None:
    """Resampled by a transform, which is exact for what is periodic and ends in silence."""
    recording = heard(HEATING)
    longer = scipy.signal.resample(recording, round(recording.size * (1.0 + 1e-6 * clock_ppm)))
    powers = powers_of(of(longer), HEATING, Place(start=RATE * longer.size / recording.size))
    level = heating_level(powers, HEATING, level_db_spl=90.0)
    true_db = -float(lost_db(HEATING, np.array([HEATING.loud_s]))[0])
    within = np.arange(HEATING.pilot.periods * TONE.period_samples) / RATE + TONE.period_s
    for band in level.bands:
        assert band.course.change_db == pytest.approx(true_db, abs=0.02)  # noise: 0.005 dB a period
        assert [term.tau_s for term in band.course.terms] == pytest.approx(TAUS_S, rel=0.1)
        for left_db, after_s in zip(band.left_db, HEATING.pilots_after_s, strict=True):
            lost = lost_db(HEATING, HEATING.loud_s + after_s + within)
            assert left_db == pytest.approx(-float(np.mean(lost)), abs=0.03)  # noise of a pilot: 0.01 dB
        at = TIMES_S.index(30.0)
        first_db, then_db = (lost_db(HEATING, np.array([at_s]))[0] for at_s in (1.5 * TONE.period_s, 30.0))
        assert band.change_at_db[at] == pytest.approx(first_db - then_db, abs=0.03)
    assert np.isnan([band.change_at_db[-1] for band in level.bands]).all()  # 30 minutes were not played
    assert not level.ended_by_change


@pytest.mark.sample
def test_what_noise_hides_is_not_measurable() -> None:
    """The lines of the pilots stand 11 dB above it, those of the loud multitone 31; then it is told a thousandfold."""
    powers = powers_of(of(heard(HEATING, noise=0.13)), HEATING, Place(start=float(RATE)))
    level = heating_level(powers, HEATING, level_db_spl=90.0)
    assert np.isnan([band.left_db for band in level.bands]).all()
    assert np.isfinite([band.course.change_db for band in level.bands]).all()
    level = heating_level(replace(powers, noise=1e3 * powers.noise), HEATING, level_db_spl=90.0)
    assert np.isnan([band.course.change_db for band in level.bands]).all()


@pytest.mark.sample
def test_a_pilot_that_something_drowns_is_not_measurable_and_the_others_are() -> None:
    recording = heard(HEATING)
    first = RATE + HEATING.pilot_starts[1]
    recording[first : first + HEATING.pilot.n_samples] = np.random.default_rng(9).standard_normal(
        HEATING.pilot.n_samples
    )
    level = heating_level(powers_of(of(recording), HEATING, Place(start=float(RATE))), HEATING, level_db_spl=90.0)
    assert np.isnan([band.left_db[1] for band in level.bands]).all()
    assert np.isfinite([band.left_db[[0, 2]] for band in level.bands]).all()


def test_chunks_hold_every_period_and_none_alone() -> None:
    for periods in range(2, 40):
        sizes = chunks_of(periods)
        assert sum(sizes) == periods
        assert min(sizes) >= 2
        assert max(sizes) <= CHUNK_PERIODS + 1


def test_its_table_gives_it_back() -> None:
    powers = powers_of(of(heard(HEATING)), HEATING, Place(start=float(RATE)))
    level = heating_level(powers, HEATING, level_db_spl=90.0)
    at_hz, _ = third_octaves(TONE)
    level = replace(level, bands=(*level.bands[:-1], not_heard(level)))
    columns = heating_columns(HeatingResult(frequency_hz=at_hz, levels=(level,)))
    again = heating_columns(heating_of_columns(columns))
    assert list(columns) == list(again)
    for name in columns:
        np.testing.assert_array_equal(columns[name], again[name], err_msg=name)
