"""Wander of the clocks against closed forms: sidebands of a delay that all lines share, what they put into the floors,
and which lines are looked at."""

from dataclasses import replace

import numpy as np
import pytest
import scipy.special

from distort.analysis.multitone.blocks import BlockSpectra, block_spectra, statistics
from distort.analysis.multitone.powers import BandPowers, filled, with_wander
from distort.analysis.multitone.wander import SHARED_RATIO, FastWander, fast_wander, lines_apart, shared_delay
from signals import Multitone
from tests.devices.multitones import heard_at

TONE = Multitone(low_hz=200.0, high_hz=4000.0, lines_per_decade=6.0, period_s=0.5, sample_rate=10240, periods=12)
N = TONE.period_samples


def test_lines_are_looked_at_that_stand_40_bins_apart():
    """By hand: 100, 146 and 200 Hz are 50, 73, 100 bins of half a second: too close; the rest is 46 apart or more.

    The highest line needs the seven bins above it within the spectrum.
    """
    tone = Multitone(low_hz=100.0, high_hz=5000.0, lines_per_decade=6.0, period_s=0.5, sample_rate=10240, periods=12)
    bins = tone.line_bins
    gaps = np.diff(bins)
    kept = lines_apart(tone)
    for place, one in enumerate(bins[1:-1], start=1):
        assert (one in kept) == (gaps[place - 1] >= 40 and gaps[place] >= 40)
    assert kept[-1] == bins[-1]  # nothing lies above it but the end of the spectrum
    many = Multitone(low_hz=1000.0, high_hz=20000.0, lines_per_decade=20.0, period_s=2.0)
    assert many.line_bins.size > 20
    np.testing.assert_array_equal(lines_apart(many), many.line_bins[-16:])  # sixteen are enough


@pytest.mark.parametrize(("high_hz", "kept"), [(4083.0, [1499, 2041]), (4087.0, [1499])])
def test_a_line_whose_sidebands_pass_half_the_sample_rate_is_not_looked_at(high_hz, kept):
    """4096 Hz, half the sample rate, is bin 2048: a line at bin 2041 has seven more above it, one at 2043 has not."""
    tone = Multitone(
        low_hz=2998.0,
        high_hz=high_hz,
        lines_per_decade=1 / np.log10(high_hz / 2998.0),
        period_s=0.5,
        sample_rate=8192,
    )
    assert lines_apart(tone).tolist() == kept


