"""A long heating through a session: what is refused, played, ended early, broken off, kept, analysed and shown."""

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from distort.__main__ import main
from distort.assembly.condition.heating import analysed_heating
from distort.capture.heating.playing import HeatingPlayed, play_heating
from distort.capture.heating.starting import HeatingReady, get_ready_for_heating, heating_bytes, heating_of
from distort.capture.measuring.exposure import day_of, sounding_s
from distort.capture.measuring.playing import measure
from distort.capture.measuring.starting import Choice
from distort.errors import DeafError, TooLoudError, UsageError
from distort.recording.takes import settings_of
from distort.report.text.heating import level_sentence
from distort.report.text.heating_played import heating_sentences, played_sentences
from distort.session.files.folder import SessionFolder
from distort.session.plan.reading import read_plan
from distort.session.recordings.sidecar import reject
from distort.session.recordings.stored import load_recordings
from signals.heating import Heating
from signals.long_reel import long_reel
from tests.devices.heated_loudspeaker import HeatedLoudspeaker
from tests.devices.scaled import ScaledLoudspeaker
from tests.session_on_a_wire import session_on_a_wire

LOUD_RMS = 10.0 ** (-48.0 / 20.0)
"""Between 82 dB SPL, a drive of -38 dBFS, and its pilots, at -58."""

PERIODS = 160
"""Of 0.25 s: 40 s."""

pytestmark = pytest.mark.sample


class Quiet:
    """Runs commands that must succeed, without looking at what they print."""

    def done(self, *words: object) -> str:
        assert main([str(word) for word in words]) == 0
        return ""


@pytest.fixture(scope="module")
def measured(tmp_path_factory) -> Path:
    """70 and 82 dB SPL, the multitone of both on record, and ten minutes asked for."""
    folder = session_on_a_wire(tmp_path_factory.mktemp("heating") / "monitor", Quiet(), section="")
    text = folder.plan_path.read_text().splitlines()
    found = [number for number, line in enumerate(text) if line.startswith("# long_minutes = ")]
    assert len(found) == 1
    text[found[0]] = "long_minutes = 10"
    folder.plan_path.write_text("\n".join(text) + "\n")
    plan = read_plan(folder.root)
    measure(folder, plan, ScaledLoudspeaker(), Choice(condition="default"), progress=lambda what, done, total: None)
    return folder.root


@pytest.fixture
def folder(measured, tmp_path) -> SessionFolder:
    shutil.copytree(measured, tmp_path / "monitor")
    return SessionFolder(tmp_path / "monitor")


def ready_for(folder: SessionFolder, device: HeatedLoudspeaker, *, periods: int = PERIODS) -> HeatingReady:
    """What ten minutes would be, but for 40 s and two pilots."""
    ready = get_ready_for_heating(folder, read_plan(folder.root), device, condition="default", level_db_spl=82.0)
    short = replace(ready.heating, loud_periods=periods, asked_periods=periods, pilots_after_s=(0.0, 3.0))
    return replace(ready, heating=short)


def played(folder: SessionFolder, device: HeatedLoudspeaker, *, periods: int = PERIODS) -> HeatingPlayed:
    return play_heating(folder, read_plan(folder.root), device, ready_for(folder, device, periods=periods))


def kept(folder: SessionFolder) -> list[str]:
    return [one.sidecar.name.stem for one in load_recordings(folder, "default")]


def test_it_is_played_as_it_was_said_kept_in_pieces_and_says_what_the_loudspeaker_lost(folder) -> None:
    device = HeatedLoudspeaker(losses_db=(1.0, 0.6), taus_s=(1.5, 15.0), loud_rms=LOUD_RMS)
    done = played(folder, device)
    assert (done.broken_off, done.changed) == (None, None)
    sidecar = done.recording.sidecar
    tone = next(one.sidecar for one in load_recordings(folder, "default") if one.sidecar.name.stem == "multitone_82dB")
    assert sidecar.stimulus.tone == replace(tone.stimulus, settling_periods=0, periods=1)
    assert sidecar.drive_dbfs == tone.drive_dbfs
    assert [check.name for check in sidecar.quality.checks if check.verdict != "good"] == []
    assert sounding_s(sidecar.stimulus) == pytest.approx(sidecar.stimulus.n_samples / 48000)
    (recording,) = (one for one in load_recordings(folder, "default") if one.sidecar.name.stem == "heating_82dB")
    assert recording.sidecar == sidecar
    result = analysed_heating({82.0: [recording]}, settings_of(read_plan(folder.root), None))
    (level,) = result.levels
    for band in level.bands:  # closed form; the clock and its pieces of 10 ms blur the start by as much
        assert [term.tau_s for term in band.course.terms] == pytest.approx([1.5, 15.0], rel=0.05)
        lost_db = 1.0 * (1.0 - np.exp(-40.0 / 1.5)) + 0.6 * (1.0 - np.exp(-40.0 / 15.0))
        assert band.course.change_db == pytest.approx(-lost_db, abs=0.02)
    assert level_sentence(result, level).startswith("Multitone of 82 dB SPL for 40 s: -1.56")


