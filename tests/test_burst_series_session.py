"""A burst series through a whole session: live on a quick device, and as files that are brought in one by one."""

import re

import numpy as np
import pytest
import soundfile

from distort.capture.bursts.playing import play_bursts
from distort.capture.bursts.starting import get_ready_for_bursts
from distort.capture.measuring.playing import measure
from distort.capture.measuring.starting import Choice
from distort.errors import PlanError, UsageError
from distort.report.text.burst_series import played_sentences, series_sentences
from distort.session.calibration.drive_file import read_sensitivity
from distort.session.files.folder import SessionFolder
from distort.session.plan.kinds import burst_limits
from distort.session.plan.reading import read_plan
from distort.session.recordings.stored import load_recordings
from distort.session.results.condition_results import read_results
from tests.clumsy_session import CommandLine
from tests.devices.bursting import SaturatingLoudspeaker, met_at_db
from tests.devices.scaled import ScaledLoudspeaker
from tests.session_on_a_wire import FULL_SCALE_DB_SPL, session_on_a_wire

BURSTS = "\n[burst]\nlowest_hz = 250\nhighest_hz = 500\ngap_s = 0.2\n"

SATURATES_AT = 10.0 ** ((76.0 - FULL_SCALE_DB_SPL) / 20.0)


@pytest.fixture
def distort(capsys) -> CommandLine:
    return CommandLine(capsys)


@pytest.fixture
def folder(tmp_path, distort) -> SessionFolder:
    return session_on_a_wire(tmp_path / "monitor", distort, section=BURSTS)


def no_progress(what: str, done: int, total: int) -> None:
    return


def drives_found(folder: SessionFolder, device: ScaledLoudspeaker) -> None:
    measure(
        folder, read_plan(folder.root), device, Choice(condition="default", only="sweep_70dB"), progress=no_progress
    )


@pytest.mark.sample
def test_a_series_goes_up_until_every_band_met_its_limit(folder, distort) -> None:
    """y = A tanh(x / A): 3 dB of compression or the third order's -15 dB, whichever comes first in closed form."""
    device = SaturatingLoudspeaker(saturates_at=SATURATES_AT)
    plan = read_plan(folder.root)
    drives_found(folder, device)
    before = len(device.played)
    ready = get_ready_for_bursts(folder, plan, device, "default")
    said = " ".join(series_sentences(ready, plan))
    assert "4 third octaves from 251 Hz to 501 Hz" in said
    assert f"At most {ready.most.recordings}" in said or f"at most {ready.most.recordings}" in said
    began = device.now()
    played = play_bursts(folder, plan, device, ready, progress=no_progress)
    assert (device.now() - began).total_seconds() <= ready.most.seconds
    assert len(played.recordings) <= ready.most.recordings
    stems = [one.sidecar.name.stem for one in played.recordings]
    assert stems[:5] == ["burst_70dB", "burst_70dB_take2", "burst_70dB_take3", "burst_70dB_take4", "burst_72dB"]
    assert max(device.peaks_dbfs()[before:]) <= plan.safety.max_drive_dbfs
    assert min(device.rests[-len(stems) + 1 :]) >= 8.0
    assert not played.out_of_time
    assert "all 4 bands have ended: 4 met a limit" in " ".join(played_sentences("default", played))
    # nothing is left, so nothing sounds
    count = len(device.played)
    again = get_ready_for_bursts(folder, plan, device, "default")
    assert again.most is None
    assert len(device.played) == count
    assert "every band of the burst series has ended" in " ".join(series_sentences(again, plan))
    # and what it comes to
    assert "How loud it goes: bursts peak at" in distort.done("analyze", folder.root)
    result = read_results(folder, "default").further["burst"]
    # the quiet run was compressed itself, so that a nominal level stands for a little more drive
    nominal_db = read_sensitivity(folder.calibration_path("drive.json")).db_spl
    level_db, ended_by = met_at_db(
        SATURATES_AT, burst_limits(plan), full_scale_db_spl=nominal_db, reference_db_spl=70.0
    )
    assert set(result.ended_by) == {ended_by}
    # linear between steps of 1 dB, where the slope of compression changes by a tenth: 0.02 dB; the lobe lacks under 1 %
    np.testing.assert_allclose(result.level_db_spl, level_db, atol=0.1)
    assert "the first to end is" in distort.done("show", folder.root, "burst")
    # levels of the series are no strangers to the plan
    assert "burst_72dB" not in distort("check", folder.root).out


@pytest.mark.study
def test_a_series_stops_at_the_ceiling_and_goes_on_from_what_is_recorded(folder) -> None:
    path = folder.root / "session.toml"
    path.write_text(f"{path.read_text()}ceiling_db_peak = 86.2\n")
    device = ScaledLoudspeaker()
    plan = read_plan(folder.root)
    drives_found(folder, device)
    measure(folder, plan, device, Choice(condition="default", only="burst_82dB"), progress=no_progress)
    played = play_bursts(
        folder, plan, device, get_ready_for_bursts(folder, plan, device, "default"), progress=no_progress
    )
    # 82 dB SPL and 3.01 leave 1.2 dB to the ceiling: one step of 1 dB
    stems = [one.sidecar.name.stem for one in played.recordings]
    assert stems == [*("burst_70dB", "burst_70dB_take2", "burst_70dB_take3", "burst_70dB_take4"), "burst_83dB"]
    assert {band.top_by for band in played.bands} == {"ceiling"}


