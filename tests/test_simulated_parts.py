"""Limiter, heat, path, noise and aliasing of the simulated loudspeaker, each against its closed form."""

import math

import numpy as np
import pytest

from distort.capture.simulated import limiter
from distort.capture.simulated.grid import Grid
from distort.capture.simulated.heat import COLD, Heat, cooled, heated
from distort.capture.simulated.loudspeaker import Loudspeaker, State
from distort.capture.simulated.microphone import coloured_noise
from distort.capture.simulated.parameters import Limiter, Parameters, Room, Woofer
from distort.capture.simulated.path import direct_response, tail_response

RATE = 48000


def test_limiter_holds_its_static_curve() -> None:
    """Above the knee `(1 - 1/ratio) over`, below it nothing, at its middle `(1 - 1/ratio) knee/8` (common practice)."""
    table = Limiter(ratio=4.0, knee_db=6.0)
    got = limiter.reduction_db(np.array([-20.0, -3.0, 0.0, 3.0, 10.0]), table)
    np.testing.assert_allclose(got, [0.0, 0.0, 0.5625, 2.25, 7.5], atol=1e-12)


def test_limiter_attacks_and_releases_exponentially() -> None:
    """A step of power p: `p (1 - exp(-t/attack))`, then `p' exp(-t/release)` (first-order follower)."""
    table, rate = Limiter(), 24000.0
    n = 480
    up = limiter.detected(np.ones(n), table, rate_hz=rate, start=0.0)
    times = np.arange(1, n + 1) / rate
    np.testing.assert_allclose(up, 1 - np.exp(-times / table.attack_s), rtol=1e-10)
    down = limiter.detected(np.zeros(n), table, rate_hz=rate, start=2.0)
    np.testing.assert_allclose(down, 2 * np.exp(-times / table.release_s), rtol=1e-10)
    assert limiter.released(2.0, table, n / rate) == pytest.approx(down[-1], rel=1e-10)


def test_limiter_settles_where_it_comes_back_to_itself() -> None:
    """The start found for a repeating stretch is what the detector holds after many repeats in a row."""
    table, rate = Limiter(), 24000.0
    power = np.sin(2 * np.pi * 5 * np.arange(1200) / 1200) ** 2
    start = limiter.settled_start(power, table, rate_hz=rate)
    long = limiter.detected(np.tile(power, 60), table, rate_hz=rate, start=0.0)  # 3 s: exp(-30) of the start is left
    assert long[-1] == pytest.approx(start, rel=1e-9)


def test_coil_heats_and_cools_as_two_exponentials() -> None:
    """`R P (1 - exp(-t/tau))` for each stage under constant power, and `exp(-t/tau)` after it (closed form)."""
    coil = Woofer().coil
    rate = 1000.0
    coil_k, magnet_k = heated(np.full(20000, 25.0), coil, start=COLD, rate_hz=rate)
    times = np.arange(1, 20001) / rate
    np.testing.assert_allclose(coil_k, 25.0 * coil.coil_k_per_w * (1 - np.exp(-times / coil.coil_s)), rtol=1e-8)
    np.testing.assert_allclose(magnet_k, 25.0 * coil.magnet_k_per_w * (1 - np.exp(-times / coil.magnet_s)), rtol=1e-8)
    warm = Heat(coil_k=30.0, magnet_k=10.0)
    falling_coil, falling_magnet = heated(np.zeros(5000), coil, start=warm, rate_hz=rate)
    rested = cooled(warm, coil, 5.0)
    assert (rested.coil_k, rested.magnet_k) == pytest.approx((falling_coil[-1], falling_magnet[-1]), rel=1e-10)
    assert rested.coil_k == pytest.approx(30.0 * math.exp(-5.0 / coil.coil_s))


def test_desk_makes_the_comb_of_one_delayed_copy() -> None:
    """Dips `20 log10(1 - r)` at odd, peaks `20 log10(1 + r)` at even multiples of 1/(2 delay) (closed form)."""
    room = Room()
    delay_s = room.desk_path_difference_m / 343.2  # 20 degC: 343.2 m/s (pyfar constants.speed_of_sound_simple)
    first = 1 / (2 * delay_s)
    assert first == pytest.approx(1200.0, abs=1.0)
    hz = np.linspace(900.0, 1500.0, 6001)
    level = 20 * np.log10(np.abs(direct_response(hz, room, "desk")))
    assert hz[np.argmin(level)] == pytest.approx(first, rel=0.01)
    # The desk's size and smear leave r within 3 % of its mid-band value here: 0.9 dB of a dip of 13.2 dB.
    assert level.min() == pytest.approx(20 * math.log10(1 - room.desk_amplitude), abs=1.0)
    peak = 20 * np.log10(np.abs(direct_response(np.array([2 * first]), room, "desk")))[0]
    assert peak == pytest.approx(20 * math.log10(1 + room.desk_amplitude), abs=0.25)
    np.testing.assert_array_equal(direct_response(hz, room, "stand"), np.ones(hz.size))
    np.testing.assert_array_equal(direct_response(hz, room, "on foam"), np.ones(hz.size))


