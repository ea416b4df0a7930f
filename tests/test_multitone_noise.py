"""What noise leaves to a multitone's powers: widths, degrees of freedom and variances against closed forms and trials.

Trials draw complex Gaussian noise with the statistics that the formulas assume; tolerances are standard errors of the
trials, so that a factor or a term left out stands out of them.
"""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.multitone.blocks import BlockSpectra, Statistics, block_spectra, block_starts, statistics
from distort.analysis.multitone.powers import band_of_bins, band_powers, filled, free_bins, line_powers, noise_of_bands
from signals import Multitone

PERIOD = 256
SIGMA = 0.3
NOISE_OF_A_BIN = SIGMA**2 / (PERIOD / 2)
"""White noise of variance s^2 spreads evenly over the bins up to half the sample rate, 1 / period apart."""


def test_blocks_begin_every_second_period_and_every_fourth_in_long_recordings():
    """8 periods each; of 16 periods five blocks, of 20 seven; beyond 20 half as many as that would give."""
    assert list(block_starts(16)) == [0, 2, 4, 6, 8]
    assert list(block_starts(20)) == [0, 2, 4, 6, 8, 10, 12]
    assert list(block_starts(21)) == [0, 4, 8, 12]
    assert list(block_starts(12)) == [0, 2, 4]


@pytest.fixture(scope="module", params=[12, 16, 24])
def noise_alone(request):
    """Spectra of 60 recordings of white noise, with the statistics that were stated for them."""
    random = np.random.default_rng(request.param)
    periods = request.param
    spectra = [
        block_spectra(
            SIGMA * random.standard_normal(periods * PERIOD), first=0, period_samples=PERIOD, periods=periods
        )
        for _ in range(60)
    ]
    return spectra, statistics(periods)


def test_one_blocks_noise_bandwidth_is_that_of_its_window():
    """Blackman-Harris: 2.0044 bins of the block (Harris, Proc. IEEE 66, 1978, table 1, gives 2.00), of which eight make
    one of the period."""
    assert statistics(16).block_width == pytest.approx(2.0044 / 8.0, rel=1e-4)  # the digits given


def test_the_mean_of_blocks_that_do_not_overlap_has_the_noise_of_one_over_their_number():
    """Of 60 periods, blocks 4 periods apart: next neighbours share half. By hand from the window itself."""
    window = 0.35875 - 0.48829 * np.cos(2 * np.pi * np.arange(800) / 800)  # Harris's coefficients
    window += 0.14128 * np.cos(4 * np.pi * np.arange(800) / 800) - 0.01168 * np.cos(6 * np.pi * np.arange(800) / 800)
    blocks = len(block_starts(60))
    neighbours = np.sum(window[400:] * window[:400]) / np.sum(window**2)
    one = 100 * np.sum(window**2) / np.sum(window) ** 2
    expected = one * (blocks + 2 * (blocks - 1) * neighbours) / blocks**2
    assert statistics(60).mean_width == pytest.approx(expected, rel=1e-4)  # 64 and 100 points a period
    assert statistics(60).blocks == blocks == 14


def test_noise_is_read_as_it_is_three_ways(noise_alone):
    """At the bins by scatter, halfway between them, and in the mean, where its width says what is left.

    Some 7,000 values of the stated degrees of freedom: the mean of K chi-squares of nu scatters by sqrt(2 / (nu K)).
    """
    spectra, known = noise_alone
    inner = slice(1, -1)
    scatter = np.array([one.scatter_noise[inner] for one in spectra])
    between = np.array([one.between_noise for one in spectra])
    left = np.array([0.5 * np.abs(one.mean[inner]) ** 2 for one in spectra])
    for values, expected, freedom in (
        (scatter, NOISE_OF_A_BIN, known.scatter_freedom),
        (between, NOISE_OF_A_BIN, known.between_freedom),
        (left, NOISE_OF_A_BIN * known.mean_width, 2.0),
    ):
        assert np.mean(values) == pytest.approx(expected, rel=4.0 * np.sqrt(2.0 / (freedom * values.size)))
        # relative variance 2 / nu; that of a variance of K values is known to some sqrt((2 + 12 / nu) / K)
        spread = 2.0 * np.mean(values) ** 2 / np.var(values)
        assert spread == pytest.approx(freedom, rel=4.0 * np.sqrt((2.0 + 12.0 / freedom) / values.size))


