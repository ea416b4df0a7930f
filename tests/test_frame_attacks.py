"""Frames step by step: envelopes of tones whose amplitude is a formula, and attacks that lie on a course that is tried.

Frames of 63 Hz have the fewest steps: 26 of a period each while they are loud.
"""

import numpy as np
import pytest

from distort.analysis.frames.attack import _time_to_share, read_attack
from distort.analysis.frames.baseband import BEFORE_STEPS, Baseband, baseband, pad_s
from signals.frames import Frame, Frames

LOW = Frames(frequencies_hz=(63.0,)).frames[0]
STEPS = 26
SINCE_S = (np.arange(STEPS) + 0.5) * LOW.step_s
LOUD = 10.0
"""Of a probe 20 dB below."""


def heard(gain, *, frame: Frame = LOW, noise: float = 1e-9) -> Baseband:
    """What is heard of these gains while it is loud, where nothing reverberates."""
    hold = np.size(gain)
    envelope = np.ones(hold + 12, dtype=complex)
    envelope[:hold] = LOUD * np.asarray(gain)
    answer = np.ones(envelope.size + BEFORE_STEPS, dtype=complex)
    answer[:BEFORE_STEPS] = 0.0
    return Baseband(frame=frame, envelope=envelope, step_answer=answer, noise=noise)


# --- attacks ----------------------------------------------------------------------------------------------------------

TIMES_S = np.geomspace(LOW.step_s, 2.0 * STEPS * LOW.step_s, round(3.0 * np.log2(2.0 * STEPS)) + 1)
"""Thirds of an octave, from a step to twice the stretch."""


def come(time_s: float, shape: float) -> np.ndarray:
    return 1.0 - np.exp(-((SINCE_S / time_s) ** shape))


def held(time_s: float, over: float) -> np.ndarray:
    return np.maximum(1.0 + np.log(1.0 - np.exp(-SINCE_S / time_s)) / over, 0.0)


def test_the_stretch_has_a_step_a_period() -> None:
    assert LOW.hold_s == pytest.approx(STEPS * LOW.step_s)
    assert LOW.step_s == pytest.approx(1.0 / 63.0)
    assert heard(np.ones(STEPS)).loud == pytest.approx(LOUD)


@pytest.mark.parametrize(
    ("course", "own", "place"),
    [
        *((come, shape, 8) for shape in (1.0, 1.5, 2.2)),
        *((held, over, 8) for over in (0.5, 1.0, 2.0, 4.0)),
        (come, 1.0, 1),
        (come, 2.2, len(TIMES_S) - 1),
    ],
)
def test_every_course_that_is_tried_is_found_again(course, own, place) -> None:
    """A gain of 0.9 that falls by a hundredth of itself, under a tenth of a decibel, where dB and amplitude are alike;
    beside it heat that takes 2 dB in a straight line. The fit is linear, so that nothing is left of it."""
    slow_db = 2.0 * (np.arange(STEPS) + 0.5) / STEPS
    way = course(TIMES_S[place], own)
    gain = 0.9 * np.exp(0.3j) * (1.0 - 0.01 * way) * 10.0 ** (-slow_db / 20.0)
    found = read_attack(heard(gain), slow_db)
    assert found.clear
    np.testing.assert_allclose(found.gain, gain, rtol=2e-7)
    assert found.first == pytest.approx(0.9 * np.exp(0.3j), rel=2e-7)
    assert found.last == pytest.approx(gain[-1], rel=2e-7)


@pytest.mark.parametrize("way_db", [-12.0, -3.0, 6.0])
def test_a_way_of_many_decibels_is_gone_in_decibels(way_db) -> None:
    """Exponential in dB with a time that is tried: the second turn's way is known from the first to a tenth, so that
    the gains are met within a hundredth of the way, where a course of amplitudes is off by some hundredths."""
    time_s = TIMES_S[8]
    gain_db = -2.0 + way_db * come(time_s, 1.0)
    found = read_attack(heard(10.0 ** (gain_db / 20.0)), np.zeros(STEPS))
    np.testing.assert_allclose(20.0 * np.log10(np.abs(found.gain)), gain_db, atol=0.012 * abs(way_db))
    assert found.time_s == pytest.approx(time_s, rel=0.03)


def test_what_scatters_about_a_course_is_noise_as_well() -> None:
    """A gain that goes up and down from step to step: no course explains nine standard deviations of that."""
    found = read_attack(heard(0.9 + 0.05 * (-1.0) ** np.arange(STEPS)), np.zeros(STEPS))
    assert not found.clear
    assert found.first == pytest.approx(0.9, abs=1e-9)


def test_a_steady_gain_is_that_of_least_squares_beside_what_heat_takes() -> None:
    """`g k` with k known: g is found exactly, and the last gain holds what heat took by then."""
    slow_db = 3.0 * (np.arange(STEPS) + 0.5) / STEPS
    known = 10.0 ** (-slow_db / 20.0)
    found = read_attack(heard(0.8 * known, noise=0.01), slow_db)
    assert not found.clear
    assert found.first == pytest.approx(0.8, rel=1e-9)
    assert found.last == pytest.approx(0.8 * known[-1], rel=1e-9)
    np.testing.assert_allclose(found.gain, 0.8 * known, rtol=1e-9)


