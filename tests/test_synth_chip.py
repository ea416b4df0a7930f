"""Recordings that others made of a real device, a music synthesiser's chip: floors, hum and orders against numpy alone.

`tests/data/synth_chip/SOURCE.md` says where they come from. Hum and a low signal to noise ratio are real, the stimulus
is at full scale, and no clock chirps were played.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import soundfile

from distort.analysis.common.curves import Harmonics
from distort.analysis.sweep.sweeps import Reference, Settings, SweepTake, read_sweep, sweep_harmonics
from distort.capture.importing.sweep_fitting import fit_sweep
from distort.recording.alignment.prepared import Prepared, prepare_samples
from distort.recording.quality.examined import Examined, examine
from signals import SampledSweep
from tests.plain_deconvolution import impulse_response, noise_powers, order_powers

DATA = Path(__file__).parent / "data" / "synth_chip"
RATE = 48000
STARTS, SWEPT_S = 2 * RATE, 10
"""Of the sweep in its file: two seconds of silence, ten of sweep (SOURCE.md)."""
GROWTH_S = 10.0 / np.log(1000.0)
"""L of 20 Hz to 20 kHz in 10 s."""
LINES_HZ = np.array([*(50.0 * np.arange(1, 21)), 15639.0])
"""Hum and the whistle of a screen: beside one, the place of a band's edge decides what is in it."""


@dataclass(frozen=True)
class Chip:
    name: str
    examined: Examined
    prepared: Prepared
    samples: np.ndarray
    sweep: SampledSweep
    swept: np.ndarray

    def orders(self, octaves: float) -> Harmonics:
        """What the analysis says."""
        take = SweepTake(
            samples=self.prepared.samples,
            start=self.prepared.start,
            silences=self.prepared.silences,
            step=self.prepared.step,
        )
        read = read_sweep([take], self.sweep, Settings(orders=5, smoothing_octaves=octaves))
        return sweep_harmonics(read, Reference())

    def own_reading(self, order: int, at_hz: np.ndarray, octaves: float) -> tuple[np.ndarray, np.ndarray]:
        """By numpy alone: the order less its noise, and its floor, re the fundamental, dB."""
        response = impulse_response(self.samples, self.swept)
        start = int(np.argmax(np.abs(response[: self.samples.size])))
        words = {"rate": RATE, "growth_s": GROWTH_S, "octaves": octaves}
        own, tone = order_powers(response, order, at_hz, start=start, **words)
        noise, beside = noise_powers(own_silences(self.samples), self.swept, order, at_hz, size=response.size, **words)
        with np.errstate(invalid="ignore"):  # where noise alone is read, less than its mean may be found
            return 10.0 * np.log10((own - noise) / (tone - beside)), 10.0 * np.log10(noise / (tone - beside))


@pytest.fixture(scope="module", params=["bypass_15", "lowpass_2047_15"])
def chip(request) -> Chip:
    stimulus, _ = soundfile.read(DATA / "sweep.wav")
    fitted = fit_sweep(stimulus, RATE, what="sweep.wav")
    samples, _ = soundfile.read(DATA / f"{request.param}.wav")
    examined = examine(samples, fitted.reel, what=request.param, as_stored=samples, stated_hz=RATE)
    return Chip(
        name=request.param,
        examined=examined,
        prepared=prepare_samples(samples, fitted.reel, start=examined.alignment.stimulus_start),
        samples=samples,
        sweep=fitted.sweep,
        swept=stimulus[2 * RATE : 12 * RATE],  # two seconds of silence, ten of sweep (SOURCE.md)
    )


def own_silences(samples: np.ndarray) -> list[np.ndarray]:
    """By the clock of the file alone: nothing plays in its first 1.8 s and its last 1.8 s."""
    return [samples[: round(1.8 * RATE)], samples[-round(1.8 * RATE) :]]


