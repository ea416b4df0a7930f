"""What a silence with the loudspeaker off is worth, by noise, clicks and tones of known power, and who says it."""

import numpy as np
import pytest

from distort.commands.table import build_parser
from distort.recording.quality.noise import octaves_dbfs
from distort.recording.quality.silence_check import check_silence
from distort.report.text.silences_checked import how_to_get_one
from tests.test_hiss import QUIET, RATE, T, white

ON = [octaves_dbfs(white(2e-4, 2.0, seed), RATE) for seed in range(4)]
"""Twice the r.m.s. of `QUIET`: 6.0 dB more."""


def found(samples, *, beside=ON) -> dict:
    return {one.name: one for one in check_silence(samples, RATE, beside=beside)}


def test_level_and_how_much_quieter_are_those_of_the_noise() -> None:
    """White noise of 1e-4 is -77.0 dBFS in all, of which the octaves from 22 Hz to 5.6 kHz hold 70 %, 1.5 dB less; four
    silences of 2 s tell the difference to a tenth of a decibel."""
    said = found(QUIET)
    share_db = 10.0 * np.log10((1000.0 * 10 ** (0.3 * 2.5) - 1000.0 * 10 ** (0.3 * -5.5)) / (RATE / 2))
    assert said["level"].value == pytest.approx(20.0 * np.log10(1e-4 * np.sqrt(2.0)) + share_db, abs=0.1)
    assert said["quieter"].verdict == "good"
    assert "6.0 dB quieter than" in said["quieter"].sentence or "6.1 dB" in said["quieter"].sentence
    assert [one.verdict for one in said.values()] == ["good"] * 4


def test_louder_with_it_off_than_with_it_on_is_told_with_where() -> None:
    """A rumble of 100 to 150 Hz, 20 dB above what is there with it on."""
    rumble = np.sin(2 * np.pi * 120.0 * T) * white(1.0, 10.0, 12)[: T.size]
    spectrum = np.fft.rfft(rumble)
    at_hz = np.fft.rfftfreq(T.size, 1.0 / RATE)
    rumble = np.fft.irfft(np.where((at_hz > 100.0) & (at_hz < 150.0), spectrum, 0.0), T.size)
    said = found(QUIET + rumble * 3e-4 / np.std(rumble))["quieter"]
    assert said.verdict == "usable"
    assert "about 126 Hz: something else sounded" in said.sentence
    assert found(white(2e-4, 10.0, 5))["quieter"].sentence == "It is no quieter than with the loudspeaker on."
    assert "Nothing was recorded with the loudspeaker on" in found(QUIET, beside=[])["quieter"].sentence


def test_clicks_are_counted_and_steady_noise_has_none() -> None:
    clicks = sum(np.where(np.abs(T - at_s) < 0.0005, 1e-2, 0.0) for at_s in (4.0, 7.0))
    said = found(QUIET + clicks)["clicks"]
    assert (said.value, said.verdict) == (2.0, "usable")
    assert "the first 4.0 s after its beginning" in said.sentence
    assert sum(found(white(1e-4, 10.0, seed))["clicks"].value for seed in range(4)) == 0.0


def test_hum_is_told_and_not_judged() -> None:
    """A sine of amplitude 3e-4 is -70.5 dBFS (AES17); the window's lobe holds all but a hundredth of it."""
    said = found(QUIET + 3e-4 * np.sin(2 * np.pi * 100.0 * T))["hum"]
    assert said.value == pytest.approx(20.0 * np.log10(3e-4), abs=0.1)
    assert said.verdict == "good"
    assert "the loudest at 100 Hz" in said.sentence


def test_how_to_get_one_is_a_command_that_the_command_line_takes() -> None:
    """Which is all that a reader sees of it after a measurement."""
    words = how_to_get_one("desk", folder="monitor").partition(", then distort ")[2].split()
    taken = build_parser().parse_args(words)
    assert (taken.command, taken.stimulus, taken.condition) == ("add", "silence", "desk")
