"""The loose part of the simulated loudspeaker: heard where it is shaken enough, and told as a rattle."""

import numpy as np
import pytest

from distort.analysis.impulsive.heard import CyclesHeard, cycles_heard
from distort.analysis.impulsive.impulsive import Listening, impulsive
from distort.analysis.sweep.beyond import beyond_orders
from distort.analysis.sweep.deconvolution import deconvolve
from distort.analysis.sweep.noise import noise_density
from distort.capture.simulated import SimulatedMonitor
from distort.capture.simulated.grid import Grid
from distort.capture.simulated.levels import full_scale_pa
from distort.capture.simulated.loose_part import strikes
from distort.capture.simulated.parameters import LoosePart
from signals import Sweep

RATE = 32000
PART = LoosePart(misses=0.0, uneven=0.0, jitter_s=0.0)


def struck(frequency_hz: float, db_spl: float) -> np.ndarray:
    """What the part adds to a steady tone of whole periods."""
    grid = Grid.for_length(RATE, RATE)
    time_s = np.arange(grid.n_samples) / RATE
    periods = round(frequency_hz * grid.n_samples / RATE)
    tone = full_scale_pa(db_spl) * np.sin(2.0 * np.pi * periods * RATE / grid.n_samples * time_s)
    return grid.samples(strikes(grid.spectrum(tone), PART, grid, np.random.default_rng(1)))


def test_it_strikes_once_a_cycle_from_its_level_on() -> None:
    """At its resonance a tone of `reaches_db_spl` just carries it over the gap: 0.2 dB less leave it still. An octave
    away the resonance of Q 4 carries 1 / |1 + 4 i (2 - 1/2)| = 15.7 dB less."""
    assert not np.any(struck(PART.resonance_hz, PART.reaches_db_spl - 0.2))
    added = struck(PART.resonance_hz, PART.reaches_db_spl + 6.02)
    assert not np.any(struck(2.0 * PART.resonance_hz, PART.reaches_db_spl + 15.5))
    assert np.any(struck(2.0 * PART.resonance_hz, PART.reaches_db_spl + 15.9))
    loud = np.abs(added) > 0.3 * np.max(np.abs(added))
    strikes_in = 1 + np.sum(np.diff(np.flatnonzero(loud)) > RATE / PART.resonance_hz / 2.0)
    assert abs(strikes_in - PART.resonance_hz * added.size / RATE) < 1.5  # the ends of the stretch


def heard(condition: str, seconds: float, takes_before: int) -> CyclesHeard:
    sweep = Sweep(stop_hz=14000.0, seconds=seconds, sample_rate=RATE, drive_dbfs=-14.0)  # 98 dB SPL at 1 m
    monitor = SimulatedMonitor(condition, takes_before=takes_before)
    recording = monitor.play_and_record(np.pad(sweep.samples(), RATE), sample_rate=RATE)
    deconvolved = deconvolve(recording, sweep, start=_start(recording, sweep))
    return cycles_heard(beyond_orders(deconvolved), noise_density([recording[: RATE - 2000]], sample_rate=RATE))


def _start(recording: np.ndarray, sweep: Sweep) -> float:
    """By correlation with the sweep, whole samples: the part's place in the cycle moves by less than a 24th."""
    n = recording.size + sweep.n_samples
    product = np.fft.rfft(recording, n) * np.conj(np.fft.rfft(sweep.samples(), n))
    return float(np.argmax(np.abs(np.fft.irfft(product, n)[: 2 * RATE])))


@pytest.mark.study
def test_the_loose_condition_is_told_as_a_rattle_and_the_stand_is_not() -> None:
    """A study: the demo's recordings say the same in every run, tests/test_demo_findings.py."""
    told = {}
    for condition in ("loose", "stand"):
        sweeps = [
            Listening(level_db_spl=98.0, heard=heard(condition, 8.0, 0)),
            Listening(level_db_spl=98.0, heard=heard(condition, 4.0, 1), short=True),
        ]
        told[condition] = impulsive(sweeps).places
    assert "rattle" not in {place.kind for place in told["stand"]}
    (rattle,) = (place for place in told["loose"] if place.kind == "rattle")
    assert rattle.low_hz < LoosePart().resonance_hz < rattle.high_hz
