"""Frames: what is played, and what their analysis reads of gains that are written down."""

import numpy as np
import pytest

from distort.analysis.frames.baseband import baseband, pad_s
from distort.analysis.frames.causes import read_frame
from distort.analysis.frames.reading import FrameReading
from distort.analysis.frames.shapes import come, go, held
from signals import SignalError
from signals.frames import Frame, Frames
from tests.devices.rooms import room, through

RATE = 48000
AT_63_PERCENT = 1.0 - np.exp(-1.0)


def frame_of(frequency_hz: float = 1000.0, **fields) -> Frame:
    return Frames(frequencies_hz=(frequency_hz,), **fields).frames[0]


def recorded(frame: Frame, lost_db=lambda since_rise_s, since_fall_s: 0.0, *, noise: float = 1e-5, rt60_s=0.3):
    """The frame with `lost_db` taken off, a function of the seconds since the middle of the rise and of the fall, in a
    room whose reverberation is as strong as the direct sound."""
    pad = round(pad_s(frame) * RATE)
    played = np.concatenate([np.zeros(pad), frame.samples()])
    middle_s = np.arange(played.size) / RATE - pad / RATE - frame.edge_s / 2.0
    gain = 10.0 ** (-lost_db(middle_s - frame.test_s, middle_s - frame.after_s) / 20.0)
    heard = through(played * gain, room(rt60_s=rt60_s, direct_to_reverberant_db=0.0, seed=4))[: played.size]
    return heard + noise * np.random.default_rng(5).standard_normal(played.size)


def read(frame: Frame, lost_db, **room_fields) -> FrameReading:
    return read_frame([recorded(frame, lost_db, **room_fields)], frame)


def limiter(db: float, attack_s: float, release_s: float):
    """Exponential in dB, both ways."""

    def lost_db(since_rise_s, since_fall_s):
        reached = db * -np.expm1(-np.maximum(since_rise_s, 0.0) / attack_s)
        end = db * -np.expm1(-(since_rise_s - since_fall_s) / attack_s)
        return np.where(since_fall_s < 0.0, reached, end * np.exp(-np.maximum(since_fall_s, 0.0) / release_s))

    return lost_db


def curve(db: float):
    return lambda since_rise_s, since_fall_s: np.where((since_rise_s > 0.0) & (since_fall_s < 0.0), db, 0.0)


def heat(db: float, cools_s: float):
    def lost_db(since_rise_s, since_fall_s):
        share = np.clip(since_rise_s / (since_rise_s - since_fall_s), 0.0, 1.0)
        return db * share * np.exp(-np.maximum(since_fall_s, 0.0) / cools_s)

    return lost_db


@pytest.mark.parametrize("below_db", [6.0, 20.0])
def test_the_mean_power_of_every_frame_is_at_most_that_of_its_quiet_sine(below_db) -> None:
    """Closed form: a steady sine of the probe's amplitude has half its square as power."""
    series = Frames(frequencies_hz=(63.0, 1000.0), below_db=below_db, drive_dbfs=-10.0)
    probe = 0.5 * 10.0 ** ((-10.0 - below_db) / 10.0)
    ends = [*series.starts[1:], series.n_samples]
    played = series.samples()
    for start, end in zip(series.starts, ends, strict=True):
        assert np.mean(np.square(played[start:end])) <= probe
    assert np.max(np.abs(played)) == pytest.approx(10.0 ** (-10.0 / 20.0), rel=0.01)  # a sample need not meet a crest


def test_a_frame_holds_24_periods_or_80_ms_in_whole_steps() -> None:
    for frequency_hz in (63.0, 125.0, 1000.0, 1234.5, 8000.0):
        frame = frame_of(frequency_hz)
        steps = frame.hold_s / frame.step_s
        assert steps == pytest.approx(round(steps))
        assert frame.hold_s - frame.edge_s >= 24.0 / frequency_hz - 1e-9 or frame.hold_s >= 0.08 - 1e-9
        assert frame.step_s * frequency_hz == pytest.approx(round(frame.step_s * frequency_hz))


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"frequencies_hz": ()}, "a list of 1 to 32"),
        ({"frequencies_hz": (1000.0, 500.0)}, "must rise"),
        ({"frequencies_hz": (24000.0,)}, "not below half the sample rate"),
        ({"below_db": 0.0}, "below_db must be above 0"),
        ({"below_db": 40.0}, "at most 30"),
        ({"tail_s": 0.0}, "tail_s must be above 0"),
        ({"drive_dbfs": 1.0}, "above digital full scale"),
    ],
)
def test_what_makes_no_frames_is_refused(fields, words) -> None:
    with pytest.raises(SignalError, match=words):
        Frames(**fields)


