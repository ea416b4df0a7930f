"""Noise, even and odd distortion and the response of a multitone, against closed forms and a brute-force residual."""

import math

import numpy as np
import pytest
import scipy.fft

from distort.analysis.common.grid import band_edges_hz
from distort.analysis.multitone.blocks import block_spectra
from distort.analysis.multitone.powers import band_of_bins, filled
from distort.analysis.multitone.reading import MultitoneReadings, MultitoneTake, multitone_result, read_multitone
from distort.analysis.sweep.sweeps import Reference
from distort.errors import AnalysisError
from signals import Multitone
from tests.devices.band_levels import band_level_dbfs

TONE = Multitone()
MARGIN = 50
EVEN, ODD = 0.1, 0.5
"""Of y = x + EVEN x^2 + ODD x^3, some 0.4 % and 1 % at the default drive."""


def read(answer: np.ndarray, tone: Multitone = TONE) -> MultitoneReadings:
    return read_multitone(MultitoneTake(samples=np.pad(answer, MARGIN), start=float(MARGIN)), tone)


def cubic(x: np.ndarray, even: float = EVEN, odd: float = ODD) -> np.ndarray:
    return x + even * x**2 + odd * x**3


def test_a_wire_reads_nothing():
    """Double precision: all that is not a line below -250 dB, gain 1 and phase 0."""
    result = multitone_result([read(TONE.samples())], Reference())
    for curve in (result.bands.even_db, result.bands.odd_db, result.bands.noise_db, result.bands.distortion_db):
        assert np.nanmax(curve) < -250.0
    assert np.max(np.abs(result.response.gain_db)) < 1e-9
    assert np.max(np.abs(result.response.phase_deg)) < 1e-9
    assert result.level_db == pytest.approx(TONE.drive_dbfs, abs=1e-9)  # AES17: lines together have the drive's r.m.s.
    assert (result.clock.repaired, result.clock.fast_wander) == (False, False)


@pytest.mark.parametrize(("even", "odd"), [(EVEN, 0.0), (0.0, ODD)])
def test_even_and_odd_do_not_cross(even, odd):
    """Sums and differences of an even number of odd bins are even, of an odd number odd: exact."""
    powers = read(cubic(TONE.samples(), even, odd)).bands
    there, elsewhere = (powers.even, powers.odd) if even else (powers.odd, powers.even)
    assert 10 * np.log10(np.nansum(there) / np.nansum(powers.lines)) > -60.0
    assert np.nanmax(10 * np.log10(elsewhere / powers.lines)) < -250.0


def test_best_linear_gain_of_a_cubic():
    """F equal tones without coincident products: gain `1 + 3 a3 sigma^2 (1 - 1 / (2F))`, exact for each line; products
    that coincide with lines scatter it by 0.0025 dB, so the mean over lines is within 0.002 dB of 0.064 dB."""
    sigma_squared = 0.5 * float(np.sum(np.square(TONE.line_amplitudes)))
    lines = TONE.line_bins.size
    expected_db = 20 * math.log10(1 + 3 * ODD * sigma_squared * (1 - 1 / (2 * lines)))
    gain_db = multitone_result([read(cubic(TONE.samples()))], Reference()).response.gain_db
    assert expected_db == pytest.approx(0.0639, abs=1e-4)
    assert np.mean(gain_db) == pytest.approx(expected_db, abs=0.002)
    assert np.std(gain_db) < 0.004


def test_two_tones_follow_the_6_and_9_db_rules():
    """Closed form: second order 2 f: a2 A^2 / 2, f2 +- f1: a2 A^2, 6.02 dB more; third order 3 f: a3 A^3 / 4,
    2 f1 +- f2: 3 a3 A^3 / 4, 9.54 dB more. And they are where the analysis reads them, in their bands."""
    tone = Multitone(low_hz=1000.0, high_hz=1300.0, lines_per_decade=1 / math.log10(1.29))
    first, second = tone.line_bins
    amplitude = tone.line_amplitudes[0]
    n = tone.period_samples
    spectra = block_spectra(cubic(tone.samples()), first=2 * n, period_samples=n, periods=tone.periods)
    level = np.abs(spectra.mean)
    for bin_number in (second - first, second + first):
        assert level[bin_number] == pytest.approx(EVEN * amplitude**2, rel=1e-9)
        assert 20 * math.log10(level[bin_number] / level[2 * first]) == pytest.approx(6.020600, abs=1e-6)
    for bin_number in (2 * first - second, 2 * second + first):
        assert level[bin_number] == pytest.approx(0.75 * ODD * amplitude**3, rel=1e-9)
        assert 20 * math.log10(level[bin_number] / level[3 * first]) == pytest.approx(9.542425, abs=1e-6)
    heard = read(cubic(tone.samples()), tone)
    difference = int(np.argmin(np.abs(np.log(heard.bands.frequency_hz / ((second - first) / tone.period_s)))))
    expected_dbfs = 20 * math.log10(EVEN * amplitude**2)
    assert band_level_dbfs([heard], "even")[difference] == pytest.approx(expected_dbfs, abs=1e-6)


