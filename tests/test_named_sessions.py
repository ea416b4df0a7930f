"""FOLDER:CONDITION wherever a session is named, and the nearest word for one that is not known."""

import argparse
import shutil
from pathlib import Path

import pytest

from distort.capture.measuring.steps import remaining
from distort.commands.sessions import as_typed, settle_condition
from distort.commands.table import build_parser
from distort.commands.values import session_and_condition
from distort.errors import UsageError, did_you_mean
from distort.session.files.folder import SessionFolder
from distort.session.plan.reading import read_plan
from distort.session.recordings.stimulus_files import drives_dbfs
from tests.clumsy_session import CommandLine

pytest_plugins = ["tests.small_sessions"]


@pytest.fixture
def distort(capsys) -> CommandLine:
    return CommandLine(capsys)


@pytest.fixture
def session(analysed, tmp_path, monkeypatch) -> Path:
    """Its condition is called default."""
    monkeypatch.chdir(tmp_path)
    shutil.copytree(analysed, tmp_path / "m")
    return Path("m")


TAKES_ONE = {
    "add": ("a.wav", "--stimulus", "sweep", "--level", "86"),
    "analyze": (),
    "check": (),
    "hear": ("--level", "86"),
    "measure": ("--simulate",),
    "report": (),
    "reject": ("sweep_86dB", "--reason", "x"),
    "residual": ("--level", "86"),
    "relabel": ("sweep_86dB", "--level", "76", "--reason", "x"),
    "show": ("quality",),
}
WHOLE = {
    "bundle": (),
    "calibrate": ("--spl", "94"),
    "freeze": ("edition",),
    "player-level": ("--target", "86"),
    "stimuli": (),
}
OWN_WAY = {"compare", "origin", "new", "listeners"}
"""Two sessions; a target of its own; a folder that is not there yet; a session beside the files, as an option."""


def parsed(*words: str) -> argparse.Namespace:
    arguments = build_parser().parse_args(words)
    settle_condition(arguments)
    return arguments


def test_every_command_that_takes_a_session_is_in_one_of_these() -> None:
    """What has a word FOLDER, or one that begins so."""
    with_folder = {
        name
        for name, parser in build_parser().commands().items()
        if any(str(action.metavar).startswith("FOLDER") or action.dest in {"a", "folder"} for action in parser._actions)
    }
    assert with_folder >= {*TAKES_ONE, *WHOLE, *OWN_WAY}
    for name in with_folder - OWN_WAY - set(WHOLE):
        parsed(name, "m:desk", *TAKES_ONE[name])


@pytest.mark.parametrize("command", TAKES_ONE)
def test_the_condition_behind_the_folder_is_the_one_that_is_meant(command) -> None:
    found = parsed(command, "m:desk", *TAKES_ONE[command])
    assert found.condition == "desk"
    assert (found.targets if command == "analyze" else [found.folder]) == [Path("m")]
    assert getattr(parsed(command, "m", *TAKES_ONE[command]), "condition", None) is None
    if "--condition" in build_parser().commands()[command].words() and command != "relabel":  # there: the true one
        assert parsed(command, "m:desk", *TAKES_ONE[command], "--condition", "desk").condition == "desk"
        with pytest.raises(UsageError, match="are two conditions: say one"):
            parsed(command, "m:desk", *TAKES_ONE[command], "--condition", "stand")


@pytest.mark.parametrize("command", WHOLE)
def test_where_a_condition_means_nothing_a_sentence_says_so(command) -> None:
    with pytest.raises(UsageError, match=r"whole session|every condition.*leave :desk out, and say m$"):
        parsed(command, "m:desk", *WHOLE[command])
    assert parsed(command, "m", *WHOLE[command]).folder == Path("m")


def test_several_sessions_have_no_condition() -> None:
    assert parsed("analyze", "a", "b").targets == [Path("a"), Path("b")]
    with pytest.raises(UsageError, match="goes with one session"):
        parsed("analyze", "a", "b:desk")


