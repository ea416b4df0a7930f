"""The job without a cable, through the command line: quiet part, volume, louder part, one recording, results."""

import json
import re

import numpy as np
import pytest
import scipy.signal
import soundfile

from distort.capture.reel.importing import REPLACED
from distort.session.files.folder import SessionFolder
from distort.session.recordings.sidecar import read_sidecar, reject
from distort.session.recordings.stored import load_recordings
from signals.levels import db_to_amplitude
from tests.clumsy_session import CommandLine, shorten

RATE = 48000
FULL_SCALE_DB_SPL = 120.0
"""Of the microphone: its calibrator of 94 dB reads -26 dBFS."""


@pytest.fixture
def distort(capsys) -> CommandLine:
    return CommandLine(capsys)


@pytest.fixture
def session(tmp_path, distort):
    """76, 86, 96 dB SPL, short stimuli, a calibrated microphone."""
    folder = tmp_path / "monitor"
    distort.done("new", folder, "--levels", "76,86,96", "--name", "Monitor A")
    shorten(folder, rest_s="10")
    tone = db_to_amplitude(94.0 - FULL_SCALE_DB_SPL) * np.sin(2.0 * np.pi * 1000.0 / RATE * np.arange(4 * RATE))
    soundfile.write(tmp_path / "calibrator.wav", tone, RATE, subtype="FLOAT")
    distort.done("calibrate", folder, "--spl", "94", "--from", tmp_path / "calibrator.wav")
    return folder


def play(session, name, *, off_db=0.0, noise=3e-6):
    """The reel through a player whose volume is `off_db` from right, a room of 20 ms, and a microphone with noise."""
    random = np.random.default_rng(1)
    played, _ = soundfile.read(session / "stimuli" / f"{name}.wav")
    items = json.loads((session / "stimuli" / f"{name}.json").read_text())["reel"]
    # the chirps lie 10 dB below the lowest level
    lowest_dbfs = next(item["drive_dbfs"] for item in items if item["kind"] == "chirp") + 10.0
    gain_db = 76.0 - FULL_SCALE_DB_SPL - lowest_dbfs + off_db
    room = np.zeros(960)
    room[40] = 1.0
    sound = scipy.signal.oaconvolve(np.pad(played, (3 * RATE, RATE)), room) * db_to_amplitude(gain_db)
    path = session.parent / f"{name}_{off_db:g}.wav"
    soundfile.write(path, sound + noise * random.standard_normal(sound.size), RATE, subtype="FLOAT")
    return path


def quiet_passed(distort, session, **player):
    distort.done("stimuli", session, "--reel", "--up-to", "86")
    return distort.done("add", session, "--reel", play(session, "reel_up_to_86dB", **player))


@pytest.mark.sample
def test_the_whole_job(distort, session):
    said = distort.done("stimuli", session, "--reel", "--up-to", "86")
    assert "Hearing: 85 dB(A)" in said
    assert "reel_up_to_86dB.wav plays these levels" in said
    trial = play(session, "reel_up_to_86dB", off_db=-3.2)
    said = distort.done("player-level", session, "--target", "86", "--from", trial)
    assert "The sweep of 86 dB SPL gives 82.8 dB SPL at 1 m" in said
    assert "Turn the player up by 3.2 dB." in said
    right = play(session, "reel_up_to_86dB")
    assert "The volume is right" in distort.done("player-level", session, "--target", "86", "--from", right)
    assert "The quiet part has passed" in distort.done("add", session, "--reel", right)
    distort.done("stimuli", session, "--reel")
    whole = play(session, "reel", off_db=0.1)
    said = distort.done("add", session, "--reel", whole)
    assert "Set aside, because the whole reel was recorded in one go" in said
    assert "no compression result" not in said
    said = distort.done("analyze", session)
    assert "a codec's distortion and noise among it: a reel was played" in said
    findings = json.loads((session / "results/default/findings.json").read_text())
    assert [level["level_db_spl"] for level in findings["levels"]] == [76.0, 86.0, 96.0]
    for level in findings["levels"]:
        assert level["measured_db"] == pytest.approx(level["level_db_spl"] + 0.1, abs=0.01)
    assert [one["source"] for one in findings["compression"]] == ["sweep", "multitone"]
    assert "You may pack up" in distort.done("check", session)
    assert "is in the session already" in distort.refused("add", session, "--reel", whole, inside=session)


def test_the_louder_part_waits_for_the_quiet_part(distort, session):
    assert "when the quiet part has been brought in" in distort.refused("stimuli", session, "--reel", inside=session)
    words = ("stimuli", session, "--reel", "--up-to", "96")
    assert "--up-to 96 is not quiet" in distort.refused(*words, status=2, inside=session)
    assert "say it with --reel" in distort.refused("stimuli", session, "--up-to", "86", status=2, inside=session)


@pytest.mark.sample
def test_a_quiet_part_that_is_too_loud_does_not_pass(distort, session):
    said = quiet_passed(distort, session, off_db=4.0)
    assert "has not passed: it is 4.0 dB louder than it should be. Turn the player down by 4.0 dB." in said
    assert "when the quiet part has been brought in" in distort.refused("stimuli", session, "--reel", inside=session)


@pytest.mark.sample
def test_a_plan_that_changed_asks_for_the_quiet_part_again(distort, session):
    quiet_passed(distort, session)
    path = session / "session.toml"
    path.write_text(path.read_text().replace("db_spl = [76, 86, 96]", "db_spl = [76, 86, 98]"))
    assert "changed since the quiet part was brought in" in distort.refused(
        "stimuli", session, "--reel", inside=session
    )


