"""A multitone's noise, wander and settling piece by piece, of spectra and tracks that are written down."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from distort.analysis.common.grid import midbands_hz
from distort.analysis.multitone.between import NoiseHeard, mean_heard, noise_heard
from distort.analysis.multitone.blocks import BlockSpectra, statistics
from distort.analysis.multitone.hum_lines import SteadySounds
from distort.analysis.multitone.powers import _variance, band_powers, line_powers
from distort.analysis.multitone.settling import (
    LevelTrack,
    _decay,
    _depth_uncertainty_db,
    _first_and_last,
    _fit,
    _lines_within,
    _means,
    onset,
    period_levels,
    settling_fit,
)
from distort.analysis.multitone.wander import _centres, _delay_tracks, _repeating, _require_no_jump, lines_apart
from distort.errors import AnalysisError
from signals import Multitone
from tests.devices.multitones import heard_at

RATE = 8192
TONE = Multitone(low_hz=100.0, high_hz=3600.0, lines_per_decade=8.0, period_s=0.5, sample_rate=RATE, periods=12)
N = TONE.period_samples
BINS = N // 2 + 1
KNOWN = replace(statistics(12), scatter_freedom=5.0, between_freedom=8.0, mean_width=0.1)
NO_SOUNDS = SteadySounds(frequency_hz=np.zeros(0), power=np.zeros(0))


def spectra(tone: Multitone = TONE, *, between=None, mean=None) -> BlockSpectra:
    bins = tone.period_samples // 2 + 1
    return BlockSpectra(
        mean=np.zeros(bins, complex) if mean is None else mean,
        scatter_noise=np.full(bins, 1e-6),
        between_noise=np.full(bins - 1, 1e-6) if between is None else between,
        beside=np.zeros((3, 2, 7, 0), complex),
        statistics=KNOWN,
    )


def thirds():
    """Midbands and edges in hertz, a twentieth of a decade to either side (IEC 61260-1)."""
    middles = midbands_hz(bands_per_octave=3)
    return middles, middles * 10**-0.05, middles * 10**0.05


# --- noise while it sounds, and in silence ----------------------------------------------------------------------------

LENGTH = 6000
BLACKMAN_HARRIS = np.array([0.35875, -0.48829, 0.14128, -0.01168])
"""Harris, Proc. IEEE 66(1), 1978."""


def click(size: float, *, samples: int = LENGTH) -> np.ndarray:
    """One sample in the middle of the first so many, where a window is 1: its spectrum is flat."""
    found = np.zeros(samples)
    found[LENGTH // 2] = size
    return found


def click_density(size: float) -> float:
    """Per hertz: `2 size^2 / (rate sum w^2)`, and the window's mean square by its coefficients."""
    mean_square = BLACKMAN_HARRIS[0] ** 2 + 0.5 * np.sum(BLACKMAN_HARRIS[1:] ** 2)
    return 2.0 * size**2 / (RATE * LENGTH * mean_square)


def heard(*, sounds=NO_SOUNDS, microphone=None, between=None) -> NoiseHeard:
    silences = [click(1e-2), click(3e-2, samples=LENGTH + 500)]
    found = noise_heard(spectra(between=between), TONE, silences=silences, sounds=sounds, microphone=microphone)
    assert found is not None
    return found


def used(tones_hz=()) -> list[np.ndarray]:
    """Of each third octave the numbers k of the halves k + 1/2 that are read: both bins in the band and free, no tone
    within 0.6 of a bin and the four bins of the silence's transform that its main lobe is wide."""
    _, low, high = thirds()
    free = np.ones(BINS, bool)
    free[[0, -1]] = False
    free[TONE.line_bins] = False
    hz = np.arange(BINS) * 2.0
    near_hz = 0.6 * 2.0 + 4.0 * RATE / LENGTH
    clear = np.array([all(abs(at - tone) > near_hz for tone in tones_hz) for at in hz[:-1] + 1.0])
    both = free[:-1] & free[1:] & clear
    return [
        np.flatnonzero(both & (hz[:-1] >= below) & (hz[1:] < above)) for below, above in zip(low, high, strict=True)
    ]


