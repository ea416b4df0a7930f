"""Words of the command line that no user means: one line that shows them, short, and nothing written."""

import os
import shutil
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.clumsy_session import AS_THE_SWEEP, RATE, contents

pytest_plugins = ["tests.clumsy_fixtures", "tests.small_sessions"]

LONG = "x" * 1000
SPACED = "y z " * 300
DIGITS = "9" * 5000
CUT = f"'{'x' * 39}...{'x' * 19}' (1,000 characters)"
CUT_SPACED = f"'{('y z ' * 10)[:39]}...{SPACED[-19:]}' (1,200 characters)"
CUT_DIGITS = f"'{'9' * 39}...{'9' * 19}' (5,000 characters)"

LONGEST_LINE = 340
"""Characters of an error: two shortened values, and the names that would be right."""


@pytest.fixture
def here(analysed, tmp_path, monkeypatch) -> Path:
    """A folder with an analysed session, a recording of noise, and things that are no files."""
    shutil.copytree(analysed, tmp_path / "m")
    monkeypatch.chdir(tmp_path)
    noise = 0.01 * np.random.default_rng(1).standard_normal(RATE)
    for name in ("t.wav", "a\nb.wav"):
        soundfile.write(tmp_path / name, noise, RATE)
    (tmp_path / "folder.wav").mkdir()
    os.mkfifo(tmp_path / "pipe.wav")
    (tmp_path / "t.txt").write_text("hello", encoding="utf-8")
    return tmp_path


ADD = ("add", "m", "t.wav")
ORIGIN = ("origin", "m", "h2", "--hz", "640", "--level", "86")
CALIBRATE = ("calibrate", "m", "--spl", "94")

