"""What lines up, and why: the dips and peaks, what lines up with them, and a sentence for each."""

from collections.abc import Iterator, Sequence

import numpy as np
from rich.table import Table
from rich.text import Text

from distort.analysis.coincidences.faults import Anomaly, Coincidence
from distort.analysis.common.quantities import from_findings
from distort.report.text.headings import heading_sentences
from distort.report.text.numbers import hertz, level_name
from distort.report.text.quantities import short
from distort.session.results.condition_results import ConditionResults

PHASES = {"minimum-phase": "yes", "not-minimum-phase": "no", "unknown": "?"}
EQUALISERS = {
    "can-mend": "yes",
    "at-this-point-only": "at this point only",
    "cannot-mend": "no",
    "unknown": "?",
}
DECIDED_CAUSES = ("weak-fundamental", "response-peak", "made-here", "weak-sum", "own-compression", "room")
TOP = 3
LEAST_PROBABILITY = 0.005


def coincidences_blocks(results: ConditionResults) -> Iterator[str | Table]:
    """Both tables of one condition, then a sentence and the next experiment for each coincidence."""
    yield from heading_sentences(results)
    anomalies, coincidences = results.findings.anomalies, results.findings.coincidences
    if anomalies:
        yield "Dips and peaks of the response at the lowest level"
        yield anomalies_table(anomalies)
        yield ""
    else:
        yield "No dip or peak stands out of the response."
    yield from _floor_sentences(results)
    if not coincidences:
        yield "No distortion and no compression stands out near a dip or peak, or alone."
        yield ""
        return
    yield "What rises, and why"
    yield coincidences_table(coincidences)
    yield ""
    for one in coincidences:
        yield f"{one.number}. {one.sentence}"
        yield f"   To be sure: {one.next_experiment}"
    yield ""


def _floor_sentences(results: ConditionResults) -> Iterator[str]:
    """At which levels nothing can be put down to the loudspeaker, since noise may have made it."""
    unknown = [
        level_name(found.level_db_spl)
        for found, one in zip(results.findings.levels, results.harmonics, strict=True)
        if not any(np.isfinite(order.noise_db).any() for order in one.orders)
    ]
    if unknown:
        yield (
            f"The noise floor at {', '.join(unknown)} dB SPL is not known, so no distortion is put down to the "
            f"loudspeaker there: record it again, with two seconds of silence before and after."
        )


def top_sentences(results: ConditionResults) -> Iterator[str]:
    """The strongest decided coincidences in a sentence each; nothing where there is none."""
    decided = [one for one in results.findings.coincidences if one.cause in DECIDED_CAUSES]
    if not decided:
        return
    for one in decided[:TOP]:
        yield f"{one.number}. {one.sentence}"
    more = len(results.findings.coincidences) - min(len(decided), TOP)
    if more > 0:
        yield f"{more} more: distort show FOLDER coincidences"
    yield ""


def anomalies_table(anomalies: Sequence[Anomaly]) -> Table:
    """One row a dip or peak, within 80 columns."""
    table = _table()
    for name in ("", "kind", "Hz", "dB", "octaves", "Q", "half wave", "shape", "min.ph.", "equaliser mends"):
        table.add_column(name, justify="left" if name in ("kind", "shape", "equaliser mends") else "right")
    for one in anomalies:
        table.add_row(
            letter(one.number),
            one.kind,
            hertz(one.frequency_hz),
            f"{one.deviation_db:+.1f}",
            f"{one.width_octaves:.2f}",
            f"{one.q:.1f}",
            f"{100.0 * one.half_wave_m:.1f} cm",
            {"interference": "reflection"}.get(one.shape, one.shape),
            PHASES[one.phase],
            EQUALISERS[one.equaliser],
        )
    reflections = [one for one in anomalies if one.path_difference_m is not None]
    lines = [
        f"{letter(one.number)}: a reflection of amplitude {one.reflection or 0.0:.2f} on a way "
        f"{100.0 * (one.path_difference_m or 0.0):.1f} cm longer fits best"
        for one in reflections[:TOP]
    ]
    table.caption = Text("\n".join(lines), style="dim") if lines else None
    return table


def coincidences_table(coincidences: Sequence[Coincidence]) -> Table:
    """One row a coincidence, within 80 columns."""
    table = _table()
    for name in ("no.", "at Hz", "what", "dB SPL", "rise", "F", "X", "S", "anomaly", "cause", "chance"):
        table.add_column(name, justify="left" if name in ("what", "anomaly", "cause") else "right")
    for one in coincidences:
        evidence = one.evidence
        table.add_row(
            str(one.number),
            hertz(one.frequency_hz),
            short(from_findings(one.quantity)),
            level_name(one.level),
            _db(evidence.rise_db),
            _db(evidence.fundamental_db),
            _db(evidence.way_out_db),
            _db(evidence.source_db),
            anomaly_words(one),
            one.cause,
            chance_words(one.chance_probability_report),
        )
    table.caption = Text(
        "rise = F (the wanted tone falls) + X (the way out at n f) + S (the source makes more), dB.\n"
        "chance: how often unrelated curves line up as well anywhere in this report",
        style="dim",
    )
    return table


def _table() -> Table:
    return Table(box=None, padding=(0, 1, 0, 0), pad_edge=False, header_style="bold", caption_justify="left")


def letter(number: int) -> str:
    """Anomalies carry letters, so that they are not taken for coincidences: A, B, ... Z, A2, ..."""
    return chr(ord("A") + (number - 1) % 26) + (str((number - 1) // 26 + 1) if number > 26 else "")


def anomaly_words(one: Coincidence) -> str:
    """Which dip or peak a coincidence lies at, and whether itself or its product does."""
    if one.anomaly is None:
        return "none"
    return f"{letter(one.anomaly)} at f" if one.anomaly_at == 1 else f"{letter(one.anomaly)} at {one.anomaly_at} f"


def _db(value: float | None) -> str:
    return "" if value is None else f"{value:.1f}"


def chance_words(value: float | None) -> str:
    """A probability with two digits; none where there is none."""
    if value is None:
        return ""
    return f"{value:.2f}" if value >= LEAST_PROBABILITY else "<0.01"