@pytest.mark.sample
def test_response_and_levels_through_a_filter():
    """A pure delay and gain of closed form: H = g exp(-j w d), read 12.4 samples late of a start given 10.4 early."""
    shifted = TONE.line_phases_rad - 2 * np.pi * TONE.line_bins * 2.0 / TONE.period_samples
    turns = np.arange(TONE.n_samples + 20) / TONE.period_samples
    heard = sum(
        0.5 * a * np.cos(2 * np.pi * np.mod(k * (turns - 10.4 / TONE.period_samples), 1.0) + phi)
        for k, a, phi in zip(TONE.line_bins, TONE.line_amplitudes, shifted, strict=True)
    )
    take = MultitoneTake(samples=heard, start=10.4)
    response = multitone_result([read_multitone(take, TONE)], Reference(offset_db=120.0, unit="db_spl")).response
    np.testing.assert_allclose(response.gain_db, -6.0206, atol=1e-4)
    expected_deg = -360.0 * TONE.line_hz * 2.0 / TONE.sample_rate
    np.testing.assert_allclose(np.exp(1j * np.radians(response.phase_deg - expected_deg)), 1.0, atol=1e-7)
    np.testing.assert_allclose(response.response_db, -20.0 - 6.0206 + 120.0, atol=1e-4)
    line_db = 20 * np.log10(0.5 * TONE.line_amplitudes) + 120.0
    np.testing.assert_allclose(response.level_db, line_db, atol=1e-6)


def true_noise_dbfs(sigma: float, tone: Multitone) -> np.ndarray:
    """White noise of variance s^2 has s^2 B / (fs / 2) in a band B wide; AES17 counts 3.01 dB more."""
    low, high = band_edges_hz(band_of_bins(tone)[0], bands_per_octave=3)
    return 10 * np.log10(2.0 * sigma**2 * (high - low) / (tone.sample_rate / 2))


def test_in_noise_each_is_read_and_each_interval_covers():
    """16 periods, 50 dB under the multitone: even and odd within 0.15 dB r.m.s. of the noise-free reading wherever they
    are 6 dB above the noise in their band, noise within 0.3 dB r.m.s. of its closed form (four seeds together)."""
    answer = cubic(TONE.samples())
    clean = read(answer)
    sigma = float(np.std(TONE.period())) * 10 ** (-50 / 20)
    noise_dbfs = true_noise_dbfs(sigma, TONE)
    errors: dict[str, list[np.ndarray]] = {"even": [], "odd": [], "noise": []}
    covered = []
    for seed in range(4):
        noise = np.random.default_rng(seed).standard_normal(answer.size) * sigma
        noisy = read(answer + noise)
        bands = multitone_result([noisy], Reference()).bands
        errors["noise"].append(band_level_dbfs([noisy], "noise") - noise_dbfs)
        for name in ("even", "odd"):
            truth = band_level_dbfs([clean], name)
            clear = truth > noise_dbfs + 6.0
            error = (band_level_dbfs([noisy], name) - truth)[clear]
            errors[name].append(error)
            covered.append(np.abs(error) < getattr(bands, f"{name}_noise_uncertainty_db")[clear])
    rms = {name: float(np.sqrt(np.nanmean(np.square(np.concatenate(each))))) for name, each in errors.items()}
    print(f"\ndB r.m.s. off: even {rms['even']:.3f}, odd {rms['odd']:.3f}, noise {rms['noise']:.3f}")
    assert rms["even"] < 0.15
    assert rms["odd"] < 0.15
    assert rms["noise"] < 0.3
    share = float(np.mean(np.concatenate(covered)))
    assert 0.90 < share < 0.99  # 95 % of some 220 readings: 1.5 % standard deviation


def best_linear_gain(tone: Multitone, *, even: float, odd: float, realisations: int) -> np.ndarray:
    """Least-squares gain of each line over many phase realisations: one period's transform each, no windows."""
    played, heard = [], []
    for number in range(realisations):
        one = Multitone(lines_per_decade=tone.lines_per_decade, seed=99, realisation=number).period()
        played.append(scipy.fft.rfft(one)[tone.line_bins])
        heard.append(scipy.fft.rfft(cubic(one, even, odd))[tone.line_bins])
    u, y = np.array(played), np.array(heard)
    return np.sum(y * np.conj(u), axis=0) / np.sum(np.abs(u) ** 2, axis=0)


