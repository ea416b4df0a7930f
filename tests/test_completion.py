"""What the shell completes, asked of a real shell."""

import shutil
import subprocess

import pytest

from distort.commands.completion import SHELLS, script
from distort.commands.table import build_parser


def completed(words: list[str]) -> set[str]:
    """What bash offers for the last of `words`."""
    asked = " ".join(f"'{word}'" for word in words)
    lines = f"COMP_WORDS=({asked}); COMP_CWORD={len(words) - 1}; _distort; printf '%s\\n' \"${{COMPREPLY[@]}}\""
    done = subprocess.run(
        ["bash", "-c", script("bash", build_parser().commands()) + lines],
        capture_output=True,
        text=True,
        check=True,
        cwd="/",
    )
    return set(done.stdout.split())


@pytest.mark.skipif(shutil.which("bash") is None, reason="there is no bash here")
@pytest.mark.parametrize(
    ("words", "offered"),
    [
        (["distort", "ana"], {"analyze"}),
        (["distort", "measure", "--simu"], {"--simulate"}),
        (["distort", "show", "folder", "harm"], {"harmonics"}),
        (["distort", "calibrate", "--post"], {"--post-check"}),
        (["distort", "verify", "--simu"], set()),
    ],
)
def test_bash_offers_commands_options_and_words(words, offered) -> None:
    assert completed(words) == offered


@pytest.mark.parametrize("shell", SHELLS)
def test_every_command_and_option_is_in_every_script(shell) -> None:
    commands = build_parser().commands()
    text = script(shell, commands)
    for name, command in commands.items():
        assert name in text
        for word in command.words():
            assert word.removeprefix("--") in text, word