def test_it_ends_by_itself_at_3_db_and_plays_its_pilots(folder) -> None:
    device = HeatedLoudspeaker(losses_db=(6.0,), taus_s=(10.0,), loud_rms=LOUD_RMS)
    done = played(folder, device)
    assert done.changed is not None
    assert -3.6 < done.changed[0] < -3.0  # one chunk of 1 s more takes at most 0.4 dB
    whole = done.recording.sidecar.stimulus
    # 6 (1 - exp(-t / 10)) has lost 3 dB re the second period, at 0.22 dB, after 7.7 s. On top come half a chunk, of
    # which it is the mean, a whole one until the next ends, a piece of 1 s, the second ahead and a period.
    assert 7.7 < whole.loud_s < 7.7 + 0.5 + 1.0 + 1.0 + 1.0 + 0.25
    assert (whole.asked_periods, whole.pilots_after_s) == (PERIODS, (0.0, 3.0))
    assert "ended by itself" in " ".join(played_sentences(ready_for(folder, device), done))


@pytest.mark.first(1)
@pytest.mark.parametrize("end", [KeyboardInterrupt(), TooLoudError("stopped")])
def test_what_was_heard_until_it_was_broken_off_is_kept(folder, end) -> None:
    device = HeatedLoudspeaker(loud_rms=LOUD_RMS, breaks_off=(20.0, end))
    done = played(folder, device)
    assert done.broken_off is end
    whole = done.recording.sidecar.stimulus
    begins = long_reel(whole).starts[3] + whole.loud_start
    assert whole.loud_s == pytest.approx(20.0 - begins / 48000 - 0.5, abs=0.25)  # whole periods, less half a second
    assert whole.pilots_after_s == ()
    assert analysed_heating({82.0: [done.recording]}, settings_of(read_plan(folder.root), None)).levels
    day = day_of(folder)
    assert (day.recordings, day.not_kept) == (len(kept(folder)), 0)  # what is kept is not counted twice


def test_what_is_broken_off_at_once_leaves_nothing(folder) -> None:
    before = kept(folder)
    done = played(folder, HeatedLoudspeaker(loud_rms=LOUD_RMS, breaks_off=(3.0, KeyboardInterrupt())))
    assert done.recording is None
    assert kept(folder) == before
    assert not list(folder.recordings_folder("default").glob("*heating*"))
    assert day_of(folder).not_kept == 1


def test_a_volume_that_was_turned_up_since_the_quiet_run_ends_it_before_it_is_loud(folder) -> None:
    device = HeatedLoudspeaker(loud_rms=LOUD_RMS)
    ready = ready_for(folder, device)
    device.losses_db, device.loud_rms, device.state = np.array([-4.0, 0.0]), -1.0, np.array([1.0, 0.0])  # 4 dB louder
    done = play_heating(folder, read_plan(folder.root), device, ready)
    assert isinstance(done.broken_off, TooLoudError)
    assert "louder than the quiet run foretold" in str(done.broken_off)
    assert device.heard_s * 48000 < long_reel(ready.heating).starts[3] + ready.heating.loud_start + 48000


def test_a_deaf_microphone_ends_it_before_it_is_loud(folder) -> None:
    device = HeatedLoudspeaker(loud_rms=LOUD_RMS)
    ready = ready_for(folder, device)
    device.losses_db, device.loud_rms, device.state = np.array([90.0, 0.0]), -1.0, np.array([1.0, 0.0])
    done = play_heating(folder, read_plan(folder.root), device, ready)
    assert isinstance(done.broken_off, DeafError)
    assert done.recording is None


def test_only_a_level_whose_multitone_is_on_record_is_played(folder) -> None:
    plan = read_plan(folder.root)
    with pytest.raises(UsageError, match=r"holds no multitone of 90 dB SPL.*name one of 70, 82"):
        heating_of(folder, plan, "default", 90.0)
    with pytest.raises(UsageError, match="say how long with long_minutes"):
        heating_of(folder, replace(plan, multitone=replace(plan.multitone, long_minutes=None)), "default", 82.0)
    heating, _ = heating_of(folder, plan, "default", 70.0)
    assert heating.loud_s == 600.0
    reject(folder.recordings_folder("default") / "multitone_82dB.json", "a door")
    with pytest.raises(UsageError, match="holds no multitone of 82 dB SPL"):
        heating_of(folder, plan, "default", 82.0)


def test_what_it_will_be_is_said_before(folder) -> None:
    ready = get_ready_for_heating(
        folder, read_plan(folder.root), HeatedLoudspeaker(), condition="default", level_db_spl=82.0
    )
    said = " ".join(heating_sentences(ready, folder))
    # 8 h at 85 dB are 16 h at 82: 13.1 minutes of 960
    for words in ("for 10 min without a break", "2 % of what NIOSH permits", "Ctrl-C stops", "unattended", "113 MB"):
        assert words in said
    assert heating_bytes(ready.heating) == 3 * long_reel(ready.heating).n_samples
    assert isinstance(ready.heating, Heating)
