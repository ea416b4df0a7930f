"""Words of the blind test's page that do not depend on answers."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from distort.analysis.anomalies.anomaly import Anomaly
from distort.report.text.numbers import decibels, hertz_words
from distort.report.text.simulated import SIMULATED_WORDS
from distort.session.files.names import format_level
from distort.session.results.blind_results import PairKind
from distort.session.results.heard_files import Heard

TURN_DOWN = (
    "Turn the volume down, press Play, and turn it up slowly, no further than you like to listen. Loud sound harms "
    "hearing for good, and the longer the more. Stop if anything hurts or rings."
)

CAUTIONS = (
    TURN_DOWN,
    "Use good headphones in a quiet place; a phone that is muted plays nothing here. The loudspeaker of a laptop, "
    "tablet or phone plays little below about 200 Hz and distorts more than many of the faults here. What you do not "
    "hear with it may still be there.",
    "The loudspeaker was played at the level that stands beside each pair, at 1 m. You hear it at your own volume: "
    "more quietly, faint faults fall below what an ear can hear; louder, more of them is heard.",
    "Both sounds of a pair are made equally loud, so that loudness alone gives nothing away.",
)

OF_A_SOURCE = {
    "recorded": "Recorded: the music was played by the loudspeaker and recorded. What it already does when it plays "
    "quietly is in both sounds.",
    "synthesised": "Synthesised: the sound was computed from what sweeps showed. It is a likeness in spectrum and "
    "time, not what a microphone would have recorded.",
}


@dataclass(frozen=True, kw_only=True)
class PairWords:
    """What a listener reads of a pair: its title, what differs, and each side in a few words."""

    title: str
    words: str
    a: str
    b: str


RAISED_DB = 12.0
"""By how much what came out wrong is raised in the pair that shows what to listen for."""

PAIR_WORDS = {
    "whole": PairWords(
        title="What was meant, and what came out",
        words="A is the music as the loudspeaker passes it on when it plays quietly. B is what came out at this level.",
        a="as meant",
        b="as it came out",
    ),
    "distortion": PairWords(
        title="Without and with distortion",
        words="Both are what came out; from A everything is taken off that the loudspeaker added, as cone, motor "
        "and suspension do.",
        a="without",
        b="with",
    ),
    "compression": PairWords(
        title="Without and with compression",
        words="Both are what came out; in A the level follows the music as it does when the loudspeaker plays quietly. "
        "A limiter makes the difference, or a voice coil that warms.",
        a="without",
        b="with",
    ),
    "raised": PairWords(
        title=f"To learn what to listen for: faults {RAISED_DB:g} dB louder than they are",
        words=f"A is the music as meant. B is the same with all that came out wrong, raised by {RAISED_DB:g} dB. It "
        "says nothing of whether you hear it as it is.",
        a="as meant",
        b="faults raised",
    ),
    "control": PairWords(
        title="Control: the same sound twice",
        words="Nobody can tell these apart. Whoever does has found a fault of the test.",
        a="the sound",
        b="the same again",
    ),
}


def dip_words(dip: Anomaly) -> PairWords:
    """Of the pair in which one dip of the response is filled."""
    return PairWords(
        title=f"Without and with the dip at {hertz_words(dip.frequency_hz)}",
        words=f"Both are what came out; in A an equaliser fills the dip ({decibels(-dip.deviation_db)} dB). What a "
        "reflection does in time is in both.",
        a="dip filled",
        b="with the dip",
    )


def warning_sentences(simulated: Iterable[bool]) -> Iterator[str]:
    """What must be known before anything is listened to; `simulated` of each pair."""
    if any(simulated):
        yield f"{SIMULATED_WORDS}."


def caution_sentences(sources: Iterable[str]) -> Iterator[str]:
    """What to mind before listening; `sources`: how each pair was made."""
    yield from CAUTIONS
    made = set(sources)
    yield from (words for source, words in OF_A_SOURCE.items() if source in made)


def blind_sentences(path: Path, pairs: int, *, shared: bool) -> Iterator[str]:
    """Where the blind test is and what to do with it; `shared`: the licence of its music lets others have it."""
    others = ", or give it to others" if shared else ""
    yield (
        f"A blind test of {pairs} pairs: open {path} in a browser{others}. `distort listeners` adds up the files "
        f"that it saves."
    )


def left_behind_sentence(path: Path) -> str:
    """That answers were of a page which was made anew."""
    return (
        f"Careful: {path} holds answers about other sounds than this page offers, so findings and report no longer "
        f"tell them; `distort listeners --keep` of new answers replaces it. Keep a copy where they still count."
    )


def without_dip_sentences(problems: Iterable[str]) -> Iterator[str]:
    """Why the test has no pair of a dip of some condition."""
    yield from (f"Careful: the blind test has no pair of a dip there: {one}" for one in problems)


NO_PAIR = "No blind test: it needs 3 s of music, of which two versions differ."


def made_words(source: str, level_db_spl: float, condition: str, *, simulated: bool) -> str:
    """How a pair was made: "Recorded at 96 dB SPL, condition desk." """
    said = ", simulated loudspeaker" if simulated else ""
    return f"{source.capitalize()} at {format_level(level_db_spl)} dB SPL, condition {condition}{said}."


def music_words(record: Heard) -> str:
    """Whose music it is, by which licence, and that it was changed, as licences that ask for a name want it; "" of what
    nobody stated, and of the piece that this program makes."""
    if record.programme_sha256 is None:
        return ""
    stated = ", ".join(part for part in (record.credit, record.licence) if part)
    return f"{stated}, changed by what this page shows" if stated else ""


def play_names(raised_db: float) -> tuple[str, str, str]:
    """Of the three sounds in the report page; the last is louder by `raised_db` than it is among the others."""
    raised = f", {raised_db:g} dB louder than it is" if raised_db else ""
    return "As meant", "As it came out", f"What was added or taken away, alone{raised}"


ONE_AT_A_TIME: Mapping[PairKind, str] = {
    "compression": "Compression, of a limiter or of a voice coil that warms",
    "distortion": "Distortion, of cone, motor and suspension",
}
"""What a reader may want to hear by itself, and the pair of the blind test that lets them."""


def louder_sentence(numbers: Sequence[int], level_db_spl: float) -> str:
    """That music tells little of findings that were made at higher levels; `numbers`: theirs in the page."""
    *others, last = map(str, numbers)
    which = f"findings {', '.join(others)} and {last} show" if others else f"finding {last} shows"
    return (
        f"The music was played at {format_level(level_db_spl)} dB SPL: of what {which} at higher levels there is less "
        f"in it, or nothing."
    )
