"""What may be wrong with the simulated loudspeaker: each fault alone in closed form, and told by the analysis."""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.impulsive.impulsive import Listening, impulsive
from distort.analysis.level_noise import HeardAt, noise_with_level
from distort.analysis.multitone.reading import MultitoneTake, read_multitone
from distort.analysis.sweep.sweeps import Reference
from distort.capture.simulated import SimulatedMonitor
from distort.capture.simulated.faults import FAULTS, WORDS
from distort.capture.simulated.grid import Grid
from distort.capture.simulated.levels import rms_pa
from distort.capture.simulated.noisy_port import port_noise
from distort.capture.simulated.parameters import NoisyPort, Parameters, RubbingCoil
from distort.capture.simulated.rubbing_coil import touches
from distort.report.text.capture import fault_sentences
from signals import Multitone
from tests.test_simulated_loose_part import heard

RATE = 32000
GRID = Grid.for_length(RATE, RATE)
PORT, COIL = NoisyPort(), RubbingCoil()
LOUD_PORT = replace(Parameters(), noisy_port=NoisyPort(db_spl=90.0))


def rms(spectrum: np.ndarray) -> float:
    return float(np.sqrt(np.mean(np.square(GRID.samples(spectrum)))))


def test_every_fault_has_its_words_and_the_stand_has_none() -> None:
    assert set(FAULTS) == set(WORDS)
    assert SimulatedMonitor("stand").fault is None
    assert list(fault_sentences("stand", SimulatedMonitor("stand").fault)) == []
    (sentence,) = fault_sentences("loose", SimulatedMonitor("loose").fault)
    assert sentence == "In the condition loose the simulated loudspeaker has a loose part that rattles."


def test_air_in_the_port_has_its_level_and_grows_with_the_third_power_of_its_speed() -> None:
    """Twice as fast: 20 lg 2^3 = 18.06 dB."""

    def at(speed_m_s: float) -> float:
        return rms(port_noise(np.full(GRID.n_woofer, speed_m_s), PORT, GRID, np.random.default_rng(3)))

    assert at(PORT.at_m_s) == pytest.approx(rms_pa(PORT.db_spl), rel=1e-6)  # by construction, and rounding
    assert at(-2.0 * PORT.at_m_s) == pytest.approx(8.0 * rms_pa(PORT.db_spl), rel=1e-6)
    assert at(0.0) == 0.0


def moved(peak_m: float, cycles: int = 60) -> np.ndarray:
    """What the coil adds to a cone that swings by `peak_m`."""
    turns = cycles * np.arange(GRID.n_woofer) / GRID.n_woofer
    return GRID.samples(touches(peak_m * np.sin(2.0 * np.pi * turns), COIL, GRID))


def test_a_coil_touches_once_a_cycle_and_each_time_alike() -> None:
    assert not np.any(moved(0.999 * COIL.touches_m))
    added = moved(1.2 * COIL.touches_m)
    cycles = added[: added.size // 60 * 60].reshape(60, -1) if added.size % 60 == 0 else None
    loud = np.flatnonzero(np.abs(added) > 0.5 * np.max(np.abs(added)))
    assert 1 + np.count_nonzero(np.diff(loud) > added.size / 120.0) == 60
    if cycles is not None:
        np.testing.assert_allclose(cycles[1:], cycles[:1].repeat(59, axis=0), atol=0.02 * np.max(np.abs(added)))
    harder = moved(1.4 * COIL.touches_m)
    assert np.max(np.abs(harder)) == pytest.approx(2.0 * np.max(np.abs(added)), rel=0.02)  # 0.4 and 0.2 beyond


@pytest.mark.study
@pytest.mark.parametrize(("condition", "kind"), [("noisy-port", "airflow-noise"), ("rubbing-coil", "rub")])
def test_a_sweep_tells_each_fault_as_it_is(condition: str, kind: str) -> None:
    sweeps = [
        Listening(level_db_spl=98.0, heard=heard(condition, 8.0, 0)),
        Listening(level_db_spl=98.0, heard=heard(condition, 4.0, 1), short=True),
    ]
    assert kind in {place.kind for place in impulsive(sweeps).places}


def port_heard(drive_dbfs: float, takes_before: int) -> HeardAt:
    """A multitone that the limiter leaves alone, through a port so noisy that it is heard at such a level."""
    tone = Multitone(sample_rate=RATE, high_hz=14000.0, period_s=1.0, periods=12, drive_dbfs=drive_dbfs)
    monitor = SimulatedMonitor("noisy-port", parameters=LOUD_PORT, takes_before=takes_before)
    recording = monitor.play_and_record(np.pad(tone.samples(), 2 * RATE), sample_rate=RATE)
    silence = recording[RATE // 10 : 2 * RATE - RATE // 10]
    start = 2.0 * RATE + 0.05 * RATE  # of the latency any moment will do: the tones settle over a period
    noise = read_multitone(MultitoneTake(samples=recording, start=start, silences=(silence,)), tone).noise
    assert noise is not None
    reference = Reference(offset_db=128.0, unit="db_spl")
    return HeardAt(level_db_spl=drive_dbfs + 112.0, drive_db=drive_dbfs, heard=noise, reference=reference)


@pytest.mark.sample
def test_multitones_tell_that_the_noise_of_the_port_grows_threefold() -> None:
    """The same multitone twice as strong makes the port's air twice as fast, so 18 dB more noise: 3 dB per dB."""
    result = noise_with_level([port_heard(-26.0, 0), port_heard(-20.0, 1)])
    growing = max(result.growing, key=lambda one: one.loudest_db)
    assert growing.growth_db_per_db == pytest.approx(3.0, abs=0.2)  # friction at high speed leaves 0.1 dB per dB less
    assert growing.low_hz < PORT.middle_hz < growing.high_hz
    assert growing.as_air
