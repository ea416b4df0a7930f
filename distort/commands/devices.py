"""distort devices: lists the sound cards."""

import argparse

from distort.commands.parser import Parser, Subparsers, add_command


def add_parser(subparsers: "Subparsers[Parser]") -> None:
    """Add the command."""
    parser = add_command(
        subparsers,
        "devices",
        "list the sound cards, their channels and rates",
        details="Each line begins with the number by which 'distort measure' knows it.",
        examples=["distort devices"],
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """List them. Raises DeviceError when PortAudio is missing, or there is none."""
    from distort.capture.devices.sound_systems import list_cards, offered_rates
    from distort.report.terminal.console import make_console, say
    from distort.report.text.capture import card_sentences

    cards = list_cards()
    say(make_console(), *card_sentences(cards, {card.number: offered_rates(card) for card in cards}))
    return 0
