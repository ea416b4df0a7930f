"""Commands that README and the help show as examples are words that the program knows."""

import re
import shlex
from pathlib import Path

import pytest

from distort.commands.table import build_parser

README = (Path(__file__).resolve().parent.parent / "README.md").read_text(encoding="utf-8")
COMMANDS = build_parser().commands()


def shown_in_readme() -> list[str]:
    """Whole commands in code spans and in blocks for the shell; a span may run on in the next line."""
    spans = [" ".join(span.split()) for span in re.findall(r"`([^`]+)`", re.sub(r"```.*?```", "", README, flags=re.S))]
    blocks = re.findall(r"```sh\n(.*?)```", README, flags=re.S)
    lines = [each for block in blocks for line in block.splitlines() for each in line.split(" && ")]
    return [one.removeprefix(".venv/bin/") for one in (*spans, *lines) if re.match(r"(\.venv/bin/)?distort [a-z]", one)]


def unknown_words(command: str) -> list[str]:
    """The command, or its options, as far as the program does not know them."""
    _, name, *rest = shlex.split(command)
    if name not in COMMANDS:
        return [name]
    options = [word.split("=")[0] for word in rest if word.startswith("--")]
    return [word for word in options if word not in COMMANDS[name].words()]


def test_readme_shows_commands_that_exist() -> None:
    assert len(shown_in_readme()) > 30
    assert {one: unknown_words(one) for one in shown_in_readme() if unknown_words(one)} == {}


def test_readme_names_options_that_exist() -> None:
    named = set(re.findall(r"`(--[a-z-]+)[^`]*`", README))
    assert len(named) > 10
    known = {word for parser in COMMANDS.values() for word in parser.words()}
    assert named - known <= {"--version"}


@pytest.mark.parametrize("name", COMMANDS)
def test_examples_of_the_help_are_commands_that_exist(name) -> None:
    lines = [line.split("#")[0].strip() for line in (COMMANDS[name].epilog or "").splitlines()[1:]]
    examples = [line.removeprefix('eval "$(').removesuffix(')"') for line in lines]
    for example in examples:
        assert unknown_words(example.split(" | ")[0]) == [], example


@pytest.mark.parametrize(
    ("command", "unknown"),
    [("distort trace m h3", ["trace"]), ("distort add m --turned-db=0 --level 86", ["--turned-db"])],
)
def test_what_is_unknown_is_found(command, unknown) -> None:
    assert unknown_words(command) == unknown
