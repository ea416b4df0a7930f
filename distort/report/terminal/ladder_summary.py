"""The few lines of `distort analyze` about multitones and compression; the tables are those of `distort show`."""

from rich.console import Console

from distort.report.terminal.compression_words import limiter_sentences, range_clauses
from distort.report.terminal.console import say
from distort.report.terminal.numbers import decibels, level_name
from distort.session.results.condition_results import ConditionResults


def print_ladder_summary(console: Console, results: ConditionResults) -> None:
    """Distortion of many tones at each level, and what compresses from which level; nothing where nothing is known."""
    findings = results.findings
    lines = []
    if findings.multitones:
        of_each = ", ".join(
            f"{decibels(one.distortion_db)} dB at {level_name(one.level_db_spl)} dB SPL" for one in findings.multitones
        )
        lines.append(f"Many tones at once, distortion re all lines: {of_each}.")
        lines += limiter_sentences(findings.multitones)
    for found in findings.compression:
        lines.append(
            f"Compression up to {level_name(found.level_db_spl[-1])} dB SPL, {found.source}: {range_clauses(found)}."
        )
    if findings.no_compression is not None:
        lines.append(findings.no_compression)
    if lines:
        say(console, *lines)
        console.print()
