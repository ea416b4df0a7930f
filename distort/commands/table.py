"""All commands, in the order of the work, as `distort --help` lists them."""

from typing import Protocol

from distort.commands import (
    add,
    analyze,
    bundle,
    calibrate,
    check,
    compare,
    completion,
    devices,
    freeze,
    hear,
    listeners,
    measure,
    methods,
    new,
    origin,
    player_level,
    reject,
    relabel,
    report,
    residual,
    show,
    stimuli,
    verify,
    wavelength,
)
from distort.commands.parser import Parser, Subparsers


class Command(Protocol):
    """What every module in this folder that is a command offers."""

    def add_parser(self, subparsers: "Subparsers[Parser]") -> None:
        """Add the command with its options; `run` of the parsed arguments does it and gives the exit status."""
        ...


COMMANDS: tuple[Command, ...] = (
    new,
    stimuli,
    devices,
    calibrate,
    player_level,
    measure,
    add,
    reject,
    relabel,
    check,
    analyze,
    show,
    compare,
    report,
    wavelength,
    origin,
    residual,
    hear,
    listeners,
    freeze,
    bundle,
    verify,
    methods,
    completion,
)
"""A new command is one module in this folder and one entry here."""


def build_parser() -> Parser:
    """The whole command line. Modules of commands load nothing heavy, so this takes milliseconds."""
    parser = Parser(
        prog="distort",
        description="Measures how much a loudspeaker distorts and compresses at stated sound pressure levels.",
        epilog="'distort COMMAND --help' shows the options of a command.",
    )
    parser.add_argument("--version", action="store_true", help="print the version and end")
    parser.add_argument("--debug", action="store_true", help="show the traceback of an error")
    subparsers = parser.add_subparsers(dest="command", metavar="COMMAND", title="commands", parser_class=Parser)
    for command in COMMANDS:
        command.add_parser(subparsers)
    return parser