def test_tail_has_its_energy_and_its_decay() -> None:
    """Energy re the direct sound is minus the stated ratio, low-passed; RT60 by Schroeder's backward integration
    (M. R. Schroeder, J. Acoust. Soc. Am. 37, 1965)."""
    room, grid = Room(), Grid(48000, RATE)
    bins = tail_response(grid, room, seed=3)
    low = (grid.frequency_hz > 200) & (grid.frequency_hz < 1500)
    # 1300 bins of one draw: 10 log10 of a mean of as many exponentials scatters by 4.34/sqrt(600) = 0.2 dB.
    assert 10 * np.log10(np.mean(np.abs(bins[low]) ** 2)) == pytest.approx(-room.direct_to_reverberant_db, abs=0.7)
    energy = np.cumsum(grid.samples(bins)[::-1] ** 2)[::-1]
    decay_db = 10 * np.log10(energy[:14400] / energy[0])
    five, twentyfive = np.argmax(decay_db < -5), np.argmax(decay_db < -25)
    rt60_s = 3 * (twentyfive - five) / RATE
    assert rt60_s == pytest.approx(room.rt60_s, rel=0.08)  # one draw: 20 dB over 0.1 s, about 500 free samples


@pytest.mark.parametrize("pink", [True, False])
def test_noise_has_unit_power_in_its_band(pink: bool) -> None:
    """Power between 20 Hz and 20 kHz by Parseval's theorem; pink noise has equal power in each octave."""
    noise = coloured_noise(20 * RATE, RATE, pink=pink, random=np.random.default_rng(5))
    power = np.abs(np.fft.rfft(noise)) ** 2 * 2 / noise.size**2
    hz = np.fft.rfftfreq(noise.size, 1 / RATE)
    # Pink: half the power lies in 20 to 630 Hz, 12,000 bins: 4.34/sqrt(12,000) x 3 = 0.12 dB.
    assert 10 * np.log10(power[(hz >= 20) & (hz <= 20000)].sum()) == pytest.approx(0.0, abs=0.15)
    octaves = [power[(hz >= f) & (hz < 2 * f)].sum() for f in (500.0, 1000.0, 2000.0, 4000.0)]
    step_db = np.diff(10 * np.log10(octaves))
    np.testing.assert_allclose(step_db, 0.0 if pink else 10 * math.log10(2), atol=0.2)  # 10,000 bins: 3 s.d. is 0.13 dB


@pytest.mark.first(2)
@pytest.mark.parametrize(("rate", "drive_dbfs"), [(48000, -10.0), (44100, -6.0)])
@pytest.mark.parametrize("frequency_hz", [61, 401, 997, 1499, 2011, 3301, 5303, 9733, 13003, 17011])
def test_nothing_folds_into_the_band(frequency_hz: int, rate: int, drive_dbfs: float) -> None:
    """A tone with a prime number of periods in the stretch: folded products fall between its harmonics, where nothing
    but them can be. None is above -110 dB re the fundamental, for products far beyond half the sample rate."""
    grid = Grid(rate, rate)
    tone = 10 ** (drive_dbfs / 20) * np.sin(2 * np.pi * frequency_hz * np.arange(rate) / rate)
    sound = Loudspeaker(Parameters(), grid).play(grid.spectrum(tone), start=State(), settled=True, tolerance=1e-10)
    magnitude = np.abs(sound.pressure) / np.abs(sound.pressure[frequency_hz])
    assert frequency_hz > 10000 or magnitude[2 * frequency_hz] > 1e-4, "without products nothing could fold"
    between = np.ones(magnitude.size, dtype=bool)
    between[::frequency_hz] = False
    in_band = between & (grid.frequency_hz >= 10) & (grid.frequency_hz <= 20000)
    assert 20 * np.log10(magnitude[in_band].max()) < -110.0
