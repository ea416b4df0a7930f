"""The word that names a session, FOLDER or FOLDER:CONDITION: read alike by every command that takes one."""

import argparse
import re
import shlex
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from distort.commands.parser import Parser
from distort.commands.values import session_and_condition
from distort.errors import UsageError, shown

_PLAIN = re.compile(r"[\w@%+=:,./\\-]+")


def as_typed(folder: Path) -> str:
    """A session's path as a command line takes it: in quotes where a shell would read it otherwise."""
    path = str(folder)
    return path if _PLAIN.fullmatch(path) else shlex.quote(path)


class _Session(argparse.Action):
    """Puts the folder into `folder`, and the condition that stands behind it into `named_condition`."""

    def __init__(self, *, whole: str | None = None, **settings: Any) -> None:
        super().__init__(**settings)
        self.whole = whole

    def __call__(
        self,
        parser: argparse.ArgumentParser,
        namespace: argparse.Namespace,
        values: Any,
        option_string: str | None = None,
    ) -> None:
        folder, condition = values
        if condition is not None and self.whole is not None:
            raise UsageError(f"{self.whole}: leave :{condition} out, and say {folder}")
        namespace.folder, namespace.named_condition = folder, condition


class _Sessions(argparse.Action):
    """The same for one or several: the folders into `targets`; a condition goes with one alone."""

    def __call__(
        self,
        parser: argparse.ArgumentParser,
        namespace: argparse.Namespace,
        values: Any,
        option_string: str | None = None,
    ) -> None:
        found: Sequence[Any] = values
        named = [condition for _, condition in found if condition is not None]
        if named and len(found) > 1:
            raise UsageError(f"a condition goes with one session: of several all is analysed; leave :{named[0]} out")
        namespace.targets = [folder for folder, _ in found]
        namespace.named_condition = named[0] if named else None


def add_session(parser: Parser, about: str, *, whole: str | None = None) -> None:
    """Add the word FOLDER[:CONDITION].

    about   what it must be, for the command's help
    whole   a clause that says why the command is about the whole session, where a condition would mean nothing to it
    """
    metavar = "FOLDER" if whole is not None else "FOLDER[:CONDITION]"
    parser.add_argument("folder", metavar=metavar, type=session_and_condition, action=_Session, whole=whole, help=about)


def add_sessions(parser: Parser, about: str) -> None:
    """Add the words of a command that takes many sessions, or FOLDER:CONDITION of one."""
    parser.add_argument(
        "targets", metavar="FOLDER|FILE", type=session_and_condition, action=_Sessions, nargs="+", help=about
    )


def in_named_condition(arguments: argparse.Namespace, recording: str) -> str:
    """`recording` as CONDITION/RECORDING, where the condition may stand behind the folder."""
    condition = getattr(arguments, "named_condition", None)
    return recording if condition is None else f"{condition}/{recording}"


def settle_condition(arguments: argparse.Namespace) -> None:
    """Set `condition` to the one that was named behind the folder. Raises UsageError when --condition says another."""
    named = getattr(arguments, "named_condition", None)
    if named is None:
        return
    said = getattr(arguments, "condition", None)
    if said not in (None, named):
        raise UsageError(f"{shown(named)} behind the folder and --condition {said} are two conditions: say one")
    arguments.condition = named
