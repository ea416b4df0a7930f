"""The way in and out of the command line: sentences, exit statuses and words that stand for several numbers."""

import argparse
import errno
import shlex
import subprocess
import sys

import pytest

from distort import __main__ as program
from distort.commands import table, values
from distort.commands.parser import RENAMED, Parser, Subparsers, add_command
from distort.errors import RecordingError, UsageError
from distort.session.plan.keys import Levels
from distort.session.plan.reading import read_plan
from signals import SignalError


class Failing:
    """A command that ends as it is told."""

    def __init__(self, ending: BaseException | None) -> None:
        self.ending = ending

    def add_parser(self, subparsers: "Subparsers[Parser]") -> None:
        parser = add_command(subparsers, "measure", "play and record")
        parser.add_argument("--level", type=values.finite)
        parser.set_defaults(run=self.run)

    def run(self, arguments: argparse.Namespace) -> int:
        if self.ending is not None:
            raise self.ending
        print("done")
        return 0


@pytest.fixture
def end_with(monkeypatch, capsys):
    """Runs `measure`, which ends in the given way, and returns status, stdout and stderr."""

    def run(ending: BaseException | None, *words: str) -> tuple[int, str, str]:
        monkeypatch.setattr(table, "COMMANDS", (Failing(ending),))
        status = program.main(["measure", *words])
        return status, *capsys.readouterr()

    return run


@pytest.mark.parametrize(
    ("ending", "status", "said"),
    [
        (RecordingError("desk/sweep_86dB.flac is silent: check the cable."), 1, "desk/sweep_86dB.flac is silent"),
        (SignalError("stop_hz is not below half the sample rate"), 1, "stop_hz is not below"),
        (UsageError("--reel and --stimulus do not go together"), 2, "do not go together"),
        (FileNotFoundError(errno.ENOENT, "No such file", "a.wav"), 1, "no file or folder a.wav"),
        (PermissionError(errno.EACCES, "Permission denied", "results"), 1, "may not read or write results"),
        (OSError(errno.ENOSPC, "No space left", "results"), 1, "disk is full"),
        (IsADirectoryError(errno.EISDIR, "Is a directory", "results"), 1, "results is a folder"),
        (OSError("the sound system is missing"), 1, "the sound system is missing"),
        (KeyboardInterrupt(), 130, "interrupted"),
        (ZeroDivisionError("division by zero"), 1, "fault in this program: ZeroDivisionError"),
    ],
)
def test_every_ending_is_a_sentence_and_a_status(end_with, ending, status, said):
    got, out, err = end_with(ending)
    assert (got, out) == (status, "")
    assert said in err
    assert "Traceback" not in err
    assert len(err.splitlines()) == 1


def test_debug_shows_the_traceback(end_with):
    status, _, err = end_with(RecordingError("silent"), "--debug")
    assert status == 1
    assert err.startswith("Traceback")
    assert err.endswith("distort: silent\n")


def test_work_that_is_done_ends_with_0(end_with):
    assert end_with(None) == (0, "done\n", "")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["mesure"], "there is no command 'mesure' (did you mean measure?)"),
        (["qqq"], "there is no command 'qqq'. See distort --help"),
        (["measure", "--levle", "86"], "does not know '--levle' (did you mean --level?)"),
        (["measure", "--lev", "86"], "does not know '--lev' (did you mean --level?)"),
        (["measure", "--level", "loud"], "'loud' is not a number"),
        (["measure", "--level", "nan"], "'nan' is not a finite number"),
        (["measure", "--level"], "expected one argument"),
    ],
)
def test_wrong_words_are_named_with_the_nearest_right_ones(monkeypatch, capsys, words, said):
    monkeypatch.setattr(table, "COMMANDS", (Failing(None),))
    assert program.main(words) == 2
    assert said in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("trace m h3 --hz 640 --level 96", "there is no command 'trace' (it is called origin now). See"),
        ("level m --target 86", "there is no command 'level' (it is called player-level now). See"),
        (
            "add m a.wav --stimulus sweep --level 86 --turned-db 0",
            "distort add does not know '--turned-db' (it is called --playback-change-db now). See",
        ),
        ("add m --reel a.wav --turned-db=0", "'--turned-db' (it is called --playback-change-db now). See"),
        (
            "calibrate m --spl 94 --closing",
            "distort calibrate does not know '--closing' (it is called --post-check now). See",
        ),
    ],
)
def test_a_word_of_an_earlier_version_is_answered_with_the_one_of_today(capsys, words, said):
    assert program.main(words.split()) == 2
    out, err = capsys.readouterr()
    assert (out, said in err) == ("", True), err