def residual_power(tone: Multitone, gain: np.ndarray, *, even: float, odd: float) -> np.ndarray:
    """Power at every bin of output less best linear approximation, brute force: it knows what lies on the lines."""
    scale = 2.0 / tone.period_samples
    left = scipy.fft.rfft(cubic(tone.period(), even, odd)) * scale
    left[tone.line_bins] -= gain * scipy.fft.rfft(tone.period())[tone.line_bins] * scale
    return 0.5 * np.abs(left) ** 2


@pytest.mark.first(1)
@pytest.mark.parametrize("lines_per_decade", [10.0, 59 / 3])
@pytest.mark.first(1)
@pytest.mark.parametrize(("even", "odd"), [(EVEN, ODD), (EVEN, 0.0), (0.0, ODD)])
def test_totals_are_those_of_the_brute_force_residual(lines_per_decade, even, odd):
    """Mean of four realisations within 0.2 dB of the same four's residual, less the gain of 60 others."""
    tones = [Multitone(lines_per_decade=lines_per_decade, realisation=number) for number in range(4)]
    gain = best_linear_gain(tones[0], even=even, odd=odd, realisations=60)
    residual = np.mean([residual_power(one, gain, even=even, odd=odd) for one in tones], axis=0)
    midbands, band = band_of_bins(tones[0])
    truth = np.bincount(band[band >= 0], weights=residual[band >= 0], minlength=midbands.size)
    reads = [read(cubic(one.samples(), even, odd), one) for one in tones]
    result = multitone_result(reads, Reference())
    off_db = band_level_dbfs(reads, "even", "odd") - 3.0103 - 10 * np.log10(truth)
    whole = np.isfinite(off_db)
    total_db = result.distortion_db + result.level_db - 3.0103 - 10 * math.log10(truth[whole].sum())
    unfilled = 10 * math.log10((truth[whole].sum() - np.sum(residual[tones[0].line_bins])) / truth[whole].sum())
    print(
        f"\n{gain.size} lines, a2 {even}, a3 {odd}: total {total_db:+.3f} dB, third octaves "
        f"{np.sqrt(np.mean(off_db[whole] ** 2)):.3f} dB r.m.s. from the residual; unfilled {unfilled:+.3f} dB"
    )
    assert abs(total_db) < 0.2
    assert np.max(np.abs(off_db[midbands > 500.0][:-1])) < 0.2  # above 500 Hz a line is one of a hundred bins or more
    assert result.realisations == 4


def test_lines_are_filled_from_their_free_odd_neighbours():
    """Lines 4 bins apart have free odd bins beside them and lines beyond: the free alone count, and no even bin."""
    tone = Multitone(low_hz=20.0, lines_per_decade=59 / 3)
    power = np.where(np.arange(tone.period_samples // 2 + 1) % 2 == 1, 3.0, 1000.0)
    power[tone.line_bins] = 1e6
    power[43] = 9.0  # between lines 41 and 45
    result = filled(power, tone)
    assert tone.line_bins[:3].tolist() == [41, 45, 51]
    assert result[41] == pytest.approx((3.0 + 3.0 + 9.0) / 3)  # 37, 39 and 43: 45 is a line
    assert result[45] == pytest.approx((9.0 + 3.0 + 3.0) / 3)  # 43, 47 and 49: 41 is one
    assert np.all(result[tone.line_bins[3:]] == 3.0)
    assert power[41] == 1e6


def test_reads_that_do_not_belong_together_are_refused():
    one, other = read(TONE.samples()), Multitone(drive_dbfs=-30.0)
    with pytest.raises(AnalysisError, match="another drive cannot be averaged"):
        multitone_result([one, read(other.samples(), other)], Reference())
    with pytest.raises(AnalysisError, match="no recording of this multitone"):
        multitone_result([], Reference())


def test_too_few_periods_are_refused():
    short = Multitone(periods=11)
    with pytest.raises(AnalysisError, match=r"11 periods, and at least 12 are needed.*periods = 16"):
        read(short.samples(), short)
    enough = Multitone(periods=12)
    assert np.nanmax(multitone_result([read(enough.samples(), enough)], Reference()).bands.even_db) < -250.0


def test_the_recording_is_left_as_it_was():
    samples = np.pad(cubic(TONE.samples()), MARGIN)
    before = samples.copy()
    read_multitone(MultitoneTake(samples=samples, start=float(MARGIN)), TONE)
    np.testing.assert_array_equal(samples, before)
