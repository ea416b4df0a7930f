"""Where one number comes from: its floors, window, recordings, calibration, versions."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from rich.console import Console

from distort.analysis.common.curves import Harmonics, Order, Response
from distort.analysis.sweep.windows import order_window
from distort.errors import SessionError, UsageError, shown
from distort.report.terminal.capture_words import recorder_moment
from distort.report.text.console import say
from distort.report.text.numbers import decibels, hertz_words, level_name
from distort.report.text.tables_sweep import UNIT_NAMES
from distort.session.files.folder import SessionFolder
from distort.session.files.hashing import sha256_of_file
from distort.session.files.names import parse_stem
from distort.session.recordings.sidecar import Sidecar, read_sidecar
from distort.session.recordings.stimulus_files import SHORT_SWEEP, SWEEP
from distort.session.results.condition_results import ConditionResults, LevelFound, RecordingUsed
from signals import Sweep

RESPONSE, THD = "response", "thd"

FARTHEST_OCTAVES = 1.0 / 24.0
"""A frequency farther than this from every row has no number."""

NAME_WIDTH = 15


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """Which number: "response", "thd" or "h<n>", at one frequency, of one level."""

    quantity: str
    frequency_hz: float
    level_db_spl: float


@dataclass(frozen=True, kw_only=True)
class Traced:
    """A number with what it rests on."""

    results: ConditionResults
    level: LevelFound
    response: Response
    harmonics: Harmonics
    row: int
    order: Order | None
    """None: it is the response or THD."""
    recordings: tuple[tuple[RecordingUsed, Sidecar, bool], ...]
    """Each with its sidecar, and whether the file is still the one that was analysed."""


def trace(folder: SessionFolder, results: ConditionResults, wanted: Wanted) -> Traced:
    """Find it. Raises UsageError for a level, order or frequency that has no number, SessionError for sidecars."""
    if wanted.level_db_spl not in results.levels_db_spl:
        known = ", ".join(map(level_name, results.levels_db_spl))
        raise UsageError(f"no level of {level_name(wanted.level_db_spl)} dB SPL was analysed: there are {known}")
    at = results.levels_db_spl.index(wanted.level_db_spl)
    harmonics = results.harmonics[at]
    return Traced(
        results=results,
        level=results.findings.levels[at],
        response=results.responses[at],
        harmonics=harmonics,
        row=_row(harmonics, wanted.frequency_hz),
        order=_order(harmonics, wanted.quantity),
        recordings=tuple(_recordings(folder, results, wanted.level_db_spl)),
    )


def print_trace(console: Console, found: Traced, wanted: Wanted) -> None:
    """The number, and a line for everything it rests on."""
    say(console, _headline(found, wanted))
    for name, text in _lines(found, wanted):
        say(console, f"  {name:<{NAME_WIDTH}}{text}")


def _row(harmonics: Harmonics, frequency_hz: float) -> int:
    away = np.abs(np.log2(harmonics.frequency_hz) - np.log2(frequency_hz))
    row = int(np.argmin(away))
    if away[row] > FARTHEST_OCTAVES:
        low, high = harmonics.frequency_hz[[0, -1]]
        raise UsageError(f"--hz {frequency_hz:g} has no row: they reach from {low:.0f} to {high:.0f} Hz")
    return row


def _order(harmonics: Harmonics, quantity: str) -> Order | None:
    if quantity in (RESPONSE, THD):
        return None
    for order in harmonics.orders:
        if quantity == f"h{order.order}":
            return order
    last = harmonics.orders[-1].order if harmonics.orders else 1
    raise UsageError(f"{shown(quantity)} is no quantity that can be traced: {RESPONSE}, {THD}, or h2 to h{last}")


def _recordings(
    folder: SessionFolder, results: ConditionResults, level_db_spl: float
) -> Iterator[tuple[RecordingUsed, Sidecar, bool]]:
    for used in results.findings.recordings:
        path = folder.inside(used.file)
        name = parse_stem(path.stem)
        if name is None or used.rejected is not None or name.after or name.level_db_spl != level_db_spl:
            continue
        if name.stimulus in (SWEEP, SHORT_SWEEP):
            unchanged = path.is_file() and sha256_of_file(path) == used.sha256
            yield used, read_sidecar(path.with_suffix(".json")), unchanged


def _headline(found: Traced, wanted: Wanted) -> str:
    findings, row = found.results.findings, found.row
    if found.order is not None:
        value, re = decibels(found.order.relative_db[row]), "dB re the fundamental"
    elif wanted.quantity == THD:
        value, re = decibels(found.harmonics.thd_db[row]), "dB re the fundamental"
    else:
        value, re = decibels(found.response.level_db[row]), UNIT_NAMES[found.response.unit]
    simulated = " Simulated: no real loudspeaker was heard." if findings.simulated else ""
    return (
        f"{wanted.quantity} of {findings.condition}, {level_name(wanted.level_db_spl)} dB SPL nominal, "
        f"{hertz_words(wanted.frequency_hz)}: {value} {re}.{simulated}"
    )


def _lines(found: Traced, wanted: Wanted) -> Iterator[tuple[str, str]]:
    row_hz = float(found.harmonics.frequency_hz[found.row])
    kind = "response" if wanted.quantity == RESPONSE else "harmonics"
    yield "row", f"{row_hz:.1f} Hz of {kind}_{level_name(wanted.level_db_spl)}dB.csv, the nearest"
    if found.order is not None:
        yield from _order_lines(found.order, found.row, row_hz, UNIT_NAMES[found.harmonics.unit])
    elif wanted.quantity == THD:
        yield "summed", f"{found.harmonics.thd_orders[found.row]} orders that lie below the end of the band"
    else:
        yield "noise floor", f"{decibels(found.response.noise_db[found.row])} {UNIT_NAMES[found.response.unit]}"
    yield from _method_lines(found)
    for used, sidecar, unchanged in found.recordings:
        yield from _recording_lines(used, sidecar, unchanged=unchanged)
    yield from _calibration_lines(found)
    yield "analysed by", found.results.findings.software


def _order_lines(order: Order, row: int, row_hz: float, unit: str) -> Iterator[tuple[str, str]]:
    yield "sounds at", hertz_words(order.order * row_hz)
    value = order.relative_db[row]
    for name, floor_db in (
        ("noise floor", order.noise_db[row]),
        ("leak", order.leak_db[row]),
        ("chain", order.chain_db[row]),
    ):
        known = "not known" if np.isnan(floor_db) else f"{decibels(floor_db)} dB, {value - floor_db:.1f} dB below it"
        yield name, known
    bias = order.bias_db[row]
    yield "sweep's speed", "bias not known: no short sweep" if np.isnan(bias) else f"bias {bias:+.2f} dB"
    yield "interval", f"+- {order.uncertainty_db[row]:.2f} dB (95 %, noise alone)"
    yield "absolute", f"{decibels(order.level_db[row])} {unit}"
    yield "to be read", "with care: it is marked ?" if order.doubtful[row] else "without a mark"


def _method_lines(found: Traced) -> Iterator[tuple[str, str]]:
    findings = found.results.findings
    sweep = next((one.stimulus for _, one, _ in found.recordings if one.stimulus_name == SWEEP), None)
    if isinstance(sweep, Sweep):
        number = 1 if found.order is None else found.order.order
        gate_s = None if findings.gate_ms is None else findings.gate_ms / 1000.0
        window = order_window(sweep, number, gate_s=gate_s)
        yield "stimulus", f"sweep {sweep.start_hz:g} to {sweep.stop_hz:g} Hz in {sweep.duration_s:.2f} s"
        yield "window", f"order {number}: {window.before_s:.3f} s before to {window.after_s:.3f} s after its arrival"
    yield "gate", "none" if findings.gate_ms is None else f"{findings.gate_ms:g} ms"
    yield "smoothing", f"{findings.smoothing} octave, in power"


def _recording_lines(used: RecordingUsed, sidecar: Sidecar, *, unchanged: bool) -> Iterator[tuple[str, str]]:
    yield "recording", used.file
    state = "as analysed" if unchanged else "CHANGED or gone since it was analysed"
    yield "", f"SHA-256 {used.sha256[:16]}..., {state}"
    clock = "" if sidecar.clock_difference_ppm is None else f", clock {sidecar.clock_difference_ppm:+.2f} ppm"
    made = sidecar.date
    if sidecar.original is not None and sidecar.original.began is not None:
        made = recorder_moment(sidecar.original)
    yield "", f"{made}, drive {sidecar.drive_dbfs:.2f} dBFS{clock}, quality {sidecar.quality.verdict}"


def _calibration_lines(found: Traced) -> Iterator[tuple[str, str]]:
    findings = found.results.findings
    in_force = {sidecar.calibration for _, sidecar, _ in found.recordings}
    if not in_force:
        raise SessionError(f"{findings.condition} has no recording of this level any more")
    for calibration in in_force:
        if calibration is None:
            yield "calibration", "none: levels are in dBFS"
        else:
            yield (
                "calibration",
                f"{calibration.calibrator_db_spl:g} dB SPL read {calibration.calibrator_dbfs:.2f} dBFS, "
                f"SHA-256 {calibration.sha256[:16]}...",
            )
    yield "distance", f"{findings.setup.distance_m:g} m, referred to 1 m"
    if findings.microphone is not None:
        used = findings.microphone
        yield "microphone", f"{used.response_is} {used.file}, SHA-256 {used.sha256[:16]}..., taken out"
