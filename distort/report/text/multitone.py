"""What a multitone of each level says: totals, octaves or third octaves, and what changed while it played."""

from collections.abc import Iterator

import numpy as np
from rich.table import Table
from rich.text import Text

from distort.analysis.common.curves import FloatArray
from distort.analysis.multitone.curves import MultitoneBands
from distort.analysis.multitone.settling import Settling
from distort.errors import UsageError
from distort.report.text.headings import heading_sentences
from distort.report.text.multitone_bands import Part, Parts, octaves, third_octaves
from distort.report.text.numbers import decibels, hertz, hertz_words, level_name, percent, whole_decibels, with_interval
from distort.report.text.prediction import prediction_sentences
from distort.report.text.tables_sweep import (
    BELOW_FLOOR,
    DOUBTFUL,
    NO_CELLS,
    STYLES,
    UNIT_NAMES,
    TableRow,
    add_legend,
    cells,
    octave_table,
    worst_cells,
)
from distort.session.results.condition_results import ConditionResults
from distort.session.results.multitone_results import MultitoneFound
from signals.levels import db_to_amplitude

LEGEND = {
    DOUBTFUL: "? use with caution: less than 10 dB above its floor",
    BELOW_FLOOR: "< below its floor, which is printed instead",
}
TOLD_FROM_PPM = 0.01
"""Clocks that differ by less do no harm worth a word (74 dB down even if nothing were repaired)."""

NO_MULTITONE = "No multitone was recorded, so multitone distortion is not known."


def multitone_blocks(results: ConditionResults, *, level_db_spl: float | None = None) -> Iterator[str | Table]:
    """Every level in octaves, or one in third octaves. Raises UsageError when that level was not analysed."""
    found = results.findings.multitones
    known = [one.level_db_spl for one in found]
    if level_db_spl is not None and known and level_db_spl not in known:
        there = ", ".join(level_name(level) for level in known)
        raise UsageError(f"no multitone of {level_name(level_db_spl)} dB SPL was analysed: there are {there}")
    yield from heading_sentences(results)
    if not found:
        yield NO_MULTITONE
        return
    for one, bands in zip(found, results.multitones, strict=True):
        if level_db_spl not in (None, one.level_db_spl):
            continue
        yield from _level_lines(one, bands)
        yield totals_line(one)
        yield from _clock_lines(one)
        yield octaves_table(bands) if level_db_spl is None else thirds_table(bands)
        yield from attack_lines(one)
        yield from warm_up_lines(one)
        yield ""
    yield from prediction_sentences(results.findings.prediction)
    yield ""


def totals_line(found: MultitoneFound) -> str:
    """Distortion and noise products over the whole band."""
    share = percent(float(100.0 * db_to_amplitude(found.distortion_db)))
    return (
        f"Re total tone level: distortion {decibels(found.distortion_db)} dB ({share} %, floor "
        f"{decibels(found.floor_db)}), even {decibels(found.even_db)}, odd {decibels(found.odd_db)}, noise "
        f"{decibels(found.noise_db)}"
    )


def attack_lines(found: MultitoneFound) -> list[str]:
    """A sentence for every band that changed its level as the multitone began."""
    return [
        f"As it began, {_span(one)} {'overshot' if one.depth_db < 0 else 'fell short'} by "
        f"{with_interval(abs(one.depth_db), one.uncertainty_db)} dB, then settled with a time constant of "
        f"{seconds(one.time_constant_s)}: a limiter {'engages' if one.depth_db < 0 else 'lets go'}."
        for one in found.attack
    ]


def warm_up_lines(found: MultitoneFound, *, what: str = "it") -> list[str]:
    """A sentence for every band whose level changed slowly while the multitone (`what`) played."""
    return [
        f"While {what} played, {_span(one)} {'fell' if one.depth_db < 0 else 'rose'} by "
        f"{with_interval(abs(one.depth_db), one.uncertainty_db)} dB with a time constant of "
        f"{seconds(one.time_constant_s)}."
        for one in found.warm_up
    ]


def _span(one: Settling) -> str:
    if one.high_hz < 999.5:
        return f"{one.low_hz:.3g}-{one.high_hz:.3g} Hz"
    return f"{hertz_words(one.low_hz)} to {hertz_words(one.high_hz)}"


def seconds(time_s: float) -> str:
    """A time with about two digits that count: 34 ms, 5.9 s."""
    if time_s >= 0.5:
        return f"{time_s:.1f} s" if time_s < 9.95 else f"{time_s:.0f} s"
    return f"{1000.0 * time_s:.0f} ms" if time_s >= 0.00995 else f"{1000.0 * time_s:.1f} ms"


