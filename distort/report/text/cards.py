"""Which sound cards there are, as people read it."""

from collections.abc import Iterator, Mapping, Sequence

from distort.capture.devices.sound_systems import CardInfo


def card_sentences(cards: Sequence[CardInfo], rates_hz: Mapping[int, Sequence[int]]) -> Iterator[str]:
    """Every sound card: number, name, host API, channels, and the rates, by its number, that it takes now."""
    for card in cards:
        defaults = [
            way for way, chosen in (("output", card.is_default_output), ("input", card.is_default_input)) if chosen
        ]
        mark = f", default {' and '.join(defaults)}" if defaults else ""
        yield (
            f"{card.number}: {card.name} ({card.host_api}), outputs {card.outputs}, inputs {card.inputs}, "
            f"{_rates(rates_hz[card.number])}{mark}"
        )


def _rates(rates_hz: Sequence[int]) -> str:
    return f"{' '.join(map(str, rates_hz))} Hz" if rates_hz else "no common rate now, as when another program holds it"
