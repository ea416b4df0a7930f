"""What the loudspeaker does to a piece of music, in a table a level and a sentence on the highest that holds."""

from collections.abc import Iterator

import numpy as np
from rich.table import Table

from distort.analysis.common.caution import CLEAR_OF_NOISE_DB
from distort.analysis.level_limits import COUNTS_FROM, LevelLimit
from distort.analysis.programme import ProgrammeLevel, ProgrammeResult
from distort.report.text.headings import heading_sentences
from distort.report.text.level_limits import ended_words, rule_words
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
    yield _holds(next((one for one in results.findings.level_limits if one.stimulus == "programme"), None))
    for level in result.levels:
        yield f"Music at {level_name(level.level_db_spl)} dB SPL, against the lowest level"
        yield _table(result, level)
    yield (
        "Change: of level, dB, less the change of drive. Coherence: share of the power that is still the music. Added: "
        "what is not, dB re the music of that third octave; floor: the noise of both recordings. Over masked: what was "
        "added over what the music masks, dB, as it is passed in a twentieth of the time, by the model that masks "
        "more; -: noise hides it, or nobody knows the sound pressure."
    )
    if any(np.any(level.doubtful) for level in result.levels):
        yield f"? use with caution: less than {CLEAR_OF_NOISE_DB:.0f} dB above its floor."
    yield ""


def _holds(found: LevelLimit | None) -> str:
    if found is None:
        return (
            f"Up to which level the music comes out as it should is not known: noise leaves no third octave a "
            f"coherence of {COUNTS_FROM:g}, or nobody said how far the volume was turned."
        )
    rule = rule_words(found.limits, found.stimulus)
    if found.judged < found.bands:
        rule += f"; by {found.judged} of {found.bands} third octaves, the others are lost in noise"
    ended = "" if found.ended_at_db_spl is None else f" at {level_name(found.ended_at_db_spl)} dB SPL"
    if found.up_to_db_spl is None:
        passed = ended_words(found.passed[0])
        return f"At no level does the music come out as it should:{ended} there is {passed} ({rule})."
    so_far = f":{ended} there is {ended_words(found.passed[0])}" if ended else ", the highest level that was played"
    return f"The music comes out as it should up to {level_name(found.up_to_db_spl)} dB SPL{so_far} ({rule})."


def _table(result: ProgrammeResult, level: ProgrammeLevel) -> Table:
    table = Table(box=None, pad_edge=False)
    for heading in ("Hz", "Change", "Coherence", "Added", "Floor", "Over masked"):
        table.add_column(heading, justify="right")
    over_db = np.minimum(level.excitation_db, level.schroeder_db)
    for band in range(result.frequency_hz.size):
        mark = "?" if level.doubtful[band] else " "
        table.add_row(
            hertz(float(result.frequency_hz[band])),
            decibels(float(level.change_db[band])),
            "-" if np.isnan(level.coherence[band]) else f"{level.coherence[band]:.2f}",
            f"{decibels(float(level.remainder_db[band]))}{mark}",
            decibels(float(level.floor_db[band])),
            "-" if np.isnan(over_db[band]) else decibels(float(over_db[band])),
        )
    return table
