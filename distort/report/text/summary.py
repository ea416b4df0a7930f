"""What `distort analyze` and `distort show` say about a condition."""

from collections.abc import Iterator

import numpy as np
from rich.table import Table

from distort.analysis.common.caution import CLEAR_OF_CHAIN_DB, caution
from distort.analysis.common.curves import Harmonics, Response
from distort.analysis.sweep.response import lower_limit_hz
from distort.errors import UsageError
from distort.report.text.alike import OF_THE_FIRST, alike, and_more
from distort.report.text.capture import quality_sentences
from distort.report.text.compression import limiter_sentences, range_clauses
from distort.report.text.findings import top_sentences
from distort.report.text.foreign import event_sentences, image_sentences
from distort.report.text.headings import heading_sentences
from distort.report.text.numbers import decibels, level_name
from distort.report.text.tables_sweep import PROMINENT_ORDERS, UNIT_NAMES, harmonics_table, response_table
from distort.session.recordings.sidecar import Quality
from distort.session.results.condition_results import ConditionResults, Findings, LevelFound


def level_series_sentences(results: ConditionResults) -> Iterator[str]:
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
        yield from lines
        yield ""


UNTROUBLED = Quality(verdict="good")


def summary_blocks(results: ConditionResults) -> Iterator[str | Table]:
    """One table a level with the orders that matter most, under a line that says what was measured."""
    yield from heading_sentences(results)
    yield from _trouble_sentences(results.findings)
    yield from _level_blocks(results, orders=PROMINENT_ORDERS)
    yield from level_series_sentences(results)
    yield from top_sentences(results)
    for name in results.findings.further:
        yield f"The {name} recordings have a table of their own: 'distort show' with the word {name} prints it."


def response_blocks(results: ConditionResults) -> Iterator[str | Table]:
    """The response of every level."""
    yield from heading_sentences(results)
    yield response_table(dict(zip(results.levels_db_spl, results.responses, strict=True)))
    yield ""


def harmonics_blocks(results: ConditionResults, *, level_db_spl: float | None = None) -> Iterator[str | Table]:
    """Every separated order of every level, or of one. Raises UsageError when that level was not analysed."""
    if level_db_spl is not None and level_db_spl not in results.levels_db_spl:
        known = ", ".join(level_name(level) for level in results.levels_db_spl)
        raise UsageError(f"no level of {level_name(level_db_spl)} dB SPL was analysed: there are {known}")
    yield from heading_sentences(results)
    yield from _level_blocks(results, orders=None, only_db_spl=level_db_spl)


def single_blocks(
    name: str, response: Response, harmonics: Harmonics, *, quality: Quality = UNTROUBLED
) -> Iterator[str | Table]:
    """One recording analysed without a session: what is known of it, in dBFS."""
    yield f"{name}: no session, so no calibration: levels are in dBFS, and no sound pressure level is known."
    if quality.verdict != "good":
        yield from quality_sentences(name, verdict=quality.verdict, sentences=quality.findings)
    yield ""
    yield from _floor_sentences(harmonics)
    orders = [order.order for order in harmonics.orders]
    yield harmonics_table(harmonics, response, orders=orders, from_hz=lower_limit_hz(response))


def _level_blocks(
    results: ConditionResults,
    *,
    orders: tuple[int, ...] | None,
    only_db_spl: float | None = None,
) -> Iterator[str | Table]:
    from_hz = lower_limit_hz(results.responses[0]) if results.responses else None
    for level, response, harmonics in zip(results.findings.levels, results.responses, results.harmonics, strict=True):
        if only_db_spl is not None and level.level_db_spl != only_db_spl:
            continue
        separated = [order.order for order in harmonics.orders]
        shown = [order for order in separated if orders is None or order in orders]
        yield _level_line(level)
        yield from _floor_sentences(harmonics)
        yield from _chain_sentences(harmonics)
        yield harmonics_table(harmonics, response, orders=shown, from_hz=from_hz)
        yield ""


def _trouble_sentences(findings: Findings) -> Iterator[str]:
    """Every recording that is used although its check found something."""
    troubled = [one for one in findings.recordings if one.quality.verdict != "good" and one.rejected is None]
    for group in alike(troubled, lambda one: " ".join((one.quality.verdict, *one.quality.findings))):
        first, names = group[0], and_more([one.file for one in group])
        told = (*first.quality.findings, *([OF_THE_FIRST] if len(group) > 1 else []))
        yield from quality_sentences(names, verdict=first.quality.verdict, sentences=told)
    for events in alike(findings.events, lambda event: " ".join(event_sentences(event))):
        last = f" {OF_THE_FIRST}" if len(events) > 1 else ""
        yield f"{and_more([one.file for one in events])}: {' '.join(event_sentences(events[0]))}{last}"
    if findings.images:
        yield f"{findings.images[0].file}: {' '.join(image_sentences(findings.images))}"
    if troubled or findings.events or findings.images:
        yield ""


def _floor_sentences(harmonics: Harmonics) -> Iterator[str]:
    """Why every reading is marked where no noise floor is known."""
    if not any(np.isfinite(order.noise_db).any() for order in harmonics.orders):
        yield (
            "The noise floor is not known, as no silence was recorded: nothing tells distortion from noise, and every "
            "reading is marked ?."
        )


def _chain_sentences(harmonics: Harmonics) -> Iterator[str]:
    """In how many rows electronics and microphone may have made an order, or a good part of it."""
    near = []
    for order in harmonics.orders:
        known = np.isfinite(order.chain_db) & np.isfinite(order.relative_db)
        rows = int(np.count_nonzero(known & caution(order.relative_db, (order.chain_db, CLEAR_OF_CHAIN_DB))))
        if rows:
            near.append(f"H{order.order} in {rows} of {int(np.count_nonzero(known))} rows")
    if near:
        yield (
            f"Within {CLEAR_OF_CHAIN_DB:.0f} dB of what electronics and microphone may make themselves: "
            f"{', '.join(near)}."
        )


def _level_line(level: LevelFound) -> str:
    measured = "" if level.measured_db is None else f", measured {level.measured_db:.1f} {UNIT_NAMES[level.unit]}"
    return f"{level_name(level.level_db_spl)} dB SPL nominal, drive {level.drive_dbfs:.1f} dBFS{measured}"
