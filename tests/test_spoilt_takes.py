"""A take that is no good is repeated once, and refused the second time; what was recorded before stays."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from distort.__main__ import main
from distort.assembly.condition.against_others import against_others
from distort.capture.calibration.calibrating import calibrate_from_samples
from distort.capture.devices.device import samples_in
from distort.capture.devices.guard import Guard
from distort.capture.measuring.playing import measure
from distort.capture.measuring.starting import Choice
from distort.errors import RecordingError
from distort.session.audio.audio_file import read_audio
from distort.session.files.folder import SessionFolder
from distort.session.plan.reading import read_plan
from distort.session.recordings.stored import load_recordings
from tests.clumsy_session import RATE, shorten

LOST = "the sound card lost samples once"


class LosingWire:
    """A wire beside a loopback; the runs whose numbers, from 1, are in `spoilt` lose samples."""

    name = "wire"
    simulated = False

    def __init__(self, *spoilt: int) -> None:
        self.spoilt = spoilt
        self.runs = 0
        self.rests: list[float] = []
        self._elapsed_s = 0.0
        self._loopback: np.ndarray | None = None
        self.delay_samples = 0
        self.cable = True

    def play_and_record(self, playback: np.ndarray, *, sample_rate: int, guard: Guard | None = None) -> np.ndarray:
        self.runs += 1
        self._elapsed_s += playback.size / sample_rate
        if self.runs in self.spoilt:
            raise RecordingError(LOST)
        noise = 1e-5 * np.random.default_rng(self.runs).standard_normal(playback.size + 4800)
        self._loopback = np.pad(playback, (100, 4700)) if self.cable else noise.copy()
        return np.pad(playback, (100 + self.delay_samples, 4700 - self.delay_samples)) + noise

    def record(self, seconds: float, *, sample_rate: int) -> np.ndarray:
        self._elapsed_s += seconds
        return np.zeros(samples_in(seconds, sample_rate))

    def loopback(self) -> np.ndarray | None:
        return self._loopback

    def rest(self, seconds: float) -> None:
        self.rests.append(seconds)
        self._elapsed_s += seconds

    def now(self) -> datetime:
        return datetime(2024, 5, 1, tzinfo=UTC) + timedelta(seconds=self._elapsed_s)


@pytest.fixture
def folder(tmp_path) -> SessionFolder:
    made = SessionFolder(tmp_path / "monitor")
    assert main(["new", str(made.root), "--levels", "86"]) == 0
    shorten(made.root, rest_s="3.0", period_s="0.25")
    calibrator = 0.05 * np.sin(2.0 * np.pi * 1000.0 / RATE * np.arange(5 * RATE))
    calibrate_from_samples(made, calibrator, RATE, db_spl=94.0, device="wire")
    return made


def measured(folder: SessionFolder, device: LosingWire) -> list[str]:
    chosen = Choice(condition="default")
    found = measure(folder, read_plan(folder.root), device, chosen, progress=lambda what, done, total: None)
    return [recording.sidecar.name.stem for recording in found.recordings]


def stems(folder: Path) -> set[str]:
    return {path.stem for path in folder.glob("*.flac")}


@pytest.mark.sample
def test_one_spoilt_take_of_each_is_played_again_after_a_rest(folder) -> None:
    device = LosingWire(1, 2, 4, 6)  # the wake signal may be lost; it is not played again
    assert measured(folder, device) == ["sweep_86dB", "multitone_86dB"]
    assert device.runs == 7
    assert device.rests == [
        3.0,
        3.0,
        3.0,
    ]  # before the second sweep, between the two stimuli, before the second multitone


@pytest.mark.sample
def test_the_second_spoilt_take_ends_it_and_what_is_recorded_stays(folder) -> None:
    with pytest.raises(RecordingError, match="lost samples"):
        measured(folder, LosingWire(4, 5))
    assert stems(folder.recordings_folder("default")) == {"sweep_86dB"}
    assert measured(folder, LosingWire()) == ["multitone_86dB"]


def test_a_quiet_run_that_is_spoilt_twice_sets_no_drive(folder) -> None:
    with pytest.raises(RecordingError, match="lost samples"):
        measured(folder, LosingWire(2, 3))
    assert not folder.calibration_path("drive.json").exists()
    assert not folder.recordings_folder("default").exists()


@pytest.mark.sample
def test_the_loopback_is_kept_sample_for_sample_beside_the_recording(folder) -> None:
    measured(folder, LosingWire())
    assert stems(folder.inside("loopback", "default")) == {"sweep_86dB", "multitone_86dB"}
    for stem in ("sweep_86dB", "multitone_86dB"):
        looped, rate = read_audio(folder.inside("loopback", "default", f"{stem}.flac"))
        recorded, _ = read_audio(folder.inside("recordings", "default", f"{stem}.flac"))
        assert rate == RATE
        # noise of 1e-5 r.m.s., six times that at the most likely peak of 10^6 samples
        assert 0 < np.max(np.abs(recorded - looped)) < 1e-4


@pytest.mark.first(1)
@pytest.mark.parametrize("air_samples", [0, 143])
def test_the_loopback_tells_how_long_the_sound_took(folder, air_samples: int) -> None:
    """Two identical signals `air_samples` apart, 143 samples being 1.02 m at 20 degC (343.2 m/s)."""
    wire = LosingWire()
    wire.delay_samples = air_samples
    measured(folder, wire)
    (recording,) = (one for one in load_recordings(folder, "default") if one.sidecar.stimulus_name == "sweep")
    # a tenth of a sample is 0.7 mm of air
    assert recording.sidecar.sound_delay_s * RATE == pytest.approx(air_samples, abs=0.1)
    finding = next(
        one for one in against_others([recording], read_plan(folder.root))["sweep_86dB"] if one.name == "delay"
    )
    assert ("nearer than the plan says" in finding.sentence) is (air_samples == 0)
    assert finding.verdict == ("usable" if air_samples == 0 else "good")


def test_a_loopback_that_holds_nothing_is_told_before_anything_is_loud(folder) -> None:
    wire = LosingWire()
    wire.cable = False
    with pytest.raises(RecordingError, match="look at its cable, or leave --loopback-channel out"):
        measured(folder, wire)
    assert not folder.recordings_folder("default").exists()
