"""Tone bursts between two virtual sound cards, in real time, through a loudspeaker of known answer."""

import numpy as np
import pytest

from distort.__main__ import main
from distort.analysis.sweep.sweeps import Settings
from distort.assembly.condition.burst import analysed_bursts
from distort.recording.takes import takes_of_each_level
from distort.session.files.folder import SessionFolder
from distort.session.recordings.stored import load_recordings
from signals.burst import PEAK_OVER_RMS_DB, PERIODS
from tests.answering_loudspeaker import loudspeaker
from tests.clumsy_session import CommandLine, shorten
from tests.devices.answering import RATE, Answering
from tests.sound_programs import calibrator_on
from tests.test_answering_loudspeaker import CARDS, FULL_SCALE_DB_SPL, patiently

pytestmark = pytest.mark.study

pytest_plugins = ["tests.card_fixtures"]


@pytest.fixture
def distort(capsys) -> CommandLine:
    return CommandLine(capsys)


def top_db(device: Answering, frequency_hz: float) -> float:
    """Highest point of `g |w(t) + r exp(-i 2 pi f T) w(t - T)|`, w the Hann envelope: direct sound and reflection."""
    late_s, length_s = device.reflection_samples / RATE, PERIODS / frequency_hz
    time_s = np.linspace(0.0, length_s + late_s, 20001)

    def envelope(at_s: np.ndarray) -> np.ndarray:
        return np.where((at_s > 0.0) & (at_s < length_s), np.sin(np.pi * at_s / length_s) ** 2, 0.0)

    both = envelope(time_s) + device.reflection * np.exp(-2j * np.pi * frequency_hz * late_s) * envelope(
        time_s - late_s
    )
    return device.gain_db + 20.0 * float(np.log10(np.max(np.abs(both))))


@pytest.mark.sound_card
def test_bursts_are_played_and_recorded_on_a_sound_card(wire, tmp_path, distort) -> None:
    """Peak of the fundamental of a sine of amplitude A: A + 3/4 c A^3, times the path of its envelope."""
    folder = SessionFolder(tmp_path / "monitor")
    assert main(["new", str(folder.root), "--levels", "82,92", "--name", "Monitor A"]) == 0
    shorten(folder.root, rest_s="0.1", period_s="0.25", seconds="1.6", orders="5")
    with folder.plan_path.open("a") as plan:
        plan.write("\n[burst]\nlowest_hz = 400\nhighest_hz = 2000\n")
    with loudspeaker(noise_dbfs=-120.0) as device:
        with calibrator_on(-26.0, sink="microphone"):
            distort.done("calibrate", folder.root, "--spl", "94", "--input", "microphone", "--seconds", "3.5")
        measure = ("measure", folder.root, "--yes", *CARDS, "--only", "burst_92dB")
        patiently(lambda: distort(*measure), status=0)
    recordings = load_recordings(folder, "default")
    assert [one.sidecar.name.stem for one in recordings] == ["burst_92dB"]
    result = analysed_bursts(takes_of_each_level(recordings, "burst"), Settings())
    drive_dbfs = recordings[0].sidecar.drive_dbfs
    tops_db = [top_db(device, frequency_hz) for frequency_hz in result.frequency_hz]
    expected_db = FULL_SCALE_DB_SPL + drive_dbfs + device.change_db(drive_dbfs) + np.array(tops_db) + PEAK_OVER_RMS_DB
    # the third power of an envelope is sharper than the lobe holds: 0.1 dB at this drive; calibrator and drive 0.05 dB
    np.testing.assert_allclose(result.peak_db, expected_db, atol=0.15)