def test_a_word_of_an_earlier_version_is_none_of_today():
    commands = table.build_parser().commands()
    today = {*commands, *(word for one in commands.values() for word in one.words())}
    assert set(RENAMED.values()) <= today
    assert today & set(RENAMED) == set()


def test_no_command_at_all_shows_the_help_and_is_wrong_usage(capsys):
    assert program.main([]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("usage: distort")


def test_the_reader_of_a_pipe_may_leave_early():
    """`distort ... | head` ends quietly."""
    code = (
        "import sys\nfrom distort import __main__ as program\n"
        "def long(words):\n    [print('x' * 1000) for _ in range(1000)]\n    return 0\n"
        "program._run = long\nsys.exit(program.main(['measure']))"
    )
    writer = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    assert writer.stdout is not None
    writer.stdout.read(10)
    writer.stdout.close()
    assert writer.wait(timeout=20) == 0
    assert writer.stderr is not None
    assert writer.stderr.read() == b""
    writer.stderr.close()


@pytest.mark.parametrize("closed", ["", ">&-", "2>&-", ">&- 2>&-"])
def test_where_nobody_reads_the_work_is_done(closed):
    """A shell may close what a command writes to; and a reader of a printed table may leave early."""
    said = f"{shlex.quote(sys.executable)} -m distort methods"
    assert subprocess.run(f"{said} {closed}", shell=True, check=False, capture_output=True).returncode == 0
    piped = subprocess.run(
        ["bash", "-c", f"{said} | head -1; exit ${{PIPESTATUS[0]}}"], check=False, capture_output=True, text=True
    )
    assert (piped.returncode, piped.stderr) == (0, "")


@pytest.mark.parametrize(
    ("convert", "text"),
    [
        (values.channel, "0"),
        (values.channel, "left"),
        (values.channel, "-1"),
        (values.positive, "0"),
        (values.positive, "-1"),
        (values.finite, "inf"),
        (values.finite, ""),
    ],
)
def test_numbers_that_mean_nothing(convert, text):
    with pytest.raises(argparse.ArgumentTypeError):
        convert(text)


def test_numbers():
    assert values.channel("2") == 2
    assert values.positive("0.5") == 0.5
    assert values.finite("-3") == -3.0


def test_new_makes_a_session_that_reads_back(tmp_path, capsys):
    folder = tmp_path / "monitor"
    assert (
        program.main(["new", str(folder), "--levels", "90:102:6", "--conditions", "stand,desk", "--distance", "0.8"])
        == 0
    )
    out, err = capsys.readouterr()
    assert err == ""
    assert out.splitlines()[0].endswith("levels 90, 96, 102 dB SPL at 1 m, conditions stand, desk.")
    plan = read_plan(folder)
    assert plan.loudspeaker.name == "monitor"
    assert plan.levels.db_spl == (90.0, 96.0, 102.0)
    assert plan.setup.conditions == ("stand", "desk")
    assert plan.setup.distance_m == 0.8


def test_new_takes_the_levels_of_the_plan_where_none_are_named(tmp_path):
    assert program.main(["new", str(tmp_path / "monitor")]) == 0
    assert read_plan(tmp_path / "monitor").levels.db_spl == Levels().db_spl == (81.0, 86.0, 91.0, 96.0, 101.0)


def test_new_never_rewrites_a_plan(tmp_path, capsys):
    (tmp_path / "session.toml").write_text("mine", encoding="utf-8")
    assert program.main(["new", str(tmp_path)]) == 1
    assert "is a session already" in capsys.readouterr().err
    assert (tmp_path / "session.toml").read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize(
    "words", [["--levels", "96,86"], ["--conditions", "a/b"], ["--distance", "0"], ["--levels", "200"]]
)
def test_new_refuses_what_no_plan_can_hold(tmp_path, capsys, words):
    assert program.main(["new", str(tmp_path / "monitor"), *words]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1
    assert not (tmp_path / "monitor").exists()
