"""What `distort analyze` and `distort show` say about a condition."""

import numpy as np
from rich.console import Console

from distort.analysis.common.curves import Harmonics, Response
from distort.analysis.sweep.harmonics import CLEAR_OF_CHAIN_DB
from distort.errors import UsageError
from distort.report.terminal.capture_words import print_quality
from distort.report.text.compression import limiter_sentences, range_clauses
from distort.report.text.console import say
from distort.report.text.headings import print_heading
from distort.report.text.numbers import decibels, level_name
from distort.report.text.tables_coincidences import print_top
from distort.report.text.tables_sweep import PROMINENT_ORDERS, UNIT_NAMES, harmonics_table, response_table
from distort.session.recordings.sidecar import Quality
from distort.session.results.condition_results import ConditionResults, Findings, LevelFound


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


UNTROUBLED = Quality(verdict="good")


def print_summary(console: Console, results: ConditionResults) -> None:
    """One table a level with the orders that matter most, under a line that says what was measured."""
    print_heading(console, results)
    _print_troubles(console, results.findings)
    _print_levels(console, results, orders=PROMINENT_ORDERS)
    print_ladder_summary(console, results)
    print_top(console, results)


def print_response(console: Console, results: ConditionResults) -> None:
    """The response of every level."""
    print_heading(console, results)
    console.print(response_table(dict(zip(results.levels_db_spl, results.responses, strict=True))))
    console.print()


def print_harmonics(console: Console, results: ConditionResults, *, level_db_spl: float | None = None) -> None:
    """Every separated order of every level, or of one. Raises UsageError when that level was not analysed."""
    if level_db_spl is not None and level_db_spl not in results.levels_db_spl:
        known = ", ".join(level_name(level) for level in results.levels_db_spl)
        raise UsageError(f"no level of {level_name(level_db_spl)} dB SPL was analysed: there are {known}")
    print_heading(console, results)
    _print_levels(console, results, orders=None, only_db_spl=level_db_spl)


def print_single(
    console: Console, name: str, response: Response, harmonics: Harmonics, *, quality: Quality = UNTROUBLED
) -> None:
    """One recording analysed without a session: what is known of it, in dBFS."""
    say(console, f"{name}: no session, so no calibration: levels are in dBFS, and no sound pressure level is known.")
    if quality.verdict != "good":
        print_quality(console, name, verdict=quality.verdict, sentences=quality.findings)
    console.print()
    _say_without_floor(console, harmonics)
    console.print(harmonics_table(harmonics, response, orders=[order.order for order in harmonics.orders]))


def _print_levels(
    console: Console,
    results: ConditionResults,
    *,
    orders: tuple[int, ...] | None,
    only_db_spl: float | None = None,
) -> None:
    for level, response, harmonics in zip(results.findings.levels, results.responses, results.harmonics, strict=True):
        if only_db_spl is not None and level.level_db_spl != only_db_spl:
            continue
        separated = [order.order for order in harmonics.orders]
        shown = [order for order in separated if orders is None or order in orders]
        say(console, _level_line(level))
        _say_without_floor(console, harmonics)
        _say_chain(console, harmonics)
        console.print(harmonics_table(harmonics, response, orders=shown))
        console.print()


def _print_troubles(console: Console, findings: Findings) -> None:
    """Every recording that is used although its check found something."""
    troubled = [one for one in findings.recordings if one.quality.verdict != "good" and one.rejected is None]
    for one in troubled:
        print_quality(console, one.file, verdict=one.quality.verdict, sentences=one.quality.findings)
    if troubled:
        console.print()


def _say_without_floor(console: Console, harmonics: Harmonics) -> None:
    """A table without a noise floor carries no marks, which must not look as if all of it stood clear of noise."""
    if not any(np.isfinite(order.noise_db).any() for order in harmonics.orders):
        say(console, "No noise floor: no silence was recorded, so nothing here tells distortion from noise.")


def _say_chain(console: Console, harmonics: Harmonics) -> None:
    """In how many rows electronics and microphone may have made an order, or a good part of it."""
    near = []
    for order in harmonics.orders:
        known = np.isfinite(order.chain_db) & np.isfinite(order.relative_db)
        rows = int(np.count_nonzero(known & (order.relative_db < order.chain_db + CLEAR_OF_CHAIN_DB)))
        if rows:
            near.append(f"H{order.order} in {rows} of {int(np.count_nonzero(known))} rows")
    if near:
        say(
            console,
            f"Within {CLEAR_OF_CHAIN_DB:.0f} dB of what electronics and microphone may make themselves: "
            f"{', '.join(near)}.",
        )


def _level_line(level: LevelFound) -> str:
    measured = "" if level.measured_db is None else f", measured {level.measured_db:.1f} {UNIT_NAMES[level.unit]}"
    return f"{level_name(level.level_db_spl)} dB SPL nominal, drive {level.drive_dbfs:.1f} dBFS{measured}"
