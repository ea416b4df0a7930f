"""Bad calibrations, plans, words, results and folders through the command line: one plain line, nothing written."""

import shutil
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.clumsy_session import AS_THE_SWEEP, RATE, contents, heard, read_only

pytest_plugins = ["tests.clumsy_fixtures"]


def calibrator(path: Path, amplitude: float = 0.03) -> Path:
    time_s = np.arange(4 * RATE) / RATE
    soundfile.write(path, amplitude * np.sin(2.0 * np.pi * 1000.0 * time_s), RATE, subtype="FLOAT")
    return path


@pytest.mark.sample
def test_a_calibration_that_comes_too_late_is_told_and_never_mixed_with_dbfs(
    distort, session, recording, good, tmp_path
) -> None:
    distort.done("add", session, recording, *AS_THE_SWEEP)
    distort.done("calibrate", session, "--from", calibrator(tmp_path / "calibrator.wav"), "--spl", "94")
    out = distort.done("analyze", session)
    assert "levels are in dBFS" in out
    assert "The session is calibrated now, but recordings were saved before that" in out
    later = tmp_path / "later.wav"
    soundfile.write(later, heard(session / "stimuli/sweep_96dB.wav", seed=5), RATE, subtype="FLOAT")
    distort.done("add", session, later, "--stimulus", "sweep", "--level", "96")
    said = distort.refused("analyze", session, inside=tmp_path)
    assert "sweep_86dB.wav was saved without a calibration" in said
    assert "--apply-to-earlier" in said


@pytest.mark.parametrize(
    ("what", "words", "status", "said"),
    [
        ("tone", (), 2, "--spl"),
        ("tone", ("--spl", "much"), 2, "'much' is not a number"),
        ("tone", ("--spl", "200"), 1, "outside the usual 100 to 145 dB"),
        ("sweep", ("--spl", "94"), 1, "no steady tone"),
        ("silence", ("--spl", "94"), 1, "switch the calibrator on"),
        ("missing", ("--spl", "94"), 1, "is missing"),
    ],
)
def test_a_bad_calibrator_recording_sets_nothing(
    distort, session, recording, tmp_path, what, words, status, said
) -> None:
    path = tmp_path / "calibrator.wav"
    if what == "tone":
        calibrator(path)
    elif what == "silence":
        calibrator(path, 0.0)
    elif what == "sweep":
        shutil.copyfile(recording, path)
    assert said in distort.refused("calibrate", session, "--from", path, *words, status=status, inside=tmp_path)


COMMANDS_WITH_A_PLAN = {
    "stimuli": (),
    "measure": ("--simulate",),
    "analyze": (),
    "add": ("take.wav", *AS_THE_SWEEP),
}


@pytest.mark.parametrize("command", COMMANDS_WITH_A_PLAN)
def test_an_unknown_key_is_named_with_the_nearest_known_one(distort, session, tmp_path, command) -> None:
    plan = session / "session.toml"
    text = plan.read_text(encoding="utf-8")
    plan.write_text(text.replace("orders = ", "ordres = "), encoding="utf-8")
    said = distort.refused(command, session, *COMMANDS_WITH_A_PLAN[command], inside=tmp_path)
    assert said == f"{plan}: unknown key in [analysis]: 'ordres'; the nearest known one is 'orders'"


def test_more_orders_than_the_sweep_allows_are_refused_with_the_length_that_would_do(
    distort, session, recording, tmp_path
) -> None:
    distort.done("add", session, recording, *AS_THE_SWEEP)
    plan = session / "session.toml"
    plan.write_text(plan.read_text(encoding="utf-8").replace("orders = 4", "orders = 30"), encoding="utf-8")
    for command in (("stimuli",), ("analyze",), ("measure", "--simulate")):
        said = distort.refused(command[0], session, *command[1:], inside=tmp_path)
        assert "30 orders cannot be told apart in a sweep of" in said
        # L = 0.03 s / ln(31/30) = 0.915 s, up to a whole turn at 10 Hz 1.0 s; T = L ln(2200) = 7.70 s, rounded up
        assert "play one of at least 7.7 s" in said