@pytest.mark.parametrize("tones_hz", [(), (500.0, 1013.2, 1020.0)])
def test_noise_of_third_octaves_is_the_mean_of_what_is_read_halfway_between_bins(tones_hz) -> None:
    """Every reading is its own number, per bin of 2 Hz; degrees of freedom add up. A periodogram under Blackman-Harris
    has one independent value in 2.763 bins (`1 / sum |r|^2` of the window's square)."""
    between = 1e-6 * (1.0 + np.arange(BINS - 1) % 97)
    sounds = SteadySounds(frequency_hz=np.array(tones_hz), power=np.ones(len(tones_hz)))
    found = heard(sounds=sounds, between=between)
    middles, low, high = thirds()
    checked = 0
    for band, halves in enumerate(used(tones_hz)):
        if halves.size == 0 or high[band] > RATE / 2.0:
            assert np.isnan(found.sounding[band])
            assert np.isnan(found.sounding_freedom[band])
            assert np.isnan(found.silence_freedom[band])
            continue
        width = high[band] - low[band]
        assert found.sounding[band] == pytest.approx(np.mean(between[halves]) / 2.0 * width, rel=1e-6)
        assert found.sounding_freedom[band] == pytest.approx(8.0 * halves.size)
        independent = 2.0 * (halves.size * 2.0) / (RATE / LENGTH) / 2.763
        assert found.silence_freedom[band] == pytest.approx(max(independent, 2.0))
        if middles[band] > 100.0:  # its mean is taken off a silence, which bends the lowest bins
            for row, size in enumerate((1e-2, 3e-2)):
                assert found.silences[row, band] == pytest.approx(click_density(size) * width, rel=1e-4)
            assert found.silent[band] == pytest.approx((1.0 + 9.0) / 2.0 * click_density(1e-2) * width, rel=1e-4)
        checked += 1
    assert checked > 15


def test_the_window_of_a_silence_tells_an_independent_value_in_2763_thousandths_of_a_bin() -> None:
    """`1 + 2 sum r_k^2`, r_k the correlation of bins k apart: that of the window's square, by its transform."""
    at = np.arange(4096) / 4096.0
    window = sum(a * np.cos(2.0 * np.pi * k * at) for k, a in enumerate(BLACKMAN_HARRIS))
    along = np.abs(np.fft.fft(window**2)) / np.sum(window**2)
    assert 1.0 + 2.0 * np.sum(along[1:40] ** 2) == pytest.approx(2.763, abs=1e-3)


def test_a_microphones_response_is_taken_out_of_the_silence_and_ends_what_is_known() -> None:
    """Twice as sensitive: a quarter of the power. The spectra are given without it."""
    microphone = SimpleNamespace(
        covers=lambda hz: np.asarray(hz) < 900.0, amplitude=lambda hz: np.full(np.shape(hz), 2.0)
    )
    plain, through = heard(), heard(microphone=microphone)
    middles, _, _ = thirds()
    low, inside = middles > 900.0, (middles > 100.0) & (middles < 900.0)
    np.testing.assert_allclose(through.sounding[inside], plain.sounding[inside])
    np.testing.assert_allclose(through.silences[:, inside], plain.silences[:, inside] / 4.0)
    for values in (through.sounding, through.silences[0], through.sounding_freedom, through.silence_freedom):
        assert np.isnan(values[low]).all()


def test_without_a_silence_nothing_is_told_and_takes_count_together() -> None:
    assert noise_heard(spectra(), TONE, silences=[], sounds=NO_SOUNDS, microphone=None) is None
    one = heard()
    other = replace(one, sounding=3.0 * one.sounding, silences=5.0 * one.silences)
    both = mean_heard([one, other])
    assert both is not None
    np.testing.assert_allclose(both.sounding, 2.0 * one.sounding)
    np.testing.assert_allclose(both.sounding_freedom, 2.0 * one.sounding_freedom)
    np.testing.assert_allclose(both.silent, 3.0 * one.silent)
    np.testing.assert_allclose(both.silence_freedom, one.silence_freedom)
    assert mean_heard([one, None]) is None
    assert mean_heard([]) is None


# --- powers -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("signal", "noise", "bins", "freedom", "variance"),
    [
        (3.0, 2.0, 4.0, 1e12, (2.0 * 3.0 * 2.0 + 4.0) / 4.0),
        (0.0, 3.0, 5.0, 4.0, 9.0 * 1.5 / 5.0),
        (7.0, 0.0, 5.0, 4.0, 0.0),
    ],
)
def test_the_variance_of_a_sum_of_powers_by_hand(signal, noise, bins, freedom, variance) -> None:
    """`(2 S N + N^2) / K`, and `2 N^2 / (K nu)` for the noise that is subtracted."""
    assert _variance(np.array(signal), np.array(noise), np.array(bins), freedom) == pytest.approx(variance)