@pytest.mark.sample
def test_a_level_that_would_pass_the_ceiling_is_not_written(distort, session):
    quiet_passed(distort, session, off_db=2.5)
    path = session / "session.toml"
    path.write_text(path.read_text().replace("ceiling_db_spl = 105", "ceiling_db_spl = 97"))
    said = distort.refused("stimuli", session, "--reel", inside=session)
    # a wire has 98.5 dB SPL everywhere; its reading ripples by 0.2 dB at the ends of the sweep
    assert re.search(r"at 96 dB SPL the loudspeaker would give 98\.[5-7] dB SPL where it is loudest", said)


@pytest.mark.study
def test_what_is_said_of_the_volume_counts(distort, session):
    """The first reel of a session counts as 0; a later one counts only where somebody says how far it was turned."""
    distort.done("stimuli", session, "--reel", "--up-to", "86")
    distort.done("add", session, "--reel", play(session, "reel_up_to_86dB"))
    said = distort.done("add", session, "--reel", play(session, "reel_up_to_86dB", off_db=1.0))
    assert "no compression result: nobody said how far" in said
    distort.done("add", session, "--reel", play(session, "reel_up_to_86dB", off_db=2.0), "--playback-change-db", "2")
    turned = [
        read_sidecar(session / f"recordings/default/sweep_86dB{take}.json").turned_db
        for take in ("", "_take2", "_take3")
    ]
    assert turned == [0.0, None, 2.0]


@pytest.mark.sample
def test_a_part_that_is_no_good_is_left_out_and_told(distort, session):
    """A sweep at 86 dB that was clipped: the rest is kept, the status is 1, and the quiet part has not passed."""
    distort.done("stimuli", session, "--reel", "--up-to", "86")
    path = play(session, "reel_up_to_86dB")
    sound, _ = soundfile.read(path)
    reel = json.loads((session / "stimuli/reel_up_to_86dB.json").read_text())
    part = next(one for one in reel["parts"] if (one["stimulus_name"], one["level_db_spl"]) == ("sweep", 86.0))
    first, end = (3 * RATE + reel["reel"][part[item]]["start_sample"] for item in ("first_item", "end_item"))
    limit = 0.5 * np.max(np.abs(sound[first:end]))
    sound[first:end] = np.clip(sound[first:end], -limit, limit)
    soundfile.write(path, sound, RATE, subtype="FLOAT")
    ending = distort("add", session, "--reel", path)
    assert ending.status == 1
    assert "sweep_86dB: " in ending.out
    assert "are clipped" in ending.out
    assert "parts of it were refused" in ending.out
    assert (session / "recordings/default/sweep_76dB.wav").exists()
    assert not (session / "recordings/default/sweep_86dB.wav").exists()


@pytest.mark.sample
def test_a_rejected_part_comes_again_from_its_reel(distort, session):
    """What was replaced by the whole reel does not: it was set aside by a rule, not by the tester."""
    distort.done("stimuli", session, "--reel", "--up-to", "76")
    path = play(session, "reel_up_to_76dB")
    distort.done("add", session, "--reel", path)
    assert "is in the session already" in distort.refused("add", session, "--reel", path, inside=session)
    distort.done("reject", session, "default/sweep_76dB", "--reason", "a lorry passed")
    distort.done("add", session, "--reel", path)
    recordings = load_recordings(SessionFolder(session), "default")
    again = [one.sidecar for one in recordings if one.sidecar.stimulus_name == "sweep"]
    assert [one.rejected for one in again] == ["a lorry passed", None]
    for one in recordings:
        if one.sidecar.rejected is None:
            reject(one.files.sidecar_path, REPLACED)
    assert "is in the session already" in distort.refused("add", session, "--reel", path, inside=session)


def test_level_without_what_it_needs(distort, session, tmp_path):
    distort.done("stimuli", session, "--reel", "--up-to", "86")
    trial = play(session, "reel_up_to_86dB")
    words = ("player-level", session, "--from", trial, "--target")
    assert "the plan has no level of 90 dB SPL" in distort.refused(*words, "90", status=2, inside=session)
    sound, _ = soundfile.read(trial)
    soundfile.write(tmp_path / "short.wav", sound[: 9 * RATE], RATE, subtype="FLOAT")
    said = distort.refused("player-level", session, "--target", "86", "--from", tmp_path / "short.wav", inside=session)
    assert "no whole sweep" in said or "nothing like" in said
    (session / "calibration/microphone.json").unlink()
    assert "has no calibration" in distort.refused(*words, "86", inside=session)
    # asked before anything is listened to
    assert "has no calibration" in distort.refused("player-level", session, "--target", "86", inside=session)
    both = ("player-level", session, "--target", "86", "--channel", "1")
    assert "--channel is that of a file" in distort.refused(*both, status=2, inside=session)


def test_a_single_recording_at_another_level_is_kept_with_a_warning(distort, session, tmp_path):
    distort.done("stimuli", session)
    played, _ = soundfile.read(session / "stimuli/sweep_86dB.wav")
    lowest_dbfs = json.loads((session / "stimuli/sweep_86dB.json").read_text())["drive_dbfs"]
    sound = np.pad(played, RATE) * db_to_amplitude(86.0 - FULL_SCALE_DB_SPL - lowest_dbfs - 4.0)
    noise = 3e-6 * np.random.default_rng(1).standard_normal(sound.size)
    soundfile.write(tmp_path / "take.wav", sound + noise, RATE, subtype="FLOAT")
    said = distort.done("add", session, tmp_path / "take.wav", "--stimulus", "sweep", "--level", "86")
    assert "the volume stood 4.0 dB too low" in said
    assert "there will be no compression result" in said
    assert read_sidecar(session / "recordings/default/sweep_86dB.json").turned_db is None
