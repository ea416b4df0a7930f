"""What frames decide, on either side of where it turns, and their formulas where they are exact: without a room."""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.frames import causes, release
from distort.analysis.frames.attack import Attack, _in_decibels, _time_to_share, read_attack
from distort.analysis.frames.baseband import BEFORE_STEPS, Baseband
from distort.analysis.frames.reading import FrameReading
from distort.analysis.frames.release import Release, read_release
from distort.analysis.frames.shapes import come, go
from signals.frames import Frames

FRAME = Frames(frequencies_hz=(1000.0,), below_db=20.0).frames[0]
HOLD = round(FRAME.hold_s / FRAME.step_s)
SINCE_S = (np.arange(HOLD) + 0.5) * FRAME.step_s
AFTER = 900
"""Steps of the probe, of 1 ms each."""


def reading(compression_db: float, uncertainty_db: float = 0.01, **parts_db: float) -> FrameReading:
    blank = FrameReading.nothing()
    return replace(blank, compression_db=compression_db, uncertainty_db=uncertainty_db, **parts_db)


def base(in_test=1.0, after=1.0, *, noise: float = 1e-6) -> Baseband:
    """What would be heard of these gains where nothing reverberates: what is sent, a step at a time."""
    sent = np.concatenate([10.0 * np.ones(HOLD) * in_test, np.ones(AFTER) * after]).astype(complex)
    answer = np.concatenate([np.zeros(BEFORE_STEPS), np.ones(sent.size)]).astype(complex)
    return Baseband(frame=FRAME, envelope=sent, step_answer=answer, noise=noise)


def attack(first_db: float, last_db: float, time_s: float = 0.02, *, clear: bool = True) -> Attack:
    """By how many dB level is lost at first and last."""
    gains = [complex(10.0 ** (-lost / 20.0)) for lost in (first_db, last_db)]
    return Attack(first=gains[0], last=gains[1], time_s=time_s, gain=np.full(HOLD, gains[1]), clear=clear)


def released(limiter_db: float = 0.0, slow_db: float = 0.0, **fields: float) -> Release:
    plain = Release(
        limiter_db=limiter_db, time_s=0.1, time_sigma=0.01, limiter_sigma_db=0.05, slow_db=slow_db, slow_sigma_db=0.001
    )
    return replace(plain, **fields)


@pytest.mark.parametrize(
    ("compression_db", "uncertainty_db", "said"),
    [
        (1.0, 0.295, "limiter"),  # 0.3 dB, or a fifth of what is lost, may be open
        (1.0, 0.305, "unknown"),
        (3.0, 0.59, "limiter"),
        (3.0, 0.61, "unknown"),
        (-3.0, 0.59, "expansion"),
        (-3.0, 0.61, "unknown"),
        (0.295, 0.1, "none"),
        (-0.295, 0.1, "none"),
        (0.305, 0.1, "limiter"),
        (-0.305, 0.1, "expansion"),
        (np.nan, 0.1, "unknown"),
    ],
)
def test_what_is_lost_is_explained_from_three_tenths_on_where_noise_leaves_it(compression_db, uncertainty_db, said):
    assert reading(compression_db, uncertainty_db, limiter_db=max(compression_db, 0.0)).causes == (said,)


def test_a_part_is_named_from_a_fifth_on_and_from_a_tenth_of_a_decibel() -> None:
    assert reading(5.0, limiter_db=1.01, heat_db=0.99).causes == ("limiter",)
    assert reading(5.0, limiter_db=1.01, heat_db=2.99, either_db=0.99).causes == ("heat", "limiter")
    assert reading(0.31, limiter_db=0.101, heat_db=0.099).causes == ("limiter",)
    assert reading(5.0, limiter_db=0.99).causes == ("unknown",)
    # as much of it as may be the limiter's does not count
    assert reading(5.0, instantaneous_db=1.5, split_uncertainty_db=0.49).causes == ("instantaneous",)
    assert reading(5.0, instantaneous_db=1.5, split_uncertainty_db=0.51).causes == ("unknown",)


def test_an_amplitude_whose_decibels_take_a_course() -> None:
    """An amplitude from 1 to `10^(w / 20)` by the course that is asked for has w times the plain one in dB."""
    plain = np.linspace(0.0, 1.0, 7)
    for way_db in (-6.0, 9.0):
        course = _in_decibels(plain, way_db)
        gain = 1.0 + (10.0 ** (way_db / 20.0) - 1.0) * course
        np.testing.assert_allclose(20.0 * np.log10(gain), way_db * plain, atol=1e-9)


def test_the_time_is_when_63_per_cent_of_the_decibels_are_gone() -> None:
    """Exponential in dB with T = 10 ms, over 8 T: straight between two steps of 1 ms it is found to 1e-4 s."""
    lost_db = 6.0 * come(SINCE_S, time_s=0.01, shape=1.0)
    found = _time_to_share(SINCE_S, 10.0 ** (-lost_db / 20.0), 1.0)
    assert found == pytest.approx(0.01, abs=1e-4)
    assert _time_to_share(SINCE_S, np.full(HOLD, 0.5), 1.0) == SINCE_S[0]  # all of it at once
    assert np.isnan(_time_to_share(SINCE_S, np.ones(HOLD), 1.0))


