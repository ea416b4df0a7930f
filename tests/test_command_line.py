"""The way in and out of the command line: sentences, exit statuses and words that stand for several numbers."""

import argparse
import errno
import subprocess
import sys

import pytest

from distort import __main__ as program
from distort.commands import table, values
from distort.commands.parser import Parser, Subparsers, add_command
from distort.errors import RecordingError, UsageError
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


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("76,86,96,102", (76.0, 86.0, 96.0, 102.0)),
        ("90:102:1.5", (90.0, 91.5, 93.0, 94.5, 96.0, 97.5, 99.0, 100.5, 102.0)),
        ("80:81:0.1", (80.0, 80.1, 80.2, 80.3, 80.4, 80.5, 80.6, 80.7, 80.8, 80.9, 81.0)),
        ("86", (86.0,)),
        ("86:86:1", (86.0,)),
    ],
)
def test_levels(text, expected):
    assert values.levels(text) == expected


@pytest.mark.parametrize("text", ["", "96,86", "86,86", "90:102", "90:102:0", "102:90:1.5", "90:102:5", "a:b:c", "76,"])
def test_levels_that_mean_nothing(text):
    with pytest.raises(argparse.ArgumentTypeError):
        values.levels(text)


@pytest.mark.parametrize(
    ("convert", "text"),
    [(values.names, "stand,,desk"), (values.names, "desk,desk"), (values.channel, "0"), (values.channel, "left")],
)
def test_other_values_that_mean_nothing(convert, text):
    with pytest.raises(argparse.ArgumentTypeError):
        convert(text)


def test_names_and_channels():
    assert values.names("stand, desk") == ("stand", "desk")
    assert values.channel("2") == 2