BAD_WORDS = [
    ((LONG,), 2, f"there is no command {CUT}"),
    (("\n",), 2, "there is no command '\\n'"),
    (("show", "m", LONG), 2, f"argument WHAT: {CUT} is none of overview, quality"),
    (("show", "m", SPACED), 2, f"argument WHAT: {CUT_SPACED} is none of overview, quality"),
    (("show", "m", "response", LONG), 2, f"does not know {CUT}"),
    (("show", "m", "response", "--condition", LONG), 2, f"no condition {CUT} was analysed in m"),
    (("show", "m", "response", "--condition", "a\nb"), 2, "no condition 'a\\nb' was analysed"),
    (("show", "m", "harmonics", "--level", LONG), 2, f"{CUT} is not a number"),
    (("show", "m", "harmonics", "--level", "1e400"), 2, "'1e400' is not a finite number"),
    (("show", "m", "harmonics", "--level", "1e300"), 2, "no level of 1e+300 dB SPL"),
    (("show", LONG, "response"), 2, f"{CUT} is longer than the name of any file or folder"),
    (("show", "none\n\u202e\x1b", "response"), 1, "there is no folder none\\n\\u202e\\u001b: look"),
    (("check", "none\tand more"), 1, "there is no folder none\\tand more"),
    (("new", "n/" * 2000), 2, "(4,000 characters) is longer than the name of any file or folder"),
    (("new", "\N{GREEK SMALL LETTER MU}" * 128), 2, "is longer than the name of any file or folder"),
    (("new", "n", "--name", LONG), 2, "name of the loudspeaker must be a text of at most 200 characters, not of 1,000"),
    (("new", "n", "--name", "\udcff"), 2, "must be a text without control characters"),
    (("new", "n", "--levels", LONG), 2, f"levels {CUT} are not understood"),
    (("new", "n", "--levels", "1e400"), 2, "a number from 20 to 140, not inf"),
    (("new", "n", "--levels", "20:140:1e-9"), 2, "are not understood"),
    (
        ("new", "n", "--levels", ",".join(f"{20 + each / 10:g}" for each in range(200))),
        2,
        "at most 100 of them, not 200",
    ),
    (("new", "n", "--distance", "1e300"), 2, "[setup] distance_m must be a number from 0.005 to 100"),
    (("new", "n", "--conditions", LONG), 2, f"conditions {CUT} must be"),
    (("new", "n", "--conditions", "a\nb"), 2, "'a\\nb' cannot name a condition"),
    (("new", "t.wav/n"), 1, "a file stands where a folder is needed"),
    (("wavelength", LONG), 2, f"{CUT} is neither a frequency"),
    (("wavelength", DIGITS), 2, "as a frequency is outside 1 Hz to 1 MHz"),
    (("wavelength", "1e-320"), 2, "1e-320 as a frequency is outside"),
    (("wavelength", "1200", "--temperature", "1e300"), 2, "is outside -40 ... 60 degC"),
    ((*ORIGIN, "--hz", "1e-320"), 2, "has no row: they reach from 20 to 19953 Hz"),
    ((*ORIGIN, "--hz", "1e308"), 2, "has no row"),
    (("origin", "m", LONG, *ORIGIN[3:]), 2, f"{CUT} is no quantity"),
    (("origin", f"m:{'x' * 250}", *ORIGIN[2:]), 2, "(250 characters) was analysed in m"),
    (("compare", "m", "m:a\nb"), 2, "no recordings of condition 'a\\nb'"),
    (("compare", "m", "none\n"), 1, "there is no folder none\\n:"),
    (("compare", "m", "m", "--calibration-uncertainty", "1e300"), 2, "'1e300' dB is above 100 dB"),
    (("bundle", "m", "--to", "no/such/x.zip"), 1, "no/such/x.zip cannot be written: the folder no/such does not exist"),
    (("bundle", "m", "--to", "pipe.wav"), 1, "pipe.wav exists already"),
    (("bundle", "m", "--to", "x" * 250), 1, "cannot be written: its drive takes no such name"),
    (("freeze", "m", LONG), 2, f"{CUT} cannot be a label"),
    (("freeze", "m", "a\nb"), 2, "'a\\nb' cannot be a label"),
    (("analyze", "m", "--condition", LONG), 1, f"no recordings of condition {CUT}"),
    (("analyze", "m", "--jobs", DIGITS), 2, f"{CUT_DIGITS} is no number of processes"),
    (("analyze", "t.wav", "--stimulus", "t.txt"), 1, "t.txt is not valid JSON"),
    (("analyze", "t.wav", "--stimulus", "folder.wav"), 1, "folder.wav is a folder"),
    (("analyze", "t.wav", "--stimulus", "pipe.wav"), 1, "pipe.wav is a pipe"),
    ((*ADD[:2], "a\nb.wav", *AS_THE_SWEEP), 1, "a\\nb.wav: This channel holds nothing but noise"),
    ((*ADD[:2], "\x1b[2J\n.wav", *AS_THE_SWEEP), 1, "\\u001b[2J\\n.wav is missing"),
    ((*ADD[:2], "folder.wav", *AS_THE_SWEEP), 1, "folder.wav is a folder"),
    ((*ADD[:2], "pipe.wav", *AS_THE_SWEEP), 1, "pipe.wav is a pipe, where a file belongs"),
    ((*ADD, "--stimulus", LONG, "--level", "86"), 1, f"{CUT} cannot name a stimulus"),
    ((*ADD, "--stimulus", "a\nb", "--level", "86"), 1, "'a\\nb' cannot name a stimulus"),
    ((*ADD, "--stimulus", "sweep", "--level", "1e300"), 1, "a level of 1e+300 dB SPL is outside"),
    ((*ADD, *AS_THE_SWEEP, "--condition", LONG), 2, f"session.toml has no condition {CUT}"),
    ((*ADD, *AS_THE_SWEEP, "--channel", DIGITS), 2, f"{CUT_DIGITS} is not a channel"),
    ((*ADD, "--stimulus-file", "folder.wav", "--level", "86"), 1, "folder.wav is a folder"),
    (("add", "m", "--reel", "folder.wav"), 1, "folder.wav is a folder"),
    ((*CALIBRATE, "--from", "folder.wav"), 1, "folder.wav is a folder"),
    ((*CALIBRATE, "--from", "pipe.wav"), 1, "pipe.wav is a pipe"),
    ((*CALIBRATE, "--rate", DIGITS), 2, f"{CUT_DIGITS} is no sample rate"),
    ((*CALIBRATE, "--block", DIGITS), 2, f"{CUT_DIGITS} is no size of a block"),
    ((*CALIBRATE, "--seconds", "1e300"), 2, "'1e300' s is more than an hour"),
    (("measure", "m", "--input-channel", DIGITS), 2, f"{CUT_DIGITS} is not a channel"),
    (("reject", "m", LONG, "--reason", "a"), 1, f"m has no recording {CUT}"),
    (("reject", "m", "default/sweep_86dB", "--reason", LONG), 1, "the reason must be a text of at most 200 characters"),
    (("reject", "m", "default/sweep_86dB", "--reason", "\udcff"), 1, "the reason must be a text without control"),
    (("reject", "", "default/sweep_86dB", "--reason", "a"), 2, "the name is empty"),
    (("stimuli", "m", "--reel", "--up-to", "1e300"), 2, "--up-to 1e+300 is not quiet"),
    (("report", "m", "--condition", "a\nb"), 2, "no condition 'a\\nb' was analysed"),
]


