"""What a finding must have whatever it says: its keys, a word of the table, lengths, a command that can be run."""

import math
import shlex
from collections.abc import Iterator
from typing import Any

from tests.families.tables import Condition

Finding = dict[str, Any]

WORDS = frozenset(
    [
        "delayed-copy",
        "resonance",
        "filter-before-source",
        "level-dependent-resonance",
        "loudspeaker-generated",
        "product-on-peak",
        "ringing",
        "conversion-image",
        "event-in-time",
        "cancellation",
        "room",
        "compression",
        "expansion",
        "limiting",
        "heating",
        "rattle",
        "rub",
        "airflow-noise",
        "unpredicted-by-orders",
        "noise",
        "undecided",
    ]
)
"""All explanations there are."""

KEYS = frozenset(
    [
        "number",
        "explanation",
        "also",
        "decided",
        "probability",
        "headline",
        "places",
        "part_of_loudspeaker",
        "numbers",
        "evidence",
        "against",
        "audible",
        "sentence",
        "next",
    ]
)

MOST_WORDS, MOST_LETTERS = 45, 78
"""Of a sentence, and of a headline."""

NEAR_OCTAVES = 1.0 / 12.0
"""Two places nearer than this are one: it is the smoothing of the curves."""

BROAD_OCTAVES = 1.5
"""A change as wide as this is no place."""

NOT_OF_LOUDSPEAKER = frozenset({"room", "conversion-image", "event-in-time", "noise"})


def decided(finding: Finding) -> bool:
    """Whether it says what is so."""
    return bool(finding.get("decided")) and finding.get("explanation") != "undecided"


def words_of(finding: Finding) -> tuple[str, ...]:
    """Its explanation and what is there besides."""
    return (finding["explanation"], *finding.get("also", ()))


def is_broad(place: dict[str, float]) -> bool:
    """Whether it is a stretch rather than a place."""
    return math.log2(place["high_hz"] / place["low_hz"]) > BROAD_OCTAVES


def for_rows(finding: Finding) -> list[dict[str, Any]]:
    """The rows of evidence that speak for it."""
    return [row for row in finding.get("evidence", ()) if row.get("speaks") == "for"]


def form(finding: Finding, condition: Condition) -> Iterator[str]:
    """Keys, words, probability, places."""
    if missing := KEYS - set(finding):
        yield f"lacks {', '.join(sorted(missing))}"
        return
    unknown = set(words_of(finding)) - WORDS
    if unknown:
        yield f"{', '.join(sorted(unknown))} is no explanation"
    if finding["decided"] == (finding["explanation"] == "undecided"):
        yield "is decided and undecided at once"
    if not 0.0 <= finding["probability"] <= 1.0:
        yield f"has a probability of {finding['probability']}"
    elif decided(finding) and finding["probability"] < 0.5:
        yield f"is decided with a probability of {finding['probability']}"
    if len(set(words_of(finding))) < len(words_of(finding)):
        yield "names one explanation twice"
    if finding["part_of_loudspeaker"] is True and finding["explanation"] in NOT_OF_LOUDSPEAKER:
        yield f"is {finding['explanation']} and part of the loudspeaker"
    for place in finding["places"]:
        if not 0.0 < place["low_hz"] <= place["frequency_hz"] <= place["high_hz"]:
            yield f"has a place at {place['frequency_hz']} Hz outside its own range"


def lengths(finding: Finding, condition: Condition) -> Iterator[str]:
    """A headline is at most 78 letters long, a sentence at most 45 words."""
    if len(finding["headline"]) > MOST_LETTERS:
        yield f"its headline has {len(finding['headline'])} letters"
    for sentence in sentences(finding["sentence"]):
        if len(sentence.split()) > MOST_WORDS:
            yield f"a sentence of it has {len(sentence.split())} words"


def sentences(text: str) -> list[str]:
    """`text` at its full stops; those of decimals are none."""
    found, begun = [], []
    for word in text.split():
        begun.append(word)
        if word.rstrip(")\"'").endswith((".", "!", "?")):
            found.append(" ".join(begun))
            begun = []
    return [*found, " ".join(begun)] if begun else found


def command(finding: Finding, condition: Condition) -> Iterator[str]:
    """What is to be done next can be run: the parser takes it, with the folder's name in the place of a stand-in."""
    told = (finding.get("next") or {}).get("command")
    if not told:
        return
    from distort.commands.parser import check_leftover
    from distort.commands.table import build_parser
    from distort.errors import DistortError

    words = shlex.split(told)
    if not words or words[0] != "distort":
        yield f"next, {told!r} is no command of this tool"
        return
    try:
        arguments, leftover = build_parser().parse_known_args(words[1:])
        if arguments.command is None:
            yield f"next, {told!r} names no command"
        else:
            check_leftover(arguments.command_parser, leftover)
    except DistortError as error:
        yield f"next, {told!r} is refused: {error}"
    except SystemExit:
        yield f"next, {told!r} ends the program"


def one_place(finding: Finding, other: Finding) -> Iterator[str]:
    """Two causes at one place are one finding with a word more."""
    for place in finding["places"]:
        for beside in other["places"]:
            if is_broad(place) != is_broad(beside):
                continue  # a local fault within a broad change is another thing
            if abs(math.log2(place["frequency_hz"] / beside["frequency_hz"])) < NEAR_OCTAVES:
                yield (
                    f"{finding['explanation']} (finding {finding['number']}) and {other['explanation']} stand at one "
                    f"place, {place['frequency_hz']:.0f} and {beside['frequency_hz']:.0f} Hz"
                )
                return
