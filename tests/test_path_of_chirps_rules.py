"""How much of a response a chirp's path keeps, how its bands are cut, and when two chirps tell of a recording."""

import math

import numpy as np
import pytest
import scipy.fft

from distort.recording.quality.chirp_response import as_heard, band_edges_hz, path_of
from signals import Chirp, Reel, Silence, Sweep, framed
from tests.low_rate_reels import RATE, REEL

CHIRP = REEL.items[1]
AT = 6000


def swell(share: float) -> float:
    return math.sin(0.5 * math.pi * min(max(share, 0.0), 1.0)) ** 2


def kept(late_ms: float, *, reel: Reel = REEL) -> float:
    """Share that the path keeps of a copy of half the chirp, `late_ms` after it."""
    samples = np.zeros(14000)
    copy = AT + round(late_ms * RATE / 1000.0)
    samples[AT : AT + CHIRP.n_samples] += CHIRP.samples()
    samples[copy : copy + CHIRP.n_samples] += 0.5 * CHIRP.samples()
    found = path_of(samples, CHIRP.samples(), reel, at=float(AT))
    impulse = scipy.fft.irfft(found.values, found.n_fft)
    return 2.0 * float(impulse[(copy - AT) % found.n_fft] / impulse[0])


@pytest.mark.parametrize(
    ("late_ms", "share"),
    [
        (-54.0, 1.0),
        (-57.5, 0.5),
        (-58.5, swell(0.3)),
        (-62.0, 0.0),
        (275.0, 1.0),
        (290.0, 0.5),
        (296.0, swell(0.2)),
        (305.0, 0.0),
    ],
)
def test_a_path_is_cut_60_milliseconds_before_and_300_after_its_arrival(late_ms, share):
    """Under raised cosines of 5 ms before and, four times as long, 20 ms after it. A copy of the main peak, 2.8 kHz
    wide, lies within a third of a millisecond: the window moves by 3 % of its edge there."""
    assert kept(late_ms) == pytest.approx(share, abs=0.03)


def test_a_short_sweeps_second_order_is_cut_off():
    """It comes `L ln 2` before the first order, 69 ms here; 0.35 of that are kept, 24 ms with an edge of 5 ms."""
    short = Sweep(seconds=0.5, sample_rate=RATE, start_hz=20.0, full_level_hz=30.0, stop_hz=3900.0)
    before_ms = 350.0 * short.rate_s * math.log(2.0)
    reel = framed(short)
    assert before_ms < 55.0
    assert kept(-before_ms + 5.5, reel=reel) == pytest.approx(1.0, abs=0.03)
    assert kept(-before_ms + 2.5, reel=reel) == pytest.approx(0.5, abs=0.04)
    assert kept(-before_ms - 1.0, reel=reel) == pytest.approx(0.0, abs=0.03)


@pytest.mark.parametrize(
    ("low_hz", "high_hz", "bands"), [(1000.0, 1100.0, 2), (500.0, 1500.0, 4), (500.0, 3600.0, 7), (1000.0, 2000.0, 3)]
)
def test_third_octaves_of_a_chirp_are_two_at_least(low_hz, high_hz, bands):
    """Their number is that of third octaves between 3.4 and 93 % of the chirp's band, rounded; ratios are alike."""
    chirp = Chirp(low_hz=low_hz, high_hz=high_hz, seconds=0.1, sample_rate=RATE)
    quiet = Silence(seconds=1.0, sample_rate=RATE)
    edges_hz = band_edges_hz(Reel((quiet, chirp, quiet, REEL.only_stimulus()[1], quiet, chirp)))
    span = high_hz - low_hz
    assert (edges_hz[0], edges_hz[-1]) == pytest.approx((low_hz + 0.034 * span, low_hz + 0.93 * span))
    assert edges_hz.size == bands + 1
    np.testing.assert_allclose(edges_hz[1:] / edges_hz[:-1], (edges_hz[-1] / edges_hz[0]) ** (1.0 / bands))


def test_a_path_is_known_between_the_edges_of_its_bands():
    """And fades 0.8 of the lowest and 1.05 of the highest edge away; of a chirp alone it is 1 within."""
    samples = np.zeros(14000)
    samples[AT : AT + CHIRP.n_samples] = CHIRP.samples()
    found = path_of(samples, CHIRP.samples(), REEL, at=float(AT))
    low_hz, high_hz = band_edges_hz(REEL)[[0, -1]]
    assert (found.low_hz, found.high_hz, found.rate) == (pytest.approx(low_hz), pytest.approx(high_hz), RATE)
    hz = found.frequency_hz
    np.testing.assert_allclose(np.abs(found.values[(hz > 1.1 * low_hz) & (hz < 0.97 * high_hz)]), 1.0, atol=0.01)
    for middle_hz in (math.sqrt(0.8) * low_hz, math.sqrt(1.05) * high_hz):
        assert np.interp(middle_hz, hz, np.abs(found.values)) == pytest.approx(0.5, abs=0.03)
    assert np.max(np.abs(found.values[(hz < 0.78 * low_hz) | (hz > 1.07 * high_hz)])) < 0.03
    known = np.isfinite(found.noise)
    assert hz[known][0] == pytest.approx(0.8 * low_hz, abs=4.0)
    assert hz[known][-1] == pytest.approx(1.05 * high_hz, abs=4.0)


@pytest.mark.parametrize("ppm", [-100.0, 100.0, -3.2, 3.2])
def test_a_clock_on_either_side_stretches_what_it_hears(ppm):
    signal = np.sin(0.5 * np.arange(20000.0))
    place = np.arange(200, 19000)
    heard = as_heard(signal, 1e-6 * ppm, RATE)
    np.testing.assert_allclose(heard[place], np.sin(0.5 * place / (1.0 + 1e-6 * ppm)), atol=1e-6)
    assert as_heard(signal, 2.8e-6 * math.copysign(1.0, ppm), RATE) is signal
