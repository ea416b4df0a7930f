"""Decays and digital zeros in silences: the likelihoods written out, and each limit on waves made just beside it."""

import math

import numpy as np
import pytest

from distort.recording.alignment.settling import _Bands, _bands, _decay_blocks, _evidence_of_a_step, settled
from distort.recording.alignment.silences import _about, _sounding, _until_it_sounds, recorded_silences
from signals import Reel, Silence, Sweep, framed

# --- the likelihood of a decay ----------------------------------------------------------------------------------------

RATE = 8000
SIZE, HOP = 400, 200
"""Samples of a block of 50 ms, and of half of it; its bins are 20 Hz apart."""

OCTAVES_HZ = [(60, 120), (120, 240), (240, 480), (480, 960), (960, 1920), (1920, 3840), (3840, 4001)]
"""From 30 Hz up, each with two bins at least, which the lowest, 30 to 60 Hz, has not."""


def test_the_power_of_a_block_is_the_mean_of_each_octaves_bins():
    """A sine of amplitude A in the middle of a bin under a Hann window of n samples: A n / 4 there and half of that in
    either neighbour, together 3 / 32 (A n)^2; an offset is none of it. 1.94 neighbours tell as much as one bin."""
    time = np.arange(3 * SIZE + 50)
    samples = 5.0 + 0.3 * np.sin(2 * np.pi * 40 * time / SIZE) + 0.02 * np.sin(2 * np.pi * 12 * time / SIZE + 1.0)
    found = _bands(samples, RATE)
    bins = np.array([sum(low <= 20 * k < high for k in range(201)) for low, high in OCTAVES_HZ])
    np.testing.assert_allclose(found.shape, bins / 1.94)
    expected = np.zeros(7)
    expected[2] = 3.0 / 32.0 * (0.02 * SIZE) ** 2 / bins[2]  # 240 Hz, whose neighbour at 220 Hz lies an octave below
    expected[1] = (0.02 * SIZE / 8.0) ** 2 / bins[1]
    expected[2] -= (0.02 * SIZE / 8.0) ** 2 / bins[2]
    expected[3] = 3.0 / 32.0 * (0.3 * SIZE) ** 2 / bins[3]  # 800 Hz
    assert found.power.shape == (7, 5)
    np.testing.assert_allclose(found.power, np.outer(expected, np.ones(5)), atol=1e-9 * np.max(expected), rtol=1e-9)


@pytest.mark.parametrize(("n_samples", "blocks"), [(399, 0), (400, 1), (599, 1), (600, 2)])
def test_blocks_begin_half_a_block_apart(n_samples, blocks):
    samples = np.random.default_rng(1).standard_normal(n_samples)
    assert _bands(samples, RATE).power.shape[1] == blocks


def test_the_evidence_of_a_step_is_that_of_the_best_of_all_places():
    """Minus the shape times `n1 ln m1 + n2 ln m2`, the means before and after it; at a step without scatter, there."""
    power = np.array([4.0] * 5 + [0.5] * 12)
    assert _evidence_of_a_step(power, 3.0) == pytest.approx(-3.0 * (5 * math.log(4.0) + 12 * math.log(0.5)))
    any_power = np.random.default_rng(2).gamma(2.0, size=9)
    places = [n * math.log(np.mean(any_power[:n])) + (9 - n) * math.log(np.mean(any_power[n:])) for n in range(1, 9)]
    assert _evidence_of_a_step(any_power, 2.5) == pytest.approx(-2.5 * min(places))


DECAY_S, RISE = 0.05 * 1.3**9, 10.0 ** (0.1 * (-9.0 + 2.0 * 14))
"""Of those that are tried: 60 dB in 0.53 s, from 19 dB above the noise."""


def decayed(blocks: int, *, decay_s: float = DECAY_S, rise: float = RISE) -> np.ndarray:
    """Its power re the noise's, one block every 25 ms, without any scatter."""
    return rise * 10.0 ** (-6.0 * 0.025 * np.arange(blocks) / decay_s)


def blocks_until_it_is_gone(decay: np.ndarray) -> int:
    """The first from which on the decay is 2 % of the noise at most, on the mean over all that follow."""
    return next(n for n in range(decay.size + 1) if n == decay.size or np.mean(decay[n:]) <= 0.02)


def likelihood_ratio(power: np.ndarray, model: np.ndarray) -> float:
    """Of gamma distributed powers about `m model` against powers about their mean, m such that it is highest, for a
    shape of one: `n ln mean(p) - n ln mean(p / model) - sum ln model`."""
    return float(power.size * (math.log(np.mean(power)) - math.log(np.mean(power / model))) - np.sum(np.log(model)))


