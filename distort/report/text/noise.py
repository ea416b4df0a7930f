"""Noise that comes with level: a row a third octave, and a sentence on where it grows and as what."""

from collections.abc import Iterator

import numpy as np
from rich.table import Table

from distort.analysis.level_noise import AIR_HZ, FASTER_DB_PER_DB, Growing, NoiseResult
from distort.report.text.headings import heading_sentences
from distort.report.text.numbers import decibels, hertz, hertz_words, level_name, with_interval
from distort.report.text.tables_sweep import UNIT_NAMES
from distort.session.results.condition_results import ConditionResults

MOST_LEVELS = 6
"""Columns of a terminal of 80; the highest ones."""


def noise_blocks(results: ConditionResults) -> Iterator[str | Table]:
    """Whose multitones these are, where their noise grows with the level, a row a third octave, and what it means."""
    result: NoiseResult = results.further["noise"]
    yield from heading_sentences(results)
    yield from growing_sentences(result)
    if any(one.fast_wander for one in results.findings.multitones):
        yield "The clocks of player and recorder wander fast, which makes some of this noise: about 1 dB per dB."
    if not any(np.isfinite(one.noise_db).any() for one in result.levels):
        yield ""
        return
    yield f"Noise while a multitone plays, less that of the silence, {UNIT_NAMES[result.unit]} per third octave"
    yield _table(result)
    yield (
        "Distortion is not in it: it repeats with the multitone, noise does not. -: too near the noise of the "
        "silence to be told. Growth: dB of noise per dB of drive, where two levels or more are told."
    )
    if len(result.levels) > MOST_LEVELS:
        yield f"The lower levels are in results/{results.findings.condition}/noise.csv."
    yield ""


def growing_sentences(result: NoiseResult) -> Iterator[str]:
    """Each stretch that grows, and as what; one sentence where none does."""
    growing = result.growing
    for one in growing:
        yield (
            f"Noise comes with level from {hertz_words(one.low_hz)} to {hertz_words(one.high_hz)}: it grows by "
            f"{with_interval(one.growth_db_per_db, one.uncertainty_db_per_db)} dB per dB {_as_what(one)}."
        )
    if growing:
        return
    told = [level for level in result.levels if np.count_nonzero(np.isfinite(level.noise_db)) > 1]
    if told:
        names = ", ".join(level_name(one.level_db_spl) for one in told)
        yield (
            f"Some noise comes with the sound at {names} dB SPL; that it grows is not shown by two levels or more in "
            f"neighbouring third octaves."
        )
    else:
        yield _nothing(result)


def _nothing(result: NoiseResult) -> str:
    """With the floor, where air would be sought and one is known."""
    highest = result.levels[-1]
    level = f"{level_name(highest.level_db_spl)} dB SPL"
    among = (result.frequency_hz > AIR_HZ[0]) & (result.frequency_hz < AIR_HZ[1]) & np.isfinite(highest.floor_db)
    sentence = f"No noise comes with level: at {level} none is told from that of the silence."
    if not among.any():
        return sentence
    return (
        f"{sentence} From {np.max(highest.floor_db[among]):.0f} {UNIT_NAMES[result.unit]} per third octave on it would "
        f"be, between {hertz_words(AIR_HZ[0])} and {hertz_words(AIR_HZ[1])}."
    )


def _as_what(one: Growing) -> str:
    if one.as_air:
        return "of drive, faster than the sound, as the air in a port or a leak does, or a loose part"
    if one.growth_db_per_db < FASTER_DB_PER_DB:
        return "of drive, about as the sound does, so a codec or an unsteady clock may have made it"
    return "of drive"


def _table(result: NoiseResult) -> Table:
    levels = result.levels[-MOST_LEVELS:]
    table = Table(box=None, padding=(0, 1), pad_edge=False, show_edge=False, header_style="bold")
    for name in ("Hz", "Silence", *(f"at {level_name(one.level_db_spl)}" for one in levels), "Growth"):
        table.add_column(name, justify="right", no_wrap=True)
    for row in np.flatnonzero(np.isfinite(result.silence_db)):
        growth = result.growth_db_per_db[row]
        table.add_row(
            hertz(float(result.frequency_hz[row])),
            decibels(float(result.silence_db[row])),
            *(decibels(float(one.noise_db[row])) for one in levels),
            "-" if np.isnan(growth) else with_interval(float(growth), float(result.growth_uncertainty_db_per_db[row])),
        )
    return table
