"""distort methods: says how every quantity is measured."""

import argparse

from distort.commands.parser import Parser, Subparsers, add_command


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "methods",
        "say how every quantity is measured, with formulas and sources",
        examples=["distort methods | less"],
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Print the text."""
    from distort.report.terminal.console import make_console
    from distort.report.terminal.methods import print_methods

    print_methods(make_console())
    return 0
