"""What the loudspeaker does to a piece of music, in a table a level and a sentence on the highest that holds."""

from collections.abc import Iterator

import numpy as np
from rich.table import Table

from distort.analysis.common.caution import CLEAR_OF_NOISE_DB
from distort.analysis.programme import (
    BROAD_BANDS,
    COUNTS_FROM,
    LEAST_COHERENCE,
    MOST_BROAD_DB,
    MOST_CHANGE_DB,
    ProgrammeLevel,
    ProgrammeResult,
)
from distort.report.text.headings import heading_sentences
from distort.report.text.numbers import decibels, hertz, level_name
from distort.session.results.condition_results import ConditionResults


def programme_blocks(results: ConditionResults) -> Iterator[str | Table]:
    """Whose music this is, up to which level it comes out as it should, a row a third octave, and what it means."""
    result: ProgrammeResult = results.further["programme"]
    yield from heading_sentences(results)
    if not result.levels:
        yield "The music was recorded at one level alone: record another one to see what changes as it gets louder."
        yield ""
        return
    yield _holds(result)
    for level in result.levels:
        yield f"Music at {level_name(level.level_db_spl)} dB SPL, against the lowest level"
        yield _table(result, level)
    yield (
        "Change: of level, dB, less the change of drive. Coherence: share of the power that is still the music. Added: "
        "what is not, dB re the music of that third octave; floor: the noise of both recordings."
    )
    if any(np.any(level.doubtful) for level in result.levels):
        yield f"? use with caution: less than {CLEAR_OF_NOISE_DB:.0f} dB above its floor."
    yield ""


def _holds(result: ProgrammeResult) -> str:
    rule = (
        f"coherence {LEAST_COHERENCE:g} or more, no third octave changed by over {MOST_CHANGE_DB:g} dB, no "
        f"{BROAD_BANDS / 3:g} octaves by over {MOST_BROAD_DB:g} dB"
    )
    if all(level.holds is None for level in result.levels):
        return (
            f"Up to which level the music comes out as it should is not known: noise leaves no third octave a "
            f"coherence of {COUNTS_FROM:g}, or nobody said how far the volume was turned."
        )
    highest = result.highest_that_holds
    if highest is None:
        return f"At no level does the music come out as it should ({rule})."
    above = [level.level_db_spl for level in result.levels if level.level_db_spl > highest.level_db_spl]
    so_far = f"and no longer at {level_name(above[0])}" if above else "the highest level that was played"
    judged = int(np.count_nonzero(highest.counts & np.isfinite(highest.change_db)))
    return (
        f"The music comes out as it should up to {level_name(highest.level_db_spl)} dB SPL, {so_far} ({rule}; by "
        f"{judged} of {highest.counts.size} third octaves, the others are lost in noise)."
        if judged < highest.counts.size
        else f"The music comes out as it should up to {level_name(highest.level_db_spl)} dB SPL, {so_far} ({rule})."
    )


def _table(result: ProgrammeResult, level: ProgrammeLevel) -> Table:
    table = Table(box=None, pad_edge=False)
    for heading in ("Hz", "Change", "Coherence", "Added", "Floor"):
        table.add_column(heading, justify="right")
    for band in range(result.frequency_hz.size):
        mark = "?" if level.doubtful[band] else " "
        table.add_row(
            hertz(float(result.frequency_hz[band])),
            decibels(float(level.change_db[band])),
            "-" if np.isnan(level.coherence[band]) else f"{level.coherence[band]:.2f}",
            f"{decibels(float(level.remainder_db[band]))}{mark}",
            decibels(float(level.floor_db[band])),
        )
    return table
