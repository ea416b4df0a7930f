"""Frames as envelopes: what noise and reverberation leave of a reading, and what is said where no release is seen.

Most are written down in a room that answers at once, so that what is heard is what was sent.
"""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.frames.attack import Attack, read_attack
from distort.analysis.frames.baseband import BEFORE_STEPS, Baseband, baseband, cut, pad_s
from distort.analysis.frames.causes import _judged, _undivided
from distort.analysis.frames.release import Release
from signals.frames import Frame, Frames

RATE = 48000


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
