"""The table that a condition begins with, in the terminal and on the page: a row a level, few digits, and causes."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from rich.table import Table
from rich.text import Text

from distort.analysis.anomalies.anomaly import Anomaly
from distort.analysis.common.caution import CLEAR_OF_NOISE_DB
from distort.analysis.common.curves import BoolArray, FloatArray, Harmonics, Response
from distort.analysis.common.quantities import from_findings
from distort.analysis.findings.finding import Finding
from distort.analysis.sweep.response import lower_limit_hz
from distort.report.text.compression import shown_changes
from distort.report.text.findings import letter
from distort.report.text.numbers import (
    NOT_MEASURABLE,
    decibels,
    level_name,
    octave_words,
    two_digits,
    two_digits_hertz,
)
from distort.report.text.tables_sweep import (
    BELOW_FLOOR,
    DOUBTFUL,
    LEGEND,
    STYLES,
    UNIT_NAMES,
    level_row,
    thd_row,
    valid_rows,
)
from distort.session.results.condition_results import ConditionResults, Findings
from distort.session.results.ladder_results import CompressionFound
from distort.session.results.multitone_results import MultitoneFound
from signals.levels import db_to_amplitude

MIDDLE_HZ = (100.0, 10000.0)
"""Where most of what is heard lies and most rooms and microphones can be trusted (common practice, no source)."""

OF_RECORDINGS = ("conversion-image", "event-in-time")
"""Findings of what is in a recording besides the loudspeaker's orders, and is read as orders."""


@dataclass(frozen=True, kw_only=True)
class RangeRead:
    """Highest and lowest of a response over the middle of the band, in its own unit."""

    low_db: float
    low_hz: float
    high_db: float
    high_hz: float
    from_hz: float
    to_hz: float
    """Between which readings stand clear of noise."""

    @property
    def range_db(self) -> float:
        """Highest less lowest."""
        return self.high_db - self.low_db


@dataclass(frozen=True, kw_only=True)
class WorstThd:
    """The highest THD above its noise floor where the loudspeaker plays, and what is known of its place."""

    percent: float
    frequency_hz: float
    order: int
    """The strongest there."""
    order_db: float
    """Of that order re the fundamental."""
    mark: str
    """`DOUBTFUL` or nothing."""
    finding: int | None
    """Number of the finding that explains this place; None where there is none."""
    dip: str | None
    """Letter of the dip of the response in which it lies; None beside all dips."""


@dataclass(frozen=True, kw_only=True)
class MultitoneRead:
    """Distortion of many tones re all of them, or its floor where it is not above that."""

    percent: float
    mark: str


@dataclass(frozen=True, kw_only=True)
class CompressionRead:
    """The largest loss of an octave against the reference level."""

    state: Literal["reference", "none", "some", "unknown"]
    """`none`: no octave lost more than its uncertainty."""
    loss_db: float | None = None
    midband_hz: float | None = None


@dataclass(frozen=True, kw_only=True)
class LevelOverview:
    """One row."""

    level_db_spl: float
    """Nominal."""
    unit: str
    """`dB SPL` or `dBFS`."""
    bass_limit_hz: float | None = None
    response: RangeRead | None = None
    thd: WorstThd | None = None
    multitone: MultitoneRead | None = None
    compression: CompressionRead | None = None
    """None: nothing was compared at this level."""
    reached_db: float | None = None
    """Power mean over the plan's band, in `unit`."""


def overview(results: ConditionResults) -> tuple[LevelOverview, ...]:
    """A row for every nominal level of sweeps or multitones, the quietest first."""
    findings = results.findings
    sweeps = {
        level.level_db_spl: (level, response, harmonics)
        for level, response, harmonics in zip(findings.levels, results.responses, results.harmonics, strict=True)
    }
    multitones = {one.level_db_spl: one for one in findings.multitones}
    from_hz = lower_limit_hz(results.responses[0]) if results.responses else None
    unit = UNIT_NAMES[findings.levels[0].unit if findings.levels else "db_spl"]
    rows = []
    for level_db_spl in sorted({*sweeps, *multitones}):
        many = multitones.get(level_db_spl)
        row = LevelOverview(
            level_db_spl=level_db_spl,
            unit=unit,
            multitone=None if many is None else _of_multitone(many),
            compression=compression_at(findings.compression, level_db_spl),
        )
        if level_db_spl in sweeps:
            level, response, harmonics = sweeps[level_db_spl]
            row = replace(
                row,
                bass_limit_hz=lower_limit_hz(response),
                response=range_read(response),
                thd=worst_thd(harmonics, valid_rows(response, from_hz), findings),
                reached_db=level.measured_db,
            )
        rows.append(row)
    return tuple(rows)