def test_the_last_third_is_mended_from_its_first_step_on() -> None:
    """Steps 18 to 25 of 26 lost 5 dB, those before 3 dB, beside heat: no course goes so, and still the mean over just
    those is right, weighted as least squares weigh them: `sum k (y - g k) = 0`."""
    slow_db = 3.0 * (np.arange(STEPS) + 0.5) / STEPS
    known = 10.0 ** (-slow_db / 20.0)
    gain = known * np.where(np.arange(STEPS) < 18, 10.0**-0.15, 10.0**-0.25)
    found = read_attack(heard(gain), slow_db)
    late = np.arange(STEPS) >= 18
    assert np.sum((known * (found.gain - gain))[late]) == pytest.approx(0.0, abs=1e-9)
    left = np.abs(np.sum((known * (found.gain - gain))[17:]))
    assert left > 1e-4  # the step before is not among them


@pytest.mark.parametrize(
    ("lost_db", "expected"),
    [
        # 63.2 % of what is lost at the end is between two steps, or lost at the first
        ([0.0, 3.0, 6.0], 1.5 + (0.6321206 - 0.5) / 0.5),
        ([0.0, 2.0, 5.0, 10.0], 2.5 + (0.6321206 - 0.5) / 0.5),
        ([0.0, 6.0, 7.0, 8.0], 0.5 + 0.6321206 / 0.75),
        ([5.0, 5.5, 6.0], 0.5),
        ([0.0, -3.0, -6.0], 1.5 + (0.6321206 - 0.5) / 0.5),
        ([0.0, 9.0, 0.0], np.nan),
    ],
)
def test_when_63_per_cent_of_the_way_is_gone(lost_db, expected) -> None:
    """In dB, from the first gain on, whatever that is."""
    gain = 0.3 * 10.0 ** (-np.array(lost_db) / 20.0)
    found = _time_to_share(np.arange(gain.size) + 0.5, gain, 0.3)
    assert found == pytest.approx(expected, rel=1e-6, nan_ok=True)


# --- envelopes --------------------------------------------------------------------------------------------------------

FRAME = Frames(frequencies_hz=(1000.0,), tail_s=0.2).frames[0]
RATE = 48000


def take(amplitude) -> np.ndarray:
    """A complex tone of 1 kHz of that amplitude against time, seconds from the frame's first sample."""
    count = int((pad_s(FRAME) + FRAME.end_s + 0.02) * RATE)
    time_s = np.arange(count) / RATE - pad_s(FRAME)
    return amplitude(time_s) * np.exp(2j * np.pi * 1000.0 * time_s + 0.7j)


def smoothed(amplitude, at_s: np.ndarray) -> np.ndarray:
    """Under a Hann window of three steps of 1 ms, sample by sample."""
    offsets_s = np.arange(-72, 73) / RATE
    window = 0.5 + 0.5 * np.cos(np.pi * offsets_s / 1.5e-3)
    return np.sum(amplitude(at_s[:, None] + offsets_s) * window, axis=1) / np.sum(window)


def test_an_envelope_is_read_a_step_at_a_time_and_re_the_steady_end_of_the_first_probe() -> None:
    """An amplitude `1 + t + 40 t^2`: before the test from two steps before the frame on up to two before the test, the
    unit being the mean of the second half of that; then from the test on up to two steps before the last edge."""

    def amplitude(time_s: np.ndarray) -> np.ndarray:
        return 1.0 + time_s + 40.0 * time_s**2

    assert FRAME.step_s == 1e-3
    base = baseband([take(amplitude)], FRAME)
    lead = int(FRAME.test_s / 1e-3) - 2
    rising = smoothed(amplitude, np.arange(-2, lead) * 1e-3)
    unit = np.mean(rising[round(0.5 * rising.size) :])
    steps = int((FRAME.end_s - FRAME.test_s) / 1e-3) - 2
    assert base.envelope.size == steps
    want = smoothed(amplitude, FRAME.test_s + np.arange(steps) * 1e-3) / unit
    np.testing.assert_allclose(base.envelope, want, rtol=1e-7)
    # the answer goes on as 1 where the first probe is shorter than test and second probe
    assert base.step_answer.size == steps + 2
    known = min(rising.size, steps + 2)
    np.testing.assert_allclose(base.step_answer[:known], rising[:known] / unit, rtol=1e-7)
    np.testing.assert_array_equal(base.step_answer[known:], 1.0)
    # three steps share a window: so many fewer say how they scatter
    settled = rising[round(0.5 * rising.size) :] / unit
    scatter = np.sqrt(np.sum((settled - np.mean(settled)) ** 2) / (settled.size - 3))
    assert base.noise == pytest.approx(scatter, rel=1e-6)


def test_takes_are_averaged_each_in_its_own_unit() -> None:
    first, second = take(lambda t: 2.0 + t), take(lambda t: 5.0 - t)
    both, one, other = (baseband(takes, FRAME) for takes in ([first, second], [first], [second]))
    np.testing.assert_allclose(both.envelope, 0.5 * (one.envelope + other.envelope), rtol=1e-12)
    np.testing.assert_allclose(both.step_answer, 0.5 * (one.step_answer + other.step_answer), rtol=1e-12)


def test_what_is_heard_of_a_long_answer_holds_no_earlier_frame() -> None:
    """A transform twice as long as the answer: the last step's answer does not come round to the first."""
    base = heard(np.ones(STEPS))
    sent = np.ones(base.envelope.size)
    sent[-1] = 100.0
    np.testing.assert_allclose(base.through_room(sent), sent, atol=1e-9)
