"""Names and words from files reach the terminal without what commands it: ECMA-48, Unicode Standard Annex 9."""

import io
import os
import shutil
import unicodedata
from pathlib import Path

import pytest
from rich.table import Table

from distort.report.terminal.console import make_console, say
from distort.report.text.readable import readable

pytest_plugins = ["tests.clumsy_fixtures"]

COMMANDS = {
    "escape": ("\x1b[2J\x1b[31m", "\\u001b[2J\\u001b[31m"),
    "one byte for escape [": ("\x9b2J", "\\u009b2J"),
    "carriage return": ("good\rbad", "good\\u000dbad"),
    "backspace": ("a\b", "a\\u0008"),
    "right to left": ("\u202egpj", "\\u202egpj"),
    "a byte that is no UTF-8": ("\udcff", "\\udcff"),
}


def test_no_control_of_unicode_passes_but_ends_of_lines_and_tabs() -> None:
    """Every character that the Unicode database of Python calls a control (Cc) or surrogate (Cs)."""
    passed = [chr(code) for code in range(0x110000) if readable(chr(code)) == chr(code)]
    assert [each for each in passed if unicodedata.category(each) in {"Cc", "Cs"}] == ["\t", "\n"]
    assert not {each for each in passed if unicodedata.bidirectional(each) in {"RLO", "LRO", "RLE", "LRE", "PDF"}}
    assert readable("Größe 3 µV, 音") == "Größe 3 µV, 音"


@pytest.mark.parametrize("name", COMMANDS)
def test_what_is_said_and_what_stands_in_tables_is_spelled_out(name) -> None:
    raw, spelled = COMMANDS[name]
    stream = io.StringIO()
    console = make_console(stream)
    say(console, f"Monitor {raw}.")
    table = Table("loudspeaker")
    table.add_row(f"Monitor {raw}.")
    console.print(table)
    assert stream.getvalue().count(f"Monitor {spelled}.") == 2
    assert raw not in stream.getvalue()


def test_errors_of_folders_with_such_names(distort, tmp_path) -> None:
    ending = distort("check", tmp_path / "\x1b[31mred")
    assert ending.status == 1
    assert "\\u001b[31mred" in ending.err
    assert "\x1b" not in ending.err


def test_a_loudspeaker_and_a_folder_of_such_names_are_measured(distort, recorded_as, tmp_path) -> None:
    session = recorded_as(tmp_path, os.fsdecode(b"monitor\xff\x1b[31m"))
    out = distort.done("analyze", session)
    assert "\x1b" not in out
    assert "monitor\\udcff\\u001b[31m" in out


@pytest.fixture
def recorded_as(made, good, tmp_path):
    """Makes a session with one sweep in it, in a folder of the name given."""
    import soundfile

    from distort.__main__ import main
    from tests.clumsy_session import AS_THE_SWEEP, RATE

    def make(place: Path, name: str) -> Path:
        session = Path(shutil.copytree(made, place / name))
        soundfile.write(place / "take.wav", good, RATE, subtype="FLOAT")
        assert main(["add", str(session), str(place / "take.wav"), *AS_THE_SWEEP]) == 0
        return session

    return make
