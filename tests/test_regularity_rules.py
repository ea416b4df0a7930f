"""How what is loudest in a cycle repeats: pulses whose correlation is known in closed form, and sums by hand."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from distort.analysis.impulsive import heard, regularity
from distort.analysis.impulsive.cycles import Bands
from distort.analysis.impulsive.heard import CyclesHeard, repeats_at, untouched
from distort.analysis.impulsive.regularity import (
    UNKNOWN,
    _alike,
    _around,
    _loud,
    _regularity,
    _spread,
    _waves,
    loudest,
    repeats,
)
from distort.analysis.impulsive.residual import Residual
from signals import Sweep

RATE = 32000
SWEEP = Sweep(start_hz=20.0, full_level_hz=25.0, stop_hz=14000.0, seconds=4.0, sample_rate=RATE, drive_dbfs=-20.0)
LENGTH_S = round(20.0 * 4.0 / math.log(700.0)) / 20.0
"""Seconds in which its frequency rises e-fold: whole periods of 20 Hz."""


# --- where a cycle is loudest -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("begin", "parts"), [(0, 12), (5, 12), (12, 12), (13, 12), (20, 8), (23, 8)])
def test_the_loudest_stretch_of_a_cycle_may_go_round(begin, parts):
    powers = np.ones((3, 24))
    places = (begin + np.arange(parts)) % 24
    powers[1, places] = 4.0
    assert loudest(powers, parts) == begin
    marked = np.arange(72.0).reshape(3, 24)
    np.testing.assert_array_equal(_around(marked, begin, parts), marked[:, places])


@pytest.mark.parametrize(
    ("power", "stretch"),
    [
        ([0.5, 1.0, 10.0, 0.0, 1.0, 0.99], slice(1, 5)),  # from a tenth of the loudest on
        ([3.0, 2.0, 1.0], slice(0, 3)),
        ([-1.0, -2.0], slice(0, 0)),  # less than the noise
        ([-1.0, 0.5, -2.0], slice(1, 2)),
    ],
)
def test_from_the_first_loud_cycle_to_the_last(power, stretch):
    assert _loud(np.array(power)) == stretch


# --- waveforms that repeat --------------------------------------------------------------------------------------------

SIZE = 120
"""Samples of half a cycle: a part of it is ten, 40 lags of a quarter of a sample."""
TURN, WIDTH = 2.0 * math.pi * 0.11, 4.0


def pulses(places: np.ndarray, strengths: np.ndarray) -> np.ndarray:
    """`s exp(-t^2 / (2 w^2)) cos(omega t)` about each place, one a cycle."""
    time = np.arange(SIZE) - places[:, np.newaxis]
    return strengths[:, np.newaxis] * np.exp(-0.5 * np.square(time / WIDTH)) * np.cos(TURN * time)


def alike(lag: np.ndarray) -> np.ndarray:
    """The correlation of two such pulses of strength 1, in samples: `w sqrt(pi) / 2 exp(-(lag / 2 w)^2) (cos(omega
    lag) + exp(-(omega w)^2))`."""
    fading = np.exp(-np.square(lag / (2.0 * WIDTH)))
    return WIDTH * math.sqrt(math.pi) / 2.0 * fading * (np.cos(TURN * lag) + math.exp(-((TURN * WIDTH) ** 2)))


def expected(places: np.ndarray, strengths: np.ndarray) -> float:
    """`sum_i x_i . mean of the neighbours one and two cycles away`, where the first and the last have fewer: each pair
    counts `N / (N - apart) / 2`. Six cycles wander alike: by -0.6 to 0.6 parts, which may change by -0.2 to 0.2 from
    cycle to cycle, and two parts at most."""
    count = places.size
    blocks = max(round(count / 6), 1)
    total = np.zeros((blocks, 25, 9))
    for apart in (1, 2):
        pairs = count - apart
        for pair in range(pairs):
            block = pair * blocks // pairs
            middle = (block + 0.5) * pairs / blocks - 0.5
            turn = 40.0 * (np.linspace(-0.6, 0.6, 25)[:, np.newaxis] + np.linspace(-0.2, 0.2, 9) * (pair - middle))
            lag = np.rint(apart * np.clip(turn, -80.0, 80.0)) / 4.0
            moved = places[pair + apart] - places[pair]
            strength = strengths[pair] * strengths[pair + apart]
            total[block] += strength * alike(lag - moved) * count / pairs / 2.0
    return float(np.sum(np.max(total, axis=(1, 2))))


@pytest.mark.parametrize(
    ("count", "wander", "curve"),
    [
        (5, 0.0, 0.0),
        (8, 5.0, 0.0),
        (8, -6.0, 0.0),
        (8, 6.6, 0.0),
        (8, -6.6, 0.0),
        (9, 0.0, 1.5),
        (9, 0.0, -2.0),
        (9, 0.0, 2.2),
        (12, 2.0, 0.5),
        (21, 2.0, 0.0),
        (10, 3.0, 1.9),
    ],
)
def test_pulses_that_wander_are_alike_as_far_as_they_wander_evenly(count, wander, curve):
    """In samples from cycle to cycle, ten of them a part. Between samples the correlation is read by zeros put into the
    spectrum, exactly for such pulses."""
    steps = wander + curve * (np.arange(count - 1) - (count - 2) / 2.0)
    places = np.concatenate([[0.0], np.cumsum(steps)])
    places += 60.0 - np.mean(places)
    strengths = 1.0 + 0.3 * np.sin(np.arange(count))
    inside = (places > 15.0) & (places < SIZE - 15.0)
    strengths = np.where(inside, strengths, 0.0)
    assert _alike(pulses(places, strengths)) == pytest.approx(expected(places, strengths), rel=1e-4, abs=1e-4)


@pytest.mark.parametrize(("count", "seed"), [(9, 0), (10, 1), (14, 2), (15, 3), (20, 4)])
def test_pulses_that_wander_at_random_are_alike_by_the_wander_that_suits_them_best(count, seed):
    random = np.random.default_rng(seed)
    places, strengths = 60.0 + random.uniform(-12.0, 12.0, count), random.exponential(size=count)
    assert _alike(pulses(places, strengths)) == pytest.approx(expected(places, strengths), rel=1e-4)


def test_what_every_cycle_repeats_has_a_regularity_of_one_and_noise_none():
    """G is over the energy less that of the noise, a mean square in every sample; 1 at most, 0 where nothing is over
    the noise."""
    wave = pulses(np.full(8, 60.0), np.ones(8))
    energy = 8.0 * float(alike(np.zeros(1))[0])
    assert _regularity(wave, np.zeros(8)) == pytest.approx(1.0)
    differing = wave * np.array([1.0, 0.0, 0.0] * 2 + [1.0, 0.0])[:, np.newaxis]
    assert _regularity(differing, np.zeros(8)) == 0.0
    half = np.concatenate([wave, np.roll(wave, 40, axis=1)])[[0, 8, 1, 9, 2, 10, 3, 11]]
    noise = np.linspace(0.0, 0.5 * energy / 8.0 / SIZE, 8)
    top = _alike(half)
    assert 0.2 < top / energy < 0.6
    assert _regularity(half, noise) == pytest.approx(top / (energy - SIZE * np.sum(noise)))
    assert _regularity(wave, noise) == 1.0
    assert _regularity(wave, np.full(8, 1.01 * energy / 8.0 / SIZE)) == 0.0


# --- how far up it reaches --------------------------------------------------------------------------------------------


def spectrum_of(*tones: tuple[float, float], flat: float = 0.0, sweep: Sweep = SWEEP, size: int = 3200) -> float:
    """Spread at 100 Hz of tones `(Hz, power)`, one in each cycle, and of one sample whose density is `flat`."""
    time_s = np.arange(size) / RATE
    window = np.square(np.hanning(size))
    waves = [np.sqrt(2.0 * power) * np.sin(2.0 * np.pi * hz * time_s) for hz, power in tones]
    if flat:
        one = np.zeros(size)
        one[size // 2] = math.sqrt(flat * np.sum(window) * RATE / 2.0 / window[size // 2])
        waves.append(one)
    return _spread(np.array(waves), sweep, 100.0)


@pytest.mark.parametrize(
    ("hz", "spread"),
    [
        (2200.0, 0.75),  # more than an octave above 10.5 times the sweep, 2.1 kHz
        (2050.0, 0.0),
        (1010.0, 1.0),  # the other one stays alone: nothing below 1050 Hz counts
        (1100.0, 0.0),
        (12800.0, 0.75),
        (13500.0, 0.0),  # the fade-out of the sweep begins at 13.06 kHz
    ],
)
def test_sharp_sounds_reach_more_than_an_octave_above_the_orders(hz, spread):
    """Powers of 3e6 and 1e6 at 1.5 kHz, beside which a noise of 1 per hertz is nothing."""
    low = 1500.0 if hz != 1010.0 else 5000.0
    assert spectrum_of((hz, 3e6), (low, 1e6)) == pytest.approx(spread, abs=3e-3)


def test_nothing_below_600_hertz_counts():
    time_s = np.arange(6400) / RATE
    waves = np.sqrt(2e10) * np.sin(2.0 * np.pi * np.array([[565.0], [700.0], [2000.0]]) * time_s)
    for hz, spread in ((20.0, 0.5), (56.0, 1.0)):  # 21 times 20 Hz is 420, 10.5 times 56 is 588, twice that 1176
        assert _spread(waves, SWEEP, hz) == pytest.approx(1.0 if hz == 20.0 else spread * 0.5, abs=3e-3)


def test_the_noise_is_taken_off_as_one_per_hertz():
    """Bins of 10 Hz: a flat density of 4 in one cycle and a tone of power P at 1.5 kHz in the other, half of each in
    the mean. Above 1050 Hz 2 - 1 is left in each bin and P / 2 / 10 Hz in all of the tone."""
    near, far = 105, round((14000.0 * 2.0**-0.1 - 2100.0) / 10.0)
    tone = 3000.0
    expected_share = far / (near + far + tone / 2.0 / 10.0)
    assert spectrum_of((1500.0, tone), flat=4.0) == pytest.approx(expected_share, rel=0.02)
    assert spectrum_of((1500.0, 1e-6), flat=1.5) == 0.0  # under the noise


# --- of a place -------------------------------------------------------------------------------------------------------


def seen(monkeypatch, powers, *, first=7, noise=None, values=4.0):
    """What is found of a place, and what was asked of waveforms."""
    asked: dict = {}

    def waves(residual, cycles, *, steady):
        asked[steady] = cycles
        return np.full((cycles.size, 12), float(steady))

    def regular(wave, given):
        asked["noise"] = given
        return 0.25 if wave[0, 0] else 0.5

    monkeypatch.setattr(regularity, "_waves", waves)
    monkeypatch.setattr(regularity, "_regularity", regular)
    monkeypatch.setattr(regularity, "_spread", lambda wave, sweep, hz: asked.update(hz=hz, wave=wave) or 0.7)
    residual = Residual(sweep=SWEEP, samples=np.zeros(1), first_s=0.0)
    noise = np.zeros(powers.shape[0]) if noise is None else noise
    return repeats(residual, powers, first=first, noise=noise, values=values), asked


def cycles_of(level: list[float], *, begin: int = 6) -> np.ndarray:
    """So loud in twelve parts of each cycle, of which the middle eight are twice as loud."""
    powers = np.full((len(level), 24), 1e-9)
    powers[:, begin : begin + 12] = np.array(level)[:, np.newaxis]
    powers[:, begin + 2 : begin + 10] *= 2.0
    return powers


def test_how_a_place_behaves(monkeypatch):
    """The level of the loudest eight parts: `median(d^2) / 0.455 / (1.5 x 2 / (8 values))`, d what is over the mean of
    the neighbours'. Waveforms begin with the loudest twelve. The better of both readings is the regularity."""
    nepers = [0.0, 0.3, 0.1, 0.5, 0.2, 0.4, 0.0]
    found, asked = seen(monkeypatch, cycles_of([1e-3, *np.exp(nepers), 1e-3]))
    second = [b - 0.5 * (a + c) for a, b, c in zip(nepers, nepers[1:], nepers[2:], strict=False)]
    assert found.unevenness == pytest.approx(float(np.median(np.square(second))) / 0.455 / (3.0 / 32.0), rel=1e-6)
    assert (found.regularity, found.spread) == (0.5, 0.7)
    for steady in (True, False):
        np.testing.assert_allclose(asked[steady], 7 + 1 + np.arange(7) + 6 / 24)
    assert asked["hz"] == pytest.approx(20.0 + (8 + 3 + 0.25) / LENGTH_S)
    assert asked["wave"][0, 0] == 1.0  # in time, where what strikes rings at its own frequency