@pytest.mark.parametrize(
    ("path", "typed"),
    [("shelf/m", "shelf/m"), ("C:/sessions/m", "C:/sessions/m"), ("my speaker", "'my speaker'"), ("a$b", "'a$b'")],
)
def test_a_path_is_said_as_a_shell_takes_it(path, typed) -> None:
    assert as_typed(Path(path)) == typed


def test_which_colon_is_one(tmp_path, monkeypatch) -> None:
    """A drive's letter and a folder that is called so are none; nothing behind it is a slip."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "odd:name").mkdir()
    assert session_and_condition("odd:name") == (Path("odd:name"), None)
    assert session_and_condition("odd:name:desk") == (Path("odd:name"), "desk")
    assert session_and_condition("C:\\\\sessions\\m") == (Path("C:\\\\sessions\\m"), None)
    assert session_and_condition("C:/sessions/m") == (Path("C:/sessions/m"), None)
    assert session_and_condition("C:/sessions/m:desk") == (Path("C:/sessions/m"), "desk")
    with pytest.raises(argparse.ArgumentTypeError, match="names no condition"):
        session_and_condition("m:")


def test_one_condition_is_shown_checked_and_rejected_in(distort, session) -> None:
    assert "Condition default" in distort.done("show", "m:default", "quality")
    ending = distort("check", "m:default")
    assert "default" in ending.out
    assert "left out from the next analysis on" in distort.done("reject", "m:default", "sweep_86dB", "--reason", "x")
    assert "(did you mean default?)" in distort.refused("check", "m:defalt", status=2, inside=session)


@pytest.mark.parametrize(
    ("words", "status", "meant"),
    [
        (("shwo", "m", "quality"), 2, "show"),
        (("show", "m", "harmonic"), 2, "harmonics"),
        (("show", "m", "audibility", "--background", "rom"), 2, "room"),
        (("show", "m", "quality", "--conditon", "x"), 2, "--condition"),
        (("show", "m:defualt", "quality"), 2, "default"),
        (("show", "m:defualt", "response"), 2, "default"),
        (("analyze", "m:defualt", "--again"), 1, "default"),
        (("measure", "m:defualt", "--simulate"), 2, "default"),
        (("compare", "m:defualt", "m"), 2, "default"),
        (("origin", "m", "tdh", "--hz", "100", "--level", "86"), 2, "thd"),
        (("reject", "m", "default/sweep_68dB", "--reason", "x"), 1, "default/sweep_86dB"),
        (("add", "m", "a.wav", "--stimulus", "swep", "--level", "86"), 1, "sweep_86dB"),
        (("completion", "bsh"), 2, "bash"),
    ],
)
def test_the_nearest_word_is_named(distort, session, words, status, meant) -> None:
    (session.parent / "a.wav").write_bytes((session / "recordings/default/sweep_86dB.wav").read_bytes())
    assert f"(did you mean {meant}?)" in distort.refused(*words, status=status, inside=session)


def test_the_nearest_key_and_value_of_a_plan_are_named(distort, session) -> None:
    plan = session / "session.toml"
    text = plan.read_text(encoding="utf-8")
    plan.write_text(text.replace("orders = 4", "ordres = 4"), encoding="utf-8")
    assert "the nearest known one is 'orders'" in distort.refused("check", session, inside=session)
    plan.write_text(text.replace("[microphone]", '[microphone]\nresponse_is = "respons"'), encoding="utf-8")
    assert "(did you mean response?)" in distort.refused("check", session, inside=session)


def test_the_nearest_recording_of_the_plan_is_named(session) -> None:
    plan = read_plan(session)
    with pytest.raises(UsageError, match=r"has no 'sweep_86db' \(did you mean sweep_86dB\?\)"):
        remaining(SessionFolder(session), plan, drives_dbfs(plan, None), condition="default", only="sweep_86db")


def test_what_is_far_from_every_word_is_not_taken_for_one() -> None:
    assert did_you_mean("phase", ("quality", "response")) == ""
    assert did_you_mean("qualty", ("quality", "response")) == " (did you mean quality?)"


def test_a_session_that_is_there_is_not_made_again(distort, session) -> None:
    said = distort.refused("new", "m", inside=session)
    assert said.startswith("m is a session already, and no plan is overwritten")
    assert "distort check m" in said