TONE = Multitone(low_hz=100.0, high_hz=4000.0, period_s=0.25, sample_rate=10240, periods=16, lines_per_decade=8.0)
KNOWN = Statistics(blocks=5, block_width=0.25, mean_width=0.1, scatter_freedom=5.0, between_freedom=8.0)
BINS = TONE.period_samples // 2 + 1


def made(mean, *, scatter, between) -> BlockSpectra:
    return BlockSpectra(
        mean=mean,
        scatter_noise=scatter,
        between_noise=between,
        beside=np.zeros((5, 2, 7, 0), dtype=complex),
        statistics=KNOWN,
    )


def test_noise_of_a_band_counts_every_reading_by_its_degrees_of_freedom():
    """Scatter 3 everywhere and 7 halfway: (5 n 3 + 8 m 7) / (5 n + 8 m) for n free bins and m free gaps; lines, and the
    halves on either side of them, are not counted."""
    scatter, between = np.full(BINS, 3.0), np.full(BINS - 1, 7.0)
    scatter[TONE.line_bins] = 1e9
    between[TONE.line_bins] = between[TONE.line_bins - 1] = 1e9
    midbands, band = band_of_bins(TONE)
    found = noise_of_bands(made(np.zeros(BINS, complex), scatter=scatter, between=between), TONE, band, midbands.size)
    bins_hz = np.arange(BINS) / TONE.period_s
    row = int(np.argmin(np.abs(midbands - 1000.0)))
    inside = (bins_hz >= 891.2509) & (bins_hz < 1122.0185)  # IEC 61260-1
    lines = np.isin(np.arange(BINS), TONE.line_bins)
    n = np.count_nonzero(inside & ~lines)
    m = np.count_nonzero(inside[:-1] & ~lines[:-1] & ~lines[1:])
    assert found[row] == pytest.approx((5 * n * 3 + 8 * m * 7) / (5 * n + 8 * m), rel=1e-12)


def test_the_ends_of_the_spectrum_are_no_free_bins():
    free = free_bins(TONE)
    assert not free[0]
    assert not free[-1]
    assert free[1:-1].sum() == BINS - 2 - TONE.line_bins.size


def test_the_variance_of_even_and_odd_is_what_trials_scatter_by():
    """600 trials of a signal of 3 times the noise that is left: `(2 S N + N^2 (1 + 2 / nu)) / K` for each band.

    The noise that is subtracted is that of the whole band, drawn with its own degrees of freedom, so the stated variance
    is a little more than what a band's mean of many scatters by. A variance of 600 trials is known to 6 %, the mean over
    ten bands to 2 %.
    """
    random = np.random.default_rng(3)
    noise = 1e-6
    midbands, band = band_of_bins(TONE)
    signal = np.sqrt(2.0 * 3.0 * noise * KNOWN.mean_width) * np.exp(2j * np.pi * random.random(BINS))
    found = {"even": [], "odd": [], "even_variance": [], "odd_variance": []}
    for _ in range(600):
        drawn = np.sqrt(noise * KNOWN.mean_width) * (random.standard_normal(BINS) + 1j * random.standard_normal(BINS))
        flat = made(signal + drawn, scatter=np.full(BINS, noise), between=np.full(BINS - 1, noise))
        powers = band_powers(flat, TONE)
        for name, values in found.items():
            values.append(getattr(powers, name))
    rows = (midbands > 300.0) & (midbands < 3500.0)
    _, band = band_of_bins(TONE)
    for name in ("even", "odd"):
        scatter, stated = np.var(found[name], axis=0)[rows], np.mean(found[f"{name}_variance"], axis=0)[rows]
        count = np.bincount(band[(band >= 0) & (np.arange(BINS) % 2 == (name == "odd"))], minlength=midbands.size)[rows]
        # here the noise is known exactly: without its own scatter, 2 N^2 / nu, the stated variance is that of the trials
        left = count * noise * KNOWN.mean_width
        exact = stated - 2.0 * left**2 / KNOWN.scatter_freedom / count
        assert np.mean(scatter / exact) == pytest.approx(1.0, abs=0.05)
        assert np.mean(found[name], axis=0)[rows] == pytest.approx(3.0 * left, rel=0.05)  # no bias: noise is taken off