def range_read(response: Response) -> RangeRead | None:
    """Highest and lowest between 100 Hz and 10 kHz where noise allows; None where nothing stands clear of it."""
    quantity, frequency_hz = level_row(response, ""), response.frequency_hz
    clean = np.isfinite(quantity.values) & ~quantity.doubtful & ~quantity.below & _middle(frequency_hz)
    if not clean.any():
        return None
    rows = np.flatnonzero(clean)
    low, high = (rows[int(pick(quantity.values[rows]))] for pick in (np.argmin, np.argmax))
    return RangeRead(
        low_db=float(quantity.values[low]),
        low_hz=float(frequency_hz[low]),
        high_db=float(quantity.values[high]),
        high_hz=float(frequency_hz[high]),
        from_hz=float(frequency_hz[rows[0]]),
        to_hz=float(frequency_hz[rows[-1]]),
    )


def _middle(frequency_hz: FloatArray) -> BoolArray:
    low_hz, high_hz = MIDDLE_HZ
    return np.asarray((frequency_hz >= 0.99 * low_hz) & (frequency_hz <= 1.01 * high_hz))  # of a grid of 1/27 octave


def worst_thd(harmonics: Harmonics, inside: BoolArray, findings: Findings) -> WorstThd | None:
    """The highest THD among the rows `inside`, `(rows,)`; None where all of it is masked by noise."""
    quantity = thd_row(harmonics)
    row = quantity.worst_row(inside)
    if row is None:
        return None
    frequency_hz = float(harmonics.frequency_hz[row])
    strongest = harmonics.orders[int(np.nanargmax([order.relative_db[row] for order in harmonics.orders]))]
    return WorstThd(
        percent=float(quantity.values[row]),
        frequency_hz=frequency_hz,
        order=strongest.order,
        order_db=float(strongest.relative_db[row]),
        mark=quantity.mark(row),
        finding=_explaining(findings.findings or (), frequency_hz),
        dip=_dip_at(findings.anomalies, frequency_hz),
    )


def _explaining(findings: Sequence[Finding], frequency_hz: float) -> int | None:
    """Number of the first finding about orders whose place holds `frequency_hz`. One that rests on no order says
    nothing of distortion: a peak of the response alone, a rattle."""
    for one in findings:
        inside = any(place.low_hz <= frequency_hz <= place.high_hz for place in one.places)
        of_orders = any(from_findings(row.quantity).order is not None for row in one.evidence)
        if inside and (of_orders or one.explanation in OF_RECORDINGS):
            return one.number
    return None


def _dip_at(anomalies: Sequence[Anomaly], frequency_hz: float) -> str | None:
    inside = (one for one in anomalies if one.kind == "dip" and one.low_hz <= frequency_hz <= one.high_hz)
    return next((letter(one.number) for one in inside), None)


def _of_multitone(found: MultitoneFound) -> MultitoneRead:
    below = not found.distortion_db >= found.floor_db  # a floor that is not known is NaN, and then nothing is below it
    if below and np.isfinite(found.floor_db):
        return MultitoneRead(percent=_percent(found.floor_db), mark=BELOW_FLOOR)
    near = not found.distortion_db >= found.floor_db + CLEAR_OF_NOISE_DB
    return MultitoneRead(percent=_percent(found.distortion_db), mark=DOUBTFUL if near else "")


def _percent(value_db: float) -> float:
    return float(100.0 * db_to_amplitude(value_db))


def compression_at(found: Sequence[CompressionFound], level_db_spl: float) -> CompressionRead | None:
    """The largest loss at one level, of the sweep where there is one, else of the multitone."""
    for one in found:
        if level_db_spl == one.level_db_spl[0]:
            return CompressionRead(state="reference")
        if level_db_spl in one.level_db_spl:
            return _largest_loss(one, one.level_db_spl.index(level_db_spl))
    return None


