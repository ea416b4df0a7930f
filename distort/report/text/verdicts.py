"""The sentences that a report begins with: what was found, with its figure and how far it holds. No word judges."""

from collections.abc import Sequence

import numpy as np

from distort.analysis.common.curves import BoolArray, Harmonics, Response
from distort.analysis.sweep.response import lower_limit_hz
from distort.report.text.compression import limiter_sentences, range_clauses
from distort.report.text.heating import heating_sentence
from distort.report.text.hiss import hiss_sentences
from distort.report.text.numbers import decibels, hertz_words, level_name, percent, with_plus_minus
from distort.report.text.overview import MIDDLE_HZ, range_read, worst_thd
from distort.report.text.tables_sweep import DOUBTFUL, UNIT_NAMES, thd_row, valid_rows
from distort.session.results.condition_results import ConditionResults, Findings, LevelFound
from distort.session.results.multitone_results import MultitoneFound
from signals.levels import db_to_amplitude

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
        sentences.append(_thd_sentence(level, harmonics, valid_rows(response, from_hz), findings))
    sentences += _multitone_sentences(findings.multitones)
    for found in findings.compression:
        name = f"{found.source}, up to {level_name(found.level_db_spl[-1])} dB SPL (nominal)"
        sentences.append(f"Change of the response with level ({name}): {range_clauses(found)}.")
    if findings.no_compression is not None:
        sentences.append(findings.no_compression)
    sentences += heating_sentence(results)
    sentences += hiss_sentences(results)
    return [with_plus_minus(sentence) for sentence in sentences]


def _response_sentences(level: LevelFound, response: Response) -> list[str]:
    """Highest and lowest of the response at the quietest level between 100 Hz and 10 kHz, where noise allows."""
    read = range_read(response)
    if read is None:
        return []
    unit = UNIT_NAMES[response.unit]
    return [
        f"At {_nominal(level)} the response between {hertz_words(read.from_hz)} and {hertz_words(read.to_hz)} runs "
        f"from {read.low_db:.1f} {unit} ({hertz_words(read.low_hz)}) to {read.high_db:.1f} {unit} "
        f"({hertz_words(read.high_hz)}), a range of {read.range_db:.1f} dB."
    ]


def _thd_sentence(level: LevelFound, harmonics: Harmonics, inside: BoolArray, findings: Findings) -> str:
    """Highest THD in the rows `inside`, with its mark, where, of which order; or that there is none."""
    worst, quantity = worst_thd(harmonics, inside, findings), thd_row(harmonics)
    if worst is None:
        return f"At {_nominal(level)} THD is not measurable: masked by noise."
    clear = inside & np.isfinite(quantity.values) & ~quantity.doubtful & ~quantity.below
    share = 100.0 * float(clear.sum()) / float(inside.sum())
    return (
        f"At {_nominal(level)} THD re the fundamental reaches {worst.mark}{percent(worst.percent)} % at "
        f"{hertz_words(worst.frequency_hz)} (order {worst.order} there: {decibels(worst.order_db)} dB); from "
        f"{hertz_words(float(harmonics.frequency_hz[inside][0]))} on, {share:.0f} % of the band is without a mark."
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