def octaves_table(bands: MultitoneBands) -> Table:
    """Octaves across, and the worst third octave of each quantity with where it is."""
    thirds = third_octaves(bands)
    shown = _quantities(octaves(thirds), bands)
    table, frequency_hz = octave_table("Hz", worst=True), octaves(thirds).frequency_hz
    table.add_row(*cells(shown[0], frequency_hz), *NO_CELLS)
    for quantity, third in zip(shown[1:], _quantities(thirds, bands)[1:], strict=True):
        worst = worst_cells(third, bands.frequency_hz, third.worst_clear_row())
        table.add_row(*cells(quantity, frequency_hz), *worst)
    before = (
        f"{UNIT_NAMES[bands.unit]}: the lines; dist. (even and odd together) and noise: dB re them;\n"
        "each over its octave, worst: of all third octaves"
    )
    add_legend(table, shown, octaves(thirds).frequency_hz, before=before, words=LEGEND)
    return table


def thirds_table(bands: MultitoneBands) -> Table:
    """One row a third octave, with the 95 % intervals of even and odd."""
    parts = third_octaves(bands)
    table = Table(
        box=None, padding=(0, 1), pad_edge=False, show_edge=False, header_style="bold", caption_justify="left"
    )
    for name in ("Hz", UNIT_NAMES[bands.unit], "dist. dB", "even dB", "+-", "odd dB", "+-", "noise dB"):
        table.add_column(name, justify="right", no_wrap=True)
    marks = set()
    for row in (int(each) for each in np.flatnonzero(np.isfinite(parts.level_db))):
        written = [(_mark(part, row), part) for part in (parts.distortion, parts.even, parts.odd)]
        marks |= {mark for mark, _ in written}
        distortion, even, odd = (_marked(mark, part, row) for mark, part in written)
        table.add_row(
            Text(hertz(float(parts.frequency_hz[row])), style="bold"),
            decibels(float(parts.level_db[row])),
            distortion,
            even,
            _interval(bands.even_uncertainty_db[row]),
            odd,
            _interval(bands.odd_uncertainty_db[row]),
            decibels(float(parts.noise_db[row])),
        )
    lines = ["dist. (even and odd together) and noise: dB re the lines"]
    lines += [LEGEND[mark] for mark in (DOUBTFUL, BELOW_FLOOR) if mark in marks]
    table.caption = Text("\n".join(lines), style="dim")
    return table


def _quantities(parts: Parts, bands: MultitoneBands) -> list[TableRow]:
    unmarked = Part(values_db=parts.level_db, floor_db=np.full_like(parts.level_db, -np.inf))
    noise = Part(values_db=parts.noise_db, floor_db=unmarked.floor_db)
    labelled = (
        (UNIT_NAMES[bands.unit], unmarked),
        ("dist.", parts.distortion),
        ("even", parts.even),
        ("odd", parts.odd),
        ("noise", noise),
    )
    return [
        TableRow(
            label=label,
            values=part.values_db,
            floor=part.floor_db,
            doubtful=part.doubtful,
            below=part.below,
            write=decibels if part is unmarked else whole_decibels,
        )
        for label, part in labelled
    ]


def _mark(part: Part, row: int) -> str:
    if part.below[row]:
        return BELOW_FLOOR
    return DOUBTFUL if part.doubtful[row] else ""


def _marked(mark: str, part: Part, row: int) -> Text:
    shown: FloatArray = part.floor_db if mark == BELOW_FLOOR else part.values_db
    return Text(f"{mark}{decibels(float(shown[row]))}", style=STYLES[mark])


def _interval(half_width_db: float) -> str:
    return "" if not np.isfinite(half_width_db) else f"{half_width_db:.1f}" if half_width_db < 99.5 else ">99"


def _level_lines(found: MultitoneFound, bands: MultitoneBands) -> tuple[str, str]:
    return (
        f"{level_name(found.level_db_spl)} dB SPL nominal, drive {found.drive_dbfs:.1f} dBFS, measured "
        f"{found.measured_db:.1f} {UNIT_NAMES[bands.unit]}",
        how_it_sounds(found),
    )


def how_it_sounds(found: MultitoneFound) -> str:
    """What was played, in a few words."""
    several = f", mean of {found.realisations} recordings" if found.realisations > 1 else ""
    if found.draws > 1:
        several += f" of {found.draws} draws of the phases"
    period = "" if found.period_s is None else f"period {found.period_s:g} s, "
    return (
        f"{found.lines} lines, {found.spectrum} spectrum, {found.phases} phases, {period}"
        f"crest factor {found.crest_factor_db:.1f} dB{several}"
    )


def _clock_lines(found: MultitoneFound) -> list[str]:
    lines = []
    if max(abs(found.clock_difference_ppm), found.wander_ppm) >= TOLD_FROM_PPM:
        lines.append(
            f"Clocks: a difference of {found.clock_difference_ppm:+.2f} ppm was taken out; "
            f"wander {found.wander_ppm:.2f} ppm r.m.s."
        )
    if found.fast_wander:
        lines.append("The clocks wander faster than could be repaired: the floors are raised accordingly.")
    return lines
