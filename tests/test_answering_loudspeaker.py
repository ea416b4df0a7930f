"""The whole job on a loudspeaker that answers: between two virtual sound cards, in real time, of known answer."""

import json
from pathlib import Path

import numpy as np
import pytest

from distort.__main__ import main
from distort.capture.sound_card import loudest_stretch_dbfs
from tests.answering_loudspeaker import loudspeaker
from tests.clumsy_session import CommandLine, Ending, shorten, table
from tests.devices.answering import RATE, Answering, Playing
from tests.sound_programs import calibrator_on, overheard

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
    shorten(folder, rest_s="0.1", period_s="0.25", seconds="2.4", orders="5")
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


@pytest.mark.sound_card
def test_calibrate_measure_analyze_on_a_device_that_answers(wire, session, distort) -> None:
    with loudspeaker(noise_dbfs=-120.0) as device:
        with calibrator_on(-26.0, sink="microphone"):
            distort.done("calibrate", session, "--spl", "94", "--input", "microphone", "--seconds", "3.5")
        for level in ("82", "92"):
            words = ("measure", session, "--yes", *CARDS, "--loopback-channel", "2", "--only", f"sweep_{level}dB")
            assert patiently(distort, *words).status == 0
    found = json.loads((session / "calibration/drive.json").read_text(encoding="utf-8"))
    # the calibrator is read within 0.01 dB, and the smoothing of 1/6 octave averages the ripple of the path
    assert found["db_spl"] == pytest.approx(sensitivity_db(device), abs=0.05)
    distort.done("analyze", session)
    drives = {level: level - found["db_spl"] for level in (82.0, 92.0)}
    require_orders(session, device, drives)


def patiently(distort: CommandLine, *words: object) -> Ending:
    """The same command again where the machine was too busy for the sound card, as it tells its user to."""
    for _ in range(3):
        ending = distort(*words)
        if "the sound card" not in ending.err:
            break
    return ending


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
            assert abs(np.median(error_db)) < 0.02
    change = table(session / "results/default/compression_sweep.csv")
    rows = (change["frequency_hz"] > 200.0) & (change["frequency_hz"] < 5000.0)
    expected_db = device.change_db(drives[92.0]) - device.change_db(drives[82.0])
    # the curve has no memory, so that every row says the same: -0.12 dB, and noise scatters it by far less than 0.01
    assert np.median(change["change_92db"][rows]) == pytest.approx(expected_db, abs=0.003)


@pytest.mark.sound_card
def test_a_calibration_wrong_by_20_db_plays_nothing_above_the_cap(wire, session, distort) -> None:
    """The calibrator gives 114 dB SPL and is taken for 94: every level would be played 20 dB too loud."""
    cap_dbfs = -20.0
    wrong = {"max_drive_dbfs": f"{cap_dbfs:g}", "rest_s": "0.1", "period_s": "0.25", "seconds": "2.4", "orders": "5"}
    shorten(session, **wrong)
    with loudspeaker(), overheard() as played:
        with calibrator_on(-6.0, sink="microphone"):
            distort.done("calibrate", session, "--spl", "94", "--input", "microphone", "--seconds", "3.5", "--replace")
        ending = patiently(distort, "measure", session, "--yes", *CARDS, "--only", "sweep_92dB")
        assert ending.status == 1
        assert "above [safety] max_drive_dbfs = -20" in ending.err
        assert not (session / "recordings").exists()
        assert loudest_dbfs(played) == pytest.approx(-46.0, abs=0.1)  # the quiet run alone
        shorten(session, db_spl="[64]", **wrong)
        assert patiently(distort, "measure", session, "--yes", *CARDS, "--only", "sweep_64dB").status == 0
    assert -24.0 < loudest_dbfs(played) < cap_dbfs


def loudest_dbfs(played: list[np.ndarray]) -> float:
    return loudest_stretch_dbfs(np.concatenate(played).astype(np.float64), RATE)
