"""What a long heating says: how far each third octave changed, how quickly, and what came back."""

from collections.abc import Iterator

import numpy as np
from rich.table import Table

from distort.analysis.heating.exponentials import Course, Term
from distort.analysis.heating.result import HeatingBand, HeatingLevel, HeatingResult
from distort.report.text.headings import heading_sentences
from distort.report.text.numbers import hertz, hertz_words, level_name, two_digits
from distort.session.results.condition_results import ConditionResults

DASH = "-"


def heating_blocks(results: ConditionResults) -> Iterator[str | Table]:
    """Whose heating it is; of each level a sentence and a table; what the columns mean."""
    result: HeatingResult = results.further["heating"]
    yield from heading_sentences(results)
    for level in result.levels:
        yield level_sentence(result, level)
        yield from _ended(level)
        yield _table(result, level)
    yield (
        "Change: from the start of the loud multitone to its end, with its 95 % interval. Time constant: 63 % of the "
        "way, with the 95 % interval; of two the quicker first. After: level of the quiet multitone re the one before, "
        "so many seconds after the end."
    )
    yield "- not measurable: noise hides it, or no time constant can be told within a factor of two."
    yield ""


def heating_sentence(results: ConditionResults) -> Iterator[str]:
    """The loudest level in one sentence, for the summary; nothing where none was recorded."""
    result: HeatingResult | None = results.further.get("heating")
    if result is not None and result.levels:
        yield level_sentence(result, result.levels[-1])


def level_sentence(result: HeatingResult, level: HeatingLevel) -> str:
    """Where it changed most, how quickly, and what was left."""
    began = f"Multitone of {level_name(level.level_db_spl)} dB SPL for {minutes_words(level.loud_s)}: "
    moved = [index for index, band in enumerate(level.bands) if is_significant(band.course)]
    if not moved:
        return f"{began}no third octave changed by more than can be told."
    most = max(moved, key=lambda index: abs(level.bands[index].course.change_db))
    band = level.bands[most]
    course = band.course
    at = hertz_words(float(result.frequency_hz[most]))
    return (
        f"{began}{_signed(course.change_db)} +- {course.uncertainty_db:.2f} dB at {at}, where most changed"
        f"{_pace(course)}{_left_words(level, band)}."
    )


def _pace(course: Course) -> str:
    if not course.terms:
        return ", with no time constant that can be told"
    return (
        f", with {'a time constant' if len(course.terms) == 1 else 'time constants'} of {time_constant_words(course)}"
    )


def time_constant_words(course: Course) -> str:
    """ "9.1 s and 120 s", the quicker first; says so where none can be told."""
    return " and ".join(f"{two_digits(term.tau_s)} s" for term in course.terms) or "no time constant"


def _left_words(level: HeatingLevel, band: HeatingBand) -> str:
    known = np.flatnonzero(np.isfinite(band.left_db))
    if not known.size:
        return ""
    last = int(known[-1])
    return f"; {level.pilot_at_s[last]:.0f} s after the end {_signed(float(band.left_db[last]))} dB are left"


def is_significant(course: Course) -> bool:
    """Whether the whole change stands out of its 95 % interval."""
    return abs(course.change_db) > course.uncertainty_db


def _ended(level: HeatingLevel) -> Iterator[str]:
    if level.ended_by_change:
        yield f"It ended by itself after {_of_what_was_asked(level)}, at 3 dB of change."
    elif level.loud_s < level.asked_s:
        yield f"It was broken off after {_of_what_was_asked(level)}."
    if not level.pilot_at_s.size:
        yield "What comes back after the end was not measured."
    if level.left_out_s:
        yield f"Something else drowned {level.left_out_s:.0f} s of it, which are left out."


def _of_what_was_asked(level: HeatingLevel) -> str:
    return f"{minutes_words(level.loud_s)} of {minutes_words(level.asked_s)}"


def minutes_words(seconds: float) -> str:
    """Minutes, or seconds where those are few."""
    return f"{seconds / 60.0:.0f} min" if seconds >= 120.0 else f"{seconds:.0f} s"


def _table(result: HeatingResult, level: HeatingLevel) -> Table:
    table = Table(box=None, pad_edge=False)
    table.add_column("Hz", justify="right")
    table.add_column("Change, dB", justify="right")
    table.add_column("Time constant, s", justify="right")
    table.add_column("Second, s", justify="right")
    shown = _pilots_shown(level)
    for index in shown:
        table.add_column(f"{level.pilot_at_s[index]:.0f} s after", justify="right")
    for at_hz, band in zip(result.frequency_hz, level.bands, strict=True):
        course = band.course
        change = DASH if np.isnan(course.change_db) else f"{_signed(course.change_db)} +- {course.uncertainty_db:.2f}"
        table.add_row(
            hertz(float(at_hz)),
            change,
            *(_term(course.terms[place]) if place < len(course.terms) else DASH for place in (0, 1)),
            *(DASH if np.isnan(band.left_db[index]) else _signed(float(band.left_db[index])) for index in shown),
        )
    return table


def _pilots_shown(level: HeatingLevel) -> list[int]:
    """The first and the last."""
    count = level.pilot_at_s.size
    return sorted({0, count - 1}) if count else []


def _term(term: Term) -> str:
    return f"{two_digits(term.tau_s)} ({two_digits(term.low_s)} to {two_digits(term.high_s)})"


def _signed(value_db: float) -> str:
    """Hundredths with a sign; no sign before nothing."""
    return f"{value_db + 0.0:+.2f}".replace("-0.00", "0.00").replace("+0.00", "0.00")
