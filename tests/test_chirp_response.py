"""The path of a recording's chirps, and the points at which a stimulus is held against it."""

import math
from dataclasses import replace

import numpy as np
import pytest

from distort.recording.alignment.locating import Alignment, find_reel
from distort.recording.quality.chirp_response import as_heard, band_edges_hz, markers, path_of
from distort.recording.quality.track import track
from tests.low_rate_reels import MULTITONE, RATE, REEL, SWEEP, TONES, recorded


def test_the_path_of_a_known_echo():
    """One copy of 0.4, 23 samples late: `1 + 0.4 exp(-2 pi i f 23)` between 600 Hz and 3.4 kHz, within 1 %: the path is
    cut to 0.3 s and the chirp's fades leave a quarter of its amplitude at the edges."""
    clean = np.pad(REEL.samples(), (800, 1600))
    samples = clean.copy()
    samples[23:] += 0.4 * clean[:-23]
    at = 800.0 + REEL.chirp_starts()[0]
    found = path_of(samples, REEL.items[1].samples(), REEL, at=at)
    inside = (found.frequency_hz > 1.1 * found.low_hz) & (found.frequency_hz < 0.95 * found.high_hz)
    expected = 1.0 + 0.4 * np.exp(-2j * np.pi * found.frequency_hz / RATE * 23.0)
    np.testing.assert_allclose(found.values[inside], expected[inside], atol=0.01)
    shifted = path_of(samples, REEL.items[1].samples(), REEL, at=at - 0.75)
    turned = expected * np.exp(-2j * np.pi * found.frequency_hz / RATE * 0.75)
    np.testing.assert_allclose(shifted.values[inside], turned[inside], atol=0.01)
    # white noise of one a bin becomes 1 / |X|^2: X of a linear sweep is flat, fs sqrt(T / (f2 - f1)) A / 2
    chirp = REEL.items[1]
    middle = (found.frequency_hz > 1200.0) & (found.frequency_hz < 2800.0)
    flat = RATE * math.sqrt(chirp.seconds / (chirp.high_hz - chirp.low_hz)) * 10.0 ** (chirp.drive_dbfs / 20.0) / 2.0
    assert np.mean(found.noise[middle]) == pytest.approx(1.0 / flat**2, rel=0.05)


def test_bands_of_the_chirps():
    """From 3.4 to 93 % of 0.5 to 3.6 kHz: 605 Hz to 3383 Hz, 2.48 octaves, so seven third octaves of equal ratio."""
    edges = band_edges_hz(REEL)
    assert (edges[0], edges[-1]) == pytest.approx((500.0 + 0.034 * 3100.0, 500.0 + 0.93 * 3100.0))
    assert edges.size == 8
    np.testing.assert_allclose(np.diff(np.log(edges)), np.log(edges[-1] / edges[0]) / 7)


def test_signals_are_stretched_for_clocks_that_differ_by_three_ppm():
    signal = np.sin(0.5 * np.arange(20000.0))
    assert as_heard(signal, 2.9e-6, RATE) is signal
    assert as_heard(signal, -2.9e-6, RATE) is signal
    heard = as_heard(signal, 100e-6, RATE)
    place = np.arange(200, 19000)
    np.testing.assert_allclose(
        heard[place], np.sin(0.5 * place / (1.0 + 100e-6)), atol=1e-6
    )  # a fast clock writes more
    assert as_heard(signal, 3.1e-6, RATE) is not signal


def test_points_of_a_track_by_their_times():
    """A sweep's bands lie where it passes their middle; a multitone's periods have their middle halfway."""
    samples = recorded()
    found = markers(samples, REEL, find_reel(samples, REEL))
    along = track(samples, REEL, found)
    edges = band_edges_hz(REEL)
    edges = edges[(edges >= SWEEP.full_level_hz) & (edges <= SWEEP.fade_out_hz)]
    first, last = REEL.chirp_starts()
    middle = REEL.only_stimulus()[0] + SWEEP.rate_s * np.log(np.sqrt(edges[:-1] * edges[1:]) / 20.0) * RATE
    np.testing.assert_allclose(along.share, (middle - first) / (last - first), rtol=1e-9)
    np.testing.assert_allclose(along.delay, 0.0, atol=0.05)
    np.testing.assert_allclose(along.gain_db, 0.0, atol=0.05)
    assert along.common_delay_sigma == 0.0
    # without noise what a loudspeaker may turn is left: 0.05 radian at a band's middle
    band = np.sqrt(edges[:-1] * edges[1:])
    np.testing.assert_allclose(along.delay_sigma, 0.05 / (2.0 * np.pi * band / RATE), rtol=0.1)
    samples = recorded(TONES)
    along = track(samples, TONES, markers(samples, TONES, find_reel(samples, TONES)))
    first, last = TONES.chirp_starts()
    middle = TONES.only_stimulus()[0] + (np.arange(8) + 0.5) * MULTITONE.period_samples
    np.testing.assert_allclose(along.share, (middle - first) / (last - first), rtol=1e-9)
    np.testing.assert_allclose(along.gain_db[1:], 0.0, atol=0.01)
    assert along.common_delay_sigma == pytest.approx(2.0 * np.median(along.delay_sigma) + 0.1)
    lines = MULTITONE.line_hz
    edges = band_edges_hz(TONES)
    turns = lines[(lines >= edges[0]) & (lines <= edges[-1])] / RATE
    expected = 0.05 / (2.0 * np.pi * np.sqrt(np.sum(turns**2)))
    np.testing.assert_allclose(along.delay_sigma, expected, rtol=1e-6)


def test_an_alignment_without_a_clock_has_no_markers():
    samples = recorded()
    found = find_reel(samples, REEL)
    assert isinstance(found, Alignment)
    assert markers(samples, REEL, replace(found, clock_difference_ppm=math.nan)) is None
    known = markers(samples, REEL, found)
    assert known.arrival(known.first_in_reel + 1000) == pytest.approx(known.first + 1000 * (1.0 + known.clock))
    assert known.share(np.array([known.first_in_reel, known.first_in_reel + known.distance])).tolist() == [0.0, 1.0]
