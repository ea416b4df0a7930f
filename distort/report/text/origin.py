"""Where one number comes from: its floors, window, recordings, calibration, versions."""

from collections.abc import Iterator

import numpy as np

from distort.analysis.common.curves import Order
from distort.analysis.common.quantities import RESPONSE, THD
from distort.analysis.sweep.windows import order_window
from distort.errors import SessionError
from distort.report.text.afterwards import mended_words
from distort.report.text.capture import recorder_moment
from distort.report.text.numbers import decibels, hertz_words, level_name
from distort.report.text.tables_sweep import UNIT_NAMES
from distort.session.plan.kinds import SWEEP
from distort.session.recordings.sidecar import Sidecar
from distort.session.results.condition_results import RecordingUsed
from distort.session.results.number_origin import Origin, Wanted
from signals import Sweep, as_a

NAME_WIDTH = 15


def origin_sentences(found: Origin, wanted: Wanted) -> Iterator[str]:
    """The number, and a line for everything it rests on."""
    yield _headline(found, wanted)
    for name, text in _lines(found, wanted):
        yield f"  {name:<{NAME_WIDTH}}{text}"


def _headline(found: Origin, wanted: Wanted) -> str:
    findings, row = found.results.findings, found.row
    if found.order is not None:
        value, re = decibels(found.order.relative_db[row]), wanted.quantity.unit
    elif wanted.quantity == THD:
        value, re = decibels(found.harmonics.thd_db[row]), wanted.quantity.unit
    else:
        value, re = decibels(found.response.level_db[row]), UNIT_NAMES[found.response.unit]
    simulated = " Simulated: no real loudspeaker was heard." if findings.simulated else ""
    return (
        f"{wanted.quantity.in_findings} of {findings.condition}, {level_name(wanted.level_db_spl)} dB SPL nominal, "
        f"{hertz_words(wanted.frequency_hz)}: {value} {re}.{simulated}"
    )


def _lines(found: Origin, wanted: Wanted) -> Iterator[tuple[str, str]]:
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
    yield (
        "interval",
        f"+- {order.uncertainty_db[row]:.2f} dB (95 %; noise alone {order.noise_uncertainty_db[row]:.2f} dB)",
    )
    yield "absolute", f"{decibels(order.level_db[row])} {unit}"
    yield "to be read", "with care: it is marked ?" if order.doubtful[row] else "without a mark"


def _method_lines(found: Origin) -> Iterator[tuple[str, str]]:
    findings = found.results.findings
    swept = [one.stimulus for _, one, _ in found.recordings if one.stimulus_name == SWEEP]
    sweep = as_a(Sweep, swept[0]) if swept else None
    if sweep is not None:
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
    yield from (("", said) for said in mended_words(sidecar.relabelled, sidecar.applied_afterwards))


def _calibration_lines(found: Origin) -> Iterator[tuple[str, str]]:
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
