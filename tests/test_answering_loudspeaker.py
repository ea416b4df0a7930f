"""The whole job on a loudspeaker that answers: between two virtual sound cards, in real time, of known answer."""

import json
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile

from distort.__main__ import main
from tests.answering_loudspeaker import loudspeaker
from tests.busy_machine import patiently
from tests.clumsy_session import CommandLine, Ending, contents, shorten, table
from tests.devices.answering import LOUD, RATE, Answering, Playing
from tests.sound_programs import calibrator_on, overheard, tone

pytestmark = pytest.mark.sample

pytest_plugins = ["tests.card_fixtures"]

CARDS = ("--output", "loudspeaker", "--input", "microphone")
FULL_SCALE_DB_SPL = 120.0
"""94 dB SPL at -26 dBFS."""


@pytest.fixture
def distort(capsys) -> CommandLine:
    return CommandLine(capsys)


@pytest.fixture
def session(tmp_path) -> Path:
    folder = tmp_path / "monitor"
    assert main(["new", str(folder), "--levels", "82,92", "--name", "Monitor A"]) == 0
    shorten(folder, rest_s="0.1", period_s="0.25", seconds="1.6", orders="5")
    return folder


def sensitivity_db(device: Answering) -> float:
    """dB SPL at a drive of 0 dBFS if it stayed as it is when driven quietly: power mean of its path over the band.

    Points of the grid are dense against the ripple of the path (one period is 1 kHz); the mean is over log frequency.
    """
    hz = np.geomspace(300.0, 3000.0, 5000)
    return float(10.0 * np.log10(np.mean(10.0 ** (device.path_db(hz) / 10.0)))) + FULL_SCALE_DB_SPL


def test_the_device_answers_a_sine_as_its_closed_form_says() -> None:
    """1 kHz at -10 dBFS for whole periods; noise at -150 dBFS: its share of a line is under 1e-9."""
    device = Answering(noise_dbfs=-150.0)
    playing = Playing(device)
    played = 10.0 ** (-10.0 / 20.0) * np.sin(2.0 * np.pi * 1000.0 * np.arange(2 * RATE) / RATE)
    heard = np.concatenate([playing(block) for block in played.reshape(-1, 480)])
    lines = 2.0 * np.abs(np.fft.rfft(heard[RATE:])) / RATE
    fundamental_db = 20.0 * np.log10(lines[1000])
    assert fundamental_db == pytest.approx(-10.0 + device.change_db(-10.0) + device.path_db(1000.0), abs=1e-6)
    for order in (2, 3):
        expected_db = device.order_db(order, np.array([1000.0]), drive_dbfs=-10.0)[0]
        assert 20.0 * np.log10(lines[1000 * order]) - fundamental_db == pytest.approx(expected_db, abs=1e-5)


@pytest.mark.study  # 70 s in real time; test_answering_at_once goes the same way without a clock
@pytest.mark.sound_card
def test_calibrate_measure_stopped_once_and_taken_up_again_analyze(wire, session, distort) -> None:
    measure = ("measure", str(session), "--yes", *CARDS, "--loopback-channel", "2")
    with loudspeaker(noise_dbfs=-120.0) as device, overheard() as played:
        with calibrator_on(-26.0, sink="microphone"):
            words = ("calibrate", session, "--spl", "94", "--input", "microphone", "--seconds", "3.5")
            patiently(lambda: distort(*words), status=0)
        stopped_in_the_second_recording(session, measure, played)
        kept, the_quiet_run = contents(session / "recordings"), contents(session / "calibration")
        assert [name for name in kept if name.endswith(".flac")] == ["default/sweep_82dB.flac"]
        patiently(lambda: distort(*measure, "--only", "sweep_92dB"), status=0)
    after = contents(session / "recordings")
    assert {name: after[name] for name in kept} == kept
    assert contents(session / "calibration") == the_quiet_run
    both = {"sweep_82dB.flac", "sweep_92dB.flac"}
    assert {name for name in after if name.endswith(".flac")} == {f"default/{name}" for name in both}
    assert {path.name for path in (session / "loopback/default").iterdir()} == both

    found = json.loads((session / "calibration/drive.json").read_text(encoding="utf-8"))
    # the calibrator is read within 0.01 dB, and the smoothing of 1/6 octave averages the ripple of the path
    assert found["db_spl"] == pytest.approx(sensitivity_db(device), abs=0.05)
    distort.done("analyze", session)
    require_orders(session, device, {level: level - found["db_spl"] for level in (82.0, 92.0)})


