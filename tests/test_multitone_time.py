"""What changes while a multitone plays, against exponentials of closed form."""

import math

import numpy as np
import pytest

from distort.analysis.multitone.settling import LevelTrack, onset, period_levels, settling_fit
from distort.errors import AnalysisError
from signals import Multitone

TONE = Multitone(periods=16)
LOW, HIGH = (20.0, 200.0), (2000.0, 20000.0)


def seconds(tone: Multitone = TONE) -> np.ndarray:
    return np.arange(tone.n_samples) / tone.sample_rate


@pytest.mark.parametrize("tau_s", [2.7, 4.0, 10.0, 30.0])
def test_a_heating_coil_gives_its_time_constant_and_depth(tau_s):
    """Gain in dB falling by 2 (1 - exp(-t / tau)): read within 1 % of both, from the first sample on. Counted from the
    middle of the first period of 2 s, 31 % of the quickest would be lost. What is left is that the mean over a period
    is one of powers, of decibels only to first order."""
    gain = 10 ** (-2.0 * (1.0 - np.exp(-seconds() / tau_s)) / 20)
    track = period_levels(TONE.samples() * gain, TONE, start=0.0, bands=[LOW, HIGH])
    for one in track:
        found = settling_fit(one)
        assert found.settling.time_constant_s == pytest.approx(tau_s, rel=0.01)
        assert found.whole_db == pytest.approx(-2.0, rel=0.01)
        heard_db = -2.0 * (1.0 - math.exp(-36.0 / tau_s))  # 18 periods
        assert found.settling.depth_db == pytest.approx(heard_db, rel=0.01)
        assert found.significant


def test_each_band_keeps_its_own():
    """Only the low lines lose level: the high ones are told to have no depth worth the name."""
    slow = Multitone(high_hz=200.0)
    fast = Multitone(low_hz=2000.0)
    gain = 10 ** (-1.0 * (1.0 - np.exp(-seconds() / 8.0)) / 20)
    noise = np.random.default_rng(3).standard_normal(TONE.n_samples) * 1e-4
    both = Multitone()
    samples = slow.samples() * gain + fast.samples() + noise
    changes = [settling_fit(one) for one in period_levels(samples, both, start=0.0, bands=[LOW, HIGH])]
    # 60 dB of noise, and the other lines' absence
    assert changes[0].settling.time_constant_s == pytest.approx(8.0, rel=0.1)
    assert changes[0].significant
    assert abs(changes[0].whole_db - (-1.0)) < changes[0].settling.uncertainty_db + 0.02
    assert abs(changes[1].settling.depth_db) < 0.005


def test_noise_alone_has_no_significant_depth():
    """An exponential fits any noise a little: its depth must lie within the uncertainty in most of 40 seeded trials."""
    random = np.random.default_rng(11)
    time_s = (np.arange(18) + 0.5) * 2.0
    tracks = [
        LevelTrack(low_hz=20.0, high_hz=40.0, time_s=time_s, span_s=2.0, change_db=0.01 * random.standard_normal(18))
        for _ in range(40)
    ]
    # five standard deviations of the noise
    assert sum(abs(settling_fit(one).settling.depth_db) < 0.05 for one in tracks) == 40


@pytest.mark.parametrize("attack_s", [0.03, 0.1, 0.4])
def test_a_limiter_that_comes_in_gives_its_attack(attack_s):
    """Gain in dB starting 4 dB up and settling with exp(-t / attack): within 10 %, in frames of 10 ms."""
    gain = 10 ** (4.0 * np.exp(-seconds() / attack_s) / 20)
    low = Multitone(high_hz=2000.0)
    track = onset(low.samples() * gain, low, start=0.0, bands=[(200.0, 2000.0)], frame_s=0.01)[0]
    assert track.time_s[0] == pytest.approx(0.015)  # the first frame holds the fade-in
    found = settling_fit(track, shortest_s=0.005, longest_s=2.0)
    assert found.settling.time_constant_s == pytest.approx(attack_s, rel=0.1)
    assert found.whole_db == pytest.approx(-4.0, rel=0.1)


def test_a_wire_begins_as_it_goes_on():
    """After the fade-in of 5 ms nothing changes."""
    track = onset(TONE.samples(), TONE, start=0.0, bands=[HIGH], frame_s=0.02)[0]
    assert np.max(np.abs(track.change_db)) < 0.02  # what the fade-in leaves to ring
    levels = period_levels(TONE.samples(), TONE, start=0.0, bands=[LOW])[0]
    assert np.max(np.abs(levels.change_db)) < 1e-9


def test_what_does_not_allow_it_is_refused():
    samples = TONE.samples()
    with pytest.raises(AnalysisError, match="no line between 21 and 22 Hz"):
        period_levels(samples, TONE, start=0.0, bands=[(21.0, 22.0)])
    with pytest.raises(AnalysisError, match="does not hold the whole"):
        period_levels(samples[:-200000], TONE, start=0.0, bands=[LOW])
    unsettled = Multitone(settling_periods=0)
    with pytest.raises(AnalysisError, match="needs a settling period"):
        onset(unsettled.samples(), unsettled, start=0.0, bands=[LOW])
    three = LevelTrack(low_hz=1.0, high_hz=2.0, time_s=np.arange(3.0), span_s=1.0, change_db=np.zeros(3))
    with pytest.raises(AnalysisError, match="3 points are too few"):
        settling_fit(three)
