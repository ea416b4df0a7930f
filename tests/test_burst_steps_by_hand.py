"""A tone burst step by step, in closed form: lobes, the stretch that is cut out, energies and tops, noise, and the
response between bands."""

import math

import numpy as np
import pytest

from distort.analysis import burst as module
from distort.analysis.burst import (
    ORDERS,
    BurstTake,
    _between,
    _cut,
    _lobes,
    _noise_between,
    _read,
    _response,
    _window,
    read_bursts,
)
from distort.analysis.common.microphone import MicrophoneResponse
from distort.analysis.sweep.noise import NoiseDensity
from signals.burst import BurstSeries

RATE = 16000


def series(bands_hz: tuple[float, ...] = (200.0, 400.0), **fields: float) -> BurstSeries:
    return BurstSeries(bands_hz=bands_hz, sample_rate=RATE, **{"gap_s": 0.3, "drive_dbfs": -6.0, **fields})


@pytest.mark.parametrize(("periods", "reach_hz"), [(6.5, 800.0 / 6.5), (5.0, 160.0), (1.5, 1600.0 / 3.0)])
def test_lobes_reach_two_over_the_length_of_the_burst(periods, reach_hz):
    """To either side of the fundamental and of orders 2 to 8, never below 0 Hz."""
    found = _lobes(series(periods=periods), 1)
    expected = [(max(400.0 * n - reach_hz, 0.0), 400.0 * n + reach_hz) for n in range(1, 9)]
    np.testing.assert_allclose(found, expected)


@pytest.mark.parametrize(
    ("gap_s", "rise_s", "fall_s"),
    [(0.3, 0.005, 0.05), (0.192, 0.005, 0.048), (0.208, 0.005, 0.05), (0.032, 0.004, 0.008)],
)
def test_the_window_lasts_to_the_next_burst_with_faded_ends(gap_s, rise_s, fall_s):
    """5 ms and 50 ms; an eighth and a quarter of the gap where that is shorter. Raised cosines."""
    given = series(gap_s=gap_s)
    found = _window(given, 1)
    length = round(6.5 / 400.0 * RATE) + round(gap_s * RATE)
    assert found.size == length
    up, down = np.arange(length) / RATE / rise_s, (length - np.arange(length)) / RATE / fall_s
    expected = (np.sin(0.5 * np.pi * np.minimum(side, 1.0)) ** 2 for side in (up, down))
    np.testing.assert_allclose(found, math.prod(expected), atol=1e-12)


@pytest.mark.parametrize("gap_s", [0.3, 0.0768])
@pytest.mark.parametrize("start", [1000.0, 1000.4, 999.6, 10.0, 18000.0, -40000.0, 90000.0])
def test_a_burst_is_cut_from_a_little_before_it(start, gap_s):
    """20 ms before the second burst, a quarter of a gap shorter than 80 ms; zeros where the recording has none."""
    given = series(gap_s=gap_s)
    samples = 1.0 + np.arange(20000.0)
    window = _window(given, 1)
    first = round(start) + given.starts[1] - round(min(0.02, gap_s / 4.0) * RATE)
    place = first + np.arange(window.size)
    inside = (place >= 0) & (place < samples.size)
    expected = np.where(inside, 1.0 + place, 0.0) * window
    np.testing.assert_allclose(_cut(samples, start, given, 1), expected)


SIGMA_S, AT_HZ = 0.002, 2000.0
"""A tone under a Gaussian of that deviation: its spectrum is a Gaussian of 79.6 Hz about it."""


