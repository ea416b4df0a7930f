"""How loud the bursts of a condition go and what ended them, in a sentence or two and a table."""

from collections import Counter
from collections.abc import Iterator, Sequence

import numpy as np
from rich.table import Table

from distort.analysis.burst import ORDERS
from distort.analysis.burst_series.operating_limit import burst_operating_limit
from distort.analysis.burst_series.result import BurstResult
from distort.analysis.burst_series.steps import CEILING, DRIVE, INPUT, MICROPHONE, NO_LIMIT, NOISE
from distort.analysis.common.burst_limits import COMPRESSION, order_name
from distort.analysis.common.caution import CLEAR_OF_NOISE_DB
from distort.report.text.headings import heading_sentences
from distort.report.text.numbers import decibels, hertz, hertz_words, level_name
from distort.session.results.condition_results import ConditionResults

UNIT_WORDS = {"db_spl": "dB SPL", "dbfs": "dBFS"}

SHOWN_ORDERS = (2, 3, 4, 5)
"""In the table: the others are in burst.csv."""

COARSE_DB = 2.0
"""Steps above this leave a crossing to be sought within them."""

ENDED_WORDS: dict[str, str] = {
    COMPRESSION: "compression",
    **{order_name(order): f"H{order}" for order in ORDERS},
    CEILING: "ceiling",
    DRIVE: "highest drive",
    MICROPHONE: "microphone's limit",
    INPUT: "input's limit",
    NOISE: "noise",
    NO_LIMIT: "not ended",
}
"""What ended a band, in tables and figures."""


def burst_blocks(results: ConditionResults) -> Iterator[str | Table]:
    """Whose bursts these are, how loud they go, a row a band, and what the columns mean."""
    result: BurstResult = results.further["burst"]
    yield from heading_sentences(results)
    yield from how_loud_sentences(result)
    yield _table(result)
    yield (
        f"Peak: of the fundamental, {UNIT_WORDS[result.unit]}"
        + (", 3 dB above the r.m.s. of a steady sine of that amplitude" if result.unit == "db_spl" else "")
        + ". Level: nominal, interpolated where a limit was met. Compression: what the output lacks re the lowest "
        "level. H2 to H5: dB re the fundamental."
    )
    if np.any(result.doubtful):
        yield (
            f"? use with caution: less than {CLEAR_OF_NOISE_DB:.0f} dB above the floor that noise and the burst's own "
            f"spectrum leave."
        )
    yield from _open_sentences(result)
    yield ""


def how_loud_sentence(results: ConditionResults) -> Iterator[str]:
    """How loud a condition goes by its bursts, in one sentence; nothing where there are none that tell."""
    result: BurstResult | None = results.further.get("burst")
    limit = None if result is None else burst_operating_limit(result)
    if result is None or limit is None or (ends := _ends(result)) is None:
        return
    low, high = ends
    unit = UNIT_WORDS[result.unit]
    level = level_name(round(limit.level_db_spl, 1))
    held = (
        f"up to {level} dB SPL nominal, the most that was played everywhere"
        if limit.ended_by is None
        else f"up to {level} dB SPL nominal, then {hertz_words(limit.frequency_hz or 0.0)} ends by "
        f"{ENDED_WORDS[limit.ended_by]}"
    )
    yield (
        f"How loud it goes: bursts peak at {result.peak_db[low]:.1f} ({hertz_words(float(result.frequency_hz[low]))}) "
        f"to {result.peak_db[high]:.1f} {unit} ({hertz_words(float(result.frequency_hz[high]))}); every band keeps its "
        f"limits {held}."
    )


def how_loud_sentences(result: BurstResult) -> Iterator[str]:
    """Up to which level all bands keep their limits, and how loud the quietest and the loudest of them go."""
    limit = burst_operating_limit(result)
    if limit is None:
        yield "Bursts: every band stands in noise at the lowest level, so nothing is known of them."
        return
    level = level_name(round(limit.level_db_spl, 1))
    if limit.ended_by is None:
        yield (
            f"Bursts: compression and distortion keep their limits in every third octave up to {level} dB SPL nominal, "
            f"at least: no band was ended by them below."
        )
    else:
        yield (
            f"Bursts: compression and distortion keep their limits in every third octave up to {level} dB SPL nominal; "
            f"the first to end is {hertz_words(limit.frequency_hz or 0.0)}, by {ENDED_WORDS[limit.ended_by]}."
        )
    if (ends := _ends(result)) is not None:
        low, high = ends
        unit = UNIT_WORDS[result.unit]
        yield (
            f"Highest peaks: from {result.peak_db[low]:.1f} {unit} at {hertz_words(float(result.frequency_hz[low]))} "
            f"to {result.peak_db[high]:.1f} at {hertz_words(float(result.frequency_hz[high]))}. "
            f"{ended_counts(result.ended_by)}"
        )


def _ends(result: BurstResult) -> tuple[int, int] | None:
    """The bands that go least and most loud; None where no peak is known."""
    known = np.flatnonzero(np.isfinite(result.peak_db) & (np.array(result.ended_by) != NOISE))
    if not known.size:
        return None
    return int(known[np.argmin(result.peak_db[known])]), int(known[np.argmax(result.peak_db[known])])


def ended_counts(ended_by: Sequence[str]) -> str:
    """How many bands each thing ended, most first."""
    counts = Counter(ended_by).most_common()
    said = ", ".join(f"{ENDED_WORDS.get(what, what)} {count}" for what, count in counts)
    return f"What ended the {len(ended_by)} bands: {said}."


def _open_sentences(result: BurstResult) -> Iterator[str]:
    """What these numbers do not say."""
    if NO_LIMIT in result.ended_by:
        yield (
            "Not ended: no level above was played, so that is not the loudspeaker's highest peak. `distort measure "
            "--bursts` goes on from there, and so does `distort stimuli --next-burst` for a player."
        )
    if any(_bracket_db(result, band) > COARSE_DB for band in np.flatnonzero(result.limited).tolist()):
        yield (
            f"Where a limit was met between levels more than {COARSE_DB:g} dB apart, it is only bracketed: `distort "
            f"measure --bursts` plays between."
        )
    if any(np.isnan(result.peak_db) & result.limited):
        yield "Peak -: a limit was passed at the lowest level already."


def _bracket_db(result: BurstResult, band: int) -> float:
    """How far the levels lie apart between which a band met its limit."""
    met_db = result.level_db_spl[band]
    played = np.array([level.level_db_spl for level in result.levels if np.isfinite(level.peak_db[band])])
    below, above = played[played <= met_db], played[played >= met_db]
    return float(above.min() - below.max()) if below.size and above.size else 0.0


def _table(result: BurstResult) -> Table:
    table = Table(box=None, pad_edge=False)
    for heading in ("Hz", "Peak", "Ended by", "Level", "Compression", *(f"H{order}" for order in SHOWN_ORDERS)):
        table.add_column(heading, justify="left" if heading == "Ended by" else "right")
    for band, ended_by in enumerate(result.ended_by):
        table.add_row(
            hertz(float(result.frequency_hz[band])),
            decibels(float(result.peak_db[band])),
            ENDED_WORDS.get(ended_by, ended_by),
            level_name(round(float(result.level_db_spl[band]), 1)),
            decibels(float(result.compression_db[band])),
            *(_harmonic(result, ORDERS.index(order), band) for order in SHOWN_ORDERS),
        )
    return table


def _harmonic(result: BurstResult, index: int, band: int) -> str:
    mark = "?" if result.doubtful[index, band] else " "
    return f"{decibels(float(result.harmonics_db[index, band]))}{mark}"
