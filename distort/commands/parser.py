"""The parser all commands share: a wrong word becomes one sentence that names the nearest right one."""

import argparse
import re
from collections.abc import Callable, Collection, Sequence
from typing import Any, NoReturn

from distort.errors import UsageError, did_you_mean, shown

Run = Callable[[argparse.Namespace], int]
"""Does a command and gives its exit status."""

Subparsers = argparse._SubParsersAction  # argparse gives its type no public name


class Parser(argparse.ArgumentParser):
    """An ArgumentParser that raises UsageError instead of ending the program, and never guesses at abbreviations."""

    def __init__(self, **settings: Any) -> None:
        settings.setdefault("allow_abbrev", False)
        super().__init__(**settings)

    def commands(self) -> "dict[str, Parser]":
        """The commands below this parser by name."""
        return {
            name: parser
            for action in self._actions
            if isinstance(action, Subparsers)
            for name, parser in action.choices.items()
        }

    def words(self) -> tuple[str, ...]:
        """Every option of this command, and every word of which it takes one."""
        options = [word for action in self._actions for word in action.option_strings if word.startswith("--")]
        choices = [str(word) for action in self._actions for word in action.choices or ()]
        return (*options, *choices)

    def _check_value(self, action: argparse.Action, value: Any) -> None:
        """One of a few words: the sentence names them, and the nearest."""
        if action.choices is not None and value not in action.choices:
            known = [str(choice) for choice in action.choices]
            raise argparse.ArgumentError(
                action, f"{shown(value)} is none of {', '.join(known)}{did_you_mean(str(value), known)}"
            )

    def error(self, message: str) -> NoReturn:
        """Raise UsageError with argparse's own words, long ones shortened, and where to read more."""
        short = _QUOTED.sub(lambda quoted: shown(quoted[1]), message)
        raise UsageError(f"{self.prog}: {short}. See {self.prog} --help")


_QUOTED = re.compile(r"'([^']{80,})'")
"""A value that argparse shows, too long to be one of its own choices."""


RENAMED = {
    "trace": "origin",
    "level": "player-level",
    "--turned-db": "--playback-change-db",
    "--closing": "--post-check",
}
"""Commands and options of earlier versions, and what they are called now: nearness would not find these."""


def right_word(word: str, known: Collection[str]) -> str:
    """The same for a command or an option; one of an earlier version is answered with its name of today."""
    if RENAMED.get(word) in known:
        return f" (it is called {RENAMED[word]} now)"
    return did_you_mean(word, known)


def add_command(
    subparsers: "Subparsers[Parser]", name: str, summary: str, *, details: str = "", examples: Sequence[str] = ()
) -> Parser:
    """A new command's parser: its one line for `distort --help`, and more for its own help.

    `examples` are whole command lines, printed under the options.
    """
    parser = subparsers.add_parser(
        name,
        help=summary,
        description=f"{summary[0].upper()}{summary[1:]}. {details}".strip(),
        epilog="\n".join(["examples:", *(f"  {example}" for example in examples)]) if examples else None,
        formatter_class=HelpFormatter,
    )
    parser.add_argument("--debug", action="store_true", help="show the traceback of an error")
    parser.set_defaults(command_parser=parser)
    return parser


class HelpFormatter(argparse.HelpFormatter):
    """Wraps descriptions, and keeps the lines of examples as they are."""

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        if text.startswith("examples:"):
            return text
        return super()._fill_text(text, width, indent)


def check_leftover(parser: Parser, leftover: Sequence[str]) -> None:
    """Raise UsageError when words are left that the command does not know, naming the nearest option."""
    if not leftover:
        return
    options = [word for word in parser.words() if word.startswith("--")]
    word = leftover[0].split("=")[0]
    raise UsageError(f"{parser.prog} does not know {shown(word)}{right_word(word, options)}. See {parser.prog} --help")