@pytest.mark.parametrize(("evidence", "seen"), [(6.6, False), (7.4, True)])
def test_a_decay_is_seen_from_a_likelihood_ratio_of_seven_on(evidence, seen):
    decay = decayed(40)
    shape = evidence / likelihood_ratio(1.0 + decay, 1.0 + decay)
    bands = _Bands(3.7 * (1.0 + decay)[np.newaxis], np.array([shape]))
    expected = blocks_until_it_is_gone(decay)
    assert 5 < expected < 40
    assert _decay_blocks(bands) == (expected if seen else 0)


def test_the_longest_decay_of_all_bands_counts():
    """Whichever band has it; a band of nothing has none."""
    short, long = decayed(60, decay_s=0.05 * 1.3**4), decayed(60, decay_s=0.05 * 1.3**9, rise=10.0**2.5)
    for one, other in ((short, long), (long, short)):
        bands = _Bands(np.array([np.zeros(60), 1.0 + one, 1e-3 * (1.0 + other)]), np.full(3, 20.0))
        assert _decay_blocks(bands) == blocks_until_it_is_gone(long)
    assert blocks_until_it_is_gone(short) < blocks_until_it_is_gone(long) < 60


@pytest.mark.parametrize(("behind", "seen"), [(2.8, True), (3.2, False)])
def test_noise_that_falls_at_once_explains_it_better_by_three(behind, seen):
    """Noise that falls by 10 dB after nine blocks, which some decay explains as well, though not quite: the evidence of
    both grows with the shape, and so does their distance."""
    power = np.where(np.arange(40) < 9, 10.0, 1.0)
    step = likelihood_ratio(power, power)
    tried = [
        likelihood_ratio(power, 1.0 + decayed(40, decay_s=0.05 * 1.3**n, rise=10.0 ** (0.1 * rise_db)))
        for n in range(17)
        for rise_db in range(-9, 100, 2)
    ]
    shape = behind / (step - max(tried))
    assert shape * max(tried) > 10.0  # otherwise the evidence alone would decide
    assert (_decay_blocks(_Bands(power[np.newaxis], np.array([shape]))) > 0) == seen


TIMES_S = [0.05 * 1.3**n for n in range(17)]
RISES_DB = range(-9, 100, 2)
"""Reverberation times and powers at the beginning that are tried: 0.05 to 3.3 s, -9 to 99 dB re the noise."""


@pytest.mark.parametrize(
    ("decay_s", "rise_db", "tried"),
    [
        (TIMES_S[15], -9, True),
        (TIMES_S[15], -11, False),
        (TIMES_S[2], 99, True),
        (TIMES_S[2], 101, False),
        (TIMES_S[0], 31, True),
        (TIMES_S[0] / 1.3, 31, False),
        (TIMES_S[16], 19, True),
        (TIMES_S[16] * 1.3, 19, False),
    ],
)
def test_the_ends_of_what_is_tried_are_among_it_and_what_lies_beyond_is_not(decay_s, rise_db, tried):
    """The evidence of the decay itself is a millionth more than is asked for: another one explains it less well. A weak
    one is looked at over 0.75 s: on the mean over more it would not be worth a cut."""
    model = 1.0 + decayed(30 if rise_db < 0 else 200, decay_s=decay_s, rise=10.0 ** (0.1 * rise_db))
    shape = 7.0 * (1.0 + 1e-6) / likelihood_ratio(model, model)
    step = _evidence_of_a_step(model / np.mean(model), shape)
    assert step - 3.0 < 7.0  # it does not decide
    assert (_decay_blocks(_Bands(model[np.newaxis], np.array([shape]))) > 0) == tried


def test_a_decay_is_cut_off_where_its_blocks_say_and_what_follows_is_looked_at_again():
    """One slope of noise 40 dB over what follows on it: 12 blocks and more, each half of 50 ms on, and no second slope
    behind them."""
    time_s = np.arange(2 * RATE) / RATE
    samples = np.random.default_rng(5).standard_normal(time_s.size) * (1.0 + 10.0 ** (2.0 - 3.0 * time_s / 0.5))
    blocks = _decay_blocks(_bands(samples, RATE))
    assert 12 <= blocks <= 24
    assert _decay_blocks(_bands(samples[blocks * HOP :], RATE)) == 0
    assert settled(samples, RATE) == blocks * HOP


