"""What frames say: how much level is lost at each frequency, and whether a limiter, heat or a curve takes it."""

from collections.abc import Iterator

import numpy as np
from rich.table import Table

from distort.analysis.frames.reading import Cause, FrameReading, FramesLevel, FramesResult
from distort.report.text.headings import heading_sentences
from distort.report.text.numbers import decibels, hertz, hertz_words, level_name, two_digits
from distort.session.results.condition_results import ConditionResults

CAUSE_WORDS: dict[Cause, str] = {
    "unknown": "not measurable",
    "none": "nothing lost",
    "expansion": "expansion",
    "instantaneous": "instantaneous",
    "limiter": "limiter",
    "limiter or instantaneous": "limiter or instantaneous",
    "heat": "heat",
}


CAUTION_DB = 0.6
"""Between limiter and instantaneous, 95 %: twice what a fit in a room leaves."""


def frames_blocks(results: ConditionResults) -> Iterator[str | Table]:
    """Whose frames these are; of each level what takes how much, in a sentence and a table; what the columns mean."""
    result: FramesResult = results.further["frames"]
    yield from heading_sentences(results)
    for level in result.levels:
        yield f"At {level_name(level.level_db_spl)} dB SPL: {_said(result, level)}."
        yield _table(result, level)
    yield (
        "Loss: at the end of a loud stretch of some tens of milliseconds, dB re the quiet sine before it. Limiter: "
        "what the quiet sine after it lacks at first and gets back. Heat: what it lacks for longer than three "
        "releases. Instantaneous: the rest, a curve that follows every cycle. Attack and release: 63 % of the way, ms."
    )
    if any(one.split_uncertainty_db > CAUTION_DB for level in result.levels for one in level.readings):
        yield f"? use with caution: noise leaves over {CAUTION_DB:g} dB open between limiter and instantaneous."
    yield (
        "- not measurable: hidden by noise, a limiter that acts within ten periods, or heat that cannot be told from a "
        "slow release."
    )
    yield ""


def _said(result: FramesResult, level: FramesLevel) -> str:
    """The causes, each with where it takes most."""
    parts = []
    for cause in ("limiter", "limiter or instantaneous", "instantaneous", "heat", "expansion"):
        there = [index for index, one in enumerate(level.readings) if cause in one.causes]
        if there:
            most = max(there, key=lambda index: part_db(level.readings[index], cause))
            parts.append(
                f"{CAUSE_WORDS[cause]} up to {decibels(part_db(level.readings[most], cause))} dB at "
                f"{hertz_words(float(result.frequency_hz[most]))}"
            )
    if parts:
        return "; ".join(parts)
    if all(one.causes == ("unknown",) for one in level.readings):
        return "noise hides what is lost"
    return "nothing is lost, where it can be read"


def part_db(reading: FrameReading, cause: Cause) -> float:
    """What a cause takes, dB; of what is not divided, all of it."""
    parts = {
        "limiter": reading.limiter_db,
        "instantaneous": reading.instantaneous_db,
        "limiter or instantaneous": reading.either_db,
        "heat": reading.heat_db,
        "expansion": -reading.compression_db,
    }
    return parts.get(cause, reading.compression_db)


def _table(result: FramesResult, level: FramesLevel) -> Table:
    table = Table(box=None, pad_edge=False)
    for heading in ("Hz", "Loss", "Limiter", "Instant.", "Heat", "Attack", "Release"):
        table.add_column(heading, justify="right")
    table.add_column("What takes it")
    for at_hz, reading in zip(result.frequency_hz, level.readings, strict=True):
        table.add_row(
            hertz(float(at_hz)),
            _part(reading.compression_db),
            f"{_part(reading.limiter_db)}{_mark(reading)}",
            f"{_part(reading.instantaneous_db)}{_mark(reading)}",
            _part(reading.heat_db),
            two_digits(1000.0 * reading.attack_s),
            two_digits(1000.0 * reading.release_s),
            ", ".join(CAUSE_WORDS[cause] for cause in reading.causes),
        )
    return table


def _mark(reading: FrameReading) -> str:
    return "?" if reading.split_uncertainty_db > CAUTION_DB else " "


def _part(value_db: float) -> str:
    """Hundredths for heat's sake; no minus before nothing."""
    return decibels(value_db) if np.isnan(value_db) else f"{value_db + 0.0:.2f}".replace("-0.00", "0.00")
