"""Words of the blind test's page that do not depend on answers."""

from collections.abc import Iterable, Iterator, Mapping

from distort.report.text.headings import SIMULATED_WORDS
from distort.session.files.names import format_level

CAUTIONS = (
    "Turn the volume down, press Play below, and turn it up slowly, no further than you like to listen. Loud sound "
    "harms hearing for good, and the longer the more. Stop if anything hurts or rings.",
    "Use good headphones in a quiet place. The loudspeaker of a laptop, tablet or phone plays little below about "
    "200 Hz and distorts more than many of the faults here. What you do not hear with it may still be there.",
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


def warning_sentences(simulated: Iterable[bool]) -> Iterator[str]:
    """What must be known before anything is listened to; `simulated` of each pair."""
    if any(simulated):
        yield f"{SIMULATED_WORDS}."


def caution_sentences(sources: Iterable[str]) -> Iterator[str]:
    """What to mind before listening; `sources`: how each pair was made."""
    yield from CAUTIONS
    made = set(sources)
    yield from (words for source, words in OF_A_SOURCE.items() if source in made)


def made_words(pair: Mapping[str, object]) -> str:
    """How a pair was made: "Recorded at 96 dB SPL, condition desk"."""
    simulated = ", simulated loudspeaker" if pair["simulated"] else ""
    level = format_level(float(str(pair["level_db_spl"])))
    return f"{str(pair['source']).capitalize()} at {level} dB SPL, condition {pair['condition']}{simulated}."
