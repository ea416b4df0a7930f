"""A long heating of the simulated loudspeaker gives back how warm its two voice coils became."""

from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from distort.analysis.heating.following import powers_of
from distort.analysis.heating.periods import third_octaves
from distort.analysis.heating.places import Place
from distort.analysis.heating.result import heating_level
from distort.capture.heating.playback import HeatingPlayback
from distort.capture.heating.recorder import HeatingRecorder
from distort.capture.simulated import Parameters, SimulatedMonitor
from signals import Multitone
from signals.heating import PILOT_PERIODS, PILOT_SETTLING, Heating
from tests.test_heating import of

RATE = 32000
TONE = Multitone(low_hz=100.0, high_hz=10000.0, lines_per_decade=10, period_s=0.5, sample_rate=RATE, drive_dbfs=-24.0)
HEATING = Heating(tone=TONE, loud_periods=64, asked_periods=64, pilots_after_s=(0.0, 2.0))
COIL_S, MAGNET_S = 1.5, 10.0
"""Quicker than those of the simulated loudspeaker, as half a minute stands for a quarter of an hour."""

COPPER_PER_K = 0.00393
"""Rise of the resistance of copper per kelvin, re 20 degC (IEC 60028)."""

TWEETER_FROM_HZ = 5000.0
"""An octave above the crossover, where the woofer adds less than a hundredth."""


class Remembering(SimulatedMonitor):
    """Keeps how warm the tweeter's coil was, sample by sample of what was played."""

    def __init__(self, parameters: Parameters) -> None:
        super().__init__(parameters=parameters)
        self.rise_k: list[np.ndarray] = []

    def _heard(self, playback, grid, **given):
        heard, sound = super()._heard(playback, grid, **given)
        self.rise_k.append(np.sum(sound.tweeter_k, axis=0))
        return heard, sound


@pytest.mark.sample
def test_change_time_constants_and_recovery_are_those_of_the_coil() -> None:
    """The dome's force is that of a coil fed with a voltage, `U Bl / R(T)`, so its level is `-20 lg(1 + 0.00393 T)`.
    Time constants are those of the coil within a tenth, since a warm one takes less power."""
    made = Parameters()
    coil = replace(made.tweeter.coil, coil_s=COIL_S, magnet_s=MAGNET_S, coil_k_per_w=50.0, magnet_k_per_w=25.0)
    monitor = Remembering(replace(made, tweeter=replace(made.tweeter, coil=coil)))
    playback = HeatingPlayback(HEATING)
    pieces: list[np.ndarray] = []
    recorder = HeatingRecorder(
        playback, SimpleNamespace(write=pieces.append), delay_s=0.0, expected_dbfs=0.0, what="stand/heating_91dB"
    )
    monitor.play_long(playback, sample_rate=RATE, hear=recorder)
    assert recorder.examined is not None
    start = recorder.examined.alignment.stimulus_start
    powers = powers_of(of(np.concatenate(pieces)), HEATING, Place(start=start))
    level = heating_level(powers, HEATING, level_db_spl=91.0)
    lost_db = lost_of(monitor, playback.begins)
    periods_db = [lost_db(HEATING.loud_start + n * TONE.period_samples, 1) for n in range(HEATING.loud_periods)]
    at_hz, _ = third_octaves(TONE)
    high = [band for hz, band in zip(at_hz, level.bands, strict=True) if hz > TWEETER_FROM_HZ]
    assert len(high) >= 3
    for band in high:
        assert band.course.change_db == pytest.approx(-periods_db[-1], abs=0.03)  # what the dome's own curve adds
        assert [term.tau_s for term in band.course.terms] == pytest.approx([COIL_S, MAGNET_S], rel=0.1)
        for left_db, at in zip(band.left_db, HEATING.pilot_starts, strict=True):
            true_db = lost_db(at + PILOT_SETTLING * TONE.period_samples, PILOT_PERIODS)
            assert left_db == pytest.approx(-true_db, abs=0.03)
    assert recorder.changed is None


def lost_of(monitor: Remembering, begins: int) -> Callable[[int, int], float]:
    """Mean loss in dB of so many periods from a sample on; stretches overlap as the device plays them."""
    n, overlap = 10 * RATE, RATE
    rise_k = np.concatenate([one[0 if at == 0 else overlap :][:n] for at, one in enumerate(monitor.rise_k)])[begins:]

    def lost_db(first: int, periods: int) -> float:
        warm_k = rise_k[first : first + periods * TONE.period_samples]
        return float(np.mean(20.0 * np.log10(1.0 + COPPER_PER_K * warm_k)))

    return lost_db
