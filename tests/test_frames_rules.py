"""How the loss in a frame is divided: every rule from both sides of its edge, every figure against its closed form.

Most frames here are written down as envelopes in a room that answers at once, so that what is heard is what was sent.
"""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.frames.attack import Attack, _in_decibels, _time_to_share, read_attack
from distort.analysis.frames.baseband import BEFORE_STEPS, Baseband, baseband, cut, pad_s
from distort.analysis.frames.causes import _expected, _judged, _lets_go_slowly, _undivided
from distort.analysis.frames.reading import FrameReading
from distort.analysis.frames.release import Release, _Fit, read_release
from signals.frames import Frame, Frames

RATE = 48000
NO_GAINS = np.zeros(12)


def frame_of(frequency_hz: float = 1000.0, **fields) -> Frame:
    return Frames(frequencies_hz=(frequency_hz,), **fields).frames[0]


def heard(frame: Frame, lost_db=0.0, *, after_db=0.0, noise: float = 1e-6) -> Baseband:
    """What a room without reverberation lets hear of a frame of which `lost_db` is missing while it is loud and
    `after_db` in the probe after it, a value a step each."""
    hold = round(frame.hold_s / frame.step_s)
    rest = round(1.5 / frame.step_s)
    envelope = np.ones(hold + rest, dtype=np.complex128)
    envelope[:hold] = 10.0 ** ((frame.series.below_db - np.asarray(lost_db)) / 20.0)
    envelope[hold:] = 10.0 ** (-np.asarray(after_db) / 20.0)
    answer = np.ones(envelope.size + BEFORE_STEPS, dtype=np.complex128)
    answer[:BEFORE_STEPS] = 0.0
    return Baseband(frame=frame, envelope=envelope, step_answer=answer, noise=noise)


def attack(first_db: float, last_db: float, time_s: float = 0.03, *, clear: bool = True) -> Attack:
    first, last = (10.0 ** (-lost / 20.0) for lost in (first_db, last_db))
    return Attack(first=first, last=last, time_s=time_s, gain=np.array([first, last]), clear=clear)


def release(**fields) -> Release:
    nothing = {"limiter_db": 0.0, "time_s": np.nan, "time_sigma": np.inf, "limiter_sigma_db": 0.0}
    return Release(**{**nothing, "slow_db": 0.0, "slow_sigma_db": 0.0, **fields})


def reading(compression_db: float, uncertainty_db: float = 0.0, **parts) -> FrameReading:
    return FrameReading(
        compression_db=compression_db,
        uncertainty_db=uncertainty_db,
        gain_in_test_db=NO_GAINS,
        gain_after_db=NO_GAINS,
        **parts,
    )


# --- which causes are named -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("compression_db", "uncertainty_db", "named"),
    [
        (0.29, 0.0, "none"),
        (-0.29, 0.0, "none"),
        (0.31, 0.0, "instantaneous"),
        (-0.31, 0.0, "expansion"),
        (1.0, 0.29, "instantaneous"),  # 0.3 dB, or a fifth where that is more
        (1.0, 0.31, "unknown"),
        (2.0, 0.39, "instantaneous"),
        (2.0, 0.41, "unknown"),
        (-2.0, 0.39, "expansion"),
        (-2.0, 0.41, "unknown"),
    ],
)
def test_what_noise_leaves_of_a_compression_is_named_from_03_db_on(compression_db, uncertainty_db, named) -> None:
    assert reading(compression_db, uncertainty_db, instantaneous_db=compression_db).causes == (named,)


@pytest.mark.parametrize("part", ["limiter", "instantaneous", "either", "heat"])
def test_a_part_is_named_from_a_fifth_or_01_db_on(part) -> None:
    for compression_db, least_db in ((2.0, 0.4), (0.35, 0.1)):  # a fifth of 0.35 dB is 0.07
        assert reading(compression_db, **{f"{part}_db": least_db + 0.01}).causes != ("unknown",)
        assert reading(compression_db, **{f"{part}_db": least_db - 0.01}).causes == ("unknown",)


def test_the_largest_part_comes_first_and_what_is_open_is_taken_off_the_curve() -> None:
    both = reading(3.0, limiter_db=1.0, instantaneous_db=1.3, heat_db=0.7)
    assert both.causes == ("instantaneous", "limiter", "heat")
    assert replace(both, split_uncertainty_db=0.5).causes == ("limiter", "instantaneous", "heat")
    assert replace(both, split_uncertainty_db=0.71).causes == ("limiter", "heat")


