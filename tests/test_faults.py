"""Faults injected into recordings of quick loudspeakers must be flagged and named; clean recordings must pass.

A fault counts only when it moves some result by at least 0.1 dB or 1 degree, or makes it impossible: measured here with
the analysis itself, the checks left out, against the same recording without the fault; else it is drawn again.
"""

import math
from collections import Counter

import numpy as np
import pytest

from distort.analysis.multitone import MultitoneTake, multitone_result, read_multitone
from distort.analysis.sweeps import Reference, Settings, SweepTake, read_sweep, sweep_harmonics, sweep_response
from distort.capture.alignment import Alignment, find_reel
from distort.capture.finding import RANK
from distort.capture.prepared import prepare_samples
from distort.capture.quality import Quality, check_recording
from distort.errors import AnalysisError, RecordingError
from signals import Multitone, Reel
from tests.devices.faults import FAULTS, Made, clean, converted, faulty

LEAST_DB, LEAST_DEG = 0.1, 1.0
CLEAR_DB = 10.0
CLEAN_SEEDS = 100_000


def found(made: Made, seed: int) -> tuple[np.ndarray, Alignment | RecordingError]:
    samples = converted(made.samples, seed)
    try:
        return samples, find_reel(samples, made.reel)
    except RecordingError as error:
        return samples, error


def checked(samples: np.ndarray, reel: Reel, alignment: Alignment | RecordingError) -> Quality:
    return check_recording(samples, reel=reel, alignment=alignment)


def results(samples: np.ndarray, reel: Reel, alignment: Alignment | RecordingError) -> dict[str, np.ndarray] | None:
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


def _sweep_results(prepared, sweep) -> dict[str, np.ndarray]:
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


def _tone_results(prepared, tone, ppm) -> dict[str, np.ndarray]:
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


def moved(clean_curves: dict[str, np.ndarray], curves: dict[str, np.ndarray] | None) -> bool:
    if curves is None or curves.keys() != clean_curves.keys():
        return True
    for name, before in clean_curves.items():
        change = np.abs(curves[name] - before)
        if name == "phase_deg":
            change = np.minimum(change, 360.0 - change)
        if np.nanmax(change, initial=0.0) >= (LEAST_DEG if name == "phase_deg" else LEAST_DB):
            return True
    return False


def named(quality: Quality, twin: Quality) -> str:
    """The finding that speaks first: the worst, of those that the clean twin does not have in the same degree."""
    known = {finding.name: RANK[finding.verdict] for finding in twin.findings}
    troubles = [finding for finding in quality.troubles() if RANK[finding.verdict] > known.get(finding.name, 0)]
    return max(troubles, key=lambda finding: RANK[finding.verdict]).name if troubles else "nothing"


def look_at(fault: str, number: int) -> tuple[str, str]:
    """How the fault `number` of its kind is named, and what it was."""
    for attempt in range(50):
        seed = (FAULTS.index(fault) * 1000 + number) * 100 + attempt
        twin = clean(seed)
        spoilt = faulty(twin, fault, seed)
        samples, alignment = found(spoilt, seed)
        clean_samples, clean_alignment = found(twin, seed)
        curves = results(clean_samples, twin.reel, clean_alignment)
        assert curves is not None, twin.about
        wrong = spoilt.reel is not twin.reel or fault == "channel"
        if wrong or moved(curves, results(samples, spoilt.reel, alignment)):
            quality = checked(samples, spoilt.reel, alignment)
            return named(quality, checked(clean_samples, twin.reel, clean_alignment)), spoilt.about
    raise AssertionError(f"{fault} never moves a result")


def confusion(count: int, *, tell: bool = False) -> dict[str, Counter[str]]:
    table = {}
    for fault in FAULTS:
        looked = [look_at(fault, number) for number in range(count)]
        table[fault] = Counter(name for name, _ in looked)
        for name, about in looked:
            if tell and name != fault:
                print(f"{fault} named {name}: {about}")
    return table


def print_confusion(table: dict[str, Counter[str]]) -> None:
    print(f"{'fault':<10} {'cases':>5} {'flagged':>8} {'named':>6}  otherwise named")
    for fault, names in table.items():
        cases = sum(names.values())
        other = ", ".join(f"{name} {count}" for name, count in names.items() if name != fault)
        print(f"{fault:<10} {cases:>5} {cases - names['nothing']:>8} {names[fault]:>6}  {other}")


def verdicts(count: int, *, tell: bool = False) -> tuple[Counter[str], Counter[str]]:
    """Verdicts of clean recordings, and which findings are not good in them."""
    found_verdicts: Counter[str] = Counter()
    troubles: Counter[str] = Counter()
    for number in range(count):
        made = clean(CLEAN_SEEDS + number)
        samples, alignment = found(made, CLEAN_SEEDS + number)
        quality = checked(samples, made.reel, alignment)
        found_verdicts[quality.verdict] += 1
        troubles.update(finding.name for finding in quality.troubles())
        for finding in quality.troubles():
            if tell and not finding.name.startswith(("snr_", "hum")):
                print(f"clean: {finding.sentence} {made.about}")
    return found_verdicts, troubles


def test_a_small_sample_of_faults_is_named() -> None:
    """Of 56, as in the study below of 1,000: there 95 % are named rightly and 99 % flagged."""
    table = confusion(7)
    assert sum(names[fault] for fault, names in table.items()) >= 54
    assert sum(names["nothing"] for names in table.values()) == 0


def test_a_small_sample_of_clean_recordings_is_not_refused() -> None:
    assert verdicts(12)[0]["refuse"] == 0


@pytest.mark.study
def test_a_thousand_faults_are_flagged_and_named() -> None:
    table = confusion(125, tell=True)
    print_confusion(table)
    cases = sum(sum(names.values()) for names in table.values())
    assert sum(names["nothing"] for names in table.values()) <= 0.01 * cases
    assert sum(names[fault] for fault, names in table.items()) >= 0.95 * cases
    assert all(names[fault] >= 0.9 * sum(names.values()) for fault, names in table.items())


@pytest.mark.study
def test_of_500_clean_recordings_hardly_one_is_refused() -> None:
    found_verdicts, troubles = verdicts(500, tell=True)
    print("clean:", dict(found_verdicts))
    print("not good in them:", dict(sorted(troubles.items())))
    assert found_verdicts["refuse"] <= 5