def apart_from_lines(hz: np.ndarray, octaves: float) -> np.ndarray:
    """Whether both edges of the bands about `hz` are 8 Hz from all lines: as much as half a second smears them."""
    edges = np.stack([hz * 2.0 ** (-octaves / 2), hz * 2.0 ** (octaves / 2)])
    return np.all(np.abs(edges[..., np.newaxis] - LINES_HZ).min(axis=2) > 8.0, axis=0)


def test_all_that_was_recorded_before_and_after_is_silence(chip):
    """The sweep lasts 10 s of 14 s; of the rest 5 ms and the chip's own short decay are left out."""
    (before, after) = chip.examined.alignment.silences.spans
    assert before[0] == 0
    assert after[1] == chip.samples.size
    assert (before[1] + after[1] - after[0]) / RATE == pytest.approx(4.0, abs=0.1)
    assert chip.examined.quality.finding("silence").verdict == "good"
    assert chip.sweep.drive_dbfs == pytest.approx(0.0, abs=0.001)  # at full scale, which is no error


@pytest.mark.first(1)
def test_floors_are_those_of_an_independent_reading(chip):
    """Per third octave of all orders, within 1 dB."""
    found = chip.orders(1.0 / 3.0)
    for order in (2, 3, 4, 5):
        hz = found.frequency_hz
        rows = (hz >= 40.0) & (order * hz < 17000.0) & apart_from_lines(order * hz, 1.0 / 3.0)
        _, floor_db = chip.own_reading(order, hz[rows], 1.0 / 3.0)
        off_db = found.orders[order - 2].noise_db[rows] - floor_db
        assert np.count_nonzero(rows) > 100
        assert np.max(np.abs(off_db)) < 1.0
        assert abs(np.median(off_db)) < 0.1  # both are read in the same silences, in blocks of unlike length


def own_hum(silence: np.ndarray) -> float:
    """Power of ten multiples of the mains frequency, by least squares, at the frequency that explains most."""
    time_s = np.arange(silence.size) / RATE
    powers = []
    for mains_hz in np.arange(49.9, 50.1, 0.02):
        turns = np.outer(time_s, 2.0 * np.pi * mains_hz * np.arange(1, 11))
        lines, *_ = np.linalg.lstsq(np.hstack([np.cos(turns), np.sin(turns)]), silence - silence.mean(), rcond=None)
        powers.append(0.5 * float(np.sum(lines**2)))
    return max(powers)


@pytest.mark.first(1)
def test_hum_is_that_of_an_independent_reading(chip):
    """Re the recorded sweep, within 1 dB."""
    hum = np.mean([own_hum(silence) for silence in own_silences(chip.samples)])
    start = round(chip.examined.alignment.stimulus_start)
    own_db = 10.0 * np.log10(hum / np.mean(chip.samples[start : start + 10 * RATE] ** 2))
    assert chip.examined.quality.finding("hum").value == pytest.approx(own_db, abs=1.0)


@pytest.mark.first(1)
def test_orders_above_their_floor_are_those_of_an_independent_reading_and_those_below_are_marked(chip):
    """In twelfths of an octave, within 0.1 dB in the median where they stand 10 dB above it: between lines of hum."""
    found = chip.orders(1.0 / 12.0)
    off_db: list[float] = []
    for one in found.orders:
        rows = np.flatnonzero((found.frequency_hz >= 40.0) & (one.order * found.frequency_hz < 17000.0))
        own_db, _ = chip.own_reading(one.order, found.frequency_hz[rows], 1.0 / 12.0)
        above = one.relative_db[rows] > one.noise_db[rows] + 10.0
        off_db += list(one.relative_db[rows][above] - own_db[above])
        assert np.all(one.doubtful[rows][~above])
    # the chip's own filter makes a second order that stands clear of its hum; without the filter nothing does
    assert len(off_db) == (15 if chip.name == "lowpass_2047_15" else 0)
    if off_db:
        assert np.median(np.abs(off_db)) < 0.1
