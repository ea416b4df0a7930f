"""What changes as it gets louder: levels down, octaves across, then what each octave does, then plain sentences.

Colours only repeat what the numbers say. A change carries a mark in front: `~` within its uncertainty, `?` nothing is
known of its uncertainty.
"""

import math
from collections.abc import Iterator

from rich.table import Table
from rich.text import Text

from distort.analysis.compression.curves import BandRange, Basis, OctaveLevels
from distort.analysis.compression.operating_range import LEAST_NAMED_DB
from distort.report.text.change_colours import change_style
from distort.report.text.compression import (
    closer_sentences,
    heating_sentences,
    lag_sentences,
    limit_word,
    limiter_sentences,
    onset_words,
    range_sentences,
)
from distort.report.text.headings import heading_sentences
from distort.report.text.numbers import NOT_MEASURABLE, OCTAVE_NAMES, level_name, octave_index
from distort.report.text.tables_sweep import CELL_COLUMNS, LABEL_COLUMNS, octave_table
from distort.session.results.condition_results import ConditionResults
from distort.session.results.ladder_results import CompressionFound

WITHIN, UNSURE = "~", "?"
LEGEND = {
    WITHIN: "~ within its uncertainty",
    UNSURE: "? its uncertainty is not known",
}
SOURCE_NAMES = {"sweep": "the sweep", "multitone": "the multitone"}

WORD_COLUMNS, ONSET_COLUMNS, LIMIT_COLUMNS = 21, 25, 7
"""6 + 21 + 25 + 4 x 7 = 80."""


def compression_blocks(results: ConditionResults) -> Iterator[str | Table]:
    """Everything about compression in one condition, or why there is nothing."""
    yield from heading_sentences(results)
    findings = results.findings
    if findings.no_compression is not None:
        yield findings.no_compression
        yield ""
    for found in findings.compression:
        yield from _source_blocks(results, found)


def _source_blocks(results: ConditionResults, found: CompressionFound) -> Iterator[str | Table]:
    yield f"Change of {SOURCE_NAMES[found.source]} against {level_name(found.level_db_spl[0])} dB SPL, in dB"
    yield changes_table(found, basis="change")
    if any(band.basis == "corrected" for band in found.ranges):
        yield ""
        yield "The same, corrected for the drift that the rested repeat shows; the words below stand on this"
        yield changes_table(found, basis="corrected")
    yield ""
    yield ranges_table(found)
    yield ""
    yield from range_sentences(found)
    yield from limiter_sentences(results.findings.multitones) if found.source == "multitone" else []
    yield from closer_sentences(found)
    yield from heating_sentences(found, results.findings.multitones)
    yield from lag_sentences(found)
    yield ""


def changes_table(found: CompressionFound, *, basis: Basis) -> Table:
    """One row a level above the reference, loudest last; `basis` says which of the two changes."""
    table = octave_table("dB SPL", worst=False)
    bands = dict(
        zip(
            (octave_index(one.midband_hz) for one in found.octaves),
            zip(found.octaves, found.ranges, strict=True),
            strict=True,
        )
    )
    marks = set()
    for level in range(1, len(found.level_db_spl)):
        row = [Text(level_name(found.level_db_spl[level]), style="bold")]
        for column in range(len(OCTAVE_NAMES)):
            mark, cell = _cell(bands.get(column), level, basis)
            marks.add(mark)
            row.append(cell)
        table.add_row(*row)
    lines = [
        "negative: the output falls short of linear",
        *(LEGEND[mark] for mark in (WITHIN, UNSURE) if mark in marks),
    ]
    table.caption = Text("\n".join(lines), style="dim")
    return table


def _cell(band: tuple[OctaveLevels, BandRange] | None, level: int, basis: Basis) -> tuple[str, Text]:
    change_db = None
    if band is not None:
        change_db = (band[0].change_db if basis == "change" else band[0].corrected_db)[level]
    if band is None or change_db is None:
        return "", Text(NOT_MEASURABLE, style="dim")
    mark = _mark(*band, level, basis)
    style = "" if mark == WITHIN else change_style(change_db)
    return mark, Text(f"{mark + signed(change_db):>{CELL_COLUMNS}}", style=style)


def _mark(octave: OctaveLevels, band: BandRange, level: int, basis: Basis) -> str:
    """Where the words stand on these very changes they decide, so that table and words never disagree."""
    change_db, uncertainty_db = octave.change_db[level], octave.uncertainty_db[level]
    if basis == band.basis:
        return {"linear": WITHIN, "unknown": UNSURE}.get(band.words[level], "")
    if change_db is None or uncertainty_db is None:
        return UNSURE
    return WITHIN if abs(change_db) <= math.hypot(uncertainty_db, LEAST_NAMED_DB) else ""


def signed(change_db: float) -> str:
    """One decimal with its sign; no sign at nothing."""
    text = f"{change_db:+.1f}"
    return text.lstrip("+-") if float(text) == 0 else text


def ranges_table(found: CompressionFound) -> Table:
    """One row an octave: what it does, from which level, and the highest levels that keep the usual limits."""
    table = Table(box=None, padding=0, pad_edge=False, show_edge=False, header_style="bold", caption_justify="left")
    table.add_column("Hz", width=LABEL_COLUMNS, no_wrap=True)
    table.add_column("", width=WORD_COLUMNS, no_wrap=True)
    table.add_column("onset, dB SPL", width=ONSET_COLUMNS, no_wrap=True)
    limits = [("compression", limit) for limit in (1.0, 3.0)]
    if any(band.distortion_limits for band in found.ranges):
        limits += [("distortion", limit) for limit in (3.0, 10.0)]
    for quantity, limit in limits:
        table.add_column(
            f"{limit:g} {'dB' if quantity == 'compression' else '%'}",
            width=LIMIT_COLUMNS,
            justify="right",
            no_wrap=True,
        )
    for band in found.ranges:
        kept = {(one.quantity, one.limit): one for one in (*band.compression_limits, *band.distortion_limits)}
        table.add_row(
            Text(OCTAVE_NAMES[octave_index(band.midband_hz)], style="bold"),
            band.word,
            "" if band.onset is None else onset_words(band.onset).removesuffix(" dB"),
            *(limit_word(kept[wanted]) if wanted in kept else NOT_MEASURABLE for wanted in limits),
        )
    words = "right: highest level, dB SPL, with at most so much compression"
    table.caption = Text(f"{words}{' or distortion' if len(limits) > 2 else ''}", style="dim")
    return table