@pytest.mark.parametrize(
    ("words", "status", "what"),
    [
        (("analyze", "none"), 1, "there is no folder"),
        (("analyze", "none.wav", "--stimulus", "monitor/stimuli/sweep_86dB.json"), 1, "none.wav is missing"),
        (("analyze", "take.wav", "--stimulus", "none.json"), 1, "none.json is missing"),
        (("analyze", "take.wav", "--stimulus", "monitor/stimuli/sweep_86dB.wav"), 1, "name the .json file"),
        (("analyze", "take.wav", "--stimulus", "monitor/session.toml"), 1, "name a .json file"),
        (("analyze", "take.wav", "--stimulus", "monitor/stimuli"), 1, "is a folder"),
        (("analyze", "take.wav"), 2, "--stimulus"),
        (("analyze", "monitor", "--stimulus", "monitor/stimuli/sweep_86dB.json"), 2, "is a folder: --stimulus goes"),
        (("analyze", "take.wav", "--stimulus", "monitor/stimuli/sweep_86dB.json", "--json"), 2, "--json"),
        (("analyze", "monitor", "--channel", "2"), 2, "--channel"),
        (("analyze", "monitor", "--condition", "desk"), 1, "no recordings of condition 'desk'"),
        (("analyze", "monitor"), 1, "has no recordings yet"),
        (("analyze", ""), 2, "the name is empty"),
        (("show", "monitor", "response"), 1, "has no results yet: run `distort analyze"),
        (("show", "monitor", "harmonics"), 1, "has no results yet: run `distort analyze"),
        (("show", "monitor", "loudness"), 2, "'loudness'"),
        (("show", "none", "response"), 1, "there is no folder"),
        (("report", "monitor"), 1, "has no results yet: run `distort analyze"),
        (("measure", "monitor"), 2, "say --yes when the room is ready"),
        (("measure", "monitor", "--simulate", "--condition", "desk"), 2, "no condition 'desk'"),
        (("stimuli", "take.wav"), 1, "is not a folder"),
        (("new", "monitor"), 1, "monitor is a session already, and no plan is overwritten"),
        (("new", "take.wav"), 1, "a file stands where a folder is needed"),
        (("new", "take.wav/monitor"), 1, "a file stands where a folder is needed"),
        (("new", ""), 2, "the name is empty"),
        (("new", "other", "--levels", "96,86"), 2, "from the lowest to the highest"),
    ],
)
def test_what_is_missing_or_does_not_go_together(
    distort, session, recording, tmp_path, monkeypatch, words, status, what
) -> None:
    monkeypatch.chdir(tmp_path)
    assert what in distort.refused(*words, status=status, inside=tmp_path)


@pytest.mark.first(1)
@pytest.mark.parametrize("what", ["findings.json", "response_86dB.csv", "harmonics_86dB.csv"])
@pytest.mark.parametrize("how", ["spoilt", "gone"])
def test_spoilt_results_are_not_shown_and_are_made_again(distort, session, recording, tmp_path, what, how) -> None:
    distort.done("add", session, recording, *AS_THE_SWEEP)
    distort.done("analyze", session)
    results = session / "results"
    whole = what_was_found(results)
    if how == "gone":
        (results / "default" / what).unlink()
    else:
        text = (results / "default" / what).read_text(encoding="utf-8")
        (results / "default" / what).write_text(text.replace("-", "x", 3), encoding="utf-8")
    for command in (("show", session, "harmonics"), ("report", session)):
        assert "distort analyze" in distort.refused(*command, inside=tmp_path)
    distort.done("analyze", session)
    assert what_was_found(results) == whole


def what_was_found(results: Path) -> dict[str, bytes]:
    """Apart from the note of the inputs, which says when they were changed."""
    return {name: what for name, what in contents(results).items() if name != "analysed.json"}


@pytest.mark.study
def test_a_read_only_folder_is_named_and_nothing_is_half_written(distort, made, good, shared) -> None:
    session = Path(shutil.copytree(made, shared / "monitor"))
    first, second = shared / "first.wav", shared / "second.wav"
    soundfile.write(first, good, RATE, subtype="FLOAT")
    soundfile.write(second, heard(session / "stimuli/sweep_96dB.wav", seed=3), RATE, subtype="FLOAT")
    distort.done("add", session, first, *AS_THE_SWEEP)
    distort.done("analyze", session)
    (session / "stimuli/sweep_96dB.json").write_bytes((made / "stimuli/sweep_96dB.json").read_bytes())
    tone = calibrator(shared / "calibrator.wav")
    # whoever owns nothing may not even read the program where it is installed, so all of it is loaded before
    rehearsal = Path(shutil.copytree(session, shared / "rehearsal"))
    distort.done("report", rehearsal)
    distort.done("show", rehearsal, "harmonics")
    distort.done("calibrate", rehearsal, "--from", tone, "--spl", "94", "--replace")
    distort.done("new", shared / "rehearsed")
    with read_only(session):
        with pytest.raises(PermissionError):
            (session / "probe").touch()
        for words in (
            ("analyze", session, "--again"),
            ("report", session),
            ("add", session, second, "--stimulus", "sweep", "--level", "96"),
            ("calibrate", session, "--from", tone, "--spl", "94"),
            ("new", session / "inner"),
        ):
            said = distort.refused(*words, inside=shared)
            assert str(session) in said
            assert "is read-only here; make it writable" in said
        assert "H2 dB" in distort.done("show", session, "harmonics")


def test_a_file_that_may_not_be_read_is_named(distort, made, good, shared) -> None:
    session = Path(shutil.copytree(made, shared / "monitor"))
    locked = shared / "locked"
    locked.mkdir()
    soundfile.write(locked / "take.wav", good, RATE, subtype="FLOAT")
    with read_only(session):
        pass  # only sees to it that the copy may be read by everyone
    (locked / "take.wav").chmod(0o000)
    with read_only(session):
        ending = distort("add", session, locked / "take.wav", *AS_THE_SWEEP)
    (locked / "take.wav").chmod(0o644)
    assert ending.status == 1
    assert str(locked / "take.wav") in ending.err
    assert "Permission denied" in ending.err
    assert len(ending.err.splitlines()) == 1
