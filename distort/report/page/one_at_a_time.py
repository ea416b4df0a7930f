"""Where a reader of the page hears one kind of fault by itself: in a pair of the blind test, or with its finding."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from distort.report.page.listening import Play
from distort.report.text.blind import ONE_AT_A_TIME, louder_sentence
from distort.report.text.impulsive import ALONE_WORDS
from distort.report.text.story import Told
from distort.session.results.heard_files import Heard


@dataclass(frozen=True, kw_only=True)
class Way:
    """A kind of fault, and where it is heard."""

    what: str
    where: str
    address: str
    """Beside the page, or in it; "": nowhere."""


def one_at_a_time(
    record: Heard, test: str | None, story: Sequence[Told], sounds: Mapping[int, Play | str]
) -> tuple[Way, ...]:
    """The ways to hear each kind of fault.

    record   whose sounds stand in the page
    test     where the blind test lies; None: it does not
    sounds   by the number of a finding, as `by_themselves` gives them
    """
    return (*_of_music(record, test), *_with_findings(story, sounds))


def _of_music(record: Heard, test: str | None) -> Iterator[Way]:
    for kind, what in ONE_AT_A_TIME.items():
        if kind in record.silent:
            yield Way(what=what, where="none of it stands above the noise in this music", address="")
        elif test is not None:
            yield Way(what=what, where="without and with it, in the blind test", address=f"{test}#{record.stem}_{kind}")


def _with_findings(story: Sequence[Told], sounds: Mapping[int, Play | str]) -> Iterator[Way]:
    for one in story:
        if isinstance(sounds.get(one.number), Play):
            where = f"with finding {one.number}, in condition {one.conditions[0]}"
            yield Way(what=ALONE_WORDS[one.finding.explanation], where=where, address=f"#{one.anchor}")


def louder_than_music(record: Heard, story: Sequence[Told]) -> str:
    """That findings of its condition were made at higher levels than the music was played at; "" where none were."""
    numbers = [
        one.number
        for one in story
        if record.condition in one.conditions
        and one.finding.numbers.get("level_db_spl", record.level_db_spl) > record.level_db_spl
    ]
    return louder_sentence(numbers, record.level_db_spl) if numbers else ""