def test_an_attack_in_closed_form() -> None:
    """2 dB at once and 4 dB more with T = 12 ms, besides the decibel that heat is known to take. Times are tried in
    thirds of an octave: what one of them is off is a tenth of the time, and 0.05 dB at the end."""
    slow_db = SINCE_S / FRAME.hold_s
    lost_db = 2.0 + 4.0 * come(SINCE_S, time_s=0.012, shape=1.0) + slow_db
    found = read_attack(base(10.0 ** (-lost_db / 20.0)), slow_db)
    assert found.clear
    assert -20.0 * np.log10(abs(found.first)) == pytest.approx(2.0, abs=0.2)
    assert -20.0 * np.log10(abs(found.last)) == pytest.approx(lost_db[-1], abs=0.05)
    assert found.time_s == pytest.approx(0.012, rel=0.1)
    steady = read_attack(base(10.0 ** (-(2.0 + slow_db) / 20.0)), slow_db)
    assert not steady.clear
    assert np.isnan(steady.time_s)
    assert -20.0 * np.log10(abs(steady.last)) == pytest.approx(2.0 + slow_db[-1], abs=1e-3)


def test_the_last_third_of_an_attack_has_the_gain_that_was_heard_there() -> None:
    """3 dB, and from 60 % of the stretch on 5 dB: no course goes so, and still the mean over the last third is right,
    which one number mends by least squares."""
    lost_db = np.where(np.arange(HOLD) < 0.6 * HOLD, 3.0, 5.0)
    found = read_attack(base(10.0 ** (-lost_db / 20.0)), np.zeros(HOLD))
    late = np.arange(HOLD) >= 2.0 / 3.0 * HOLD
    assert np.mean(found.gain[late]) == pytest.approx(10.0 ** (-5.0 / 20.0), abs=1e-9)


def test_a_release_in_closed_form() -> None:
    """4 dB that go in a straight line of dB, and 1.5 dB of heat that lasts 3 s beside it."""
    since_s = (np.arange(AFTER) + 0.5) * FRAME.step_s
    fast_db = 4.0 * go(since_s, time_s=0.15, shape=1.0)
    lost_db = fast_db + 1.5 * np.exp(-since_s / 3.0)
    gain = np.full(HOLD, 10.0 ** (-5.5 / 20.0))
    both = read_release(base(gain, 10.0 ** (-lost_db / 20.0)), gain, least_db=0.2)
    # the loud stretch is 20 dB over the probe, but nothing of it lingers here: 0.3 % of the probe, 0.03 dB, is open
    assert both.limiter_db == pytest.approx(4.0, abs=0.1)
    assert both.time_s == pytest.approx(0.15, rel=0.05)
    assert both.slow_db == pytest.approx(1.5, abs=0.1)
    alone = read_release(base(gain, 10.0 ** (-fast_db / 20.0)), gain, least_db=0.2)
    assert (alone.limiter_db, alone.slow_db) == (pytest.approx(4.0, abs=0.1), 0.0)
    small = read_release(base(gain, 10.0 ** (-fast_db / 20.0)), gain, least_db=4.5)  # a limiter that takes less is none
    assert (small.limiter_db, np.isnan(small.time_s), small.time_sigma) == (0.0, True, np.inf)


def test_a_part_counts_from_four_standard_deviations_on() -> None:
    """Costs are half sums of squares: twice their difference against 4^2 of what a square is by chance."""
    plain = release._Fit(values=np.zeros(1), sigmas=np.zeros(1), cost=100.0, scale=2.0)
    assert replace(plain, cost=100.0 - 16.1).clears(plain)
    assert not replace(plain, cost=100.0 - 15.9).clears(plain)


def test_what_an_attack_says_of_the_limiter() -> None:
    """From ten periods on, 10 ms here, and a tenth of a decibel; 0.15 dB and three tenths of the first moment off."""
    found = causes._expected(base(), attack(2.0, 5.0))
    assert found is not None
    assert (found.limiter_db, found.sigma_db) == (pytest.approx(3.0), pytest.approx(0.15 + 0.3 * 2.0))
    assert causes._expected(base(), attack(-2.0, 5.0)).sigma_db == pytest.approx(0.75)  # a gain relieves as well
    assert causes._told(base(), attack(2.0, 5.0, 0.0101))
    assert not causes._told(base(), attack(2.0, 5.0, 0.0099))
    assert causes._told(base(), attack(2.0, 2.101))
    assert not causes._told(base(), attack(2.0, 2.099))
    assert not causes._told(base(), attack(2.0, 5.0, clear=False))