def pulse(amplitude: float, hz: float, n: int = 4000) -> np.ndarray:
    t = (np.arange(n) - n // 2) / RATE
    return np.asarray(amplitude * np.exp(-0.5 * (t / SIGMA_S) ** 2) * np.cos(2.0 * np.pi * hz * t))


def test_energies_and_top_of_a_pulse_by_its_closed_form():
    """`A^2 / 2 sigma sqrt pi` in all, full scale squared times seconds; within `1 / (2 pi sigma sqrt 2)` Hz to either
    side the share that the error function has at 1 / sqrt 2. The top of what lies in a lobe alone has the share of the
    amplitude that the lobe has of the spectrum's area."""
    piece = pulse(0.5, AT_HZ) + pulse(0.3, 5000.0)
    whole = np.array([0.25, 0.09]) / 2.0 * SIGMA_S * math.sqrt(math.pi)
    deviation_hz = 1.0 / (2.0 * math.pi * SIGMA_S)
    energies, top = _read(piece, [(1000.0, 3000.0), (4000.0, 6000.0), (3200.0, 3800.0)], series())
    np.testing.assert_allclose(energies[:2], whole, rtol=1e-6)
    assert energies[2] < 1e-9
    assert top == pytest.approx(0.5, rel=1e-6)
    narrow = deviation_hz / math.sqrt(2.0)
    energies, _ = _read(piece, [(AT_HZ - narrow, AT_HZ + narrow)], series())
    assert energies[0] == pytest.approx(whole[0] * math.erf(math.sqrt(0.5)), rel=1e-4)  # straight between bins of 1 Hz
    # bins of 1 Hz, both ends included: 4,000 samples with zeros to four times as many
    bins = np.exp(-0.5 * (np.arange(-70, 71) / deviation_hz) ** 2)
    of_bins = float(np.sum(bins)) / (deviation_hz * math.sqrt(2.0 * math.pi))
    _, top = _read(piece, [(AT_HZ - 70.0, AT_HZ + 70.0)], series())
    assert top == pytest.approx(0.5 * of_bins, rel=1e-6)


def test_an_integral_over_a_band_is_exact_where_the_density_is_straight():
    hz = np.arange(11.0)
    straight, bent = 3.0 + 2.0 * hz, np.abs(hz - 5.0)
    assert _between(hz, straight, (2.5, 7.25)) == pytest.approx(3.0 * 4.75 + 7.25**2 - 2.5**2)
    assert _between(hz, straight, (0.0, 10.0)) == pytest.approx(130.0)
    assert _between(hz, bent, (4.0, 6.5)) == pytest.approx(0.5 + 1.125)
    assert _between(hz, straight, (3.2, 3.4)) == pytest.approx(0.2 * (3.0 + 6.6))
    assert _between(hz, straight, (12.0, 13.0)) == 0.0
    noise = NoiseDensity(frequency_hz=hz, density=straight, sample_rate=20, seconds=1.0)
    assert _noise_between(noise, (2.5, 7.25)) == pytest.approx(3.0 * 4.75 + 7.25**2 - 2.5**2)
    assert math.isnan(_noise_between(None, (2.5, 7.25)))


def test_the_response_between_bands_is_straight_over_log_frequency_in_decibels():
    found = _response(np.array([100.0, 400.0]), np.array([1.0, 16.0]), np.array([50.0, 100.0, 200.0, 400.0, 900.0]))
    np.testing.assert_allclose(found, [1.0, 1.0, 4.0, 16.0, 16.0])


# --- a whole reading, of powers that are given ------------------------------------------------------------------------

GIVEN = series(bands_hz=(200.0, 400.0, 800.0))
ORDER = np.array([1, *ORDERS])[:, np.newaxis]
BANDS_HZ = np.array(GIVEN.bands_hz)


def take(recorded_hz: int = RATE, silences: int = 1, start: float = 0.0) -> BurstTake:
    quiet = np.zeros(RATE)
    return BurstTake(samples=quiet, start=start, silences=(quiet,) * silences, recorded_hz=recorded_hz)


def reading(monkeypatch, heard, played, *, noise: float | None, takes=None, microphone=None, tops=(0.25,), of=GIVEN):
    """Energies of each order, `(orders, bands)`, as the takes and the series itself are said to have them. `noise` is
    what a lobe has a hertz."""
    asked: list[BurstTake | None] = []
    takes = [take(silences=0 if noise is None else 1)] if takes is None else takes

    def cut(samples, start, series, band):
        return np.array([band, start])

    def read(piece, lobes, series):
        band, start = int(piece[0]), int(piece[1])
        own = len(asked) < BANDS_HZ.size
        asked.append(None)
        assert not own or start == 0  # the series itself, as played
        return (played[:, band], 0.8) if own else (heard[start][:, band], tops[start])

    monkeypatch.setattr(module, "_cut", cut)
    monkeypatch.setattr(module, "_read", read)
    density = NoiseDensity(
        frequency_hz=np.array([0.0, 1e5]), density=np.full(2, noise or 0.0), sample_rate=RATE, seconds=1.0
    )
    monkeypatch.setattr(module, "noise_density", lambda silences, sample_rate: density)
    return read_bursts(takes, of, microphone)


ENERGY = 10.0 ** (-ORDER) * np.array([1.0, 2.0, 3.0])
OWN = 10.0 ** (-ORDER - 1.0) * np.array([5.0, 4.0, 7.0])


def in_lobes(density: float) -> np.ndarray:
    """A constant density over a lobe of `4 f / periods`, times the window's energy in seconds, `(bands,)`."""
    energies = [float(np.sum(_window(GIVEN, band) ** 2)) / RATE for band in range(3)]
    return np.asarray(density * 4.0 * BANDS_HZ / GIVEN.periods * np.array(energies))


def test_takes_are_averaged_and_their_noise_is_taken_off(monkeypatch):
    """Down to a thousandth of the noise; the top as an r.m.s., over that of the burst as played, whose drive is -6
    dBFS."""
    density = 1e-10
    low = ENERGY.copy()
    low[7] = 0.5 * in_lobes(density)
    found = reading(
        monkeypatch, [low, 3.0 * low], OWN, noise=density, takes=[take(), take(start=1.0)], tops=(0.25, 0.35)
    )
    expected = 2.0 * low - in_lobes(density)
    expected[7] = 1e-3 * in_lobes(density)
    known = ORDER * BANDS_HZ <= 0.45 * RATE
    np.testing.assert_allclose(found.energy[known], expected[known], rtol=1e-9)
    np.testing.assert_allclose(found.noise[known], np.broadcast_to(in_lobes(density), (8, 3))[known])
    assert np.isnan(found.energy[~known]).all()
    top = math.sqrt((0.25**2 + 0.35**2) / 2.0)
    np.testing.assert_allclose(found.peak, top / 0.8 * 10.0**-0.3)


def test_without_a_silence_nothing_is_taken_off(monkeypatch):
    found = reading(monkeypatch, [ENERGY], OWN, noise=None)
    known = ORDER * BANDS_HZ <= 0.45 * RATE
    np.testing.assert_allclose(found.energy[known], ENERGY[known])
    assert np.isnan(found.noise).all()


def test_what_a_burst_has_of_its_own_comes_through_the_response(monkeypatch):
    """That of the fundamentals, less their noise, at n f; the fundamental itself has none."""
    found = reading(monkeypatch, [ENERGY], OWN, noise=1e-6)
    gain = (ENERGY[0] - in_lobes(1e-6)) / OWN[0]
    at = np.exp(np.interp(np.log(ORDER * BANDS_HZ), np.log(BANDS_HZ), np.log(gain)))
    known = ORDER * BANDS_HZ <= 0.45 * RATE
    expected = np.where(ORDER > 1, OWN * at, 0.0)
    np.testing.assert_allclose(found.leak[known], expected[known])


@pytest.mark.parametrize(
    ("rates", "highest_hz"), [((RATE,), 7200.0), ((8000, RATE), 3600.0), ((RATE, 5200), 2340.0), ((96000,), 7200.0)]
)
def test_orders_are_read_up_to_forty_five_hundredths_of_the_lowest_rate(rates, highest_hz, monkeypatch):
    takes = [take(rate) for rate in rates]
    found = reading(monkeypatch, [ENERGY], OWN, noise=1e-6, takes=takes)
    for column in (found.energy, found.noise, found.leak):
        np.testing.assert_array_equal(np.isfinite(column), highest_hz >= ORDER * BANDS_HZ)


def test_an_order_on_that_edge_is_read(monkeypatch):
    """900 x 8 = 7,200 Hz is 0.45 of 16 kHz."""
    found = reading(monkeypatch, [ENERGY], OWN, noise=1e-6, of=series(bands_hz=(200.0, 400.0, 900.0)))
    assert np.isfinite(found.energy[7]).tolist() == [True, True, 0.45 * RATE >= 8 * 900.0]


def test_the_microphone_is_taken_off_at_each_order(monkeypatch):
    """6 dB too much at 1 kHz, 6 dB an octave; nothing is said above 4 kHz, where its response is not known."""
    microphone = MicrophoneResponse(frequency_hz=np.array([50.0, 4000.0]), level_db=6.0 * np.log2([0.1, 8.0]))
    bare = reading(monkeypatch, [ENERGY], OWN, noise=1e-6)
    found = reading(monkeypatch, [ENERGY], OWN, noise=1e-6, microphone=microphone)
    at_hz = ORDER * BANDS_HZ
    scale = np.where(at_hz <= 4000.0, 10.0 ** (-0.6 * np.log2(at_hz / 500.0)), np.nan)
    for name in ("energy", "noise", "leak"):
        np.testing.assert_allclose(getattr(found, name), getattr(bare, name) * scale)
    np.testing.assert_allclose(found.peak, bare.peak * np.sqrt(scale[0]))
