"""What was meant and what came out of music, as sounds, through devices whose remainder is known in closed form.

Each quiet and each loud recording is made by the device's own formula; the truth is their difference without noise, in
third octaves of the plain spectrum.
"""

from collections.abc import Callable

import numpy as np
import pytest
import scipy.signal

from distort.analysis.heard import HeardParts, _put, heard_parts, third_octave_powers
from distort.analysis.programme import FADE_S
from distort.recording.alignment.clock import repair_clock
from signals.levels import power_to_db
from tests.test_programme import BANDS_HZ, NOISE, PIECE, RATE, UP, take

Device = Callable[[np.ndarray], np.ndarray]

PLAYED = UP * PIECE.samples()


def itself(played: np.ndarray) -> np.ndarray:
    return played


def limiter(played: np.ndarray) -> np.ndarray:
    """A gain that keeps a slowly falling envelope below 0.15, some 6 dB below the piece's peaks."""
    peak = scipy.ndimage.maximum_filter1d(np.abs(played), round(0.005 * RATE))
    keep = np.exp(-1.0 / (0.1 * RATE))
    envelope = scipy.signal.lfilter([1.0 - keep], [1.0, -keep], peak)
    return played * np.minimum(1.0, 0.15 / np.maximum(envelope, 1e-9))


def room(played: np.ndarray) -> np.ndarray:
    """Direct sound and a tail of noise of 0.3 s."""
    n = round(0.3 * RATE)
    impulse = 0.05 * np.random.default_rng(3).standard_normal(n) * np.exp(-6.9 * np.arange(n) / n)
    impulse[0] = 1.0
    return scipy.signal.fftconvolve(played, impulse)


def found(quiet: Device, loud: Device, *, noise: float = NOISE) -> HeardParts:
    return heard_parts(
        take(quiet(PIECE.samples()), seed=1, noise=noise),
        take(loud(PLAYED), seed=2, start=2.0 * RATE + 50.8, noise=noise),
        piece=PLAYED,
        sample_rate=RATE,
        bands_hz=BANDS_HZ,
        louder_db=20.0 * np.log10(UP),
    )


def cut(sound: np.ndarray, heard: HeardParts) -> np.ndarray:
    return np.pad(sound, (round(FADE_S * RATE), heard.intended.size))[: heard.intended.size]


def levels_db(sound: np.ndarray) -> np.ndarray:
    return power_to_db(third_octave_powers(sound, RATE, BANDS_HZ))


def cubic(played: np.ndarray) -> np.ndarray:
    return played + 5.0 * played**3


NOTCHES = {q: scipy.signal.iirnotch(1000.0, q, fs=RATE) for q in (10.0, 40.0)}
HIGH_PASS = scipy.signal.butter(2, 800.0, "high", fs=RATE, output="sos")

DEVICES: dict[str, tuple[Device, Device]] = {
    "limiter in a room": (room, lambda x: room(limiter(x))),
    "dip of 1/28 octave": (itself, lambda x: scipy.signal.lfilter(*NOTCHES[40.0], x)),
    "gain": (itself, lambda x: 0.5 * x),
    "filter": (itself, lambda x: scipy.signal.sosfilt(HIGH_PASS, x)),
    "dip of 1/7 octave": (itself, lambda x: scipy.signal.lfilter(*NOTCHES[10.0], x)),
    "limiter": (limiter, limiter),
    "cubic curve": (cubic, cubic),
    "cubic curve in a room": (room, lambda x: room(cubic(x))),
}

SAMPLE = pytest.mark.sample


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=SAMPLE if place > 1 else ()) for place, name in enumerate(DEVICES)]
)
def test_the_remainder_is_that_of_the_device(name) -> None:
    """Within 0.5 dB in third octaves that stand 10 dB above the floor; the noise lies 57 dB below the quiet music."""
    quiet, loud = DEVICES[name]
    heard = found(quiet, loud, noise=1e-5)
    truth = loud(PLAYED) - UP * quiet(PIECE.samples())
    truth_db, floor_db = levels_db(cut(truth, heard)), power_to_db(heard.noise_power)
    clear = truth_db > floor_db + 10.0
    assert np.sum(clear) > 15
    np.testing.assert_allclose(levels_db(heard.remainder)[clear], truth_db[clear], atol=0.5)
    # intended is what the quiet recording holds, without its noise: 10 dB above it noise moves a level by 0.4 dB
    meant = UP * quiet(PIECE.samples())
    music = levels_db(cut(meant, heard)) > floor_db + 10.0
    np.testing.assert_allclose(levels_db(heard.intended)[music], levels_db(cut(meant, heard))[music], atol=0.4)
    np.testing.assert_allclose(heard.delivered, heard.intended + heard.remainder, atol=1e-12)


