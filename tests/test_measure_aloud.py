"""The whole job over a virtual sound card: calibrate, measure, stopped by Ctrl-C and taken up again, analyze."""

import io
import json
import os
import pty
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile

from distort.__main__ import main
from tests.clumsy_session import CommandLine, contents, shorten, table

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


def program(*words: str, stdin: int = subprocess.DEVNULL) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "distort", *words],
        stdin=stdin,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


@pytest.mark.sound_card
def test_the_whole_job_over_a_wire_stopped_once_and_taken_up_again(wire, session, distort) -> None:
    """A wire has no distortion, and its level is its drive: 120 dB SPL and -34 dBFS are 86 dB SPL."""
    whoever_does_not_say_yes_hears_the_quiet_run_alone(session)
    the_quiet_run = contents(session / "calibration")
    measured_and_stopped_in_the_second_recording(session)
    kept = contents(session / "recordings")
    assert [name for name in kept if name.endswith(".flac")] == ["default/sweep_86dB.flac"]

    distort.done("measure", session, "--yes", "--loopback-channel", "2")
    after = contents(session / "recordings")
    assert {name: after[name] for name in kept} == kept
    assert contents(session / "calibration") == the_quiet_run
    whole = {"sweep_86dB.flac", "multitone_86dB.flac"}
    assert {name for name in after if name.endswith(".flac")} == {f"default/{name}" for name in whole}
    assert {path.name for path in (session / "loopback/default").iterdir()} == whole
    assert "everything" in distort.done("measure", session, "--yes")

    distort.done("analyze", session)
    findings = json.loads((session / "results/default/findings.json").read_text(encoding="utf-8"))
    assert findings["simulated"] is False
    for level in findings["levels"]:
        # a calibrator is read within 0.01 dB, and a sweep of 2 s bends its own ends
        assert level["measured_db"] == pytest.approx(level["level_db_spl"], abs=0.02)
    harmonics = table(session / "results/default/harmonics_86dB.csv")
    above = harmonics["frequency_hz"] > 40.0
    assert np.nanmax(harmonics["h3_db"][above]) < -90.0


def whoever_does_not_say_yes_hears_the_quiet_run_alone(session: Path) -> None:
    ours, theirs = pty.openpty()
    asked = program("measure", str(session), stdin=theirs)
    os.write(ours, b"no\n")
    out, err = asked.communicate(timeout=60)
    os.close(ours)
    os.close(theirs)
    assert (asked.returncode, said(err)) == (130, [])
    assert "Play it? Type yes: " in out
    assert out.splitlines()[-1].endswith("Nothing of it was played.")
    assert (session / "calibration/drive.json").exists()
    assert not (session / "recordings").exists()


def measured_and_stopped_in_the_second_recording(session: Path) -> None:
    measuring = program("measure", str(session), "--yes", "--loopback-channel", "2")
    while not (session / "recordings/default/sweep_86dB.flac").exists():
        assert measuring.poll() is None, measuring.communicate()
        time.sleep(0.05)
    time.sleep(1.0)  # in the middle of the next one
    measuring.send_signal(signal.SIGINT)
    out, err = measuring.communicate(timeout=30)
    assert measuring.returncode == 130
    assert said(err) == [
        "Stopped. What was recorded is kept: the same command again records the rest.",
        "interrupted",
    ]
    assert "98-126" in out
    plan = [line for line in out.splitlines() if "dB SPL: " in line]
    assert len(plan) == 1
    assert plan[0].startswith("  86 dB SPL: 2 recordings, ")
    assert "drive -34.0, peak " in plan[0]
    assert plan[0].endswith(" 6 h a day")  # 8 / 2^(1/3) = 6.35 h


def said(errors: str) -> list[str]:
    """What the program itself wrote to stderr; ALSA's own library tells there of each gap, on a busy machine."""
    return [line for line in errors.splitlines() if not line.startswith("ALSA lib ")]


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
