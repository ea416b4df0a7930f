"""What `distort analyze` and `distort show` say about a condition."""

from collections.abc import Iterator, Sequence

import numpy as np
from rich.table import Table

from distort.analysis.common.caution import CLEAR_OF_CHAIN_DB, caution
from distort.analysis.common.curves import Harmonics, Response
from distort.analysis.sweep.response import lower_limit_hz
from distort.errors import UsageError
from distort.report.text.alike import OF_THE_FIRST, alike, and_more
from distort.report.text.burst import how_loud_sentence
from distort.report.text.capture import quality_sentences
from distort.report.text.foreign import event_sentences, image_sentences
from distort.report.text.headings import heading_sentences
from distort.report.text.heating import heating_sentence
from distort.report.text.hiss import hiss_sentences
from distort.report.text.level_limits import limit_sentences, rule_sentences
from distort.report.text.numbers import level_name
from distort.report.text.overview import LevelOverview, overview, overview_blocks
from distort.report.text.tables_sweep import UNIT_NAMES, harmonics_table, response_table
from distort.session.recordings.sidecar import Quality
from distort.session.results.condition_results import ConditionResults, Findings, LevelFound

UNTROUBLED = Quality(verdict="good")

MOST_LEVELS, MOST_WARNINGS, MOST_HEADLINES = 8, 3, 5
"""So much of each keeps a summary within 30 lines of 80 columns (own choice); the rest is a command away."""


def summary_blocks(results: ConditionResults, *, session: str = "FOLDER") -> Iterator[str | Table]:
    """What a condition comes to, in some 25 lines: one table of its levels, and the headlines of its findings.

    session   the words by which commands know it
    """
    condition = f"{session}:{results.findings.condition}"
    yield from heading_sentences(results)
    doubts = dict.fromkeys(sentence for one in results.harmonics for sentence in _floor_sentences(one))
    doubts |= dict.fromkeys(sentence for one in results.harmonics[-1:] for sentence in _chain_sentences(one))
    yield from _first_of([*_troubles(results.findings), *([doubt] for doubt in doubts)], condition)
    rows = overview(results)
    shown = _thinned(rows)
    yield from overview_blocks(shown)
    if len(shown) < len(rows):
        yield f"{len(shown)} of {len(rows)} levels. All of them: distort show {condition} overview"
    yield from limit_sentences(results)
    yield from heating_sentence(results)
    if results.findings.no_compression is not None:
        yield results.findings.no_compression
    yield from how_loud_sentence(results)
    yield from hiss_sentences(results)
    yield ""
    yield from headline_sentences(results, condition)


def overview_of_levels(results: ConditionResults) -> Iterator[str | Table]:
    """The table of the summary with every level."""
    yield from heading_sentences(results)
    yield from overview_blocks(overview(results))
    yield from how_loud_sentence(results)
    yield from hiss_sentences(results)
    yield from limit_sentences(results)
    yield from rule_sentences(results)
    yield ""


def _thinned(rows: Sequence[LevelOverview]) -> Sequence[LevelOverview]:
    """At most `MOST_LEVELS` rows, evenly over all, the first and the last among them."""
    if len(rows) <= MOST_LEVELS:
        return rows
    return [rows[round(place * (len(rows) - 1) / (MOST_LEVELS - 1))] for place in range(MOST_LEVELS)]


def _first_of(warnings: Sequence[list[str]], condition: str) -> Iterator[str]:
    """The first warnings, some sentences each, and where the others are."""
    yield from (sentence for warning in warnings[:MOST_WARNINGS] for sentence in warning)
    if len(warnings) > MOST_WARNINGS:
        yield f"{len(warnings) - MOST_WARNINGS} more warnings: distort show {condition} quality"
    if warnings:
        yield ""


def headline_sentences(results: ConditionResults, condition: str) -> Iterator[str]:
    """The findings in a line each, and where they are explained; nothing where there is none."""
    findings = results.findings.findings or ()
    if not findings:
        return
    yield "Findings"
    yield from (f"{one.number}. {one.headline}" for one in findings[:MOST_HEADLINES])
    more = len(findings) - MOST_HEADLINES
    yield f"{f'{more} more, and w' if more > 0 else 'W'}hy: distort show {condition} findings"
    yield ""


def next_sentences(found: Sequence[ConditionResults], session: str) -> Iterator[str]:
    """Where the tables of an analysis are, and which commands go on from them."""
    yield f"Tables are in {session}/results. Next:"
    yield f"  distort report {session}"
    yield f"  distort show {session} {'|'.join(_shown_of(found))}"


def _shown_of(found: Sequence[ConditionResults]) -> Iterator[str]:
    """What `distort show` has something to say about."""
    yield from ("response", "harmonics")
    for what, there in (
        ("multitone", any(results.findings.multitones for results in found)),
        ("compression", any(results.findings.compression for results in found)),
        ("findings", any(results.findings.findings for results in found)),
    ):
        if there:
            yield what
    yield from dict.fromkeys(name for results in found for name in results.findings.further)


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


def _troubles(findings: Findings) -> Iterator[list[str]]:
    """Every recording that is used although its check found something, and what else sounded."""
    troubled = [one for one in findings.recordings if one.quality.verdict != "good" and one.rejected is None]
    for group in alike(troubled, lambda one: " ".join((one.quality.verdict, *one.quality.findings))):
        first, names = group[0], and_more([one.file for one in group])
        told = (*first.quality.findings, *([OF_THE_FIRST] if len(group) > 1 else []))
        yield list(quality_sentences(names, verdict=first.quality.verdict, sentences=told))
    for events in alike(findings.events, lambda event: " ".join(event_sentences(event))):
        last = f" {OF_THE_FIRST}" if len(events) > 1 else ""
        yield [f"{and_more([one.file for one in events])}: {' '.join(event_sentences(events[0]))}{last}"]
    if findings.images:
        yield [f"{findings.images[0].file}: {' '.join(image_sentences(findings.images))}"]


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
