"""Words of `distort measure` and `distort devices` that do not fit, and cards that are not there."""

import io
import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from distort.__main__ import main
from tests.clumsy_session import CommandLine, shorten

pytest_plugins = ["tests.card_fixtures"]

RATE = 48000


@pytest.fixture
def distort(capsys) -> CommandLine:
    return CommandLine(capsys)


@pytest.fixture
def session(tmp_path) -> Path:
    """Calibrated so that a wire gives 120 dB SPL at full scale: 94 dB SPL at -26 dBFS."""
    folder = tmp_path / "monitor"
    assert main(["new", str(folder), "--levels", "86", "--name", "Monitor A"]) == 0
    shorten(folder, rest_s="0.1", period_s="0.25", seconds="1.6", orders="5")
    calibrator = 10.0 ** (-26.0 / 20.0) * np.sin(2.0 * np.pi * 1000.0 / RATE * np.arange(5 * RATE))
    soundfile.write(tmp_path / "calibrator.wav", calibrator, RATE, subtype="PCM_24")
    assert main(["calibrate", str(folder), "--spl", "94", "--from", str(tmp_path / "calibrator.wav")]) == 0
    return folder


def test_nothing_is_played_where_nobody_can_be_asked(session, distort, monkeypatch) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("yes\n"))
    assert "say --yes" in distort.refused("measure", session, status=2, inside=session)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--simulate", "--output", "3"), "leave out --output, or --simulate"),
        (("--simulate", "--loopback-channel", "2"), "leave out --loopback-channel, or --simulate"),
        (("--yes", "--input-channel", "0"), "counted 1, 2, 3"),
        (("--yes", "--block", "1"), "no size of a block"),
    ],
)
def test_words_that_do_not_fit(session, distort, words, said) -> None:
    assert said in distort.refused("measure", session, *words, status=2, inside=session)


def test_several_conditions_are_not_measured_in_one_go(session, distort) -> None:
    shorten(session, conditions='["stand", "desk"]')
    said = distort.refused("measure", session, "--yes", status=2, inside=session)
    assert "say with --condition which of stand, desk" in said


def test_a_simulated_session_is_not_measured_in(session, distort) -> None:
    path = session / "calibration/microphone.json"
    calibration = json.loads(path.read_text(encoding="utf-8"))
    path.write_text(json.dumps(calibration | {"device": "simulated monitor"}), encoding="utf-8")
    said = distort.refused("measure", session, "--yes", status=2, inside=session)
    assert "session of the simulated loudspeaker" in said


@pytest.mark.sound_card
def test_devices_lists_the_default(wire, distort) -> None:
    out = distort.done("devices")
    assert "default (ALSA), outputs " in out
    assert "default output and input" in out
    for name in ("loudspeaker", "microphone"):
        assert f"{name} (ALSA), outputs " in out
    assert out.count(" 44100 48000 88200 96000 ") == 3  # a system mixer takes whatever it is given


@pytest.mark.sound_card
def test_without_any_device_it_says_so(wire, session, distort, monkeypatch) -> None:
    import sounddevice

    monkeypatch.setattr(sounddevice, "query_devices", sounddevice.DeviceList)
    for words in (("devices",), ("measure", session, "--yes")):
        assert "no sound card was found: connect one" in distort.refused(*words, inside=session)