# --- how a loss is divided --------------------------------------------------------------------------------------------


def test_the_three_parts_add_up_to_the_compression() -> None:
    base = heard(frame_of(), 3.0)
    found = _judged(base, attack(1.0, 3.0), release(limiter_db=1.5, time_s=0.15, time_sigma=0.1, slow_db=0.5))
    assert found.compression_db == pytest.approx(3.0)
    assert (found.limiter_db, found.heat_db) == (1.5, 0.5)
    assert found.instantaneous_db == pytest.approx(1.0)
    assert (found.release_s, found.attack_s) == (0.15, 0.03)
    more = _judged(base, attack(1.0, 3.0), release(limiter_db=2.9, time_s=0.15, time_sigma=0.1, slow_db=0.5))
    assert more.limiter_db == pytest.approx(2.5)  # no more than heat leaves of the 3 dB
    assert more.instantaneous_db == pytest.approx(0.0, abs=1e-12)


def test_a_release_is_stated_within_30_per_cent_and_its_part_with_its_interval() -> None:
    """95 % of a normal variable lie within 1.96 standard deviations."""
    for sigma, stated in ((0.152, True), (0.155, False)):
        fitted = release(limiter_db=2.0, time_s=0.15, time_sigma=sigma, limiter_sigma_db=0.1)
        found = _judged(heard(frame_of(), 3.0), attack(1.0, 3.0), fitted)
        assert np.isfinite(found.release_s) == stated
        assert found.split_uncertainty_db == pytest.approx(0.196, abs=1e-4)


@pytest.mark.parametrize(("time_s", "divided"), [(0.0109, False), (0.0111, True)])
def test_a_release_at_its_bound_of_ten_periods_leaves_the_part_open(time_s, divided) -> None:
    """Ten periods of 1 kHz last 10 ms, and a tenth more is asked for."""
    fitted = release(limiter_db=2.0, time_s=time_s, time_sigma=0.1, slow_db=0.5)
    found = _judged(heard(frame_of(), 3.0), attack(1.0, 3.0), fitted)
    assert np.isfinite(found.limiter_db) == divided
    assert found.either_db == pytest.approx(np.nan if divided else 2.5, nan_ok=True)


@pytest.mark.parametrize(
    ("slow_db", "sigma_db", "heat_db"),
    [
        (0.5, 0.124, 0.5),  # four standard deviations
        (0.5, 0.126, np.nan),  # could be 0.5 dB and more by chance: not told
        (0.05, 0.024, 0.0),  # nor is 0.1 dB hidden: there is none
        (0.05, 0.026, np.nan),
        (0.029, 0.001, 0.0),
        (0.031, 0.001, 0.031),
    ],
)
def test_heat_counts_from_four_sigma_and_003_db_and_is_unknown_where_noise_hides_01_db(
    slow_db, sigma_db, heat_db
) -> None:
    found = _judged(heard(frame_of(), 3.0), attack(1.0, 3.0), release(slow_db=slow_db, slow_sigma_db=sigma_db))
    assert found.heat_db == pytest.approx(heat_db, nan_ok=True)


def test_without_a_release_the_attack_tells_what_is_lost_after_the_first_moment() -> None:
    base = heard(frame_of(), 3.0)
    found = _judged(base, attack(1.0, 3.0), release())
    assert (found.limiter_db, found.instantaneous_db, found.attack_s) == pytest.approx((2.0, 1.0, 0.03))
    assert np.isnan(found.release_s)
    quick = _judged(base, attack(1.0, 3.0, 0.0099), release())  # under ten periods
    assert (quick.limiter_db, quick.instantaneous_db) == pytest.approx((0.0, 3.0))
    assert np.isnan(quick.attack_s)
    warm = _judged(base, attack(1.0, 3.0), release(slow_db=0.5))  # heat makes an attack too
    assert (warm.limiter_db, warm.instantaneous_db, warm.heat_db) == pytest.approx((0.0, 2.5, 0.5))


@pytest.mark.parametrize(("frequency_hz", "either"), [(251.0, False), (249.0, True)])
def test_where_ten_periods_outlast_a_limiter_no_release_proves_nothing(frequency_hz, either) -> None:
    """Ten periods of 250 Hz last 40 ms."""
    found = _judged(heard(frame_of(frequency_hz), 3.0), attack(3.0, 3.0, np.nan, clear=False), release())
    assert found.either_db == pytest.approx(3.0 if either else np.nan, nan_ok=True)
    assert found.limiter_db == pytest.approx(np.nan if either else 0.0, nan_ok=True)