@pytest.mark.parametrize(("hops", "blocks"), [(9, 8), (8, 7)])
def test_a_decay_is_sought_where_there_are_eight_blocks(hops, blocks):
    """60 dB in 0.11 s, down to noise 40 dB below its beginning: in seven blocks nothing is looked for."""
    decay = 0.01 + 10.0 ** (-3.0 * np.arange(hops * HOP) / (0.11 * RATE))
    samples = decay * np.random.default_rng(1).standard_normal(hops * HOP)
    assert _bands(samples, RATE).power.shape[1] == blocks
    assert (settled(samples, RATE) > 0) == (blocks == 8)


# --- what lies about a stimulus without chirps ------------------------------------------------------------------------

LOOK = 100
"""Samples of a tenth of a second at 1 kHz."""


def looks(*levels: float, more: int = 0) -> np.ndarray:
    """A square wave of each r.m.s. value for a tenth of a second, and `more` samples."""
    wave = np.where(np.arange(LOOK) % 2 == 0, 1.0, -1.0)
    return np.concatenate([*(level * wave for level in levels), np.full(more, 9.0)])


QUIET, LOUD = 0.001, 0.1


def until(levels: list[float], *, least: float = 0.05, decays: bool = False, more: int = 0) -> int | None:
    return _until_it_sounds(looks(*levels, more=more), least, 1000, decays=decays)


@pytest.mark.parametrize(("count", "expected"), [(9, None), (10, 700)])
def test_another_sound_lasts_a_second(count, expected):
    """And ends the silence where it begins."""
    assert until([QUIET] * 7 + [LOUD] * count + [QUIET] * 5) == expected


def test_another_sound_may_last_to_the_end_and_short_ones_before_it_are_noise():
    levels = [QUIET] * 4 + [LOUD] * 3 + [QUIET] * 4 + [LOUD] * 12
    assert until(levels) == 1100
    assert until(levels, more=LOOK - 1) == 1100
    assert until([]) is None
    assert until([], more=LOOK - 1) is None


@pytest.mark.parametrize(("level", "expected"), [(0.0999, None), (0.1001, 800)])
def test_another_sound_stands_above_the_least_level(level, expected):
    assert until([QUIET] * 8 + [level] * 10, least=0.1) == expected


@pytest.mark.parametrize(("ratio", "expected"), [(9.6, None), (10.4, 800)])
def test_another_sound_stands_20_decibels_above_the_quiet_part(ratio, expected):
    """The tenth from below of 21 looks is the third: two that are quieter do not count."""
    assert until([0.01 / 3, 0.01 / 2, 0.01, *[0.0101] * 5, *[0.01 * ratio] * 13], least=0.05) == expected


def test_the_quiet_part_is_the_tenth_of_the_looks_from_below():
    """Of 31 looks the fourth: a quarter further up it would be 40 % louder, and the sound no longer 20 dB above."""
    levels = [0.004, 0.005, 0.006, 0.01, *[0.014] * 10, *[0.105] * 17]
    assert until(levels, least=0.05) == 1400


@pytest.mark.parametrize(("ratio", "expected"), [(1.9, 800), (2.1, 600)])
def test_another_sound_is_heard_from_six_decibels_on(ratio, expected):
    """What comes in slowly before it belongs to it."""
    assert until([QUIET] * 6 + [ratio * QUIET] * 2 + [LOUD] * 10) == expected
    assert until([3 * QUIET] * 2 + [LOUD] * 10 + [QUIET] * 9) == 0  # it was never quiet before that


def test_the_decay_of_the_stimulus_itself_is_no_other_sound():
    levels = [LOUD] * 11 + [QUIET] * 4 + [LOUD] * 10
    assert until(levels, decays=True) == 1500
    assert until(levels, decays=False) == 0
    assert until(levels[:15], decays=True) is None


def about(before: list[float], after: list[float], *, stimulus: float) -> list:
    samples = np.concatenate([looks(*before), looks(*[stimulus] * 10), looks(*after)])
    start = LOOK * len(before)
    return _about(samples, float(start), float(start + 1000), 1000)


