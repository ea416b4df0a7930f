"""Findings as a story: the dips and peaks, a paragraph a finding, and the rows of evidence behind each."""

from collections.abc import Iterator, Sequence

import numpy as np
from rich.table import Table
from rich.text import Text

from distort.analysis.anomalies.anomaly import Anomaly
from distort.analysis.common.quantities import from_findings
from distort.analysis.findings.across import FindingAcross
from distort.analysis.findings.finding import EvidenceRow, Finding
from distort.analysis.findings.next_steps import FOLDER
from distort.report.text.headings import heading_sentences
from distort.report.text.listened import heard_words
from distort.report.text.numbers import hertz, level_name
from distort.report.text.quantities import short
from distort.session.results.condition_results import ConditionResults
from distort.session.results.listened import Listened

PHASES = {"minimum-phase": "yes", "not-minimum-phase": "no", "unknown": "?"}
EQUALISERS = {
    "can-mend": "yes",
    "at-this-point-only": "at this point only",
    "cannot-mend": "no",
    "unknown": "?",
}
TOP = 3
MOST_ROWS = 24
"""Of one finding, strongest first; all of them stand in findings.json."""

BEFORE_FINDINGS = "These results were written before there were findings: run 'distort analyze' again."
NOTHING = "No finding: nothing in distortion or compression stands out beyond its interval and its own ripple."


def findings_blocks(
    results: ConditionResults, *, evidence: bool = False, session: str = FOLDER, listened: Listened | None = None
) -> Iterator[str | Table]:
    """The story of one condition: dips and peaks, then a paragraph a finding; with the rows behind where asked for.

    session    its path as it is to be typed, for the commands that are proposed
    listened   what blind tests said; None: nothing
    """
    yield from heading_sentences(results)
    anomalies, findings = results.findings.anomalies, results.findings.findings
    if anomalies:
        yield "Dips and peaks of the response at the lowest level"
        yield anomalies_table(anomalies)
        yield ""
    if findings is None:
        yield BEFORE_FINDINGS
        yield ""
        return
    if not findings:
        yield NOTHING
    yield from _floor_sentences(results)
    for one in findings:
        yield from _paragraph(one, session, heard_words(one, (results.findings.condition,), listened))
        if evidence and one.evidence:
            yield evidence_table(one.evidence)
            yield ""
    yield ""


def across_sentences(found: Sequence[FindingAcross]) -> Iterator[str]:
    """What several conditions show, and what those that were changed prove; nothing where there is nothing."""
    if not found:
        return
    yield "Across conditions"
    for one in found:
        yield f"{one.finding.headline} ({', '.join(one.conditions)})"
        if one.verdict is not None:
            yield f"   {one.verdict}"
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


def _paragraph(one: Finding, session: str, audible: str) -> Iterator[str]:
    yield f"{one.number}. {one.headline}"
    yield f"   {one.sentence}"
    yield f"   {surely(one)}"
    if audible:
        yield f"   Audible: {audible}."
    yield f"   To confirm: {f'{one.next.first} ' if one.next.first else ''}{one.next.text}"
    if one.next.command is not None:
        yield f"   {typed(one.next.command, session)}"


def typed(command: str, session: str) -> str:
    """A proposed command as it is typed for the session at that path."""
    return command.replace(FOLDER, session)


def surely(one: Finding) -> str:
    """How sure it is, and what stands behind it."""
    said = [row for row in one.evidence if row.speaks == "for"]
    against = ", ".join(dict.fromkeys(one.against))
    rows = f"{len(said)} readings speak" if len(said) != 1 else "1 reading speaks"
    basis = f"{rows} for it" + (f", against it {against}" if against else ", none against")
    if not one.evidence:
        return f"Probability {min(one.probability, 0.99):.2f}." if one.decided else "Not decided."
    if not one.decided:
        return f"Not decided; {basis}."
    return f"Probability {min(one.probability, 0.99):.2f} of this cause; {basis}."


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
        f"{letter(one.number)}: a reflection of amplitude {one.reflection or 0.0:.2f} with a path "
        f"{100.0 * (one.path_difference_m or 0.0):.1f} cm longer fits best"
        for one in reflections[:TOP]
    ]
    table.caption = Text("\n".join(lines), style="dim") if lines else None
    return table


def evidence_table(rows: Sequence[EvidenceRow]) -> Table:
    """One row a quantity and level, the largest rises first, within 80 columns."""
    table = _table()
    for name in ("what", "dB SPL", "at Hz", "reading", "rise", "+-", "fund.", "at n f", "source", "speaks"):
        table.add_column(name, justify="left" if name in ("what", "speaks") else "right")
    ordered = sorted(rows, key=lambda row: (row.speaks == "silent", -abs(row.rise_db)))
    for row in ordered[:MOST_ROWS]:
        table.add_row(
            short(from_findings(row.quantity)),
            level_name(row.level_db_spl),
            hertz(row.frequency_hz),
            _db(row.value_db),
            _db(row.rise_db),
            _db(row.interval_db),
            _db(row.fundamental_db),
            _db(row.response_at_product_db),
            _db(row.source_db),
            row.speaks,
        )
    left = len(rows) - MOST_ROWS
    table.caption = Text(
        "rise re the fundamental = fund. (it dips) + at n f (the response there) + source, dB."
        + (f"\n{left} more rows are in findings.json." if left > 0 else ""),
        style="dim",
    )
    return table


def _table() -> Table:
    return Table(box=None, padding=(0, 1, 0, 0), pad_edge=False, header_style="bold", caption_justify="left")


def letter(number: int) -> str:
    """Anomalies carry letters, so that they are not taken for findings: A, B, ... Z, A2, ..."""
    return chr(ord("A") + (number - 1) % 26) + (str((number - 1) // 26 + 1) if number > 26 else "")


def _db(value: float | None) -> str:
    return "" if value is None else f"{round(value, 1) + 0.0:.1f}"  # no -0.0
