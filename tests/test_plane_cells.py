"""Cells of the plane of a sweep's recording: frames about single samples, decays that are given, and means by hand."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from distort.analysis.sweep import plane as planes
from distort.analysis.sweep.plane import (
    _all_frames,
    _around,
    _Bands,
    _cells,
    _Circle,
    _decay,
    _grouped,
    _layout,
    _median,
    _parts,
    plane_of,
)
from signals import Sweep

RATE = 16000
HOP = 320
SWEEP = Sweep(seconds=8.0, start_hz=10.0, full_level_hz=15.9, stop_hz=7000.0, sample_rate=RATE)
LENGTH_S = round(10.0 * 8.0 / math.log(700.0)) / 10.0
"""Seconds in which its frequency rises e-fold: whole periods of 10 Hz."""


@pytest.mark.parametrize(
    ("rate", "hop", "fewer"), [(48000, 960, 32), (44100, 882, 21), (16000, 320, 10), (44150, 883, 1)]
)
def test_the_low_rate_is_at_least_1500_hertz_and_divides_a_hop(rate, hop, fewer):
    """20 ms; 882 = 2 x 9 x 49 has 21 as its largest divisor up to 29, and 883 is prime."""
    found = _layout(replace(SWEEP, sample_rate=rate))
    assert found[:2] == (hop, fewer)


def test_all_bands_are_those_of_the_long_frames_and_then_of_the_short_ones():
    _, _, bands = _layout(SWEEP)
    long, short = _parts(SWEEP)
    for name in ("frequency_hz", "frame_s", "bins", "overlap"):
        np.testing.assert_array_equal(getattr(bands, name), [*getattr(long, name), *getattr(short, name)])


@pytest.mark.parametrize(
    ("stop_hz", "fade_out_octaves", "full_level_hz", "lowest_hz", "split_hz", "highest_hz"),
    [
        (7000.0, 0.1, 60.0, 63.0, 320.0, 7000.0 * 2.0**-0.1),
        (7000.0, 0.1, 400.0, 420.0, 420.0, 7000.0 * 2.0**-0.1),
        (300.0, 0.1, 15.9, 45.0, 300.0 * 2.0**-0.1, 300.0 * 2.0**-0.1),
    ],
)
def test_bands_begin_where_the_pass_band_is_full(
    stop_hz, fade_out_octaves, full_level_hz, lowest_hz, split_hz, highest_hz
):
    """1.05 times the end of the fade-in; the split lies between that and the end of the sweep."""
    given = {"stop_hz": stop_hz, "fade_out_octaves": fade_out_octaves, "full_level_hz": full_level_hz}
    long, short = _parts(replace(SWEEP, **given))
    assert long.first[0] == math.ceil(lowest_hz / 6.25)
    assert short.first[0] == math.ceil(split_hz / 25.0)
    assert short.first[-1] * 25.0 < highest_hz * 2.0 ** (1.0 / 24.0) + 25.0


def test_bands_of_the_long_frames_grow_from_45_hertz_by_a_bin_or_a_24th_of_an_octave():
    """Whichever is more: 6.25 Hz up to 213 Hz."""
    edges_hz = [45.0]
    while edges_hz[-1] < 320.0:
        edges_hz.append(max(edges_hz[-1] + 6.25, edges_hz[-1] * 2.0 ** (1.0 / 24.0)))
    np.testing.assert_array_equal(_parts(SWEEP)[0].first, sorted({math.ceil(hz / 6.25) for hz in edges_hz}))


# --- frames -----------------------------------------------------------------------------------------------------------


def hann(samples: np.ndarray, length: int) -> np.ndarray:
    """Squared, over its energy of 3/8 of its length; `samples` from its middle on."""
    value = np.where(np.abs(samples) < length / 2.0, 0.5 + 0.5 * np.cos(2.0 * np.pi * samples / length), 0.0)
    return np.square(value) / (0.375 * length)


@pytest.mark.parametrize("at", [7 * HOP, 7 * HOP + 100, 0, 39 * HOP + 250])
def test_a_single_sample_is_in_the_frames_about_it_as_hann_has_it(at):
    """Frame k is about sample 320 k: 640 samples of the short ones, 2560 of the long ones; the response goes round. All
    bins of a single sample are alike."""
    impulse = np.zeros(40 * HOP)
    impulse[at] = 3.0
    found = _all_frames(impulse, SWEEP)
    assert found.shape[0] == 40
    long, short = _parts(SWEEP)
    away = (np.arange(40) * HOP - at + 20 * HOP) % (40 * HOP) - 20 * HOP
    expected = 9.0 * hann(away, 2 * HOP)[:, np.newaxis] * np.ones(short.bins.size)
    np.testing.assert_allclose(found[:, long.bins.size :], expected, atol=1e-5 * expected.max())
    # the short filter before the lower rate spreads it over some of 256 low samples
    expected = 9.0 * hann(away, 8 * HOP)[:, np.newaxis] * np.ones(long.bins.size)
    np.testing.assert_allclose(found[:, : long.bins.size], expected, atol=0.03 * expected.max())


def test_a_tone_is_in_its_band_alone():
    """1 kHz and 100 Hz, whole periods in every frame. Of amplitude 1 a bin holds `(sum w)^2 / 4 / sum w^2`, 1/6 of the
    length of its frame; Hann leaves a quarter of that to each bin beside it."""
    time_s = np.arange(40 * HOP) / RATE
    found = _all_frames(np.sin(2.0 * np.pi * 1000.0 * time_s) + np.sin(2.0 * np.pi * 100.0 * time_s), SWEEP)
    _, _, bands = _layout(SWEEP)
    for hz, length, bin_hz in ((1000.0, 2 * HOP, 25.0), (100.0, 8 * HOP, 6.25)):
        total = np.mean(found, axis=0) * bands.bins
        near = np.abs(bands.frequency_hz - hz) < 3.5 * bin_hz
        assert np.sum(total[near]) == pytest.approx(1.5 * length / 6.0, rel=0.03)


def test_the_last_frame_of_a_circle_of_no_whole_number_of_hops_is_begun():
    assert _all_frames(np.zeros(40 * HOP + 1), SWEEP).shape[0] == 41
    np.testing.assert_array_equal(_around(np.arange(6), 2, more=1), [4, 5, 0, 1, 2, 3, 4, 5, 0, 1, 2])


# --- decays -----------------------------------------------------------------------------------------------------------


def test_an_order_decays_as_the_fundamental_does_from_where_it_arrives():
    """`L ln n` before the fundamental, until orders stand closer than a long frame, `L ln(1 + 1 / n) < 0.16 s`. While
    half a frame has not gone by, all of it counts as there."""
    _, _, bands = _layout(SWEEP)
    frames = np.zeros((400, bands.bins.size))
    circle = _Circle(frames=400, hops=400.0, arrival=150.0)
    lags = np.arange(round(0.9 * LENGTH_S * math.log(2.0) / 0.02))
    frames[150 + lags] = 8.0 * np.exp(-lags / 10.0)[:, np.newaxis]
    reach = np.where(bands.frame_s > 0.1, 4, 1)
    share = np.where(lags[:, np.newaxis] <= reach, 1.0, np.exp(-lags / 10.0)[:, np.newaxis])
    expected = np.zeros_like(frames)
    orders = [n for n in range(2, 41) if LENGTH_S * math.log(1.0 + 1.0 / n) >= 0.16]
    assert 3 < len(orders) < 38
    for n in range(2, 30):  # further ones stand there as well, but are too close
        at = 150 - LENGTH_S * math.log(n) / 0.02
        place = math.floor(at + 0.5)
        frames[place] = float(n)
    for n in orders:
        at = 150 - LENGTH_S * math.log(n) / 0.02
        about = [math.floor(at + step + 0.5) for step in (-1, 0, 1)]
        level = np.max(frames[about], axis=0)
        assert level[0] == n
        for lag in lags:
            expected[math.floor(at + lag + 0.5)] += level * share[lag]
    np.testing.assert_allclose(_decay(frames, SWEEP, circle), expected)


def test_the_fundamental_is_the_most_of_its_first_frames():
    """Up to half of a long frame after the arrival: four hops, and no further."""
    _, _, bands = _layout(SWEEP)
    circle = _Circle(frames=400, hops=400.0, arrival=150.0)
    at = math.floor(150 - LENGTH_S * math.log(2.0) / 0.02 + 0.5)
    for lag, most in ((4, 5.0), (5, 1.0)):
        frames = np.zeros((400, bands.bins.size))
        frames[150] = 1.0
        frames[150 + 10] = 0.5
        frames[150 + lag] = 5.0
        frames[at] = 2.0
        found = _decay(frames, SWEEP, circle)[at + 10]
        np.testing.assert_allclose(found, 2.0 * 0.5 / most)


# --- cells ------------------------------------------------------------------------------------------------------------


def test_cells_are_clear_of_every_orders_arrival_and_of_the_subharmonics():
    """Half a frame, 15 ms before and 20 ms after, and two periods; of orders 1/2, 3/2 and 1 to 40."""
    since_s, clear = _cells(SWEEP)
    _, _, bands = _layout(SWEEP)
    times_s = 0.02 * np.arange(math.ceil(LENGTH_S * math.log(700.0) / 0.02))
    assert since_s.shape == (times_s.size, bands.bins.size)
    expected = np.ones(since_s.shape, dtype=bool)
    for band, hz in enumerate(bands.frequency_hz):
        own_s = times_s - LENGTH_S * math.log(hz / 10.0)
        np.testing.assert_allclose(since_s[:, band], own_s)
        before = bands.frame_s[band] / 2.0 + 0.015 + 2.0 / hz
        after = bands.frame_s[band] / 2.0 + 0.020 + 2.0 / hz
        for order in (0.5, 1.5, *range(1, 41)):
            since = own_s + LENGTH_S * math.log(order)
            expected[:, band] &= (since < -before) | (since > after)
    np.testing.assert_array_equal(clear, expected)
    assert 0.1 < np.mean(clear) < 0.9


# --- the plane --------------------------------------------------------------------------------------------------------


def given_layout(monkeypatch, bins: list[float], clear: np.ndarray, overlap: list[float] | None = None) -> _Bands:
    count = len(bins)
    bands = _Bands(
        first=np.arange(count + 1),
        frequency_hz=100.0 * 2.0 ** (np.arange(count) / 24.0),
        frame_s=np.full(count, 0.04),
        bins=np.array(bins),
        overlap=np.array(overlap or [1.5] * count),
    )
    monkeypatch.setattr(planes, "_layout", lambda sweep: (HOP, 10, bands))
    monkeypatch.setattr(planes, "_cells", lambda sweep: (np.zeros(clear.shape), clear))
    return bands


def test_cells_are_means_over_eight_bands_and_three_moments_by_their_bins(monkeypatch):
    """Ten bands: a group of eight and one of two. Clear cells count as often as they have bins; twice their number over
    the larger overlap are the degrees of freedom."""
    chance = np.random.default_rng(0)
    clear = chance.random((6, 10)) < 0.6
    clear[2:5, 8:] = False
    bins = [1.0, 1.0, 2.0, 2.0, 3.0, 3.0, 3.0, 4.0, 4.0, 5.0]
    bands = given_layout(monkeypatch, bins, clear, [1.5] * 7 + [6.0] + [1.5] * 2)
    density, usual = chance.random((2, 6, 10))
    gain = np.arange(1.0, 11.0)
    found = _grouped(SWEEP, density, usual, gain=gain)
    np.testing.assert_allclose(found.time_s, 0.02 * np.arange(6))
    np.testing.assert_allclose(found.gain, [4.5, 9.5])
    np.testing.assert_allclose(
        found.frequency_hz, [np.prod(bands.frequency_hz[:8]) ** (1 / 8), np.prod(bands.frequency_hz[8:]) ** 0.5]
    )
    weights = clear * np.array(bins)
    for moment in range(6):
        about = np.clip([moment - 1, moment, moment + 1], 0, 5)  # the first and the last stand for what is beyond
        for group, columns in enumerate((slice(0, 8), slice(8, 10))):
            count = np.sum(weights[about, columns])
            wanted = 2.0 * count / (6.0, 1.5)[group]
            assert found.freedom[moment, group] == pytest.approx(wanted)
            for values, of in ((density, found.density), (usual, found.usual)):
                mean = np.sum((values * weights)[about, columns]) / count if count else 0.0
                assert of[moment, group] == pytest.approx(mean)
    assert found.freedom[3, 1] == 0.0


def test_eight_bands_are_one_group(monkeypatch):
    given_layout(monkeypatch, [1.0] * 8, np.ones((6, 8), dtype=bool))
    found = _grouped(SWEEP, np.ones((6, 8)), np.ones((6, 8)), gain=np.ones(8))
    assert found.density.shape == (6, 1)
    np.testing.assert_allclose(found.freedom, 2.0 * 24.0 / 1.5)


def deconvolved(inverse_power: np.ndarray, drive_dbfs: float = -6.0) -> SimpleNamespace:
    kept = SimpleNamespace(sweep=SWEEP, n_fft=40 * HOP, bin_hz=RATE / (40 * HOP), inverse_power=inverse_power)
    return SimpleNamespace(filter=kept, impulse=np.zeros(1), arrival=30.0 * HOP, drive_dbfs=drive_dbfs)


def plane_from(monkeypatch, frames, along, decay, clear, inverse_power):
    """What is there and what is usual, before means are taken of it. Frames are counted from ten before the arrival,
    which stands 30 hops into the response: it goes round."""
    frames, along, decay = (np.roll(one, 20, axis=0) for one in (frames, along, decay))
    given_layout(monkeypatch, [1.0, 1.0], clear)
    monkeypatch.setattr(planes, "_cells", lambda sweep: (0.02 * np.arange(20.0)[:, np.newaxis] * np.ones(2), clear))
    monkeypatch.setattr(planes, "_all_frames", lambda impulse, sweep: frames)
    monkeypatch.setattr(planes, "_along", lambda *_: along)
    monkeypatch.setattr(planes, "_decay", lambda *_: decay)
    asked = {}
    monkeypatch.setattr(planes, "_grouped", lambda sweep, density, usual, gain: asked.update(locals()))
    plane_of(deconvolved(inverse_power))
    return asked["density"], asked["usual"], asked["gain"]


def test_the_usual_is_the_noise_of_a_band_and_four_times_what_decays(monkeypatch):
    """Density: power over |inverse|^2 fs / 2 and the drive. Noise: the median of every third clear moment. What stands
    along a delay, or decays after an order, counts as far as it is over 1.5 times that noise."""
    frames = np.ones((40, 2)) * [2.0, 3.0]
    frames[11:30:3] = [200.0, 300.0]  # never looked at for the noise
    frames[12:30:6] += 0.5
    frames[8:13] = [1.0, 1.0]
    clear = np.ones((20, 2), dtype=bool)
    clear[0] = False
    frames[10] = [1e3, 1e3]  # at the arrival itself
    along, decay = np.zeros((40, 2)), np.zeros((40, 2))
    along[14, 0], decay[15, 0], along[16, 0] = 7.0, 9.0, 2.9
    inverse = np.zeros(40 * HOP // 2 + 1)
    inverse[[80, 82]] = 1e-3, 2e-3  # bins of 1.25 Hz: 100 and 102.9 Hz
    density, usual, gain = plane_from(monkeypatch, frames, along, decay, clear, inverse)
    wanted = np.array([1e-3, 2e-3]) * RATE / 2.0 / 10.0**-0.6
    np.testing.assert_allclose(gain, wanted)
    np.testing.assert_allclose(density, frames[10:30] / wanted)
    noise = [float(np.median(frames[10:30][3::3, band])) for band in (0, 1)]
    expected = np.ones((20, 2)) * noise
    assert noise[0] < 2.9 / 1.4
    expected[4, 0] += 4.0 * (7.0 - 1.5 * noise[0])
    expected[5, 0] += 4.0 * (9.0 - 1.5 * noise[0])
    expected[6, 0] += 4.0 * max(2.9 - 1.5 * noise[0], 0.0)
    np.testing.assert_allclose(usual, expected / wanted)


def test_nothing_under_110_decibels_below_the_fundamental_is_noise(monkeypatch):
    """The fundamental is the most of the frames within two hops of its arrival."""
    for away, counts in ((-3, False), (-2, True), (0, True), (2, True), (3, False)):
        frames = np.full((40, 2), 1e-9)
        frames[10 + away] = 1e5
        clear = np.zeros((20, 2), dtype=bool)
        inverse = np.full(40 * HOP // 2 + 1, 1.0)
        _, usual, gain = plane_from(monkeypatch, frames, np.zeros((40, 2)), np.zeros((40, 2)), clear, inverse)
        # no cell is clear: nothing is known of the noise but that
        np.testing.assert_allclose(usual[9], 1e-11 * (1e5 if counts else 1e-9) / gain)


def test_nothing_is_read_where_the_inverse_is_closed(monkeypatch):
    frames = np.ones((40, 2))
    clear = np.ones((20, 2), dtype=bool)
    inverse = np.zeros(40 * HOP // 2 + 1)
    density, usual, gain = plane_from(monkeypatch, frames, np.zeros((40, 2)), np.zeros((40, 2)), clear, inverse)
    for one in (density, usual, gain):
        assert not one.any()


def test_the_noise_of_a_band_is_the_median_of_its_clear_cells():
    """Of three the middle one, of two and of four the mean of the middle two, of one itself; 0 where none is clear."""
    values = np.array([[5.0, 1.0, 9.0, 4.0, 7.0], [1.0, 8.0, 2.0, 3.0, 7.0], [3.0, 2.0, 6.0, 9.0, 7.0], [9.0] * 5])
    clear = np.array([[1, 1, 1, 0, 0], [1, 1, 1, 1, 0], [1, 0, 1, 0, 0], [0, 0, 1, 0, 0]], dtype=bool)
    np.testing.assert_array_equal(_median(values, clear), [3.0, 4.5, 7.5, 3.0, 0.0])
    assert np.nanmedian(np.where(clear, values, np.nan)[:, :4], axis=0).tolist() == [3.0, 4.5, 7.5, 3.0]
