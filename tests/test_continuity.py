"""Lost samples, doubled samples and gains that were turned: the fits on tracks made by hand, and whole recordings at a
low sample rate, whose truth is built in."""

import math
from dataclasses import replace

import numpy as np
import pytest
import scipy.signal

from distort.recording.alignment.locating import find_reel
from distort.recording.quality.chirp_response import Path, band_edges_hz, markers
from distort.recording.quality.continuity import best_jump, continuity, turned_suddenly
from distort.recording.quality.track import Track, band_gains_db, multitone_agreement
from signals import Multitone, Reel, Silence, Tone, framed
from tests.low_rate_reels import MULTITONE, RATE, REEL, SWEEP, TONES, recorded

# --- the jump that explains a track ----------------------------------------------------------------------------------

SHARE = np.linspace(0.1, 0.9, 9)


def made(delay, *, sigma=0.05, common=0.0, gain_db=0.0) -> Track:
    return Track(
        share=SHARE,
        delay=np.asarray(delay, dtype=float),
        delay_sigma=np.broadcast_to(np.asarray(sigma, dtype=float), SHARE.shape),
        gain_db=np.full(SHARE.size, gain_db),
        common_delay_sigma=common,
    )


def after(samples: float, place: int) -> np.ndarray:
    """Delay re the line from chirp to chirp where `samples` more came before the point `place`: the line itself rises
    by as much from 0 to 1."""
    return samples * ((np.arange(SHARE.size) >= place) - SHARE)


@pytest.mark.parametrize("samples", [1.0, -40.0])
@pytest.mark.parametrize("place", [0, 3, 9])
def test_a_jump_is_found_between_two_points(samples, place):
    jump = best_jump(made(after(samples, place)))
    edges = [0.0, *SHARE, 1.0]
    assert jump.samples == pytest.approx(samples)
    assert (jump.low_share, jump.high_share) == pytest.approx((edges[place], edges[place + 1]))
    assert jump.misfit == pytest.approx(0.0, abs=1e-9)
    # weighted least squares of one number: 1 / sqrt(sum of shape^2 / sigma^2)
    shape = (np.arange(SHARE.size) >= place) - SHARE
    assert jump.sigma == pytest.approx(0.05 / np.sqrt(np.sum(shape**2)))


def test_points_are_taken_in_the_order_of_time_and_by_how_well_each_is_known():
    """Half of the points twenty times as uncertain, and off by as much: they hardly count."""
    random = np.random.default_rng(1)
    sigma = np.where(np.arange(9) % 2 == 0, 0.01, 0.2)
    one = made(after(2.0, 5) + sigma * random.standard_normal(9), sigma=sigma)
    mixed = random.permutation(9)
    shuffled = replace(one, share=one.share[mixed], delay=one.delay[mixed], delay_sigma=one.delay_sigma[mixed])
    for along in (one, shuffled):
        jump = best_jump(along)
        shape = (np.arange(9) >= 5) - SHARE
        expected = np.sum(shape * one.delay / sigma**2) / np.sum(shape**2 / sigma**2)
        assert jump.samples == pytest.approx(expected)
        assert jump.misfit == pytest.approx(np.sum(((one.delay - expected * shape) / sigma) ** 2))


def test_what_all_points_have_in_common_is_no_jump():
    """An offset of 0.5 samples between chirps and stimulus, as far as it is allowed for."""
    free, bound = (best_jump(made(np.full(9, 0.5), common=common)) for common in (5.0, 0.0))
    assert abs(free.samples) < 0.1
    assert free.sigma > bound.sigma
    # by hand: the covariance is sigma^2 I + c^2 everywhere
    shape = (np.arange(9) >= 4) - SHARE
    precision = shape @ np.linalg.inv(0.0025 * np.eye(9) + 25.0) @ shape
    assert best_jump(made(after(3.0, 4), common=5.0)).sigma == pytest.approx(1.0 / np.sqrt(precision))


@pytest.mark.parametrize(("off", "skipped"), [(0.17, False), (0.187, True)])
def test_a_jump_within_a_point_leaves_that_point_out(off, skipped):
    """Left out where it spoils the fit by more than three standard deviations, 9 as a square: the fit itself takes up
    0.25 / 0.85 of the square of what point 4 is off, so from 3 x 0.05 / sqrt(1 - 0.294) = 0.179 samples on."""
    delay = after(30.0, 4)
    delay[4] -= off  # some of it lies before what was lost
    jump = best_jump(made(delay))
    edges = [0.0, *SHARE, 1.0]
    assert jump.misfit == pytest.approx(9.0 if skipped else (off / 0.05) ** 2 * 0.6 / 0.85, abs=1e-3)
    assert jump.samples == pytest.approx(30.0 if skipped else 30.0 - 0.5 * off / 0.85, abs=1e-3)
    assert (jump.low_share, jump.high_share) == pytest.approx((edges[4], edges[6 if skipped else 5]))


