"""The sentences that a report begins with: what was found, with its figure and how far it holds. No word judges."""

from collections.abc import Sequence

import numpy as np

from distort.analysis.common.curves import BoolArray, FloatArray, Harmonics, Response
from distort.analysis.sweep.response import lower_limit_hz
from distort.report.text.compression import limiter_sentences, range_clauses
from distort.report.text.numbers import decibels, hertz_words, level_name, percent, with_plus_minus
from distort.report.text.tables_sweep import DOUBTFUL, UNIT_NAMES, level_row, thd_row, valid_rows
from distort.session.results.condition_results import ConditionResults, LevelFound
from distort.session.results.multitone_results import MultitoneFound
from signals.levels import db_to_amplitude

MIDDLE_HZ = (100.0, 10000.0)
"""Where most of what is heard lies and most rooms and microphones can be trusted (common practice, no source)."""


READING = (
    f"The response is read between {hertz_words(MIDDLE_HZ[0])} and {hertz_words(MIDDLE_HZ[1])}, where it stands clear "
    f"of noise; THD over the whole band, the bass as well, from where the response is 10 dB below its loudest octave. "
    f"A reading with {DOUBTFUL} before it is to be used with caution: it is near its noise, or spoilt by the room, the "
    f"gate or the sweep's speed."
)
"""What all sentences on response and THD have in common, said once above them."""


def verdicts(results: ConditionResults) -> list[str]:
    """What the measurements of a condition say, a sentence a finding; findings and hearing come from elsewhere."""
    findings = results.findings
    sentences = []
    if findings.levels:
        sentences += _response_sentences(findings.levels[0], results.responses[0])
        from_hz = lower_limit_hz(results.responses[0])
    for level, response, harmonics in zip(findings.levels, results.responses, results.harmonics, strict=True):
        sentences.append(_thd_sentence(level, harmonics, valid_rows(response, from_hz)))
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


def _thd_sentence(level: LevelFound, harmonics: Harmonics, inside: BoolArray) -> str:
    """Highest THD in the rows `inside`, with its mark, where, of which order; or that there is none."""
    quantity, frequency_hz = thd_row(harmonics), harmonics.frequency_hz
    row = quantity.worst_row(inside)
    if row is None:
        return f"At {_nominal(level)} THD is not measurable: masked by noise."
    strongest = harmonics.orders[int(np.nanargmax([order.relative_db[row] for order in harmonics.orders]))]
    clear = inside & np.isfinite(quantity.values) & ~quantity.doubtful & ~quantity.below
    share = 100.0 * float(clear.sum()) / float(inside.sum())
    return (
        f"At {_nominal(level)} THD re the fundamental reaches {quantity.written(row)} % at "
        f"{hertz_words(float(frequency_hz[row]))} (order {strongest.order} there: "
        f"{decibels(float(strongest.relative_db[row]))} dB); from {hertz_words(float(frequency_hz[inside][0]))} on, "
        f"{share:.0f} % of the band is without a mark."
    )


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