def test_of_a_linear_device_nothing_stands_above_the_floor() -> None:
    heard = found(room, room, noise=1e-5)
    assert heard.silent[-2:] == ("compression", "distortion")
    assert np.all(levels_db(heard.remainder) < power_to_db(heard.noise_power) - 10.0)


@SAMPLE
def test_no_noise_is_in_what_is_heard_of_a_gain() -> None:
    """Half the gain is change for good alone. What is heard then is the music itself, to the part that noise 37 dB
    below the quiet music leaves of the fit."""
    heard = found(itself, lambda x: 0.5 * x, noise=1e-4)
    assert heard.silent[-1:] == ("distortion",)
    low = BANDS_HZ < 2000.0
    assert np.all(levels_db(heard.delivered - 0.5 * heard.intended)[low] < power_to_db(heard.noise_power)[low] - 10.0)


def test_without_a_silence_no_distortion_is_heard() -> None:
    """What the noise is nobody knows then."""
    quiet, loud = (take(cubic(one), seed=1) for one in (PIECE.samples(), PLAYED))
    takes = [type(one)(samples=one.samples, start=one.start, silences=()) for one in (quiet, loud)]
    heard = heard_parts(*takes, piece=PLAYED, sample_rate=RATE, bands_hz=BANDS_HZ, louder_db=20.0)
    assert "distortion" in heard.silent


@SAMPLE
def test_a_clock_that_differs_by_100_ppm_is_repaired() -> None:
    """The recorder of the loud one is faster by 100 ppm: 8 s last 12.8 samples longer, by the shift theorem block by
    block; repaired, a wire leaves a remainder 40 dB below the music."""
    played = np.pad(PLAYED, (2 * RATE, 3 * RATE))
    moment = np.arange(round(played.size * 1.0001)) / 1.0001
    spectrum_at = scipy.signal.resample_poly(played, 8, 1)  # eight times as fine, then straight between: -80 dB
    faster = np.interp(moment * 8.0, np.arange(spectrum_at.size), spectrum_at)
    repaired = repair_clock(faster, 100.0, RATE)
    loud = take(PLAYED, seed=2)
    loud = type(loud)(samples=repaired, start=2.0 * RATE, silences=loud.silences)
    quiet = take(PIECE.samples(), seed=1)
    heard = heard_parts(quiet, loud, piece=PLAYED, sample_rate=RATE, bands_hz=BANDS_HZ, louder_db=20.0)
    low = BANDS_HZ < 3000.0  # where straight lines between eighths of a sample still hold
    assert np.all((levels_db(heard.remainder) - levels_db(heard.intended))[low] < -40.0)


def test_added_sound_has_the_level_that_the_noise_leaves_of_it() -> None:
    """White, 10 dB above the floor: with the noise left in it would be 0.4 dB too loud, taken for more 0.8."""
    added = 10.0**0.5 * UP * 1e-5 * np.random.default_rng(7).standard_normal(PLAYED.size)
    heard = found(itself, lambda x: x + added, noise=1e-5)
    high = BANDS_HZ > 1000.0  # where a third octave holds thousands of independent values
    error_db = (levels_db(heard.remainder) - levels_db(cut(added, heard)))[high]
    assert abs(np.median(error_db)) < 0.2


def test_where_music_drowns_in_noise_nothing_is_meant() -> None:
    """White noise 10 dB above the music of some third octaves: no path can be told there."""
    heard = found(itself, itself, noise=1e-2)
    noise = np.square(UP * 1e-2) * BANDS_HZ * (10.0**0.05 - 10.0**-0.05) / (RATE / 2.0)
    drowned = levels_db(cut(PLAYED, heard)) < power_to_db(noise) - 10.0
    assert np.any(drowned)
    assert np.all(levels_db(heard.intended)[drowned] < power_to_db(noise)[drowned] - 100.0)


def test_what_a_moving_gain_spreads_below_a_band_is_put_there() -> None:
    """A line two bins below the band's first is an envelope that turns backwards twice."""
    spectrum = np.zeros(100, dtype=np.complex128)
    _put(spectrum, 50, np.exp(-2j * np.pi * 2.0 * np.arange(20) / 20.0))
    np.testing.assert_allclose(spectrum, np.eye(100)[48], atol=1e-12)