# --- a gain that was turned suddenly ----------------------------------------------------------------------------------

POINTS = np.arange(16)


@pytest.mark.parametrize(
    ("step_db", "change_db", "turned"),
    [
        (0.11, 0.11, True),
        (0.09, 0.09, False),  # under 0.1 dB nothing is worth knowing
        (0.5, 1.2, True),
        (0.5, 1.3, False),  # under 0.4 of what changed in all
        (-0.5, 0.5, False),  # the other way
        (-0.5, -0.5, True),
    ],
)
def test_a_step_is_a_tenth_of_a_decibel_and_most_of_the_change(step_db, change_db, turned):
    assert turned_suddenly(np.where(POINTS >= 7, step_db, 0.0), change_db) == turned


@pytest.mark.parametrize(("times", "turned"), [(3.7, False), (4.3, True)])
def test_a_step_is_four_times_the_usual_change(times, turned):
    """A level that wavers by 0.05 dB up and down from point to point, and once by `times` as much. Over two points the
    wavering is nothing, and the step 0.05 dB less: too little of the whole change."""
    level_db = 0.05 * (np.arange(17) % 2) + np.where(np.arange(17) >= 9, 0.05 * (times - 1.0), 0.0)
    assert turned_suddenly(level_db, 0.05 * (times - 0.5) / 0.4) == turned


@pytest.mark.parametrize(("share", "turned"), [(0.25, True), (0.35, False)])
def test_what_settles_by_more_than_three_tenths_a_point_creeps(share, turned):
    assert turned_suddenly(np.where(POINTS >= 6, 1.0 - share ** (POINTS - 5.0), 0.0), 1.0) == turned


@pytest.mark.parametrize("at", [7, 8])
def test_a_step_within_a_point_is_sudden_also_where_the_points_scatter(at):
    """0.7 of it in the point itself, 0.3 after it. Over two points what is beside it holds up to 0.3 of the step and
    the scatter twice, 0.16 dB each: more than the share squared, 0.09, that a loudspeaker leaves which settles."""
    step_db = np.where(at <= POINTS, 1.0, 0.0)
    step_db[at] = 0.7
    scatter_db = 0.08 * np.tile([1.0, 1.0, -1.0, -1.0], 4)
    assert turned_suddenly(step_db + scatter_db, 1.0)


# --- gains between two paths ------------------------------------------------------------------------------------------

BINS = 2049
EDGES_HZ = np.array([1000.0, 2000.0, 4000.0])


def path(values, noise=1.0) -> Path:
    return Path(
        values=np.asarray(values, dtype=complex) * np.ones(BINS),
        noise=np.asarray(noise) * np.ones(BINS),
        n_fft=2 * (BINS - 1),
        rate=16384,
        low_hz=1000.0,
        high_hz=4000.0,
    )


def test_gains_of_noiseless_paths_are_exact_whatever_their_phase():
    gains, sigmas = band_gains_db(path(2.0j), path(1.0), EDGES_HZ)
    np.testing.assert_allclose(gains, 6.0206, atol=1e-4)
    np.testing.assert_allclose(sigmas, 0.0, atol=1e-5)
    hz = np.arange(BINS) * 4.0
    gains, _ = band_gains_db(path(np.where(hz < 2000.0, 0.5, 2.0)), path(1.0), EDGES_HZ)
    np.testing.assert_allclose(gains, [-6.0206, 6.0206], atol=1e-4)


@pytest.mark.parametrize("ratio", [1.0, 0.01, 100.0])
def test_gains_of_noisy_paths_by_demings_rule(ratio):
    """`(P - r Q + sqrt((P - r Q)^2 + 4 r C^2)) / 2C` with the powers P and Q, their common part C and noises r : 1.
    Where one noise is far the greater, that is the regression on the other: C / Q, and P / C."""
    random = np.random.default_rng(3)
    one, other = (random.standard_normal((BINS, 2)) @ np.array([1.0, 1j]) for _ in range(2))
    first, second = one + 0.3 * other, one
    gains, sigmas = band_gains_db(path(first, ratio), path(second), EDGES_HZ)
    inside = (np.arange(BINS) * 4.0 >= 1000.0) & (np.arange(BINS) * 4.0 < 2000.0)
    p, q = np.sum(np.abs(first[inside]) ** 2), np.sum(np.abs(second[inside]) ** 2)
    c = abs(np.vdot(second[inside], first[inside]))
    gain = (p - ratio * q + np.hypot(p - ratio * q, 2.0 * np.sqrt(ratio) * c)) / (2.0 * c)
    assert gains[0] == pytest.approx(20.0 * np.log10(gain))
    relative = np.sqrt((p - 2.0 * gain * c + gain**2 * q) / (gain**2 * q))
    # 8.7 dB a neper; of 250 bins half are free
    assert sigmas[0] == pytest.approx(8.7 * relative / np.sqrt(125.0), rel=1e-9)
    if ratio != 1.0:
        assert gain == pytest.approx(c / q if ratio > 1.0 else p / c, rel=0.02)


