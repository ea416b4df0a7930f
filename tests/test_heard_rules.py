"""What is heard of music, step by step: means over twelfths of an octave, the path's window, floors, and the noise
that is taken off, in closed form.

Numbers beside a test are the contract; what is held 5 % either side of them turns.
"""

from dataclasses import replace

import numpy as np
import pytest
import scipy.fft

from distort.analysis import heard
from distort.analysis.heard import HeardParts, remainder_db, third_octave_powers
from distort.analysis.programme import CutRecording

RATE = 8000
SIZE = 8000


def test_means_over_a_twelfth_of_an_octave() -> None:
    """From the bin below `k 2^(-1/24)` to the one above `k 2^(1/24)`, both counted; the last ends where bins do."""
    power = np.random.default_rng(3).exponential(size=400)
    found = heard._smoothed(power)
    for k in (0, 1, 7, 100, 250, 393, 399):
        low, high = int(np.floor(k / 2.0 ** (1 / 24))), min(int(np.ceil(k * 2.0 ** (1 / 24))), 399)
        assert found[k] == pytest.approx(np.mean(power[low : high + 1]))


def test_the_window_of_the_path() -> None:
    """From 5 ms before the direct sound, 1 from there on to 0.4 s, 0 from 0.5 s on; raised cosines between."""
    window = heard._path_window(SIZE, RATE)
    at_s = {-0.0052: 0.0, -0.0025: 0.5, 0.0: 1.0, 0.2: 1.0, 0.399: 1.0, 0.45: 0.5, 0.501: 0.0, -0.3: 0.0}
    for since_s, height in at_s.items():
        assert window[round(since_s * RATE) % SIZE] == pytest.approx(height, abs=1e-3)
    quarter = np.sin(np.pi / 8.0) ** 2
    assert window[round(-0.00375 * RATE) % SIZE] == pytest.approx(quarter, abs=1e-9)
    assert window[round(0.475 * RATE)] == pytest.approx(quarter, abs=1e-9)


def recording(power: float, noise: float) -> CutRecording:
    frequency_hz = scipy.fft.rfftfreq(SIZE, 1.0 / RATE)
    return CutRecording(
        frequency_hz=frequency_hz,
        spectrum=np.full(frequency_hz.size, np.sqrt(power), dtype=np.complex128),
        noise=np.full(frequency_hz.size, noise),
        seconds=SIZE / RATE,
    )


@pytest.mark.parametrize(("over", "told"), [(4.2, 1.0), (3.8, 0.0)])
def test_music_is_told_from_four_times_the_power_of_noise_on(over, told) -> None:
    """Noise of d full scales squared per hertz has `d / (seconds scale)` in a bin's square."""
    one = recording(1.0, 0.0)
    noise = one.seconds * one.scale / over
    np.testing.assert_array_equal(heard._above_noise(replace(one, noise=np.full(one.noise.size, noise))), told)
    np.testing.assert_array_equal(heard._above_noise(replace(one, noise=np.full(one.noise.size, np.nan))), 1.0)


def test_a_part_is_silent_up_to_twice_its_floor() -> None:
    """Mean square times the scale."""
    part = 2.0 * np.exp(1j * np.linspace(0.0, 9.0, 50))
    assert heard._above(part, 0.5, 2.0 / 2.1) is part
    assert not np.any(heard._above(part, 0.5, 2.0 / 1.9))


@pytest.mark.parametrize(("over", "share"), [(8.0, 1.0 - 1.0 / 8.0), (2.1, 1.0 - 1.0 / 2.1), (1.9, 0.0)])
def test_noise_takes_its_power_of_what_was_added(over, share) -> None:
    """Of a steady tone: `1 - noise / power` is left, nothing of it below twice the noise."""
    left = np.exp(1j * np.linspace(0.0, 30.0, 400))
    found = heard._without_noise(left, 1.0 / over, seconds=4.0, width_hz=200.0)
    np.testing.assert_allclose(found, np.sqrt(share) * left, atol=1e-9)
    assert not np.any(heard._without_noise(left, np.nan, seconds=4.0, width_hz=200.0))
    np.testing.assert_allclose(heard._without_noise(left, 0.0, seconds=4.0, width_hz=200.0), left)