@pytest.mark.parametrize(
    ("lost_db", "slow", "time_share", "slowly"),
    [
        (4.0, {"slow_db": 2.02}, 0.2, True),  # more than half of it stays
        (4.0, {"slow_db": 1.98}, 0.2, False),
        (4.0, {"slow_db": 2.02}, 0.49, True),  # it came in less than half of the stretch
        (4.0, {"slow_db": 2.02}, 0.51, False),
        (4.0, {"slow_db": 2.02, "limiter_db": 0.5}, 0.2, False),
        (4.0, {"slow_db": 2.02, "slow_sigma_db": 0.5}, 0.2, True),
        (4.0, {"slow_db": 2.02, "slow_sigma_db": 0.51}, 0.2, False),
        (0.4, {"slow_db": 0.31}, 0.2, True),
        (0.4, {"slow_db": 0.29}, 0.2, False),
    ],
)
def test_what_came_at_once_and_stays_lets_go_slowly(lost_db, slow, time_share, slowly) -> None:
    found = causes._lets_go_slowly(base(), attack(0.0, lost_db, time_share * FRAME.hold_s), released(**slow))
    assert found == slowly


def test_parts_make_the_whole() -> None:
    """Compression 5 dB: limiter 2, heat 1, the rest instantaneous; what a limiter takes is never more than is left."""
    told = causes._judged(base(), attack(1.0, 5.0), released(2.0, 1.0))
    assert (told.limiter_db, told.heat_db) == (2.0, 1.0)
    assert told.instantaneous_db == pytest.approx(2.0)
    assert told.split_uncertainty_db == pytest.approx(1.959964 * 0.05)
    assert (told.attack_s, told.release_s) == (0.02, 0.1)
    most = causes._judged(base(), attack(1.0, 5.0), released(4.5, 1.0))
    assert (most.limiter_db, most.instantaneous_db) == (pytest.approx(4.0), pytest.approx(0.0, abs=1e-9))
    little = causes._judged(base(), attack(1.0, 5.0), released(0.99, 1.0))
    assert np.isnan(little.attack_s)  # a fifth of all at least, or its attack is another's
    of_attack = causes._judged(base(), attack(1.0, 5.0), released())
    assert (of_attack.limiter_db, of_attack.instantaneous_db) == (pytest.approx(4.0), pytest.approx(1.0))
    at_once = causes._judged(base(), attack(5.0, 5.0, np.nan, clear=False), released())
    assert (at_once.limiter_db, at_once.instantaneous_db) == (0.0, pytest.approx(5.0))


@pytest.mark.parametrize(
    ("fields", "name", "known"),
    [
        ({"time_sigma": 0.152}, "release_s", True),  # 1.96 of them within 30 %
        ({"time_sigma": 0.154}, "release_s", False),
        ({"time_s": 0.01111}, "either_db", False),  # a tenth over ten periods
        ({"time_s": 0.01089}, "either_db", True),
        ({"limiter_db": 0.0, "slow_db": 0.0, "slow_sigma_db": 0.0249}, "heat_db", True),  # 4 of them within 0.1 dB
        ({"limiter_db": 0.0, "slow_db": 0.0, "slow_sigma_db": 0.0251}, "heat_db", False),
    ],
)
def test_what_is_told_of_a_release(fields, name, known) -> None:
    told = causes._judged(base(), attack(1.0, 5.0), released(**{"limiter_db": 2.0, **fields}))
    assert np.isfinite(getattr(told, name)) == known


def test_heat_counts_from_three_hundredths_and_four_standard_deviations_on() -> None:
    for slow, heat_db in (
        ({"slow_db": 0.031, "slow_sigma_db": 1e-6}, 0.031),
        ({"slow_db": 0.029, "slow_sigma_db": 1e-6}, 0.0),
        ({"slow_db": 0.81, "slow_sigma_db": 0.2}, 0.81),
    ):
        assert causes._judged(base(), attack(1.0, 5.0), released(2.0, **slow)).heat_db == heat_db
    assert np.isnan(causes._judged(base(), attack(1.0, 5.0), released(2.0, 0.79, slow_sigma_db=0.2)).heat_db)


def test_the_gain_is_told_where_the_room_leaves_it() -> None:
    """3 dB lost in the loud stretch and 1 dB of the probe after it; noise of a hundredth of the probe, over a third of
    the steps: 8.686 dB a neper, 1.96 standard deviations."""
    told = causes._undivided(base(10.0**-0.15, 10.0**-0.05, noise=0.01), attack(3.0, 3.0))
    np.testing.assert_allclose(told.gain_in_test_db, -3.0, atol=1e-9)
    np.testing.assert_allclose(told.gain_after_db, -1.0, atol=1e-9)
    assert told.compression_db == pytest.approx(3.0)
    assert told.uncertainty_db == pytest.approx(1.959964 * 8.685890 * 0.01 / np.sqrt(HOLD / 3.0), rel=1e-6)