# --- whole recordings -------------------------------------------------------------------------------------------------


def looked_at(samples: np.ndarray, reel: Reel = REEL):
    return continuity(samples, reel, find_reel(samples, reel))


def findings(samples: np.ndarray, reel: Reel = REEL) -> dict:
    return {one.name: one for one in looked_at(samples, reel).findings}


@pytest.mark.parametrize("reel", [REEL, TONES])
def test_a_good_recording_has_no_jump_and_no_gain(reel):
    along = looked_at(recorded(reel), reel)
    assert along.jump is None
    assert along.clock_difference_ppm == pytest.approx(0.0, abs=0.05)
    assert along.unevenness < 0.005  # as flat as a wire; noise of -100 dBFS
    assert along.agreement > 0.999
    named = {one.name: one for one in along.findings}
    assert named["continuity"].value == 0.0
    assert named["continuity"].threshold == 0.5
    assert named["gain"].value == pytest.approx(0.0, abs=0.01)
    assert named["gain"].verdict == "good"


def test_a_recorder_that_runs_fast_is_told_by_how_much():
    """Seven samples more in 87,500, made by Fourier transform: 80 ppm, to what noise of -100 dBFS leaves."""
    samples = recorded(noise=0.0)
    samples = scipy.signal.resample(np.pad(samples, (0, 87_500 - samples.size)), 87_507)
    along = looked_at(samples + 1e-5 * np.random.default_rng(1).standard_normal(samples.size))
    assert along.jump is None
    assert along.clock_difference_ppm == pytest.approx(80.0, abs=0.1)


@pytest.mark.parametrize("reel", [REEL, TONES])
@pytest.mark.parametrize(("count", "name"), [(1, "dropped"), (60, "dropped"), (-1, "repeated"), (-60, "repeated")])
def test_lost_and_doubled_samples_are_counted_and_placed(reel, count, name):
    """In the middle of the stimulus; by arithmetic the chirps are then so many samples nearer or further apart."""
    samples = recorded(reel)
    middle = 800 + reel.only_stimulus()[0] + reel.only_stimulus()[1].n_samples // 2
    spoilt = (
        np.delete(samples, slice(middle, middle + count))
        if count > 0
        else np.insert(samples, middle, samples[middle + count : middle])
    )
    along = looked_at(spoilt, reel)
    assert along.jump is not None
    assert along.jump.samples == pytest.approx(-count, abs=0.1)
    first, last = reel.chirp_starts()
    share = (middle - 800 - first) / (last - first)
    assert along.jump.low_share <= share <= along.jump.high_share
    assert along.clock_difference_ppm == pytest.approx(0.0, abs=10.0)  # half a sample of 5.8 s is 11 ppm
    named = {one.name: one for one in along.findings}
    assert named[name].value == abs(count)
    assert named[name].verdict == "refuse"
    low_s, high_s = (one * (last - first) / RATE for one in (along.jump.low_share, along.jump.high_share))
    assert f"between {low_s:.1f} and {high_s:.1f} s after the first chirp" in named[name].sentence


def test_tones_are_found_where_the_chirps_tell_a_clock_that_no_recorder_has():
    """200 samples lost behind the stimulus: with a clock so far off nothing is like the tones, and none is to be taken
    for true. The chirps then put the stimulus at two places that are so many samples apart, and it lies between."""
    samples = recorded(TONES)
    first, tones = TONES.only_stimulus()
    end = 800 + first + tones.n_samples + 100
    found = find_reel(np.delete(samples, slice(end, end + 200)), TONES)
    assert 800 + first - 200 < found.stimulus_start < 800 + first