def brought_in(folder: SessionFolder, distort: CommandLine, said: str, place, count: int) -> None:
    """Plays the file that was written, through the loudspeaker, and adds what was recorded."""
    stem = re.search(r"(burst_[0-9.]+dB)\.wav: ", said).group(1)
    level = stem.removeprefix("burst_").removesuffix("dB")
    played, rate = soundfile.read(folder.root / f"stimuli/{stem}.wav")
    wire = 10.0 ** ((70.0 - FULL_SCALE_DB_SPL - (-6.0 - 12.0)) / 20.0)  # the quietest file stands for 70 dB SPL
    most = SATURATES_AT / 1.6  # so that it ends soon
    heard = most * np.tanh(wire * np.pad(played, (rate // 2, rate // 2)) / most)
    heard += 1e-6 * np.random.default_rng(count).standard_normal(heard.size)
    soundfile.write(place / f"take{count}.wav", heard, rate, subtype="FLOAT")
    words = ("--stimulus", "burst", "--level", level, "--playback-change-db", "0")
    distort.done("add", folder.root, place / f"take{count}.wav", *words)


@pytest.mark.sample
def test_a_player_gets_one_level_a_file(folder, distort, tmp_path) -> None:
    """The first file four times, then one after the other; the last step up is a small one."""
    said = distort.done("stimuli", folder.root, "--next-burst")
    assert "Hearing: 85 dB(A)" in said
    assert "Play it 4 times" in said
    asked = []
    for count in range(30):
        asked.append(re.search(r"burst_[0-9.]+dB(?=\.wav: )", said).group())
        brought_in(folder, distort, said, tmp_path, count)
        said = distort.done("stimuli", folder.root, "--next-burst")
        if "every band of the burst series has ended" in said:
            break
    else:
        pytest.fail("the series does not end")
    assert asked[:5] == [*["burst_70dB"] * 4, "burst_72dB"]
    levels = [float(stem.removeprefix("burst_").removesuffix("dB")) for stem in asked[3:]]
    assert set(np.diff(levels)) == {1.0, 2.0}
    recordings = load_recordings(folder, "default")
    assert [one.sidecar.name.stem for one in recordings].count("burst_72dB") == 1
    assert len(recordings) == len(asked)


def test_what_cannot_be_played_is_said(folder, distort) -> None:
    """No drives yet, no section, words that contradict each other; nothing sounds and nothing is written."""
    inside = folder.root
    said = distort.refused("measure", inside, "--bursts", "--yes", "--only", "sweep_70dB", inside=inside, status=2)
    assert "--only is about the level series" in said
    said = distort.refused("stimuli", inside, "--next-burst", "--reel", inside=inside, status=2)
    assert "leave --reel and --up-to out" in said
    said = distort.refused("stimuli", inside, "--condition", "default", inside=inside, status=2)
    assert "--condition goes with --next-burst" in said
    plan = read_plan(inside)
    with pytest.raises(UsageError, match="record the level series first"):
        get_ready_for_bursts(folder, plan, ScaledLoudspeaker(), "default")
    path = folder.root / "session.toml"
    path.write_text(f"{path.read_text()}max_orders_db = 3\n")
    with pytest.raises(PlanError, match=r"\[burst\] max_orders_db must be a list of limits in dB"):
        read_plan(inside)
    path.write_text(path.read_text().partition("\n[burst]")[0])
    said = distort.refused("stimuli", inside, "--next-burst", inside=inside, status=2)
    assert "session.toml has no section [burst]" in said


def test_what_was_played_otherwise_does_not_tell_how_loud_the_next_one_is(folder, distort, tmp_path) -> None:
    """The highest level is taken out of the plan: 70 dB SPL would be played 6 dB higher than it was."""
    said = distort.done("stimuli", folder.root, "--next-burst")
    brought_in(folder, distort, said, tmp_path, 0)
    path = folder.root / "session.toml"
    before, inside = path.read_text(), folder.root
    drive = soundfile.read(folder.root / "stimuli/burst_70dB.wav")[0]
    shorter = re.sub(r"db_spl = \[[^]]*\]", "db_spl = [70, 76]", before)
    assert shorter != before
    path.write_text(shorter)
    said = distort.refused("stimuli", inside, "--next-burst", inside=inside, status=2)
    assert "so it does not tell how loud the next burst is, and nothing louder is played" in said
    np.testing.assert_array_equal(soundfile.read(folder.root / "stimuli/burst_70dB.wav")[0], drive)
    path.write_text(before)
    assert "3 times" in distort.done("stimuli", folder.root, "--next-burst")


def test_a_file_whose_recording_was_not_brought_in_is_not_replaced(folder, distort) -> None:
    """Bursts of fewer bands under the name of those that were written before."""
    distort.done("stimuli", folder.root, "--next-burst")
    path, inside = folder.root / "session.toml", folder.root
    path.write_text(path.read_text().replace("highest_hz = 500", "highest_hz = 400"))
    said = distort.refused("stimuli", inside, "--next-burst", inside=inside)
    assert "burst_70dB.wav holds other bursts than those that come next, and no recording of it was brought in" in said
    assert "3 bursts" in distort.done("stimuli", folder.root, "--next-burst", "--replace")
