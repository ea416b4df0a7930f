"""The sentences that a report begins with: what was found, with its figure and how far it holds. No word judges."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from distort.analysis.common.curves import BoolArray, FloatArray, Harmonics, Response
from distort.report.text.compression import limiter_sentences, range_clauses
from distort.report.text.numbers import decibels, hertz_words, level_name, percent, with_plus_minus
from distort.report.text.tables_sweep import UNIT_NAMES, TableRow, level_row, thd_row
from distort.session.results.condition_results import ConditionResults, LevelFound
from distort.session.results.multitone_results import MultitoneFound
from signals.levels import db_to_amplitude

MIDDLE_HZ = (100.0, 10000.0)
"""Where most of what is heard lies and most rooms and microphones can be trusted (common practice, no source)."""


READING = (
    f"Response and THD are read between {hertz_words(MIDDLE_HZ[0])} and {hertz_words(MIDDLE_HZ[1])}, where a reading "
    f"stands clear of noise, of the room's decay and of what the sweep's speed spoils."
)
"""What all sentences on response and THD have in common, said once above them."""


def verdicts(results: ConditionResults) -> list[str]:
    """What the measurements of a condition say, a sentence a finding; coincidences and hearing come from elsewhere."""
    findings = results.findings
    sentences = []
    if findings.levels:
        sentences += _response_sentences(findings.levels[0], results.responses[0])
    for level, harmonics in zip(findings.levels, results.harmonics, strict=True):
        sentences.append(_thd_sentence(level, harmonics))
    sentences += _multitone_sentences(findings.multitones)
    for found in findings.compression:
        name = f"{found.source}, up to {level_name(found.level_db_spl[-1])} dB SPL (nominal)"
        sentences.append(f"Change of the response with level ({name}): {range_clauses(found)}.")
    if findings.no_compression is not None:
        sentences.append(findings.no_compression)
    return [with_plus_minus(sentence) for sentence in sentences]


def _response_sentences(level: LevelFound, response: Response) -> list[str]:
    """Highest and lowest of the response at the quietest level between 100 Hz and 10 kHz, where noise allows."""
    quantity = level_row(response, "")
    frequency_hz = response.frequency_hz
    clean = np.isfinite(quantity.values) & ~quantity.doubtful & ~quantity.below & _middle(frequency_hz)
    if not clean.any():
        return []
    rows = np.flatnonzero(clean)
    low, high = (rows[int(pick(quantity.values[rows]))] for pick in (np.argmin, np.argmax))
    unit = UNIT_NAMES[response.unit]
    return [
        f"At {_nominal(level)} the response between {_span(frequency_hz[rows])} runs from "
        f"{quantity.values[low]:.1f} {unit} ({hertz_words(float(frequency_hz[low]))}) to "
        f"{quantity.values[high]:.1f} {unit} ({hertz_words(float(frequency_hz[high]))}), "
        f"a range of {quantity.values[high] - quantity.values[low]:.1f} dB."
    ]


def _thd_sentence(level: LevelFound, harmonics: Harmonics) -> str:
    """Highest THD that can be read, where, of which order; or that there is none."""
    quantity = thd_row(harmonics)
    inside = _middle(harmonics.frequency_hz)
    row = _restricted(quantity, inside).worst_row()
    if row is None:
        return f"At {_nominal(level)} no THD can be read: noise, the room or the sweep's speed covers it."
    clean = np.isfinite(quantity.values) & ~quantity.doubtful & ~quantity.below & inside
    readings = [order.relative_db[row] for order in harmonics.orders]
    strongest = harmonics.orders[int(np.nanargmax(readings))]
    worst = f"{quantity.write(float(quantity.values[row]))} % at {hertz_words(float(harmonics.frequency_hz[row]))}"
    share = 100.0 * float(clean.sum()) / float(inside.sum())
    return (
        f"At {_nominal(level)} THD re the fundamental reaches {worst} (order {strongest.order} there: "
        f"{decibels(float(strongest.relative_db[row]))} dB); {share:.0f} % of that range can be read."
    )


def _restricted(quantity: TableRow, inside: BoolArray) -> TableRow:
    return replace(quantity, values=np.where(inside, quantity.values, np.nan))


def _multitone_sentences(multitones: Sequence[MultitoneFound]) -> list[str]:
    sentences = [
        f"At {level_name(one.level_db_spl)} dB SPL (nominal) {one.lines} tones at once leave distortion of "
        f"{decibels(one.distortion_db)} dB re all of them ({percent(float(100.0 * db_to_amplitude(one.distortion_db)))}"
        f" %): even orders {decibels(one.even_db)} dB, odd orders {decibels(one.odd_db)} dB, noise "
        f"{decibels(one.noise_db)} dB, floor {decibels(one.floor_db)} dB."
        for one in multitones
    ]
    return [*sentences, *limiter_sentences(multitones)]


def _nominal(level: LevelFound) -> str:
    measured = "" if level.measured_db is None else f", measured {level.measured_db:.1f} {UNIT_NAMES[level.unit]}"
    return f"{level_name(level.level_db_spl)} dB SPL (nominal{measured})"


def _middle(frequency_hz: FloatArray) -> BoolArray:
    low, high = MIDDLE_HZ
    return np.asarray((frequency_hz >= 0.99 * low) & (frequency_hz <= 1.01 * high))


def _span(frequency_hz: FloatArray) -> str:
    return f"{hertz_words(float(frequency_hz[0]))} and {hertz_words(float(frequency_hz[-1]))}"
