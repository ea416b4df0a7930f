"""The lines above the results of a condition."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    pass
from rich.console import Console

from distort.report.text.console import say
from distort.session.results.condition_results import ConditionResults

SIMULATED_WORDS = "Simulated loudspeaker, not a measurement"


def print_heading(console: Console, results: ConditionResults) -> None:
    """Whose results these are, and what must be known before any of them is read."""
    findings = results.findings
    say(console, f"{findings.loudspeaker.name}, condition {findings.condition}")
    if findings.simulated:
        say(console, f"{SIMULATED_WORDS}.")
    if findings.levels and findings.levels[0].unit == "dbfs":
        say(console, "No calibration: levels are in dBFS, and no sound pressure level is known.")
    if findings.microphone is not None:
        used = findings.microphone
        say(
            console,
            f"The microphone's {used.response_is} in {used.file} is allowed for, from {used.low_hz:g} to "
            f"{used.high_hz:g} Hz.",
        )
    if findings.link is not None:
        say(
            console,
            f"What the way to the loudspeaker does to the sound is in the numbers, a codec's distortion and noise "
            f"among it: {findings.link}.",
        )
    console.print()