def stopped_in_the_second_recording(session: Path, words: tuple[str, ...], played: list[np.ndarray]) -> None:
    """By Ctrl-C, in a program of its own, as soon as something loud sounds after the first recording was kept."""

    def attempt() -> Ending:
        measuring = subprocess.Popen(
            [sys.executable, "-m", "distort", *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        while measuring.poll() is None and not (session / "recordings/default/sweep_82dB.flac").exists():
            time.sleep(0.05)
        heard = sum(map(len, played))
        while measuring.poll() is None and not np.any(np.abs(since(played, heard)) > LOUD):
            time.sleep(0.05)
        measuring.send_signal(signal.SIGINT)
        out, err = measuring.communicate(timeout=30)
        return Ending(measuring.returncode, out, err)

    ending = patiently(attempt, status=130)
    # the libraries below print by themselves what an interrupted stream answers
    said = [line for line in ending.err.splitlines() if not line.startswith(("ALSA lib ", "Expression '"))]
    assert said == ["Stopped. What was recorded is kept: the same command again records the rest.", "interrupted"]


def require_orders(session: Path, device: Answering, drives: dict[float, float]) -> None:
    """Second and third order, and what the louder level is compressed by, against the closed forms."""
    for level, drive_dbfs in drives.items():
        harmonics = table(session / f"results/default/harmonics_{level:g}dB.csv")
        rows = (harmonics["frequency_hz"] > 200.0) & (harmonics["frequency_hz"] < 5000.0)
        hz = harmonics["frequency_hz"][rows]
        for order in (2, 3):
            error_db = harmonics[f"h{order}_db"][rows] - device.order_db(order, hz, drive_dbfs=drive_dbfs)
            # smoothing over 1/12 octave takes as much off the ripple's tops as it fills its dips: 0.02 dB is a
            # thousandth of what is read; a row is 2.4 dB off where the ripple is as narrow as the smoothing
            # and noise scatters a median by 1.25 standard deviations of a row (a normal variable's, textbook) over the
            # root of the rows, of which two say one thing: three times that
            row_db = np.median(harmonics[f"h{order}_noise_uncertainty_db"][rows]) / 1.96
            assert abs(np.median(error_db)) < 0.02 + 3.0 * 1.2533 * row_db / np.sqrt(np.sum(rows) / 2.0)
    change = table(session / "results/default/compression_sweep.csv")
    rows = (change["frequency_hz"] > 200.0) & (change["frequency_hz"] < 5000.0)
    expected_db = device.change_db(drives[92.0]) - device.change_db(drives[82.0])
    # the curve has no memory, so that every row says the same: -0.12 dB, and noise scatters it by far less than 0.01
    assert np.median(change["change_92db"][rows]) == pytest.approx(expected_db, abs=0.003)


@pytest.mark.sound_card
def test_a_loudspeaker_above_the_ceiling_is_silent_before_anybody_covers_the_ears(wire, tmp_path, distort) -> None:
    """Even the noise of the quiet run is over 50 dB SPL: its r.m.s. of -46 dBFS is 60, and its peaks are higher."""
    folder = tmp_path / "monitor"
    assert main(["new", str(folder), "--levels", "50"]) == 0
    shorten(folder, ceiling_db_spl="50")
    soundfile.write(tmp_path / "calibrator.wav", tone(-26.0, seconds=5.0), RATE, subtype="PCM_24")
    distort.done("calibrate", folder, "--spl", "94", "--from", tmp_path / "calibrator.wav")
    with loudspeaker(), overheard() as played:
        ending = distort("measure", folder, "--yes", *CARDS)
    assert ending.status == 1
    assert "the microphone heard a peak above -70.0 dBFS" in ending.err
    assert not (folder / "recordings").exists()
    sounded = np.flatnonzero(np.abs(np.concatenate(played)) > 1e-5)
    # the answer takes AHEAD_S and two latencies of the programs between, and the sound card's own 0.2 s follow
    assert 0.0 < np.ptp(sounded) / RATE < 1.0


@pytest.mark.sample
@pytest.mark.sound_card
def test_a_program_that_is_stopped_and_goes_on_is_silent_in_a_fifth_of_a_second(wire, session, distort) -> None:
    """Held for two seconds in the midst of its first loud sweep, by the signal that a terminal sends; then it goes on.

    What the loudspeaker is sent is heard by a program of its own, which is not held.
    """
    words = [sys.executable, "-m", "distort", "measure", str(session), "--yes", *CARDS]
    with loudspeaker(noise_dbfs=-120.0), overheard() as played:
        with calibrator_on(-26.0, sink="microphone"):
            listen = ("calibrate", session, "--spl", "94", "--input", "microphone", "--seconds", "3.5")
            patiently(lambda: distort(*listen), status=0)

        def attempt() -> tuple[Ending, int]:
            measuring = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
            heard = sum(map(len, played))
            while measuring.poll() is None and not np.any(np.abs(since(played, heard)) > LOUD):
                time.sleep(0.02)
            measuring.send_signal(signal.SIGSTOP)
            time.sleep(2.0)
            held_until = sum(map(len, played))
            measuring.send_signal(signal.SIGCONT)
            out, err = measuring.communicate(timeout=30)
            return Ending(measuring.returncode, out, err), held_until

        for _ in range(3):
            ending, held_until = attempt()
            if "lost" not in ending.err and "the sound card stopped" not in ending.err:  # by a machine that is too busy
                break
        time.sleep(2.0)
    assert ending.status == 1, ending
    assert "the computer paused: " in ending.err
    assert not (session / "recordings").exists()
    after = np.flatnonzero(np.abs(since(played, held_until)) > 1e-5)
    assert after.size == 0 or after[-1] / RATE < 0.2


def since(pieces: list[np.ndarray], sample: int) -> np.ndarray:
    """What was heard from a sample on."""
    return np.concatenate([np.zeros(0, np.float32), *pieces])[sample:]
