"""What `distort calibrate` asks before it replaces anything, and how it closes the day."""

import json
import os
import pty
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from distort.__main__ import main
from tests.clumsy_session import RATE, contents

pytest_plugins = ["tests.clumsy_fixtures"]


def calibrator(path: Path, level_dbfs: float, *, hz: float = 1000.0) -> Path:
    time_s = np.arange(4 * RATE) / RATE
    soundfile.write(path, 10.0 ** (level_dbfs / 20.0) * np.sin(2.0 * np.pi * hz * time_s), RATE, subtype="FLOAT")
    return path


@pytest.fixture
def empty(tmp_path) -> Path:
    session = tmp_path / "monitor"
    assert main(["new", str(session), "--levels", "86,96"]) == 0
    return session


def in_force(session: Path) -> dict:
    return json.loads((session / "calibration/microphone.json").read_text(encoding="utf-8"))


def test_within_a_decibel_the_new_calibration_is_taken_and_the_difference_told(distort, empty, tmp_path) -> None:
    distort.done("calibrate", empty, "--spl", "94", "--from", calibrator(tmp_path / "a.wav", -30.0))
    out = distort.done("calibrate", empty, "--spl", "94", "--from", calibrator(tmp_path / "b.wav", -29.4))
    assert "the same sound reads +0.60 dB" in out
    # a sine fit of a pure tone is exact to far below this
    assert in_force(empty)["spl_of_full_scale"] == pytest.approx(123.4, abs=1e-4)
    assert (empty / "calibration/calibrator_94dB.wav").exists()
    assert (empty / "calibration/calibrator_94dB_2.wav").exists()


def test_more_than_a_decibel_off_is_refused_until_said(distort, empty, tmp_path) -> None:
    distort.done("calibrate", empty, "--spl", "94", "--from", calibrator(tmp_path / "a.wav", -30.0))
    louder = calibrator(tmp_path / "b.wav", -28.0)
    said = distort.refused("calibrate", empty, "--spl", "94", "--from", louder, inside=empty)
    assert "122.0 dB SPL, 2.0 dB less than in the calibration of" in said
    assert said.endswith("If it is right all the same, say --replace.")
    distort.done("calibrate", empty, "--spl", "94", "--from", louder, "--replace")
    assert in_force(empty)["spl_of_full_scale"] == pytest.approx(122.0, abs=1e-4)


def test_an_implausible_one_is_refused_until_said(distort, empty, tmp_path) -> None:
    quiet = calibrator(tmp_path / "a.wav", -60.0)
    said = distort.refused("calibrate", empty, "--spl", "94", "--from", quiet, inside=empty)
    assert "154.0 dB SPL, outside the usual 100 to 145 dB" in said
    distort.done("calibrate", empty, "--spl", "94", "--from", quiet, "--replace")


@pytest.mark.first(1)
@pytest.mark.parametrize(("answer", "status"), [(b"y\n", 0), (b"n\n", 1), (b"\n", 1)])
def test_on_a_terminal_it_asks(empty, tmp_path, answer, status) -> None:
    quiet = calibrator(tmp_path / "a.wav", -60.0)
    outer, inner = pty.openpty()
    words = ["calibrate", str(empty), "--spl", "94", "--from", str(quiet)]
    process = subprocess.Popen(
        [sys.executable, "-m", "distort", *words], stdin=inner, stdout=subprocess.PIPE, stderr=inner
    )
    os.close(inner)
    os.write(outer, answer)
    out, _ = process.communicate(timeout=60)
    shown = os.read(outer, 65536).decode()
    os.close(outer)
    assert process.returncode == status
    assert "outside the usual" in shown.replace("\r\n", " ")
    assert "Go on all the same? [y/N]" in shown
    assert (empty / "calibration/microphone.json").exists() is (status == 0)
    assert (b"full scale stands for" in out) is (status == 0)


def test_a_check_after_the_work_states_the_drift_and_leaves_the_calibration(distort, empty, tmp_path) -> None:
    distort.done("calibrate", empty, "--spl", "94", "--from", calibrator(tmp_path / "a.wav", -30.0))
    before = in_force(empty)
    # another calibrator, 20 dB louder and at 250 Hz: what counts is what full scale stands for
    after = calibrator(tmp_path / "b.wav", -10.12, hz=250.0)
    out = distort.done("calibrate", empty, "--spl", "114", "--from", after, "--post-check")
    assert "the same sound reads -0.12 dB now" in out
    assert "the levels of the day stand" in out
    assert in_force(empty) == before
    closing = json.loads((empty / "calibration/closing.json").read_text(encoding="utf-8"))
    assert closing["drift_db"] == pytest.approx(-0.12, abs=1e-4)
    assert closing["opening"]["sha256"] == before["sha256"]
    assert (empty / closing["closing"]["file"]).exists()


def test_a_day_that_drifted_is_told(distort, empty, tmp_path) -> None:
    distort.done("calibrate", empty, "--spl", "94", "--from", calibrator(tmp_path / "a.wav", -30.0))
    out = distort.done(
        "calibrate", empty, "--spl", "94", "--from", calibrator(tmp_path / "b.wav", -28.8), "--post-check"
    )
    assert "the same sound reads +1.20 dB now" in out
    assert "Careful: that is more than 0.5 dB" in out


def test_a_check_after_the_work_needs_an_opening_and_replaces_nothing(distort, empty, tmp_path) -> None:
    tone = calibrator(tmp_path / "a.wav", -30.0)
    words = ("calibrate", empty, "--spl", "94", "--from", tone, "--post-check")
    assert "leave --post-check out" in distort.refused(*words, inside=empty)
    assert "--post-check replaces no calibration" in distort.refused(*words, "--replace", status=2, inside=empty)
    assert not any("closing" in name for name in contents(empty))