def test_silence_reaches_to_what_is_as_loud_as_a_thirtieth_of_the_stimulus():
    """-30 dB of its r.m.s., 1: 0.0316; 5 samples are kept from the stimulus, so that the looks before it lie 5 samples
    off and the ninth holds the other sound's end. Before it nothing is known to decay but where another sound was."""
    before, after = [0.033] * 11 + [QUIET] * 9, [QUIET] * 8 + [0.033] * 11
    assert about(before, after, stimulus=1.0) == [((1195, 1995), True), ((3000, 3800), True)]
    assert about(before, after, stimulus=1.1) == [((0, 1995), False), ((3000, 4900), True)]
    assert about([QUIET] * 5, [QUIET] * 5, stimulus=1.0) == [((1500, 2000), True)]  # 495 samples are too few


# --- digital zeros ----------------------------------------------------------------------------------------------------


def with_equal(count: int, *, off: float = 0.0) -> np.ndarray:
    """Noise of 8,000 samples, `count` of which are equal from 3,000 on, but for one that is `off`."""
    samples = np.random.default_rng(1).standard_normal(8000)
    samples[3000 : 3000 + count] = 0.25
    samples[3000 + count // 2] += off
    return samples


@pytest.mark.parametrize(
    ("count", "off", "muted"),
    [(1000, 0.0, False), (1001, 0.0, True), (1001, 0.95e-8, True), (1001, 1.06e-8, False), (3000, 0.0, True)],
)
def test_a_thousand_and_one_equal_samples_are_no_noise(count, off, muted):
    """Within 1e-8. All of them are left out, and nothing else."""
    expected = [(10, 3000), (3000 + count, 7990)] if muted else [(10, 7990)]
    assert _sounding(with_equal(count, off=off), (10, 7990)) == expected


SWEEP = Sweep(seconds=1.0, sample_rate=RATE, start_hz=50.0, full_level_hz=70.0, stop_hz=3900.0)


def test_what_is_muted_and_what_rings_is_told_in_seconds():
    """Before the sweep 0.25 s of zeros; behind it a decay that does not end, 0.6 s."""
    samples = np.concatenate([1e-4 * np.random.default_rng(1).standard_normal(2 * RATE), SWEEP.samples()])
    samples[RATE // 2 : 3 * RATE // 4] = 0.0
    ringing = np.random.default_rng(2).standard_normal(4800) * 10.0 ** (-3.0 * np.arange(4800) / 4800)
    found = recorded_silences(np.concatenate([samples, ringing]), Reel((SWEEP,)), start=2.0 * RATE)
    assert found.spans == ((0, 4000), (6000, 15960))
    assert found.muted_s == pytest.approx(0.25)
    assert found.ringing_s == pytest.approx(0.6)


def test_a_gate_that_opens_between_two_halves_is_not_asked_for_a_decay():
    """What follows on zeros may fall as it likes: it is kept from its first sample on."""
    behind = 1e-3 * np.random.default_rng(3).standard_normal(4 * RATE)
    behind[2 * RATE : 5 * RATE // 2] = 0.0
    behind[5 * RATE // 2 :] *= 1.0 + 30.0 * 10.0 ** (-3.0 * np.arange(3 * RATE // 2) / (0.4 * RATE))
    samples = np.concatenate([1e-3 * np.random.default_rng(1).standard_normal(RATE), SWEEP.samples(), behind])
    found = recorded_silences(samples, Reel((SWEEP,)), start=float(RATE))
    end = RATE + SWEEP.n_samples
    assert found.spans == ((0, RATE - 40), (end, end + 2 * RATE), (end + 5 * RATE // 2, samples.size))


# --- between chirps where a planned silence was not recorded ----------------------------------------------------------


@pytest.mark.parametrize("side", ["before", "after"])
def test_where_no_planned_silence_is_left_all_between_chirp_and_stimulus_is_taken(side):
    """The reel's silence on one side is only 0.4 s long once it may be read; the chirp has ended 0.7 s before that."""
    reel = framed(SWEEP)
    items = list(reel.items)
    place = 2 if side == "before" else 4
    settle_s = {"before": 0.7, "after": 0.95}[side]
    items[place] = Silence(seconds=settle_s + 0.4, settle_s=settle_s, sample_rate=RATE)
    short = Reel(tuple(items))
    first, _ = short.only_stimulus()
    samples = short.samples() + 1e-4 * np.random.default_rng(1).standard_normal(short.n_samples)
    spans = recorded_silences(samples, short, start=float(first)).spans
    end, chirps = first + SWEEP.n_samples, short.chirp_starts()
    if side == "before":
        assert spans[0] == (chirps[0] + 800, first - 40)
        assert spans[1][1] == chirps[1] - 40
    else:
        assert spans[1] == (end, chirps[1] - 40)
        assert spans[0][1] == first - 40
    assert len(spans) == 2