@pytest.mark.parametrize(
    ("lost_db", "uncertainty_db", "divided"),
    [
        (0.29, 0.0, False),
        (0.31, 0.0, True),
        (3.0, 0.59, True),
        (3.0, 0.61, False),
        (1.0, 0.29, True),
        (1.0, 0.31, False),
    ],
)
def test_little_or_uncertain_compression_is_not_divided(lost_db, uncertainty_db, divided) -> None:
    """What is uncertain by 0.3 dB or a fifth, where that is more. A stretch at 1 kHz has 80 steps, of which three are
    one: a noise of s leaves 1.96 x 8.686 s / sqrt(80 / 3) dB."""
    base = heard(frame_of(), lost_db, noise=uncertainty_db / (1.95996 * 8.68589) * np.sqrt(80.0 / 3.0))
    found = _judged(base, attack(lost_db, lost_db, np.nan, clear=False), release())
    assert found.uncertainty_db == pytest.approx(uncertainty_db, rel=1e-4)
    assert np.isfinite(found.instantaneous_db) == divided


@pytest.mark.parametrize(
    ("total_db", "limiter_db", "named"), [(4.0, 0.81, True), (4.0, 0.79, False), (0.4, 0.11, True)]
)
def test_an_attack_is_stated_of_a_limiter_that_takes_a_fifth_or_01_db(total_db, limiter_db, named) -> None:
    fitted = release(limiter_db=limiter_db, time_s=0.15, time_sigma=0.1)
    found = _judged(heard(frame_of(), total_db), attack(0.0, total_db), fitted)
    assert np.isfinite(found.attack_s) == named


def test_what_the_attack_says_of_a_limiter_is_as_sure_as_the_curve_lets_it_be() -> None:
    """A curve that takes 2 dB at the first moment is relieved by up to a third: 0.15 + 0.3 x 2 dB. An attack counts
    that is clear, lasts ten periods and takes 0.1 dB."""
    base = heard(frame_of(), 3.0)
    found = _expected(base, attack(2.0, 3.0, 0.0101))
    assert (found.limiter_db, found.sigma_db) == pytest.approx((1.0, 0.75))
    expanding = _expected(base, attack(-2.0, 3.0, 0.0101))
    assert (expanding.limiter_db, expanding.sigma_db) == pytest.approx((5.0, 0.75))
    assert _expected(base, attack(2.0, 3.0, 0.0099)) is None
    assert _expected(base, attack(2.0, 3.0, clear=False)) is None
    assert _expected(base, attack(2.0, 2.11)) is not None
    assert _expected(base, attack(2.0, 2.09)) is None


@pytest.mark.parametrize(
    ("slow", "time_s", "slowly"),
    [
        ({"slow_db": 1.51}, 0.01, True),
        ({"slow_db": 1.49}, 0.01, False),  # less than half of what is lost
        ({"slow_db": 2.0, "slow_sigma_db": 0.49}, 0.01, True),
        ({"slow_db": 2.0, "slow_sigma_db": 0.51}, 0.01, False),  # four standard deviations
        ({"slow_db": 2.0, "limiter_db": 0.5}, 0.01, False),
        ({"slow_db": 2.0}, 0.0399, True),
        ({"slow_db": 2.0}, 0.0401, False),  # half of the 80 ms: heat comes as slowly
    ],
)
def test_what_comes_at_once_and_stays_is_a_limiter_that_lets_go_slowly(slow, time_s, slowly) -> None:
    assert _lets_go_slowly(heard(frame_of(), 3.0), attack(0.0, 3.0, time_s), release(**slow)) == slowly


def test_less_than_03_db_that_stay_are_no_slow_limiter() -> None:
    for slow_db, slowly in ((0.29, False), (0.31, True)):
        assert _lets_go_slowly(heard(frame_of(), 0.5), attack(0.0, 0.5, 0.01), release(slow_db=slow_db)) == slowly


# --- what is read -----------------------------------------------------------------------------------------------------


def test_gains_are_told_in_twelfths_of_the_stretch_and_at_their_times_after_it() -> None:
    """Losses that run straight in dB over the steps: a straight line between steps meets them exactly."""
    frame = frame_of()
    hold, rest = 80, 1500
    base = heard(frame, np.linspace(0.0, 7.9, hold), after_db=np.arange(rest) * 0.001)
    told = _undivided(base, attack(0.0, 7.9))
    np.testing.assert_allclose(told.gain_in_test_db, -0.1 * (np.arange(12) + 0.5) * hold / 12.0, atol=1e-6)
    np.testing.assert_allclose(told.gain_after_db[:4], [-0.02, -0.03, -0.05, -0.07], atol=1e-6)
    assert told.gain_after_db[10] == pytest.approx(-1.0, abs=1e-6)