@pytest.mark.parametrize(("width_hz", "window_s"), [(200.0, 0.15), (60.0, 0.4)])
def test_noise_is_held_against_24_values_at_a_moment(width_hz, window_s) -> None:
    """Over `24 / width`, or the 0.15 s over which a gain is fitted where that is longer. A step of power from 0 to 1:
    the integral of a Hann window of that length; with a noise of a quarter it counts from a half on, at the step."""
    values, seconds = 4000, 4.0
    left = (np.arange(values) >= values // 2).astype(np.complex128)
    since_s = (np.arange(values) - values // 2) * seconds / values
    found = heard._without_noise(left, 0.25, seconds=seconds, width_hz=width_hz)
    share = np.clip(since_s / window_s + 0.5, 0.0, 1.0)
    held = share + np.sin(2.0 * np.pi * (share - 0.5)) / (2.0 * np.pi)
    expected = np.where((since_s >= 0.0) & (held > 0.5), 1.0 - 0.25 / np.maximum(held, 0.5), 0.0)
    far = np.abs(since_s) > 0.003  # three values from where it turns
    np.testing.assert_allclose(np.square(np.abs(found))[far], expected[far], atol=5e-3)


def test_a_path_of_two_arrivals_is_found_where_the_piece_has_sound() -> None:
    """White sound through `1 at 0 s and 0.5 at 30 ms`: what is intended is what was heard."""
    piece = np.random.default_rng(8).standard_normal(RATE)
    size = 3 * RATE
    first = round(heard.FADE_S * RATE)
    sent = np.zeros(size)
    sent[first : first + piece.size] = piece
    echo = sent + 0.5 * np.roll(sent, 240)
    found = heard._through_path(piece, np.asarray(scipy.fft.rfft(echo)), size=size, sample_rate=RATE)
    left = scipy.fft.irfft(found, size) - echo
    assert np.mean(left**2) < 1e-4 * np.mean(echo**2)


def test_powers_of_third_octaves_are_those_of_the_lines_in_them() -> None:
    """A cosine of amplitude a has a^2 / 2; ends at `10^(-+0.05)` of the middle."""
    t = np.arange(SIZE) / RATE
    sound = 0.4 * np.cos(2 * np.pi * 1100.0 * t) + 0.2 * np.cos(2 * np.pi * 1130.0 * t)
    sound += 0.1 * np.cos(2 * np.pi * 880.0 * t) + 0.3 * np.cos(2 * np.pi * 900.0 * t)
    np.testing.assert_allclose(third_octave_powers(sound, RATE, np.array([1000.0])), [0.08 + 0.045], atol=1e-12)
    same = np.zeros(SIZE)
    power = np.array([0.125])
    parts = HeardParts(
        sample_rate=RATE,
        intended=same,
        linear=sound,
        compression=same,
        distortion=same,
        frequency_hz=np.array([1000.0]),
        intended_power=10.0 * power,
        noise_power=0.1 * power,
    )
    above, floor = remainder_db(parts)
    assert (above[0], floor[0]) == (pytest.approx(-10.0), pytest.approx(-20.0))
    assert parts.silent == ("compression", "distortion")
    assert np.all(parts.delivered == sound)


@pytest.mark.parametrize(("hz", "inside"), [(890.0, False), (892.0, True), (1121.0, True), (1123.0, False)])
def test_a_third_octave_ends_where_the_standard_has_it(hz, inside):
    """IEC 61260-1: 1000 x 10^(-+0.05) Hz, 891.3 and 1122.0."""
    tone = np.cos(2.0 * np.pi * hz * np.arange(RATE) / RATE)
    found = third_octave_powers(tone, RATE, np.array([1000.0]))
    assert found[0] == pytest.approx(0.5 if inside else 0.0, abs=1e-9)


def test_an_envelope_goes_back_where_its_band_lies() -> None:
    """Three quarters of the turns go up from its first bin, a quarter lies below; what leaves the spectrum is lost."""
    size = 16
    lines = np.arange(1.0, size + 1.0)
    part = scipy.fft.ifft(lines) * size
    for first, length in ((20, 60), (1, 60), (20, 25)):
        spectrum = np.ones(length, dtype=np.complex128)
        heard._put(spectrum, first, part)
        expected = np.ones(length)
        for k in range(size):
            place = first + (k if k < 12 else k - size)
            if 0 <= place < length:
                expected[place] += lines[k]
        np.testing.assert_allclose(spectrum, expected, atol=1e-9)
