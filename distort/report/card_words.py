"""Which sound cards there are, as people read it."""

from collections.abc import Sequence

from rich.console import Console

from distort.capture.sound_systems import CardInfo
from distort.report.console import say


def print_cards(console: Console, cards: Sequence[CardInfo]) -> None:
    """Every sound card: number, name, host API, channels, default rate."""
    for card in cards:
        defaults = [
            way for way, chosen in (("output", card.is_default_output), ("input", card.is_default_input)) if chosen
        ]
        mark = f", default {' and '.join(defaults)}" if defaults else ""
        say(
            console,
            f"{card.number}: {card.name} ({card.host_api}), outputs {card.outputs}, inputs {card.inputs}, "
            f"{card.default_rate_hz:.0f} Hz{mark}",
        )
