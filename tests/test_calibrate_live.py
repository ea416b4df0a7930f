"""distort calibrate without a file: it listens to the calibrator itself, over the virtual sound card."""

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from distort.__main__ import main
from distort.errors import RecordingError
from tests.busy_machine import patiently
from tests.clumsy_session import RATE, CommandLine, contents
from tests.sound_programs import calibrator_on, tone

pytest_plugins = ["tests.card_fixtures"]


@pytest.fixture
def distort(capsys) -> CommandLine:
    return CommandLine(capsys)


@pytest.fixture
def session(tmp_path) -> Path:
    folder = tmp_path / "monitor"
    assert main(["new", str(folder), "--levels", "86", "--name", "Monitor A"]) == 0
    return folder


def in_force(session: Path) -> dict:
    return json.loads((session / "calibration/microphone.json").read_text(encoding="utf-8"))


@pytest.mark.sample
@pytest.mark.sound_card
def test_it_listens_and_keeps_the_recording(wire, session, distort) -> None:
    """94 dB SPL at -26 dBFS: full scale stands for 120."""
    with calibrator_on(-26.0):
        out = patiently(lambda: distort("calibrate", session, "--spl", "94", "--seconds", "3.5"), status=0).out
    assert out.startswith("Listening to default (ALSA), input 1 for 3.5 s at 48000 Hz.\n")
    found = in_force(session)
    # a tone without noise; streams carry it to 3e-8 of full scale
    assert found["spl_of_full_scale"] == pytest.approx(120.0, abs=1e-3)
    assert found["device"] == "default (ALSA), input 1"
    assert found["file"] == "calibration/calibrator_94dB.flac"
    kept, rate = soundfile.read(session / found["file"])
    assert (kept.size, rate) == (round(3.5 * RATE), RATE)
    assert np.max(np.abs(kept)) == pytest.approx(10.0 ** (-26.0 / 20.0), rel=1e-4)


class Ear:
    """A sound card's input that hears a tone of `level_dbfs`, and loses samples as often as `spoilt` says."""

    level_dbfs = -26.0
    spoilt = 0

    def __init__(self, wanted: str | None, *, channel: int, block_samples: int, watch) -> None:
        self.name = f"{wanted}, input {channel}"

    def record(self, seconds: float, *, sample_rate: int) -> np.ndarray:
        if Ear.spoilt:
            Ear.spoilt -= 1
            raise RecordingError("the sound card lost samples")
        return tone(Ear.level_dbfs, seconds=seconds)


@pytest.fixture
def ear(monkeypatch) -> type[Ear]:
    monkeypatch.setattr("distort.capture.devices.sound_input.SoundInput", Ear)
    monkeypatch.setattr(Ear, "level_dbfs", -26.0)
    monkeypatch.setattr(Ear, "spoilt", 0)
    return Ear


@pytest.mark.sample
def test_it_asks_and_closes_like_it_does_of_a_file(session, distort, ear) -> None:
    words = ("calibrate", session, "--spl", "94", "--input", "card", "--input-channel", "2")
    distort.done(*words)
    before = in_force(session)
    assert before["device"] == "card, input 2"
    ear.level_dbfs = -24.0
    assert "118.0 dB SPL, 2.0 dB less than in the calibration of" in refused(distort, *words, inside=session)
    ear.level_dbfs = -26.3
    assert "the same sound reads -0.30 dB now" in distort.done(*words, "--post-check")
    assert in_force(session) == before
    assert (session / "calibration/closing_94dB.flac").exists()
    ear.level_dbfs = -24.0
    assert "the same sound reads +2.00 dB" in distort.done(*words, "--replace")
    assert (session / "calibration/calibrator_94dB_2.flac").exists()


@pytest.mark.sample
def test_a_recording_that_lost_samples_is_made_once_more_then_refused(session, distort, ear) -> None:
    words = ("calibrate", session, "--spl", "94")
    ear.spoilt = 2
    assert "lost samples" in refused(distort, *words, inside=session)
    ear.spoilt = 1
    distort.done(*words)


def refused(distort: CommandLine, *words: object, inside: Path) -> str:
    """What a command says that listened, and must then change nothing."""
    before = contents(inside)
    ending = distort(*words)
    assert contents(inside) == before
    assert ending.status == 1
    assert ending.out.startswith("Listening to ")
    return ending.err


@pytest.mark.sample
@pytest.mark.sound_card
def test_where_nothing_sounds_it_says_so_and_changes_nothing(wire, session, distort) -> None:
    said = refused(distort, "calibrate", session, "--spl", "94", "--seconds", "3", inside=session)
    assert "silent: switch the calibrator on, check channel and gain" in said


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--from", "c.wav", "--input", "3"), "--input is for a sound card, and --from reads a file"),
        (("--from", "c.wav", "--seconds", "3"), "--seconds is for a sound card"),
        (("--channel", "2"), "with a sound card say --input-channel"),
        (("--rate", "1"), "no sample rate in Hz"),
        (("--seconds", "0"), "not above 0"),
    ],
)
def test_words_that_do_not_fit(session, distort, words, said) -> None:
    assert said in distort.refused("calibrate", session, "--spl", "94", *words, status=2, inside=session)


def test_nothing_is_heard_when_there_is_nothing_to_close(session, distort) -> None:
    said = distort.refused("calibrate", session, "--spl", "94", "--post-check", inside=session)
    assert "leave --post-check out" in said


def test_a_simulated_session_is_not_calibrated_with_a_real_microphone(session, distort, ear) -> None:
    distort.done("calibrate", session, "--spl", "94")
    path = session / "calibration/microphone.json"
    path.write_text(json.dumps(in_force(session) | {"device": "simulated monitor"}), encoding="utf-8")
    said = distort.refused("calibrate", session, "--spl", "94", status=2, inside=session)
    assert "session of the simulated loudspeaker" in said
