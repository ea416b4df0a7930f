"""One case of the study of faults: a recording is made, spoilt, analysed and checked, and so is it without the fault.

A fault counts only when it moves some result by at least 0.1 dB or 1 degree, or makes it impossible: measured here with
the analysis itself, the checks left out, against the same recording without the fault; else it is drawn again.
"""

import math
from dataclasses import dataclass

import numpy as np

from distort.analysis.multitone.reading import MultitoneTake, multitone_result, read_multitone
from distort.analysis.sweep.sweeps import Reference, Settings, SweepTake, read_sweep, sweep_harmonics, sweep_response
from distort.errors import AnalysisError, RecordingError
from distort.recording.alignment.locating import Alignment, find_reel
from distort.recording.alignment.prepared import Prepared, prepare_samples
from distort.recording.quality.check import Quality, check_recording
from distort.recording.quality.check_result import RANK
from signals import Multitone, Reel, Sweep
from tests.devices.faults import FAULTS, Made, clean, converted, faulty

LEAST_DB, LEAST_DEG = 0.1, 1.0
CLEAR_DB = 10.0
ATTEMPTS = 50
CLEAN_SEEDS = 10_000_000
"""Beyond all seeds of faults: those are `(kind * 1000 + number) * 100 + attempt`."""


@dataclass(frozen=True, kw_only=True)
class Case:
    """What the check said of one recording."""

    fault: str
    """Or "clean"."""
    number: int
    named: str
    """The finding that speaks first, or "nothing"; of a clean recording its verdict."""
    about: str
    troubles: tuple[str, ...] = ()
    """Of a clean recording: the sentences of what is not good, each after its name and a colon."""


def look_at(fault: str, number: int) -> Case:
    """How the fault `number` of its kind, or clean recording `number`, is named."""
    if fault == "clean":
        return _look_at_clean(number)
    for attempt in range(ATTEMPTS):
        seed = (FAULTS.index(fault) * 1000 + number) * 100 + attempt
        twin = clean(seed)
        spoilt = faulty(twin, fault, seed)
        samples, alignment = _found(spoilt, seed)
        clean_samples, clean_alignment = _found(twin, seed)
        assert isinstance(clean_alignment, Alignment), twin.about
        wrong = spoilt.reel is not twin.reel or fault == "channel"
        if not wrong:
            curves = _results(samples, spoilt.reel, alignment)
            if curves is not None and not _moved(_clean_results(clean_samples, twin, clean_alignment), curves):
                continue
        quality = _checked(samples, spoilt.reel, alignment)
        named = (
            _named(quality, _checked(clean_samples, twin.reel, clean_alignment)) if quality.troubles() else "nothing"
        )
        return Case(fault=fault, number=number, named=named, about=spoilt.about)
    raise AssertionError(f"{fault} {number} never moves a result")


def _look_at_clean(number: int) -> Case:
    made = clean(CLEAN_SEEDS + number)
    samples, alignment = _found(made, CLEAN_SEEDS + number)
    quality = _checked(samples, made.reel, alignment)
    troubles = tuple(f"{finding.name}: {finding.sentence}" for finding in quality.troubles())
    return Case(fault="clean", number=number, named=quality.verdict, about=made.about, troubles=troubles)


def _found(made: Made, seed: int) -> tuple[np.ndarray, Alignment | RecordingError]:
    samples = converted(made.samples, seed)
    try:
        return samples, find_reel(samples, made.reel)
    except RecordingError as error:
        return samples, error


def _checked(samples: np.ndarray, reel: Reel, alignment: Alignment | RecordingError) -> Quality:
    return check_recording(samples, reel=reel, alignment=alignment)


def _clean_results(samples: np.ndarray, made: Made, alignment: Alignment) -> dict[str, np.ndarray]:
    curves = _results(samples, made.reel, alignment)
    assert curves is not None, made.about
    return curves


def _results(samples: np.ndarray, reel: Reel, alignment: Alignment | RecordingError) -> dict[str, np.ndarray] | None:
    """Curves that a user would read, NaN where they are not clear of the noise; None where there are none."""
    if isinstance(alignment, RecordingError):
        return None
    stimulus = reel.only_stimulus()[1]
    ppm = alignment.clock_difference_ppm
    significant = not math.isnan(ppm) and abs(ppm) > max(1.5 * alignment.clock_uncertainty_ppm, 0.01)
    tone = isinstance(stimulus, Multitone)
    try:
        prepared = prepare_samples(
            samples,
            reel,
            start=alignment.stimulus_start,
            clock_difference_ppm=ppm if significant and not tone else None,
        )
        if tone:
            return _tone_results(prepared, stimulus, ppm)
        return _sweep_results(prepared, stimulus)
    except (AnalysisError, RecordingError):
        return None


def _sweep_results(prepared: Prepared, sweep: Sweep) -> dict[str, np.ndarray]:
    take = SweepTake(samples=prepared.samples, start=prepared.start, silences=prepared.silences)
    read = read_sweep([take], sweep, Settings(orders=3))
    response = sweep_response(read, Reference())
    harmonics = sweep_harmonics(read, Reference())
    clear = (response.level_db > response.noise_db + 3 * CLEAR_DB) & (response.frequency_hz > 40.0)
    curves = {
        "level_db": np.where(clear, response.level_db, np.nan),
        "phase_deg": np.where(clear, response.phase_deg, np.nan),
    }
    for order in harmonics.orders:
        doubtful = order.doubtful | (order.relative_db < order.noise_db + CLEAR_DB)
        curves[f"h{order.order}_db"] = np.where(doubtful, np.nan, order.relative_db)
    return curves


def _tone_results(prepared: Prepared, tone: Multitone, ppm: float) -> dict[str, np.ndarray]:
    take = MultitoneTake(
        samples=prepared.samples, start=prepared.start, clock_difference_ppm=ppm, silences=prepared.silences
    )
    result = multitone_result([read_multitone(take, tone, None)], Reference())
    response, bands = result.response, result.bands
    clear = bands.distortion_db > bands.noise_db + CLEAR_DB
    return {
        "level_db": response.level_db,
        "distortion_db": np.where(clear, bands.distortion_db, np.nan),
    }


def _moved(clean_curves: dict[str, np.ndarray], curves: dict[str, np.ndarray]) -> bool:
    if curves.keys() != clean_curves.keys():
        return True
    for name, before in clean_curves.items():
        change = np.abs(curves[name] - before)
        if name == "phase_deg":
            change = np.minimum(change, 360.0 - change)
        if np.nanmax(change, initial=0.0) >= (LEAST_DEG if name == "phase_deg" else LEAST_DB):
            return True
    return False


def _named(quality: Quality, twin: Quality) -> str:
    """The finding that speaks first: the worst, of those that the clean twin does not have in the same degree."""
    known = {finding.name: RANK[finding.verdict] for finding in twin.findings}
    troubles = [finding for finding in quality.troubles() if RANK[finding.verdict] > known.get(finding.name, 0)]
    return max(troubles, key=lambda finding: RANK[finding.verdict]).name if troubles else "nothing"
