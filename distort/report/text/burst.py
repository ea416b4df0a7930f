"""What tone bursts say, in a table: peak, compression and harmonics of every band."""

from collections.abc import Iterator

import numpy as np
from rich.table import Table

from distort.analysis.burst import ORDERS, BurstResult
from distort.analysis.common.caution import CLEAR_OF_NOISE_DB
from distort.report.text.headings import heading_sentences
from distort.report.text.numbers import decibels, hertz, level_name
from distort.session.results.condition_results import ConditionResults

UNIT_WORDS = {"db_spl": "dB SPL", "dbfs": "dBFS"}


def burst_blocks(results: ConditionResults) -> Iterator[str | Table]:
    """Whose bursts these are, a row a band, and what the columns mean."""
    result: BurstResult = results.further["burst"]
    yield from heading_sentences(results)
    yield _table(result)
    yield (
        f"Peak: of the fundamental, {UNIT_WORDS[result.unit]}"
        + (", 3 dB above the r.m.s. of a steady sine of that amplitude" if result.unit == "db_spl" else "")
        + ". Compression: what the output lacks re the lowest level. H2 to H5: dB re the fundamental."
    )
    if np.any(result.doubtful):
        yield (
            f"? use with caution: less than {CLEAR_OF_NOISE_DB:.0f} dB above the floor that noise and the burst's own "
            f"spectrum leave."
        )
    yield "No level above these was played, so nothing here is the loudspeaker's highest peak."
    yield ""


def _table(result: BurstResult) -> Table:
    table = Table(box=None, pad_edge=False)
    for heading in ("Hz", "Level", "Peak", "Compression", *(f"H{order}" for order in ORDERS)):
        table.add_column(heading, justify="right")
    for band in range(result.frequency_hz.size):
        table.add_row(
            hertz(float(result.frequency_hz[band])),
            level_name(float(result.level_db_spl[band])),
            decibels(float(result.peak_db[band])),
            decibels(float(result.compression_db[band])),
            *(_harmonic(result, index, band) for index in range(len(ORDERS))),
        )
    return table


def _harmonic(result: BurstResult, index: int, band: int) -> str:
    mark = "?" if result.doubtful[index, band] else " "
    return f"{decibels(float(result.harmonics_db[index, band]))}{mark}"