@pytest.mark.parametrize(("share", "told"), [(0.1, [True, True, True]), (0.3, [False, False, True])])
def test_a_gain_that_reverberation_hides_is_not_told(share, told) -> None:
    """The room's answer lacks r exp(-t / 40 steps). The stretch, 80 steps of 10 re the probe, leaves
    1 + 9 r (1 - e^-2) exp(-t / 40) with the probe after it and r exp(-t / 40) more than 1 less of it without; that is
    half and more while exp(-t / 40) > 1 / (r (9 (1 - e^-2) + 2)): never of a tenth, for 42 steps of three tenths."""
    base = heard(frame_of(), 0.0)
    steps = np.arange(base.step_answer.size - BEFORE_STEPS)
    answer = np.concatenate([[0.0, 0.0], 1.0 - share * np.exp(-(steps + 1.0) / 40.0)])
    found = _undivided(replace(base, step_answer=answer.astype(np.complex128)), attack(0.0, 0.0))
    assert np.isfinite(found.gain_after_db)[:3].tolist() == told  # 20, 30 and 50 ms on
    assert np.isfinite(found.gain_after_db)[3:].all()


@pytest.mark.parametrize(("first_db", "last_db", "time_s"), [(1.0, 4.0, 0.015), (-1.0, 2.0, 0.03)])
def test_an_attack_that_is_exponential_in_db_is_read_as_written(first_db, last_db, time_s) -> None:
    """Courses are tried a third of an octave apart, so the time holds to half of that, 12 %; levels to what is left."""
    frame = frame_of()
    since_s = (np.arange(80) + 0.5) * 1e-3
    lost = first_db + (last_db - first_db) * -np.expm1(-since_s / time_s)
    found = read_attack(heard(frame, lost), np.zeros(80))
    assert found.clear
    assert -20.0 * np.log10(abs(found.first)) == pytest.approx(first_db, abs=0.3)
    assert -20.0 * np.log10(abs(found.last)) == pytest.approx(lost[-1], abs=0.05)
    share = (last_db - first_db) * -np.expm1(-0.08 / time_s) / (last_db - first_db)
    until_63_percent_s = -time_s * np.log1p(-(1.0 - np.exp(-1.0)) * share)
    assert found.time_s == pytest.approx(until_63_percent_s, rel=0.12)


def test_an_attack_is_clear_where_a_course_explains_81_times_what_noise_is() -> None:
    """A steady gain leaves `sum |y - mean|^2` of a course: nine standard deviations of a step's noise are that."""
    lost = 1.0 - np.exp(-(np.arange(80) + 0.5) / 15.0)
    base = heard(frame_of(), lost)
    stretch = base.envelope[:80]
    edge = float(np.sqrt(np.sum(np.abs(stretch - np.mean(stretch)) ** 2) / 81.0))
    assert read_attack(replace(base, noise=0.97 * edge), np.zeros(80)).clear
    steady = read_attack(replace(base, noise=1.03 * edge), np.zeros(80))
    assert not steady.clear
    assert np.isnan(steady.time_s)
    assert abs(steady.first) == pytest.approx(float(np.mean(np.abs(stretch))) / base.loud)
    assert steady.last == steady.first


def test_heat_that_is_known_is_not_taken_for_an_attack() -> None:
    """Of 1 dB at once and 0.8 dB by heat the gain at first has lost 1 dB, and 1.8 dB at last."""
    ramp = 0.8 * (np.arange(80) + 0.5) / 80.0
    found = read_attack(heard(frame_of(), 1.0 + ramp), ramp)
    assert not found.clear
    assert -20.0 * np.log10(abs(found.first)) == pytest.approx(1.0, abs=1e-6)
    assert -20.0 * np.log10(abs(found.last)) == pytest.approx(1.0 + ramp[-1], abs=1e-6)


def test_the_course_of_an_amplitude_whose_decibels_go_straight() -> None:
    """From 1 by -6 dB, half of the way in dB: `(10^(-3/20) - 1) / (10^(-6/20) - 1)`."""
    found = _in_decibels(np.array([0.0, 0.5, 1.0]), -6.0)
    np.testing.assert_allclose(found, [0.0, (10**-0.15 - 1.0) / (10**-0.3 - 1.0), 1.0], rtol=1e-12)


