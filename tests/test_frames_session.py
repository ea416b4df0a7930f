"""Frames through a whole session: plan, measure, sidecar, analyse, show, figure."""

import numpy as np
import pytest

from distort.capture.measuring import loud_frames
from distort.capture.measuring.playing import measure
from distort.capture.measuring.quiet_run import play_quiet_sweep
from distort.capture.measuring.starting import Choice, require_calibration
from distort.errors import PlanError, TooLoudError
from distort.report.figures.frames import frames_figure
from distort.report.figures.style import Legend
from distort.session.files.folder import SessionFolder
from distort.session.plan.reading import plan_from_text, read_plan
from distort.session.plan.template import plan_text
from distort.session.recordings.stimulus_files import planned
from distort.session.results.condition_results import read_results
from signals.frames import Frames
from tests.clumsy_session import CommandLine
from tests.devices.scaled import ScaledLoudspeaker
from tests.session_on_a_wire import session_on_a_wire

FRAMES = "\n[frames]\nfrequencies_hz = [500, 2000]\nbelow_db = 10\nhighest_levels = 1\n"


@pytest.fixture
def distort(capsys) -> CommandLine:
    return CommandLine(capsys)


@pytest.fixture
def folder(tmp_path, distort) -> SessionFolder:
    """70 and 82 dB SPL, short stimuli, frames at two frequencies of the upper level, a calibrated wire."""
    return session_on_a_wire(tmp_path / "monitor", distort, section=FRAMES)


class LoudHalf(ScaledLoudspeaker):
    """The wire gives less by `lost_db` where the playback is loud: above half of its own peak, sample by sample."""

    def __init__(self, lost_db: float) -> None:
        super().__init__()
        self.lost_db = lost_db

    def play_and_record(self, playback, **given):
        envelope = np.abs(np.lib.stride_tricks.sliding_window_view(np.pad(playback, 48), 97)).max(axis=1)
        loud = envelope > 0.5 * np.max(np.abs(playback))
        return super().play_and_record(playback * np.where(loud, 10.0 ** (-self.lost_db / 20.0), 1.0), **given)


def measured(folder: SessionFolder, device: ScaledLoudspeaker, **choice) -> list[str]:
    plan = read_plan(folder.root)
    done = measure(folder, plan, device, Choice(condition="default", **choice), progress=lambda what, done, total: None)
    return [one.sidecar.name.stem for one in done.recordings]


@pytest.mark.sample
def test_frames_are_recorded_analysed_shown_and_drawn(folder, distort) -> None:
    """Of the frames alone: 2 dB less while they are loud. What is steady loses it in whole, so nothing else changes."""
    measured(folder, ScaledLoudspeaker(), only="sweep_70dB")
    measured(folder, ScaledLoudspeaker(), only="sweep_82dB")
    assert "frames_82dB" in measured(folder, LoudHalf(2.0), only="frames_82dB")
    distort.done("analyze", folder.root)
    (level,) = read_results(folder, "default").further["frames"].levels
    assert level.level_db_spl == 82.0
    for reading in level.readings:
        assert reading.compression_db == pytest.approx(2.0, abs=0.1)  # a third of the 0.3 dB that are asked for
        assert reading.causes == ("instantaneous",)
    said = distort.done("show", folder.root, "frames")
    assert "At 82 dB SPL: instantaneous up to 2.0 dB at" in said
    figure = frames_figure(read_results(folder, "default").further["frames"], Legend(loudspeaker="Monitor A"))
    assert [axes.get_title(loc="left") for axes in figure.axes] == ["500 Hz: instantaneous", "2 kHz: instantaneous"]


@pytest.mark.sample
def test_a_frame_that_is_louder_than_its_quiet_sine_foretells_stops_the_series(folder) -> None:
    with pytest.raises(TooLoudError, match=r"frames_82dB came out 4\.0 dB louder about"):
        measured(folder, LoudHalf(-4.0), only="frames_82dB")
    with pytest.raises(TooLoudError, match=r"nothing louder is played: default/frames_82dB came out 4\.0 dB louder"):
        measured(folder, LoudHalf(0.0))


def test_the_peak_is_expected_at_each_frequency(folder) -> None:
    """A wire of 0 dB: the loudest sine has the level of its drive."""
    plan = read_plan(folder.root)
    quiet = play_quiet_sweep(ScaledLoudspeaker(), plan, require_calibration(folder))
    series = Frames(frequencies_hz=(500.0, 2000.0), drive_dbfs=-30.0)
    assert loud_frames.expected_rms_dbfs(quiet, series) == pytest.approx(-30.0, abs=0.1)


def plan_with(section: str, **sweep: str):
    text = plan_text(name="Monitor A", levels_db_spl=(70.0, 76.0, 82.0)) + section
    for key, value in sweep.items():
        text = text.replace("[sweep]", f"[sweep]\n{key} = {value}")
    return plan_from_text(text, source="a plan")


def test_frames_are_played_at_the_highest_levels_and_not_below_what_the_plan_protects() -> None:
    drives = {70.0: -40.0, 76.0: -34.0, 82.0: -28.0}
    assert "frames" not in {one.stimulus_name for one in planned(plan_with(""), drives)}
    played = [
        one for one in planned(plan_with("\n[frames]\n", lowest_hz="200"), drives) if one.stimulus_name == "frames"
    ]
    assert [one.level_db_spl for one in played] == [76.0, 82.0]
    assert played[0].stimulus.frequencies_hz[0] == 250.0


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ("frequencies_hz = []\n", r"\[frames\] frequencies_hz must be"),
        ("frequencies_hz = [500, 250]\n", "from the lowest to the highest, but 250 comes after 500"),
        ("below_db = 40\n", r"\[frames\] below_db must be a number from 6 to 30"),
        ("frequency = 1\n", "the nearest known one is 'frequencies_hz'"),
    ],
)
def test_frames_that_cannot_be_made_are_refused_with_the_plan(keys, words) -> None:
    with pytest.raises(PlanError, match=words):
        plan_with(f"\n[frames]\n{keys}")