@pytest.mark.parametrize(
    ("turned_db", "verdict", "threshold"),
    [(0.08, "good", 0.1), (0.15, "usable", 0.1), (-0.9, "usable", 0.1), (-1.1, "refuse", 1.0)],
)
def test_a_gain_that_was_turned_is_told_from_a_tenth_and_refused_from_one_decibel_on(turned_db, verdict, threshold):
    samples = recorded(noise=1e-6)
    samples[800 + REEL.only_stimulus()[0] + SWEEP.n_samples // 2 :] *= 10.0 ** (turned_db / 20.0)
    finding = findings(samples)["gain"]
    assert finding.value == pytest.approx(turned_db, abs=0.01)
    assert (finding.verdict, finding.threshold) == (verdict, threshold)


def test_chirps_that_rose_alone_are_told_and_that_fell_in_the_top_alone_are_not():
    """A loudspeaker that cools gains little in its highest bands; one that heats loses most in the middle: a step that
    is neither the same in all bands nor sudden is no gain that was turned."""
    last = 800 + REEL.chirp_starts()[1] - 100
    for change_db, verdict in ((0.4, "usable"), (-0.4, "good")):
        # a shelf above 2 kHz, on the last chirp alone
        samples = recorded(noise=1e-6)
        b = scipy.signal.firwin2(401, [0, 0.4, 0.5, 1.0], [0.0, 0.0, 1.0, 1.0])
        shelf = scipy.signal.oaconvolve(samples, b)[200 : 200 + samples.size]
        samples[last:] += (10.0 ** (change_db / 20.0) - 1.0) * shelf[last:]
        finding = findings(samples)["gain"]
        assert finding.value == pytest.approx(change_db, abs=0.1)
        assert finding.verdict == verdict


def test_other_stimuli_tell_nothing_of_lost_samples():
    reel = framed(Tone(seconds=1.0, sample_rate=RATE))
    along = looked_at(recorded(reel), reel)
    assert along.jump is None
    assert "cannot be told from this stimulus" in along.findings[0].sentence
    assert along.agreement == 1.0
    quiet = Silence(seconds=1.0, sample_rate=RATE)
    bare = Reel((quiet, SWEEP, quiet))
    along = looked_at(recorded(bare), bare)
    assert along.findings == ()
    assert math.isnan(along.unevenness)


def test_a_multitone_of_another_seed_does_not_agree():
    other = framed(replace(MULTITONE, seed=5))
    samples = recorded(other)
    alignment = find_reel(samples, other)
    along = continuity(samples, TONES, alignment)
    assert along.agreement < 0.7
    few = framed(
        Multitone(period_s=0.5, periods=6, low_hz=650.0, high_hz=3300.0, lines_per_decade=4.0, sample_rate=RATE)
    )
    inside = few.only_stimulus()[1].line_hz
    low, high = band_edges_hz(few)[[0, -1]]
    assert np.count_nonzero((inside > low) & (inside < high)) < 5
    samples = recorded(few)
    found = markers(samples, few, find_reel(samples, few))
    assert multitone_agreement(samples * 0.0 + 1.0, few.only_stimulus()[1], found.before, at=1000.0) == 1.0


def test_the_second_period_of_tones_agrees_where_the_clock_puts_it():
    """Four periods made longer by 0.2 %, by Fourier transform, so that the second begins at sample 4008; the first is
    lost. What is eight samples away from either of two places is found at neither of them."""
    tone = MULTITONE
    samples = scipy.signal.resample(np.tile(tone.period(), 4), 4 * 4008)
    samples[:4008] = 0.0
    flat = Path(values=np.ones(BINS, complex), noise=np.ones(BINS), n_fft=4096, rate=RATE, low_hz=200.0, high_hz=3700.0)
    assert multitone_agreement(samples, tone, flat, at=0.0, clock=0.002) == pytest.approx(1.0, abs=1e-3)
    assert multitone_agreement(samples, tone, flat, at=16.0, clock=0.002) < 0.5


@pytest.mark.parametrize(("order", "cut_off_hz", "noise"), [(2, 50.0, 1e-5), (3, 80.0, 1e-6), (4, 120.0, 1e-6)])
@pytest.mark.parametrize("seed", [0, 1])
def test_a_port_that_only_passes_low_tones_lost_nothing(order, cut_off_hz, noise, seed):
    """Where the chirps drown in noise their bands say nothing of time and gain: nothing was lost, nothing turned."""
    low = scipy.signal.butter(order, cut_off_hz, fs=RATE, output="sos")
    heard = scipy.signal.sosfilt(low, 0.2 * recorded(noise=0.0))
    heard += noise * np.random.default_rng(seed).standard_normal(heard.size)
    along = looked_at(heard, REEL)
    assert along.jump is None
    assert {one.verdict for one in along.findings} == {"good"}


def test_what_a_port_lost_below_its_cut_off_is_still_told():
    """A tenth of the noise: the bands in which the chirps stand out tell."""
    low = scipy.signal.butter(2, 200.0, fs=RATE, output="sos")
    heard = scipy.signal.sosfilt(low, 0.2 * recorded(noise=0.0))
    heard += 1e-6 * np.random.default_rng(0).standard_normal(heard.size)
    at = 800 + REEL.only_stimulus()[0] + SWEEP.n_samples // 2
    jump = looked_at(np.concatenate([heard[:at], heard[at + 40 :]]), REEL).jump
    assert jump is not None
    assert jump.samples == pytest.approx(-40.0, abs=0.5)