@pytest.mark.parametrize(("count", "known"), [(4, False), (5, True)])
def test_five_cycles_must_be_loud(count, known, monkeypatch):
    loud = [1.0] * count
    assert (seen(monkeypatch, cycles_of(loud))[0] != UNKNOWN) == known
    assert (seen(monkeypatch, cycles_of([1e-3, *loud, 1e-3]))[0] != UNKNOWN) == known


def test_a_cycle_is_loud_by_what_it_has_over_its_noise(monkeypatch):
    """The mean of the twelve parts is 5/3 of the level. Its noise goes with each cycle that is looked at."""
    noise = np.array([1.6, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 1.6])
    found, asked = seen(monkeypatch, cycles_of([1.0] * 8), noise=noise)
    assert found != UNKNOWN
    np.testing.assert_array_equal(asked["noise"], noise[1:7])


def test_waves_are_half_of_the_last_cycle_long_and_never_under_twelve_samples():
    """At the very beginning of what is known they are read from there."""
    residual = SimpleNamespace(sweep=SWEEP, first_s=0.0, samples=np.arange(100_000.0))
    found = _waves(residual, np.array([3.0]), steady=True)
    begin, end = (RATE * LENGTH_S * math.log1p(cycle / (20.0 * LENGTH_S)) for cycle in (3.0, 4.0))
    assert found.shape == (1, int((end - begin) / 2.0))
    np.testing.assert_allclose(found[0], begin + np.arange(found.size), atol=1e-6)
    late = np.array([1500.0])  # at 2.5 kHz half a cycle is six samples
    assert _waves(residual, late, steady=False).shape == (1, 12)