def test_lines_below_the_first_third_octave_have_no_noise_and_belong_to_none() -> None:
    """The first is that of 20 Hz, from 17.8 Hz on; bins are 1 Hz apart, and the lines lie on 15, 21, 29 ... Hz."""
    tone = Multitone(low_hz=15.0, high_hz=400.0, lines_per_decade=7.0, period_s=1.0, sample_rate=2000, periods=12)
    middles, low, high = thirds()
    assert middles[0] == pytest.approx(20.0, rel=0.01)
    hz = tone.line_hz
    assert [np.count_nonzero(hz < low[0]), np.count_nonzero((hz >= low[0]) & (hz < high[0]))] == [1, 1]
    mean = np.zeros(tone.period_samples // 2 + 1, complex)
    mean[tone.line_bins] = np.arange(1, hz.size + 1)
    found = line_powers(spectra(tone, mean=mean), tone, late_samples=0.0)
    assert np.isnan(found.noise[0])
    np.testing.assert_allclose(found.noise[1:], 1e-7)
    bands = band_powers(spectra(tone, mean=mean), tone)
    for band in np.flatnonzero(np.isfinite(bands.lines)):
        inside = (hz >= low[band]) & (hz < high[band])
        assert bands.lines[band] == pytest.approx(0.5 * np.sum(np.arange(1, hz.size + 1)[inside] ** 2))
    assert np.isfinite(bands.lines[0])


# --- wander -----------------------------------------------------------------------------------------------------------

WIDE = Multitone(low_hz=200.0, high_hz=4000.0, lines_per_decade=6.0, period_s=0.5, sample_rate=10240, periods=12)
WIDE_N = WIDE.period_samples


def test_sixteen_frames_a_period_lie_within_what_is_measured() -> None:
    """Of 5120 samples a period: 160, 480 ... after each begins; half a frame is 320, to which the first and the last
    are moved."""
    centres = _centres(WIDE)
    want = 160 + 320 * np.arange(16 * 12)
    want[0], want[-1] = 320, 12 * 5120 - 320
    np.testing.assert_array_equal(centres, want)


def tracks(late) -> np.ndarray:
    """Of lines that come later by `late(periods)` samples, from the first measured period on."""
    place = np.arange(WIDE.n_samples, dtype=float) - 2 * WIDE_N
    return _delay_tracks(heard_at(WIDE, place - late(place / WIDE_N)), WIDE, 2 * WIDE_N, lines_apart(WIDE))


def test_every_line_tells_the_delay_of_each_frame() -> None:
    """One that grows in a straight line is read in the middle of each frame, about its mean. Neighbours lie outside the
    main lobe, 92 dB down: 2.5e-5 radian, of which bin 200 turns by 0.25 a sample: 1e-4 samples, for each of two."""
    at = _centres(WIDE) / WIDE_N
    want = 0.03 * (at - np.mean(at))
    found = tracks(lambda periods: 0.03 * periods)
    assert found.shape == (at.size, lines_apart(WIDE).size)
    np.testing.assert_allclose(found, np.tile(want[:, None], found.shape[1]), atol=2e-4)


def test_a_frame_smooths_a_swing_as_its_window_does() -> None:
    """Over an eighth of a period under Blackman-Harris, a swing of two turns a period keeps the window's transform at
    a quarter of its bin."""
    at = (np.arange(640) - 320) / WIDE_N
    window = sum(a * np.cos(2.0 * np.pi * k * (np.arange(640) / 640.0)) for k, a in enumerate(BLACKMAN_HARRIS))
    kept = float(np.sum(window * np.cos(2.0 * np.pi * 2.3 * at)) / np.sum(window))
    found = tracks(lambda periods: 0.02 * np.sin(2.0 * np.pi * 2.3 * periods))
    turns = _centres(WIDE) / WIDE_N
    want = 0.02 * kept * np.sin(2.0 * np.pi * 2.3 * turns)
    np.testing.assert_allclose(found[:, -1], want - np.mean(want), atol=2e-5)


@pytest.mark.parametrize(
    ("turns", "repeats"),
    [(0.0, False), (0.5, False), (1.0, True), (1.5, False), (3.0, True), (7.0, True), (7.5, False)],
)
def test_what_repeats_with_the_period_is_left_alone(turns, repeats) -> None:
    """Turns a period, up to 7. A Blackman-Harris window over 12 periods keeps half a turn apart by 92 dB."""
    at = (np.arange(16 * 12) + 0.5) / 16.0
    track = 0.3 + 0.1 * np.cos(2.0 * np.pi * turns * at + 0.4)
    found = _repeating(np.stack([track, 2.0 * track], axis=1), at)
    want = 0.1 * np.cos(2.0 * np.pi * turns * at + 0.4) if repeats else np.zeros(at.size)
    np.testing.assert_allclose(found, np.stack([want, 2.0 * want], axis=1), atol=2e-5)


def test_a_delay_jumps_where_it_moves_by_more_than_a_tenth_of_a_sample() -> None:
    """From the 21st frame to the 22nd: 21 sixteenths of half a second after two settling periods, at 1.66 s."""
    for step in (0.097, -0.097):
        _require_no_jump(np.where(np.arange(40) > 20, step, 0.0), WIDE)
    for step in (0.103, -0.103):
        with pytest.raises(AnalysisError, match=r"about 1\.7 s .* jumps by 0\.1 samples"):
            _require_no_jump(np.where(np.arange(40) > 20, step, 0.0), WIDE)
    with pytest.raises(AnalysisError, match=r"about 1\.0 s .* jumps by 0\.2 samples"):
        _require_no_jump(np.where(np.arange(40) > 0, 0.2, 0.15 * (np.arange(40) == 9)), WIDE)


# --- settling ---------------------------------------------------------------------------------------------------------


def track(change_db, *, step_s: float = 0.5, span_s: float = 0.4) -> LevelTrack:
    """Moments that are shorter than the steps between them."""
    change = np.asarray(change_db, dtype=float)
    time_s = 0.3 + np.arange(change.size) * step_s
    return LevelTrack(low_hz=20.0, high_hz=200.0, time_s=time_s, span_s=span_s, change_db=change)


def test_an_exponential_over_moments_and_between_their_ends() -> None:
    """Means over 0.4 s by the integral; from the first one's beginning, 0.1 s, to the last one's end, 3.0 s."""
    one = track(np.zeros(6))
    edges = [np.exp(-(one.time_s + side) / 1.7) for side in (-0.2, 0.2)]
    mean = 1.7 / 0.4 * (edges[0] - edges[1])
    np.testing.assert_allclose(_decay(one, 1.7), mean, rtol=1e-12)
    assert _means(one, 1.7) == pytest.approx(mean[-1] - mean[0])
    assert _first_and_last(one, 1.7) == pytest.approx(math.exp(-3.0 / 1.7) - math.exp(-0.1 / 1.7))
    np.testing.assert_allclose(_decay(replace(one, span_s=0.0), 1.7), np.exp(-one.time_s / 1.7))


@pytest.mark.parametrize("span_s", [0.4, 0.0])
def test_the_interval_of_a_depth_is_that_of_its_linearised_model(span_s) -> None:
    """Slopes in end, fall and log tau by small steps; what is left scatters with three numbers fitted."""
    random = np.random.default_rng(2)
    one = track(np.zeros(14), span_s=span_s)
    left = 0.1 * random.standard_normal(14)
    fall, tau, step = 2.0, 1.7, 1e-5
    slopes = np.stack(
        [
            np.ones(14),
            _decay(one, tau),
            fall * (_decay(one, tau * math.exp(step)) - _decay(one, tau * math.exp(-step))) / (2.0 * step),
        ],
        axis=1,
    )
    variance = np.sum(left**2) / 11.0 * np.linalg.inv(slopes.T @ slopes)[1, 1]
    assert _depth_uncertainty_db(one, left, fall, tau) == pytest.approx(1.959964 * math.sqrt(variance), rel=1e-5)
    (end, found), rest = _fit(replace(one, change_db=0.3 + 2.0 * _decay(one, tau)), tau)
    assert (end, found) == (pytest.approx(0.3), pytest.approx(2.0))
    np.testing.assert_allclose(rest, 0.0, atol=1e-12)


@pytest.mark.parametrize(("times", "whole"), [(1.01, False), (1.03, True)])
def test_a_time_constant_near_the_shortest_counts_the_means_alone(times, whole, monkeypatch) -> None:
    """Up to 1.02 of the shortest that is sought; the search ends within a thousandth of the time constant."""
    tau = times * 1.7
    change = -3.0 * _decay(track(np.zeros(14)), tau)
    found = settling_fit(track(change), shortest_s=1.7, longest_s=40.0)
    assert found.settling.time_constant_s == pytest.approx(tau, rel=2e-3)
    depth = -3.0 * (math.exp(-(0.3 + 6.5 + 0.2) / tau) - math.exp(-0.1 / tau))
    means = -3.0 * float(np.diff(_decay(track(np.zeros(14)), tau)[[0, -1]])[0])
    assert abs(depth - means) > 0.1
    assert found.settling.depth_db == pytest.approx(depth if whole else means, rel=1e-2)
    assert found.whole_db == pytest.approx(3.0, rel=5e-3)


def test_a_band_holds_the_lines_from_its_low_edge_to_before_its_high_one() -> None:
    hz = TONE.line_hz
    inside = _lines_within(TONE, (float(hz[2]), float(hz[5])))
    assert np.flatnonzero(inside).tolist() == [2, 3, 4]
    with pytest.raises(AnalysisError, match="no line between"):
        _lines_within(TONE, (float(hz[2]) + 0.1, float(hz[3])))


def played(gain) -> np.ndarray:
    """The multitone with a gain a period."""
    samples = TONE.samples()
    return samples * np.repeat([*gain, gain[-1]], N)[: samples.size]


def test_a_start_is_held_against_the_mean_of_the_last_four_periods() -> None:
    """The first at half, the last four at 1.1, 0.9, 1.2, 0.8: in frames of 20 ms, of which the first holds the
    fade-in of 5 ms; with 4 ms two do."""
    gain = [0.5, *[3.0] * 9, 1.1, 0.9, 1.2, 0.8]
    (found,) = onset(np.pad(played(gain), 70), TONE, start=70.3, bands=[(90.0, 3700.0)])
    np.testing.assert_allclose(found.change_db, 20.0 * math.log10(0.5), atol=0.05)  # what the edges of the band ring
    frame = round(0.02 * RATE)
    np.testing.assert_allclose(found.time_s, (np.arange(1, N // frame) + 0.5) * frame / RATE)
    assert found.span_s == pytest.approx(frame / RATE)
    (quick,) = onset(np.pad(played(gain), 70), TONE, start=70.0, bands=[(90.0, 3700.0)], frame_s=0.004)
    assert quick.time_s[0] == pytest.approx(2.5 * round(0.004 * RATE) / RATE)
    assert (quick.low_hz, quick.high_hz) == (90.0, 3700.0)


def test_what_a_start_needs() -> None:
    bare, few = replace(TONE, settling_periods=0), replace(TONE, periods=3)
    for tone in (bare, few):
        with pytest.raises(AnalysisError, match="a multitone's start needs"):
            onset(tone.samples(), tone, start=0.0, bands=[(90.0, 3700.0)])
    least = replace(TONE, settling_periods=1, periods=4)
    assert onset(least.samples(), least, start=0.0, bands=[(90.0, 3700.0)])
    end = 14 * N
    assert onset(TONE.samples()[:end], TONE, start=0.0, bands=[(90.0, 3700.0)])
    for samples, start in ((TONE.samples()[: end - 1], 0.0), (TONE.samples(), -1.0)):
        with pytest.raises(AnalysisError, match="does not hold the whole"):
            onset(samples, TONE, start=start, bands=[(90.0, 3700.0)])


def test_levels_of_periods_are_powers_re_their_mean() -> None:
    gain = np.linspace(0.5, 1.5, 14)
    first, second = period_levels(np.pad(played(gain), 9), TONE, start=9.4, bands=[(90.0, 700.0), (700.0, 3700.0)])
    want = 10.0 * np.log10(gain**2 / np.mean(gain**2))
    for found in (first, second):
        np.testing.assert_allclose(found.change_db[1:], want[1:], atol=1e-6)
        np.testing.assert_allclose(found.change_db[0], want[0], atol=0.01)
        assert found.span_s == 0.5
    assert (second.low_hz, second.high_hz) == (700.0, 3700.0)
