"""What noise leaves to a multitone's powers: widths, degrees of freedom and variances against closed forms and trials.

Trials draw complex Gaussian noise with the statistics that the formulas assume; tolerances are standard errors of the
trials, so that a factor or a term left out stands out of them.
"""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.multitone.blocks import BlockSpectra, Statistics, block_spectra, block_starts, statistics
from distort.analysis.multitone.hum_lines import SteadySounds
from distort.analysis.multitone.powers import (
    BandPowers,
    band_of_bins,
    band_powers,
    filled,
    free_bins,
    line_powers,
    noise_of_bands,
    with_hum,
)
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
    assert list(block_starts(13)) == [0, 2, 4]  # one more would end with the fourteenth


@pytest.fixture(scope="module", params=[12, 16, 24])
def noise_alone(request):
    """Spectra of 60 recordings of white noise, with the statistics that were stated for them."""
    random = np.random.default_rng(request.param)
    periods = request.param
    spectra = [
        block_spectra(SIGMA * random.standard_normal(periods * PERIOD), first=0, period_samples=PERIOD, periods=periods)
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

    The noise that is subtracted is that of the whole band, drawn with its own degrees of freedom, so the stated
    variance is a little more than what a band's mean of many scatters by. A variance of 600 trials is known to 6 %, the
    mean over ten bands to 2 %."""
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
        # here the noise is known exactly: without its own scatter, 2 N^2 / nu, the stated variance is that of the
        # trials
        left = count * noise * KNOWN.mean_width
        exact = stated - 2.0 * left**2 / KNOWN.scatter_freedom / count
        assert np.mean(scatter / exact) == pytest.approx(1.0, abs=0.05)
        assert np.mean(found[name], axis=0)[rows] == pytest.approx(3.0 * left, rel=0.05)  # no bias: noise is taken off


COARSE = Multitone(low_hz=55.0, high_hz=9000.0, period_s=0.05, sample_rate=40960, periods=12, lines_per_decade=2.0)
"""Its bins are 20 Hz apart: low bands hold none, and its first line is bin 3."""


def test_the_lowest_lines_are_filled_from_what_lies_above_0_hz():
    """Bins 1, 5 and 7 beside line 3; what lies 4 below it would be bin -1."""
    assert COARSE.line_bins[0] == 3
    power = np.zeros(COARSE.period_samples // 2 + 1)
    power[[1, 5, 7]] = 3.0, 6.0, 9.0
    power[-1] = power[-2] = 1e6
    power[0] = 1e6
    assert filled(power, COARSE)[3] == pytest.approx(6.0)


def test_the_highest_lines_are_filled_from_what_lies_below_half_the_sample_rate():
    """The last line, bin 511 of 513, has bins 507, 509 and no more: 513 is half the sample rate itself."""
    tone = Multitone(
        low_hz=2000.0,
        high_hz=20460.0,
        period_s=0.025,
        sample_rate=41040,
        periods=12,
        lines_per_decade=1 / np.log10(20460.0 / 2000.0),
    )
    power = np.zeros(tone.period_samples // 2 + 1)
    assert (int(tone.line_bins[-1]), power.size) == (511, 514)
    power[[507, 509, 513]] = 1.0, 3.0, 1e6
    assert filled(power, tone)[511] == pytest.approx(2.0)


def test_a_band_without_bins_has_no_noise_and_no_reading():
    bins = COARSE.period_samples // 2 + 1
    flat = made(np.ones(bins, complex), scatter=np.ones(bins), between=np.ones(bins - 1))
    midbands, band = band_of_bins(COARSE)
    found = noise_of_bands(flat, COARSE, band, midbands.size)
    row = int(np.argmin(np.abs(midbands - 25.0)))
    assert np.isnan(found[row])
    powers = band_powers(flat, COARSE)
    assert np.isnan(powers.even[row])
    assert np.isfinite(powers.even[int(np.argmin(np.abs(midbands - 1000.0)))])
    # 16 kHz reaches to 17.8 kHz and 20 kHz to 22.4: half the sample rate is 20.48
    for name in set(BandPowers.__dataclass_fields__) - {"frequency_hz"}:
        assert np.isfinite(getattr(powers, name)[-2])
        assert np.isnan(getattr(powers, name)[-1])


def test_powers_of_a_band_by_hand():
    """Lines of amplitude 1, 0.1 at even bins, 0.01 at free odd ones, and noise that is read as 1e-6 a bin: a share of
    0.1 is left in each and taken off; the noise of the whole band is that of all its hertz."""
    amplitudes = np.where(np.arange(BINS) % 2 == 0, 0.1, 0.01)
    amplitudes[TONE.line_bins] = 1.0
    flat = made(amplitudes.astype(complex), scatter=np.full(BINS, 1e-6), between=np.full(BINS - 1, 1e-6))
    powers = band_powers(flat, TONE)
    midbands, band = band_of_bins(TONE)
    row = int(np.argmin(np.abs(midbands - 2000.0)))
    inside = band == row
    even, odd = (np.count_nonzero(inside & (np.arange(BINS) % 2 == parity)) for parity in (0, 1))
    lines = np.count_nonzero(inside[TONE.line_bins])
    assert powers.lines[row] == pytest.approx(0.5 * lines)
    assert powers.even_noise[row] == pytest.approx(even * 1e-7)
    assert powers.odd_noise[row] == pytest.approx(odd * 1e-7)
    assert powers.even[row] == pytest.approx(even * (0.5e-2 - 1e-7))
    assert powers.odd[row] == pytest.approx(odd * (0.5e-4 - 1e-7))
    width_hz = midbands[row] * (10.0**0.05 - 10.0**-0.05)
    assert powers.noise[row] == pytest.approx(1e-6 * width_hz * TONE.period_s)
    variance = 2.0 * powers.even[row] * even * 1e-7 + (even * 1e-7) ** 2 * (1.0 + 2.0 / 5.0)
    assert powers.even_variance[row] == pytest.approx(variance / even)
    free = odd - lines
    variance = 2.0 * powers.odd[row] * odd * 1e-7 + (odd * 1e-7) ** 2 * (1.0 + 2.0 / 5.0)
    assert powers.odd_variance[row] == pytest.approx(variance / free)
    drowned = band_powers(replace(flat, scatter_noise=np.ones(BINS), between_noise=np.ones(BINS - 1)), TONE)
    assert drowned.even[row] == pytest.approx(0.1 * even * 0.5e-2)  # at most 10 dB are taken off


def test_gain_and_noise_at_a_line_by_hand():
    """Twice as strong and a turn of a quarter late: gain -2i; blocks that began 3 samples late turn bin b by 3 b /
    N."""
    bins = TONE.line_bins
    mean = np.full(BINS, 0.1, dtype=complex)
    mean[bins] = -2j * TONE.line_amplitudes * np.exp(1j * TONE.line_phases_rad)
    mean[bins] *= np.exp(2j * np.pi * bins * 3.0 / TONE.period_samples)
    flat = made(mean, scatter=np.full(BINS, 1e-6), between=np.full(BINS - 1, 1e-6))
    found = line_powers(flat, TONE, late_samples=3.0)
    np.testing.assert_allclose(found.gain, -2j, atol=1e-12)
    np.testing.assert_allclose(found.noise, 1e-7, rtol=1e-12)
    np.testing.assert_allclose(found.odd, 0.005 - 1e-7, rtol=1e-12)
    drowned = line_powers(
        replace(flat, scatter_noise=np.ones(BINS), between_noise=np.ones(BINS - 1)), TONE, late_samples=3.0
    )
    np.testing.assert_allclose(drowned.odd, 0.0005, rtol=1e-12)


def hum(*tones: tuple[float, float]) -> SteadySounds:
    return SteadySounds(frequency_hz=np.array([hz for hz, _ in tones]), power=np.array([power for _, power in tones]))


def quiet_powers():
    flat = made(np.full(BINS, 0.1 + 0j), scatter=np.full(BINS, 1e-9), between=np.full(BINS - 1, 1e-9))
    return band_powers(flat, TONE)


@pytest.mark.parametrize(
    ("off_bins", "even", "odd"),
    [(0.0, 1.0, 0.0), (0.34, 1.0, 0.0), (0.36, 1.0, 1.0), (-0.36, 1.0, 1.0), (1.0, 0.0, 1.0)],
)
def test_a_hum_goes_to_the_bins_that_it_may_lie_on(off_bins, even, odd):
    """Bin 500, an even one, at 2 kHz, far from lines: within 0.35 of it the hum is there, beyond it may be in
    either."""
    place = 500
    assert np.min(np.abs(TONE.line_bins - place)) > 6
    found = with_hum(quiet_powers(), TONE, hum(((place + off_bins) / TONE.period_s, 2e-4)))
    row = band_of_bins(TONE)[1][place]
    before = quiet_powers()
    assert found.even_hum[row] == pytest.approx(2e-4 * even)
    assert found.odd_hum[row] == pytest.approx(2e-4 * odd)
    assert found.even[row] == pytest.approx(before.even[row] - 2e-4 * even)
    assert found.odd[row] == pytest.approx(before.odd[row] - 2e-4 * odd)
    assert found.noise[row] == pytest.approx(before.noise[row] + 2e-4)
    at_the_end = (BINS - 1 + 0.4) / TONE.period_s  # it may lie on the next bin, which is none
    strong = with_hum(before, TONE, hum((place / TONE.period_s, 50.0), (30000.0, 1.0), (at_the_end, 1.0)))
    assert strong.even[row] == pytest.approx(0.1 * before.even[row])


def test_a_hum_beside_a_line_fills_the_line_as_distortion_would():
    line = int(TONE.line_bins[5])
    found = with_hum(quiet_powers(), TONE, hum(((line + 2) / TONE.period_s, 1e-4)))
    row = band_of_bins(TONE)[1][line]
    assert found.odd_hum[row] == pytest.approx(1.25e-4)
    assert found.noise[row] == pytest.approx(quiet_powers().noise[row] + 1e-4)


def tones(*parts: tuple[float, float]) -> np.ndarray:
    """Cosines of (turns a period, amplitude) over 12 periods."""
    turns = np.arange(12 * PERIOD) / PERIOD
    return sum(amplitude * np.cos(2 * np.pi * number * turns + 0.4) for number, amplitude in parts)


@pytest.mark.parametrize("bin_number", [20, 21, 100])
def test_a_tone_halfway_between_two_bins_is_read_there_and_nowhere_else(bin_number):
    """Its power, over the noise bandwidth of a block; -90 dB elsewhere: the side lobes of the window (Harris: -92)."""
    samples = tones((bin_number + 0.5, 0.2))
    found = block_spectra(samples, first=0, period_samples=PERIOD, periods=12)
    assert found.between_noise[bin_number] == pytest.approx(0.02 / statistics(12).block_width, rel=1e-6)
    others = np.delete(found.between_noise, bin_number)
    assert np.max(others) < 1e-9 * found.between_noise[bin_number]


def test_what_stands_beside_a_line_is_told_above_from_below():
    samples = tones((50, 1.0), (53, 0.1), (48, 0.05), (100, 0.5), (93, 0.02))
    found = block_spectra(samples, first=0, period_samples=PERIOD, periods=12, beside_bins=np.array([50, 100]))
    beside = np.abs(found.beside)
    assert beside.shape == (3, 2, 7, 2)
    np.testing.assert_allclose(beside[:, 0, 2, 0], 0.1, rtol=1e-6)
    np.testing.assert_allclose(beside[:, 1, 1, 0], 0.05, rtol=1e-6)
    np.testing.assert_allclose(beside[:, 1, 6, 1], 0.04, rtol=1e-6)
    beside[:, 0, 2, 0] = beside[:, 1, 1, 0] = beside[:, 1, 6, 1] = 0.0
    assert np.max(beside) < 1e-9


def test_the_delay_of_each_block_is_taken_out_of_its_phases():
    """A block that came d samples late is turned forward by `2 pi b d / N` at bin b."""
    delays = 0.3 * np.arange(3)
    plain = block_spectra(tones((40, 1.0)), first=0, period_samples=PERIOD, periods=12)
    turned = block_spectra(tones((40, 1.0)), first=0, period_samples=PERIOD, periods=12, delays=delays)
    expected = plain.mean[40] * np.mean(np.exp(2j * np.pi * 40 * delays / PERIOD))
    assert turned.mean[40] == pytest.approx(expected, rel=1e-9)
    assert abs(plain.mean[40]) == pytest.approx(1.0, rel=1e-9)


def test_a_recording_is_read_from_its_first_measured_period_on():
    samples = np.concatenate([np.full(37, 9.0), tones((30, 0.5))])
    found = block_spectra(samples, first=37, period_samples=PERIOD, periods=12)
    assert found.mean[30] == pytest.approx(0.5 * np.exp(0.4j), rel=1e-9)
