"""Wavelengths: the speed of sound against a reference library, and the words of the command."""

import numpy as np
import pyfar
import pytest

from distort.analysis.common.sound_in_air import delayed_copy_dips_hz, half_wave, quarter_wave, speed_of_sound_m_s
from tests.clumsy_session import CommandLine


@pytest.fixture
def distort(capsys) -> CommandLine:
    return CommandLine(capsys)


@pytest.mark.parametrize("temperature_c", [-20.0, 0.0, 20.0, 35.0, 50.0])
def test_the_speed_of_sound_is_that_of_a_reference_library(temperature_c) -> None:
    """pyfar `constants.speed_of_sound_simple` (ISO 9613-1): it starts from 343.2 m/s at 20 degC, ours from 331.3 at 0,
    both rounded to 0.1 m/s: 0.06 m/s apart at most, a five-thousandth of what 35 K change."""
    expected = pyfar.constants.speed_of_sound_simple(temperature_c)
    assert speed_of_sound_m_s(temperature_c) == pytest.approx(expected, abs=0.06)


def test_one_path_is_half_wave_at_twice_the_frequency_of_its_quarter_wave() -> None:
    """c / (2 f) at 2 f is c / (4 f): exact. 14.3 cm at 1200 Hz and 20 degC: 343.2 / 2400 = 0.1430 m (by hand)."""
    assert half_wave(1200.0) == quarter_wave(600.0)
    assert half_wave(1200.0) == pytest.approx(0.1430, abs=5e-5)  # the fourth digit
    assert half_wave(half_wave(1200.0, 26.0), 26.0) == pytest.approx(1200.0, rel=1e-12)  # double rounding


def test_the_dips_are_where_a_sum_of_two_sounds_is_least() -> None:
    """|1 + r exp(-i 2 pi f d / c)| on a fine grid has its minima there (closed form of a delayed copy)."""
    path_m = 0.143
    frequency_hz = np.arange(100.0, 7000.0, 0.5)
    sum_of_both = np.abs(1.0 + 0.7 * np.exp(-2j * np.pi * frequency_hz * path_m / speed_of_sound_m_s(20.0)))
    inner = sum_of_both[1:-1]
    minima = frequency_hz[1:-1][(inner < sum_of_both[:-2]) & (inner < sum_of_both[2:])]
    np.testing.assert_allclose(delayed_copy_dips_hz(path_m), minima, rtol=0, atol=0.5)  # a step of the grid


@pytest.mark.parametrize("value", ["1200", "1.2kHz", "1200 Hz", "1200hz", "1.2k", "1,2 kHz", "1,2K"])
def test_a_frequency_becomes_lengths_and_what_to_tape(distort, value) -> None:
    out = distort.done("wavelength", value)
    assert "1200 Hz as half wave" in out
    assert "14.3 cm" in out
    assert "1200 Hz as a half wave and 600 Hz as a quarter wave are the same path" in out
    assert "tape" in out
    assert "1200 Hz, 3600 Hz, 6000 Hz" in out


@pytest.mark.parametrize("value", ["14.3cm", "143mm", "0.143m", "0.143 m", "14,3 cm", "0,143 m"])
def test_a_length_becomes_frequencies(distort, value) -> None:
    out = distort.done("wavelength", value)
    assert "1200 Hz as a half wave and 600 Hz as a quarter wave are the same path" in out


def test_words_that_a_shell_takes_apart_and_a_comma_that_may_mean_two_things(distort, tmp_path) -> None:
    assert "1200 Hz as a half wave" in distort.done("wavelength", "14,3", "cm")
    said = distort.refused("wavelength", "1,600", status=2, inside=tmp_path)
    assert "may mean 1.600 or 1600" in said
    assert "1600 Hz as half wave" in distort.done("wavelength", "1,6k")


def test_warm_air_needs_longer_paths(distort) -> None:
    assert "351.9 m/s" in distort.done("wavelength", "1200", "--temperature", "35")
    assert "14.7 cm" in distort.done("wavelength", "1200", "--temperature", "35")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("0.143",), "a length needs its unit"),
        (("fast",), "neither a frequency"),
        (("-5",), "neither a frequency"),
        (("0cm",), "outside 0.1 mm"),
        (("1200", "--temperature", "300"), "degrees Celsius"),
        (("1e999",), "outside 1 Hz"),
    ],
)
def test_what_cannot_be_meant_is_refused(distort, tmp_path, words, said) -> None:
    assert said in distort.refused("wavelength", *words, status=2, inside=tmp_path)