def spectra_with(beside) -> BlockSpectra:
    kept = replace(statistics(12), blocks=beside.shape[0])
    nothing = np.zeros(N // 2 + 1)
    return BlockSpectra(
        mean=nothing.astype(complex), scatter_noise=nothing, between_noise=nothing[1:], beside=beside, statistics=kept
    )


def sidebands(delay, *, own=0.0, level=0.0, random=None):
    """`-i w d_m` above and `-i w conj(d_m)` below each line, re the line, for the shared `delay` `(blocks, 7)`; each
    line's own noise besides, and `level`: a share by which its level swings, the same above and below (conjugate)."""
    bins = lines_apart(TONE)
    omega = 2.0 * np.pi * bins / N
    above = -1j * omega * delay[:, :, None] + level
    below = -1j * omega * np.conj(delay)[:, :, None] + level
    beside = np.stack([above, below], axis=1)
    if own:
        beside = beside + own * (random.standard_normal(beside.shape) + 1j * random.standard_normal(beside.shape))
    return beside


def test_a_shared_delay_is_read_from_its_sidebands():
    """Power of both sides together, `2 |d_m|^2`, odd offsets and even ones apart; a level that swings is no delay."""
    random = np.random.default_rng(1)
    delay = 0.02 * np.exp(2j * np.pi * random.random((5, 7))) * np.sqrt(np.arange(1, 8))
    for level in (0.0, 0.3):
        found = fast_wander(spectra_with(sidebands(delay, level=level)), TONE)
        power = 2.0 * np.abs(delay[0]) ** 2
        # what lines of their own would make of as much is taken off: exact where nothing but the shared delay is there
        assert found.odd_offsets == pytest.approx(np.sum(power[::2]), rel=1e-9)
        assert found.even_offsets == pytest.approx(np.sum(power[1::2]), rel=1e-9)
        assert found.found


def test_what_each_line_has_for_itself_is_no_wander():
    """300 trials of lines with nothing in common: at 3 times what chance makes none is shared; with a shared delay of
    the same size the power is stated without bias."""
    random = np.random.default_rng(2)
    nothing = np.zeros((5, 7), dtype=complex)
    alone = [fast_wander(spectra_with(sidebands(nothing, own=1e-3, random=random)), TONE) for _ in range(300)]
    assert not any(one.found or one.odd_offsets or one.even_offsets for one in alone)
    delay = np.full((5, 7), 0.004)
    shared = [fast_wander(spectra_with(sidebands(delay, own=1e-3, random=random)), TONE) for _ in range(300)]
    assert np.mean([one.odd_offsets for one in shared]) == pytest.approx(2.0 * 4 * 0.004**2, rel=0.02)
    assert np.mean([one.even_offsets for one in shared]) == pytest.approx(2.0 * 3 * 0.004**2, rel=0.02)


def test_few_lines_tell_no_wander():
    tone = Multitone(low_hz=1000.0, high_hz=3000.0, lines_per_decade=6.0, period_s=0.5, sample_rate=10240, periods=12)
    assert lines_apart(tone).size == 3
    spectra = block_spectra(tone.samples(), first=2 * N, period_samples=N, periods=12, beside_bins=lines_apart(tone))
    assert fast_wander(spectra, tone) == FastWander(odd_offsets=0.0, even_offsets=0.0, found=False)
    assert np.isinf(shared_delay(tone.samples(), tone, first=2 * N).sigma)


@pytest.mark.parametrize(("re_line_db", "told"), [(-114.9, True), (-115.1, False)])
def test_wander_is_told_from_115_db_under_the_highest_line_on(re_line_db, told):
    """Sidebands of the highest line, both sides of all offsets: `w^2 sum 2 |d|^2` re the line."""
    omega = 2.0 * np.pi * lines_apart(TONE)[-1] / N
    size = np.sqrt(10.0 ** (re_line_db / 10.0) / 14.0) / omega
    assert fast_wander(spectra_with(sidebands(np.full((5, 7), size + 0j))), TONE).found == told


def test_how_often_lines_alone_pass_the_ratio():
    """Of lines that share nothing the ratio of both powers has the mean 1: sum and parts have the same expectation."""
    random = np.random.default_rng(4)
    bins = lines_apart(TONE)
    weight = bins / bins.sum()
    own = random.standard_normal((4000, bins.size))
    assert np.mean((own @ weight) ** 2) / np.mean(own**2 @ weight**2) == pytest.approx(1.0, abs=0.1)
    assert SHARED_RATIO > 1.0


def bands_of(lines: float) -> BandPowers:
    names = BandPowers.__dataclass_fields__
    nothing = {name: np.zeros(2) for name in names}
    return BandPowers(**{**nothing, "frequency_hz": np.array([500.0, 2000.0]), "lines": np.full(2, lines)})


@pytest.mark.parametrize("angle", [0.02, 0.3])
def test_a_sinusoidal_delay_fills_the_floors_as_bessel_functions_say(angle):
    """A delay that swings by d at one bin beside turns a line by `w d`: sidebands J1 on even bins, J2 on odd ones, as
    powers `2 J^2` of the line's (Jacobi-Anger). The floors are at least that and at most twice as much, of J2 with the
    line's own filling, a quarter more."""
    omega = 2.0 * np.pi * 2000.0 / TONE.sample_rate
    size = angle / omega
    found = with_wander(bands_of(3.0), TONE, FastWander(odd_offsets=size**2 / 2, even_offsets=0.0, found=True))
    first, second = (2.0 * 3.0 * scipy.special.jv(order, angle) ** 2 for order in (1, 2))
    assert found.even_wander[1] == pytest.approx(first, rel=0.5 * angle**2)  # J1 to first order, and what J2 adds
    assert found.even_wander[1] >= first
    assert 1.25 * second <= found.odd_wander[1] <= 2.05 * second
    # a quarter of the frequency turns a quarter as far
    assert found.even_wander[0] == pytest.approx(3.0 * (angle / 4) ** 2 / 2, rel=0.01)


def test_sidebands_on_free_odd_bins_fill_their_line_as_well():
    """One sideband power on either side of a line: its four neighbours' mean is half of one, so the line adds a quarter
    of both."""
    power = np.zeros(N // 2 + 1)
    line = TONE.line_bins[4]
    power[[line - 2, line + 2]] = 1.0
    total = np.sum(filled(power, TONE)[1::2])
    assert total == pytest.approx(2.0 * 1.25)
    found = with_wander(bands_of(1.0), TONE, FastWander(odd_offsets=0.0, even_offsets=1e-6, found=True))
    omega = 2.0 * np.pi * 2000.0 / TONE.sample_rate
    assert found.odd_wander[1] == pytest.approx(1.25 * omega**2 * 1e-6, rel=1e-4)  # the second sidebands are less
    assert found.even_wander[1] == pytest.approx(0.25 * (1.25 * omega**2 * 1e-6) ** 2, rel=1e-4)


def wandering(delay_at, *, noise=0.0, seed=0):
    """The multitone heard with a delay `delay_at(periods after the first measured one)`, samples."""
    place = np.arange((TONE.settling_periods + TONE.periods) * N, dtype=float)
    late = delay_at(place / N - TONE.settling_periods)
    samples = heard_at(TONE, place - late)
    return samples + noise * np.random.default_rng(seed).standard_normal(samples.size)


def test_a_delay_within_the_periods_is_followed():
    """A swing of 0.02 samples over 3.7 periods, which does not repeat with the period: followed within a twentieth.

    A frame of an eighth of a period under its window averages a swing that slow by 0.1 %.
    """
    shared = shared_delay(
        wandering(lambda t: 0.02 * np.sin(2 * np.pi * t / 3.7)), TONE, first=TONE.settling_periods * N
    )
    assert shared.at_periods.size == 16 * TONE.periods
    assert shared.at_periods[1] == pytest.approx(1.5 / 16, abs=1e-3)
    truth = 0.02 * np.sin(2 * np.pi * shared.at_periods / 3.7)
    inner = slice(16, -16)
    np.testing.assert_allclose(shared.delay[inner], (truth - truth.mean())[inner], atol=0.001)
    assert shared.sigma < 0.001


def test_a_delay_that_repeats_with_the_period_is_left_alone():
    """It cannot be told from distortion: of 0.02 samples less than a twentieth is followed."""
    shared = shared_delay(wandering(lambda t: 0.02 * np.sin(4 * np.pi * t)), TONE, first=TONE.settling_periods * N)
    assert np.std(shared.delay[16:-16]) < 0.0007


def test_the_deviation_of_the_followed_delay_is_that_of_noise():
    """White noise in ten recordings: the stated deviation is what the followed delay scatters by. 192 frames
    of each, of which half overlap: known to 5 %."""
    scatter, stated = [], []
    for seed in range(10):
        shared = shared_delay(
            wandering(lambda t: 0.0 * t, noise=1e-3, seed=seed), TONE, first=TONE.settling_periods * N
        )
        scatter.append(np.mean(np.square(shared.delay)))
        stated.append(shared.sigma**2)
    bins = lines_apart(TONE)
    weight = bins / bins.sum()
    # A line of equal amplitude scatters by 1 / w, and weighs by w. What all share is taken off each before its own part
    # is read: 1 - 2 / K + sum of the squared weights of K lines is left of its square.
    left = 1.0 - 2.0 / bins.size + np.sum(weight**2)
    assert np.mean(stated) / np.mean(scatter) == pytest.approx(left, rel=0.1)
