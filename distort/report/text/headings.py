"""The lines above the results of a condition."""

from collections.abc import Iterator

from distort.report.text.afterwards import applied_sentence
from distort.report.text.simulated import SIMULATED_WORDS
from distort.session.plan.keys import NEAR_FIELD
from distort.session.results.condition_results import ConditionResults, Findings


def unlike_takes_sentences(findings: Findings) -> Iterator[str]:
    """Takes that were averaged although one of them may be another level; nothing where none were."""
    yield from (f"Careful: {one.sentence} They were averaged." for one in findings.unlike_takes)


def heading_sentences(results: ConditionResults) -> Iterator[str]:
    """Whose results these are, and what must be known before any of them is read."""
    findings = results.findings
    yield f"{findings.loudspeaker.name}, condition {findings.condition}"
    if findings.simulated:
        yield f"{SIMULATED_WORDS}."
    if findings.levels and findings.levels[0].unit == "dbfs":
        yield "No calibration: levels are in dBFS, and no sound pressure level is known."
    if (applied := applied_sentence(findings)) is not None:
        yield applied
    if findings.setup.radiation == NEAR_FIELD:
        yield (
            f"Near field, {findings.setup.distance_m:g} m: its levels say nothing of what is heard at a distance; only "
            f"what is stated re the fundamental counts."
        )
    yield from unlike_takes_sentences(findings)
    if findings.microphone is not None:
        used = findings.microphone
        yield (
            f"The microphone's {used.response_is} in {used.file} is allowed for, from {used.low_hz:g} to "
            f"{used.high_hz:g} Hz."
        )
    if findings.link is not None:
        yield (
            f"What the way to the loudspeaker does to the sound is in the numbers, a codec's distortion and noise "
            f"among it: {findings.link}."
        )
    yield ""