def test_shapes_have_63_per_cent_of_their_way_at_their_time() -> None:
    at = np.array([0.05])
    assert come(at, time_s=0.05, shape=1.5)[0] == pytest.approx(AT_63_PERCENT)
    for shape in (0.02, 0.5, 1.0):
        assert 1.0 - go(at, time_s=0.05, shape=shape)[0] == pytest.approx(AT_63_PERCENT)
    # a straight line in dB ends after 1 / (1 - 1/e) of its time
    assert go(np.array([0.05 / AT_63_PERCENT]), time_s=0.05, shape=1.0)[0] == pytest.approx(0.0, abs=1e-12)
    # what holds 1 - 1/e of a power is ln(1 - 1/e) under it, of 2 nepers that it is over the threshold
    assert held(at, time_s=0.05, over=2.0)[0] == pytest.approx(1.0 + np.log(AT_63_PERCENT) / 2.0)


def test_the_room_is_in_the_step_answer() -> None:
    """A linear loudspeaker: the sum over its steps is what was recorded, to what noise 80 dB below the probe leaves; a
    step of 1 ms instead of an edge of 2 ms, both in a window of 3 ms, leaves nothing."""
    frame = frame_of(drive_dbfs=-10.0)
    base = baseband([recorded(frame)], frame)
    sent = np.where(np.arange(base.envelope.size) < base.hold_steps, base.loud, 1.0)
    # of the loud stretch, 20 dB over the probe; the first probe's end is not yet the room's: 60 dB fall in 0.3 s
    np.testing.assert_allclose(base.through_room(sent), base.envelope, atol=1e-3 * base.loud)


def test_a_curve_is_instantaneous() -> None:
    reading = read(frame_of(), curve(2.5))
    assert reading.causes == ("instantaneous",)
    assert reading.compression_db == pytest.approx(2.5, abs=0.1)  # a third of the 0.3 dB that are asked for
    assert reading.instantaneous_db == pytest.approx(2.5, abs=0.1)
    assert np.isnan(reading.attack_s)
    # the plain gain says the same where the room has answered
    assert reading.gain_in_test_db[-1] == pytest.approx(-2.5, abs=0.1)
    assert reading.gain_after_db[-1] == pytest.approx(0.0, abs=0.01)


def test_a_limiter_is_told_with_its_attack_and_release() -> None:
    reading = read(frame_of(), limiter(5.0, 0.015, 0.15))
    assert reading.causes == ("limiter",)
    assert reading.compression_db == pytest.approx(5.0, abs=0.1)
    assert reading.limiter_db == pytest.approx(5.0, abs=0.2)  # a third of the 0.6 dB
    assert reading.attack_s == pytest.approx(0.015, rel=0.1)  # a third of the 30 %
    assert reading.release_s == pytest.approx(0.15, rel=0.1)


@pytest.mark.sample
def test_a_limiter_is_told_from_the_curve_behind_it_and_the_heat() -> None:
    parts = (limiter(3.0, 0.015, 0.15), curve(1.5), heat(0.4, 5.0))
    reading = read(frame_of(), lambda rise_s, fall_s: sum(part(rise_s, fall_s) for part in parts))
    assert reading.causes[:2] == ("limiter", "instantaneous")
    assert reading.limiter_db == pytest.approx(3.0, abs=0.2)
    assert reading.instantaneous_db == pytest.approx(1.5, abs=0.2)
    assert reading.heat_db == pytest.approx(0.4, abs=0.05)  # half of the 0.1 dB


@pytest.mark.sample
def test_heat_is_told_by_how_slowly_it_goes() -> None:
    reading = read(frame_of(), heat(0.6, 5.0))
    assert reading.causes == ("heat",)
    assert reading.heat_db == pytest.approx(0.6, abs=0.05)


@pytest.mark.sample
def test_what_comes_at_once_and_stays_is_a_slow_limiter_and_hides_heat() -> None:
    reading = read(frame_of(), limiter(4.0, 0.005, 5.0))
    assert reading.causes == ("limiter",)
    assert np.isnan(reading.heat_db)
    assert np.isnan(reading.release_s)


def test_a_limiter_quicker_than_ten_periods_is_not_divided_at_low_frequencies() -> None:
    reading = read(frame_of(125.0), limiter(4.0, 0.005, 0.03))
    assert reading.causes == ("limiter or instantaneous",)
    assert reading.either_db == pytest.approx(4.0, abs=0.3)
    assert np.isnan(reading.limiter_db)


@pytest.mark.sample
def test_nothing_lost_is_none_and_noise_is_unknown() -> None:
    assert read(frame_of(), curve(0.0)).causes == ("none",)
    loud_noise = read(frame_of(), curve(0.0), noise=0.3)  # 16 dB above the probe, and hardly below the loud stretch
    assert loud_noise.causes == ("unknown",)
    assert FrameReading.nothing().causes == ("unknown",)
    assert read(frame_of(), curve(-1.0)).causes == ("expansion",)