def test_when_63_per_cent_of_the_way_are_gone_in_db() -> None:
    """Straight in dB over the steps: at 63 % of the time."""
    since_s = np.linspace(0.0, 0.1, 11)
    falling = 0.8 * 10.0 ** (-since_s * 40.0 / 20.0)
    assert _time_to_share(since_s, falling, 0.8) == pytest.approx(0.1 * (1.0 - np.exp(-1.0)), rel=1e-9)
    assert np.isnan(_time_to_share(since_s, np.full(11, 0.8), 0.8))
    assert _time_to_share(since_s + 0.005, np.full(11, 0.4), 0.8) == 0.005  # gone before the first step


@pytest.mark.parametrize(("limiter_db", "time_s", "slow_db"), [(3.0, 0.1, 0.5), (0.0, np.nan, 0.6)])
def test_what_the_probe_lacks_is_read_as_written(limiter_db, time_s, slow_db) -> None:
    """Exponential in dB. The step of each value is its middle, half a step after the fall: the fit allows for it."""
    since_s = (np.arange(1500) + 0.5) * 1e-3
    after = slow_db * np.exp(-since_s / 5.0) + (limiter_db * np.exp(-since_s / time_s) if limiter_db else 0.0)
    base = heard(frame_of(), limiter_db + slow_db, after_db=after)
    found = read_release(base, np.full(80, 10.0 ** (-(limiter_db + slow_db) / 20.0)), least_db=0.1)
    assert found.limiter_db == pytest.approx(limiter_db, abs=0.05)
    assert found.slow_db == pytest.approx(slow_db, abs=0.05)
    assert found.time_s == pytest.approx(time_s, rel=0.03, nan_ok=True)


def test_a_part_counts_that_explains_more_than_four_standard_deviations() -> None:
    """Costs are half the sums of squares: twice their difference against 16 times what a square is by chance."""
    values = np.zeros(2)
    one = _Fit(values=values, sigmas=values, cost=10.0, scale=1.5)
    assert one.clears(replace(one, cost=10.0 + 8.01 * 1.5))
    assert not one.clears(replace(one, cost=10.0 + 7.99 * 1.5))


def test_the_noise_of_an_envelope_is_that_of_its_window() -> None:
    """White noise of r.m.s. s under a Hann window of N samples, re a probe of amplitude A at half its height: squared
    `s^2 (1.5 / N) / (A / 2)^2`. The second half of the first probe has 300 steps, some 200 of them independent, which
    scatter by 1 / sqrt(2 x 200) = 5 % about it; of two takes' mean half the power is left."""
    frame = frame_of(tail_s=0.1)
    random = np.random.default_rng(3)
    pad = round(pad_s(frame) * RATE)
    played = np.concatenate([np.zeros(pad), frame.samples()])
    probe = 10.0 ** ((frame.series.drive_dbfs - frame.series.below_db) / 20.0)
    takes = [played + 0.05 * probe * random.standard_normal(played.size) for _ in range(2)]
    window = 3.0 * frame.step_s * RATE
    expected = np.sqrt(0.05**2 * 1.5 / window * 4.0)
    assert baseband(takes[:1], frame).noise == pytest.approx(expected, rel=0.15)
    assert baseband(takes, frame).noise == pytest.approx(expected / np.sqrt(2.0), rel=0.15)


def test_a_frame_is_cut_from_five_steps_before_it_and_nothing_is_made_up() -> None:
    """Sample n of the recording is n: 3 steps of window and 2 of reach, 5 ms, before the frame."""
    series = Frames(frequencies_hz=(1000.0, 2000.0))
    recording = np.arange(series.n_samples + 1000, dtype=np.float64)
    frame = series.frames[1]
    found = cut(recording, 100.0, series, 1)
    assert found[0] == 100.0 + series.starts[1] - round(5.0 * frame.step_s * RATE)
    assert found.size == int((5.0 * frame.step_s + frame.sounding_s) * RATE)
    early = cut(recording + 1.0, 0.0, series, 0)
    before = round(5e-3 * RATE)
    assert not np.any(early[:before])
    assert early[before] == 1.0
    late = cut(recording[: series.starts[1] + 50], 0.0, series, 1)
    assert not np.any(late[50 + round(5.0 * frame.step_s * RATE) :])