# --- cycles of a recording --------------------------------------------------------------------------------------------


def recording(kept_out: tuple[int, ...] = ()) -> tuple[CyclesHeard, np.ndarray]:
    bands = Bands(
        frequency_hz=np.array([60.0, 67.0, 75.0, 84.0]),
        first=np.array([22, 25, 30, 36]),
        end=np.array([25, 30, 36, 43]),
        values=np.array([3.0, 4.0, 5.0, 6.0]),
    )
    powers = np.arange(21.0)[:, np.newaxis] * np.ones(24)
    residual = Residual(sweep=SWEEP, samples=np.zeros(1), first_s=0.0)
    kept = np.ones(21, dtype=bool)
    kept[list(kept_out)] = False
    return CyclesHeard(residual=residual, bands=bands, powers=powers, first=22), kept


@pytest.mark.parametrize(("band", "rows"), [(0, (0, 8)), (1, (0, 14)), (2, (3, 21)), (3, (8, 21))])
def test_a_band_is_looked_at_with_its_neighbours(band, rows, monkeypatch):
    """The sweep is at `f1 + k / L` in cycle k; the noise is as broad as what is left between 10.5 times that and the
    fade-out."""
    asked = {}
    monkeypatch.setattr(heard, "repeats", lambda residual, powers, **given: asked.update(given, powers=powers))
    found, kept = recording()
    repeats_at(found, kept, band)
    np.testing.assert_array_equal(asked["powers"][:, 0], np.arange(*rows))
    assert asked["first"] == 22 + rows[0]
    assert asked["values"] == 3.0 + band
    hz = 20.0 + (22 + np.arange(*rows)) / LENGTH_S
    np.testing.assert_allclose(asked["noise"], 14000.0 * 2.0**-0.1 - np.maximum(10.5 * hz, 600.0))


def test_nothing_is_said_of_a_band_beside_something_foreign(monkeypatch):
    monkeypatch.setattr(heard, "repeats", lambda *_, **__: "looked at")
    for band, out, looked in ((0, 8, True), (0, 7, False), (3, 7, True), (3, 8, False), (1, 13, False), (1, 14, True)):
        found, kept = recording((out,))
        assert repeats_at(found, kept, band) == ("looked at" if looked else UNKNOWN)


@pytest.mark.parametrize(("beside_s", "touched"), [(0.143, True), (0.157, False)])
def test_0_15_s_beside_a_foreign_sound_nothing_is_looked_at(beside_s, touched):
    """Cycle 30 lies between its two beginnings."""
    found, kept = recording()
    begin, end = (LENGTH_S * math.log1p(cycle / (20.0 * LENGTH_S)) for cycle in (30, 31))
    for foreign in ((end + beside_s, end + 1.0), (begin - 1.0, begin - beside_s)):
        assert untouched(found, [foreign])[8] != touched
    both = untouched(found, [(end + 0.1, end + 1.0), (begin - 1.0, begin - 0.1)])
    assert not both[8]
    assert untouched(found, []).all()
    assert kept.all()
