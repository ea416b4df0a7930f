"""Reverberation: what it leaks from order to order, and a measured room that must come back as it was."""

from pathlib import Path

import numpy as np
import pyfar as pf
import pytest
import scipy.fft
import soundfile

from distort.analysis.common.grid import grid_hz
from distort.analysis.common.smoothing import PowerSpectrum
from distort.analysis.sweep.deconvolution import deconvolve
from distort.analysis.sweep.sweeps import Reference, Settings, read_sweep, sweep_harmonics
from signals import Sweep
from tests.devices.memoryless import sweep_with_harmonics
from tests.devices.rooms import SAMPLE_RATE, room, through
from tests.devices.takes import take

SWEEP = Sweep(drive_dbfs=-6.0)
AMPLITUDES = {1: 1.0, **{n: 10 ** (-(40 + 5 * (n - 2)) / 20) for n in range(2, 11)}}
THIRD = Settings(smoothing_octaves=1 / 3)
ROOMS = [(rt60_s, ratio_db) for rt60_s in (0.3, 0.6) for ratio_db in (0.0, 10.0)]
HZ = grid_hz()


def path_power(path, at_hz):
    n = 2**19
    spectrum = PowerSpectrum(np.abs(scipy.fft.rfft(path, n)) ** 2, SAMPLE_RATE / n)
    return spectrum.smoothed(at_hz, THIRD.smoothing_octaves)


@pytest.mark.first(1)
@pytest.mark.parametrize(("rt60_s", "ratio_db"), ROOMS)
def test_orders_in_a_room_have_no_bias_and_a_leak_that_is_predicted(rt60_s, ratio_db):
    """Truth: the room's own power at n f and at f, per third octave. The orders 5 dB apart leak into one another.

    Mean error under 0.1 dB; the predicted leak within 3 dB of what order n + 1 alone leaves in the window of order n.
    """
    path = room(rt60_s=rt60_s, direct_to_reverberant_db=ratio_db, seed=7)
    parts = {n: through(sweep_with_harmonics(SWEEP, {n: a}), path) for n, a in AMPLITUDES.items()}
    read = read_sweep([take(sum(parts.values()), after=48000)], SWEEP, THIRD)
    for n in range(2, 11):
        rows = slice(8, np.searchsorted(n * HZ, 18000.0), 8)
        measured = read.readings[n - 1].power / read.readings[0].power
        expected = AMPLITUDES[n] ** 2 * path_power(path, n * HZ) / path_power(path, HZ)
        assert abs(np.mean(10 * np.log10(measured / expected)[rows])) < 0.1
    for n in (5, 7, 9):
        rows = slice(8, np.searchsorted(n * HZ, 18000.0), 8)
        alone = read_sweep([take(parts[1] + parts[n + 1], after=48000)], SWEEP, THIRD).readings[n - 1]
        assert np.max(np.abs(10 * np.log10(alone.leak / alone.power)[rows])) < 3.0


def test_an_order_that_the_leak_spoils_is_marked():
    """Order 10 at -40 dB in a long reverberation buries an order 9 at -75 dB."""
    path = room(rt60_s=0.6, direct_to_reverberant_db=0.0, seed=3)
    answer = through(sweep_with_harmonics(SWEEP, {1: 1.0, 9: 10 ** (-75 / 20), 10: 0.01}), path)
    ninth = sweep_harmonics(read_sweep([take(answer, after=48000)], SWEEP, THIRD), Reference()).orders[7]
    rows = (HZ > 50.0) & (10 * HZ < 18000.0)
    error = np.abs(ninth.relative_db - (-75.0))
    assert np.median(error[rows]) > 3.0
    assert np.all(ninth.doubtful[rows])


def living_room():
    samples, rate = soundfile.read(Path(__file__).parent / "data" / "living_room.wav")
    return samples, rate


LIVING_ROOM_SWEEP = Sweep(sample_rate=44100, stop_hz=20000.0, drive_dbfs=-6.0)


def clear_bins(n, rate, power):
    """Bins from 50 Hz to 16 kHz, without the nulls of the room, which magnify any error without end."""
    bins = np.fft.rfftfreq(n, 1 / rate)
    return (bins > 50.0) & (bins < 16000.0) & (power > 1e-6 * np.max(power))


def test_a_measured_room_comes_back_as_it_was():
    """A public-domain room response (tests/data/README.md) convolved with the sweep, and recovered within 0.01 dB."""
    path, rate = living_room()
    answer = through(LIVING_ROOM_SWEEP.samples(), path)
    impulse = deconvolve(answer, LIVING_ROOM_SWEEP, start=0.0).impulse
    n = impulse.size
    mine = np.abs(np.fft.rfft(impulse))
    original = np.abs(np.fft.rfft(path, n))
    rows = clear_bins(n, rate, original**2)
    assert np.mean(rows) > 0.6
    assert np.max(np.abs(20 * np.log10(mine[rows] / original[rows]))) < 0.01


def test_the_deconvolution_of_pyfar_agrees():
    """pyfar.dsp.RegularizedSpectrumInversion is an independent deconvolution of the same recording."""
    path, rate = living_room()
    answer = through(LIVING_ROOM_SWEEP.samples(), path)
    mine = deconvolve(answer, LIVING_ROOM_SWEEP, start=0.0)
    n = mine.impulse.size
    excitation = pf.Signal(np.pad(LIVING_ROOM_SWEEP.samples(), (0, n - LIVING_ROOM_SWEEP.n_samples)), rate)
    recording = pf.Signal(np.pad(answer[:n], (0, max(0, n - answer.size))), rate)
    inverse = pf.dsp.RegularizedSpectrumInversion.from_frequency_range(excitation, (20, 19500)).invert
    theirs = np.abs((recording * inverse).freq[0])
    ours = np.abs(np.fft.rfft(mine.impulse))
    rows = clear_bins(n, rate, theirs**2)
    assert np.max(np.abs(20 * np.log10(ours[rows] / theirs[rows]))) < 0.01
