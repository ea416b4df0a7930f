"""Hiss of an active loudspeaker: one sentence, a row a third octave, and what else it brings."""

from collections.abc import Iterator

import numpy as np
from rich.table import Table

from distort.analysis.common.curves import LevelUnit
from distort.analysis.hiss import HissResult
from distort.report.text.headings import heading_sentences
from distort.report.text.numbers import decibels, hertz, hertz_words, with_interval
from distort.report.text.tables_sweep import UNIT_NAMES
from distort.session.plan.keys import NEAR_FIELD
from distort.session.recordings.silence_off import SilenceOff
from distort.session.results.condition_results import ConditionResults

A_WEIGHTED: dict[LevelUnit, str] = {"db_spl": "dB(A)", "dbfs": "dBFS, A-weighted"}

MOST_TONES = 3


def hiss_blocks(results: ConditionResults) -> Iterator[str | Table]:
    """What it comes to, what stands beside it, and a row a third octave."""
    result: HissResult = results.further["hiss"]
    yield from heading_sentences(results)
    yield from hiss_sentences(results)
    yield f"Noise in silence, {UNIT_NAMES[result.unit]} per third octave{_at_1_m(result.unit)}"
    yield _table(result)
    yield (
        "On: beside the sweeps. Off: with the loudspeaker switched off. < below the floor: both scatter by that much. "
        "Steady tones are in none of these, and by themselves where the loudspeaker brings them."
    )
    yield ""


def added_silence_sentences(added: SilenceOff) -> Iterator[str]:
    """What a silence with the loudspeaker off was brought in as, and what it must have in common with the sweeps."""
    sidecar = added.sidecar
    yield f"{added.named}: {sidecar.seconds:.0f} s of silence with the loudspeaker off"
    yield (
        "  Its place and gain must be those of the sweeps: the noise beside them, with the loudspeaker on, is held "
        "against it."
    )
    if sidecar.calibration is None:
        yield "  There is no calibration: hiss will be in dBFS, and no sound pressure level is known."


def hiss_sentences(results: ConditionResults) -> Iterator[str]:
    """How loud it hisses, or below what it stays, and the tones that it brings; nothing where no silence with the
    loudspeaker off was recorded."""
    result: HissResult | None = results.further.get("hiss")
    if result is None:
        return
    total, setup = result.a_weighted, results.findings.setup
    where = _at_1_m(result.unit)
    if result.unit == "db_spl" and setup.distance_m != 1.0:
        where += f" (restated from {setup.distance_m:g} m)"
    band = f"{hertz_words(float(result.frequency_hz[0]))} to {hertz_words(float(result.frequency_hz[-1]))}"
    if total.louder_off:
        yield (
            "Hiss is not known: with the loudspeaker off it was noisier than with it on. Something else sounded, or "
            "the gain was another; record the silence again."
        )
    elif total.told:
        level = with_interval(total.level_db, total.uncertainty_db)
        yield f"In silence the loudspeaker hisses at {level} {A_WEIGHTED[result.unit]}{where}, {band}."
    else:
        yield (
            f"In silence the loudspeaker's hiss is below the floor: under {total.bound_db:.0f} "
            f"{A_WEIGHTED[result.unit]}{where}, {band}. With it off there is noise of {total.off_db:.0f}."
        )
    if setup.radiation == NEAR_FIELD and result.unit == "db_spl":
        yield "The microphone was in the near field, which does not tell the level at 1 m."
    yield from _tones(result)


def _at_1_m(unit: LevelUnit) -> str:
    return " at 1 m" if unit == "db_spl" else ""


def _tones(result: HissResult) -> Iterator[str]:
    order = np.argsort(-np.nan_to_num(result.tones_db, nan=-np.inf))
    loudest = [int(row) for row in order[:MOST_TONES] if np.isfinite(result.tones_db[row])]
    if loudest:
        listed = ", ".join(
            f"{result.tones_db[row]:.0f}{f' {UNIT_NAMES[result.unit]}' if place == 0 else ''} about "
            f"{hertz_words(float(result.frequency_hz[row]))}"
            for place, row in enumerate(loudest)
        )
        yield (
            f"Switched on it also brings steady tones (hum, a power supply), which are not counted in; by third "
            f"octave: {listed}."
        )


def _table(result: HissResult) -> Table:
    table = Table(box=None, padding=(0, 1), pad_edge=False, show_edge=False, header_style="bold")
    for name in ("Hz", "On", "Off", "Hiss", "+-", "Tones"):
        table.add_column(name, justify="right", no_wrap=True)
    hiss_db, uncertainty_db = result.hiss_db, result.uncertainty_db
    for row, hz in enumerate(result.frequency_hz):
        told, read = np.isfinite(hiss_db[row]), np.isfinite(result.floor_db[row])
        table.add_row(
            hertz(float(hz)),
            decibels(float(result.on_db[row])),
            decibels(float(result.off_db[row])),
            decibels(float(hiss_db[row])) if told else f"< {decibels(float(result.floor_db[row]))}" if read else "-",
            decibels(float(uncertainty_db[row])) if told else "",
            decibels(float(result.tones_db[row])) if np.isfinite(result.tones_db[row]) else "",
        )
    return table