@pytest.mark.parametrize(("words", "status", "said"), BAD_WORDS, ids=range(len(BAD_WORDS)))
def test_one_short_line_and_nothing_written(distort, here, words, status, said) -> None:
    line = distort.refused(*words, status=status, inside=here)
    assert said in line
    assert len(line) < LONGEST_LINE
    assert line.isprintable()


@pytest.mark.parametrize("name", [os.fsdecode(b"na\xffme"), "\u202eeman", "x" * 250])
def test_a_folder_of_any_name_that_every_system_takes_makes_a_session_whose_loudspeaker_has_a_name(
    distort, tmp_path, name
) -> None:
    from distort.session.plan.reading import read_plan

    said = distort.done("new", tmp_path / name)
    assert all(line.isprintable() for line in said.splitlines())
    assert len(said.splitlines()) == 2
    loudspeaker = read_plan(tmp_path / name).loudspeaker.name
    assert loudspeaker.isprintable()
    assert loudspeaker[-2:] == name[-2:]
    assert len(loudspeaker) == min(len(name), 200)


@pytest.mark.study
def test_a_session_of_a_name_with_line_ends_is_told_of_in_single_lines(distort, analysed, tmp_path) -> None:
    """Every command that names its files: no part of a name stands in a line of its own, on either stream."""
    session = Path(shutil.copytree(analysed, tmp_path / "mon\n\u202eitor\x1b[2J"))
    spelled, reject = "mon\\n\\u202eitor\\u001b[2J", ("reject", session, "default/sweep_86dB", "--reason", "a lorry")
    for words, told in (
        (("check", session), spelled),
        (("show", session, "response"), "Monitor A"),
        (("analyze", session), spelled),
        (("stimuli", session), spelled),
        (("freeze", session, "spring"), "spring"),
        (("bundle", session, "--to", tmp_path / "a\nb.zip"), "a\\nb.zip"),
        (reject, "default/sweep_86dB"),
        (("origin", session, "h2", "--hz", "640", "--level", "86"), spelled),
        (("analyze", session, "--summary", tmp_path / "s\n.csv"), "s\\n.csv"),
    ):
        ending = distort(*words)
        said = ending.out + ending.err
        assert told in said
        assert "fault in this program" not in said
        assert "Traceback" not in said
        assert all(line.isprintable() for line in said.splitlines()), said
        assert not [line for line in said.splitlines() if line.startswith(("itor", "b.zip", ".csv", "\\u202eitor"))]


@pytest.mark.study
def test_what_the_figures_cannot_show_is_told_once(distort, analysed, tmp_path) -> None:
    session = Path(shutil.copytree(analysed, tmp_path / "m"))
    plan = session / "session.toml"
    text = plan.read_text(encoding="utf-8")
    assert text.count('title = ""') == 1
    plan.write_text(text.replace('title = ""', 'title = "\N{CJK UNIFIED IDEOGRAPH-97F3} 1"'), encoding="utf-8")
    before = contents(session)
    ending = distort("report", session)
    assert ending.status == 0
    assert ending.err.splitlines() == [
        "Careful: the figures' typeface has no '\N{CJK UNIFIED IDEOGRAPH-97F3}', so a mark stands there for each. "
        "The page has them."
    ]
    assert contents(session) != before