def _largest_loss(found: CompressionFound, place: int) -> CompressionRead:
    named = [
        (-change_db, band.midband_hz)
        for band, octave in zip(found.ranges, found.octaves, strict=True)
        if band.words[place] in ("gradual compression", "limiting")
        and (change_db := shown_changes(band, octave)[place]) is not None
    ]
    if named:
        loss_db, midband_hz = max(named)
        return CompressionRead(state="some", loss_db=loss_db, midband_hz=midband_hz)
    known = any(band.words[place] != "unknown" for band in found.ranges)
    return CompressionRead(state="none" if known else "unknown")


COLUMNS = 80
"""Of a terminal."""

HEADERS = ("Level", "Bass from", "Spread", "Worst THD", "Multitone", "Compression", "Actual")
"""Of the columns of `cells`, for every reader."""


def cells(one: LevelOverview) -> tuple[str, ...]:
    """The words of one row under `HEADERS`, without units but those of frequencies: the terminal's and the page's."""
    return (
        level_name(one.level_db_spl),
        NOT_MEASURABLE if one.bass_limit_hz is None else two_digits_hertz(one.bass_limit_hz),
        NOT_MEASURABLE if one.response is None else decibels(one.response.range_db),
        thd_words(one.thd),
        NOT_MEASURABLE if one.multitone is None else f"{one.multitone.mark}{two_digits(one.multitone.percent)}",
        compression_words(one.compression),
        NOT_MEASURABLE if one.reached_db is None else f"{one.reached_db:.1f}",
    )


def thd_words(thd: WorstThd | None) -> str:
    """Reading, place and cause: "2.2 at 1.2 kHz (1)", where 1 is the number of a finding."""
    if thd is None:
        return NOT_MEASURABLE
    cause = f" ({thd.finding})" if thd.finding is not None else f" (dip {thd.dip})" if thd.dip is not None else ""
    return f"{thd.mark}{two_digits(thd.percent)} at {two_digits_hertz(thd.frequency_hz)}{cause}"


def compression_words(found: CompressionRead | None) -> str:
    """The largest loss with its octave, or why there is none."""
    if found is None or found.state == "unknown":
        return NOT_MEASURABLE
    if found.loss_db is None or found.midband_hz is None:
        return found.state
    return f"{found.loss_db:.1f} at {octave_words(found.midband_hz).removesuffix(' octave')}"


def legend(rows: Sequence[LevelOverview]) -> list[str]:
    """What the columns and the marks of these rows mean, at most 80 characters a line."""
    unit = rows[0].unit if rows else "dB SPL"
    nominal = "nominal, dB SPL" if unit == "dB SPL" else "as it is named"
    lines = [
        f"Level: {nominal}. Actual: measured, mean over the band, {unit}.",
        "Bass from: 10 dB below the loudest octave. Spread: max - min, 100 Hz to 10 kHz.",
        "THD, multitone: % re fundamental, all tones. Compression: dB, worst octave.",
    ]
    if any(one.thd is not None and one.thd.finding is not None for one in rows):
        lines.append("In brackets: the finding at that place.")
    if any(NOT_MEASURABLE in cells(one) for one in rows):
        lines.append("-: not played, or nothing to be read.")
    marks = {read.mark for one in rows for read in (one.thd, one.multitone) if read is not None}
    return lines + [LEGEND[mark] for mark in (DOUBTFUL, BELOW_FLOOR) if mark in marks]


def overview_blocks(rows: Sequence[LevelOverview]) -> Iterator[str | Table]:
    """The rows as a table within 80 columns of a terminal, and its legend in lines."""
    widths = [max(map(len, column)) for column in zip(HEADERS, *map(cells, rows), strict=True)]
    apart = 2 if sum(widths) + 2 * (len(widths) - 1) <= COLUMNS else 1
    table = Table(box=None, padding=(0, apart, 0, 0), pad_edge=False, show_edge=False, header_style="bold")
    for header in HEADERS:
        table.add_column(header, justify="left" if header in ("Worst THD", "Compression") else "right", no_wrap=True)
    for one in rows:
        styles = ("bold", "", "", STYLES["" if one.thd is None else one.thd.mark], "", "", "")
        table.add_row(*(Text(cell, style=style) for cell, style in zip(cells(one), styles, strict=True)))
    yield table
    yield from legend(rows)
