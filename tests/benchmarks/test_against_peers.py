"""Time and accuracy beside what a practitioner would write, and beside a general-purpose acoustics library.

`pytest -m benchmark -s tests/benchmarks/test_against_peers.py` prints them. All take turns in one run, and medians are
compared, because the machine's own speed drifts.

The device is y = x + 0.02 x^2. Driven by a sine of amplitude A it gives a second harmonic of 0.02 A / 2 re the
fundamental, at every frequency: cos^2 = (1 + cos 2wt) / 2.
"""

import math
import statistics
import time

import numpy as np
import pytest
import scipy.fft
import scipy.signal

from distort.analysis.sweep.deconvolution import deconvolve
from distort.analysis.sweep.orders import separate
from signals import Sweep

pytestmark = pytest.mark.benchmark

SWEEP = Sweep(drive_dbfs=-6.0)
RATE = SWEEP.sample_rate
BEND = 0.02
H2_DB = 20.0 * math.log10(BEND * 10.0 ** (-6.0 / 20.0) / 2.0)
CHECKED_HZ = np.geomspace(20.0, 8000.0, 60)
START = 24000
ROUNDS = 9


@pytest.fixture(scope="module")
def recording():
    played = np.concatenate([np.zeros(START), SWEEP.samples(), np.zeros(96000)])
    return played + BEND * np.square(played)


class Script:
    """What a practitioner writes with scipy: fades, the reversed sweep falling 6 dB an octave, one convolution, ten
    windows (Farina, AES 108th Convention, 2000). The inverse, as a spectrum of fast length, is kept; so is the fade."""

    def __init__(self, recorded: int) -> None:
        sweep = SWEEP.samples()
        time_s = np.arange(sweep.size) / RATE
        inverse = sweep[::-1] * np.exp(-time_s / SWEEP.rate_s)
        self.n_fft = scipy.fft.next_fast_len(recorded + sweep.size - 1, real=True)
        self.inverse = scipy.fft.rfft(inverse, self.n_fft)
        fade = 2400
        self.fades = np.ones(recorded)
        self.fades[:fade] = 0.5 - 0.5 * np.cos(np.pi * np.arange(fade) / fade)
        self.fades[-fade:] = self.fades[:fade][::-1]

    def __call__(self, recording):
        impulse = scipy.fft.irfft(scipy.fft.rfft(recording * self.fades, self.n_fft) * self.inverse, self.n_fft)
        peak = START + SWEEP.n_samples - 1
        spectra = []
        for order in range(1, 11):
            at = peak - round(SWEEP.advance_s(order) * RATE)
            before = round(0.45 * (SWEEP.advance_s(order + 1) - SWEEP.advance_s(order)) * RATE)
            window = impulse[at - before : at + before] * scipy.signal.windows.tukey(2 * before, 0.2)
            spectra.append(scipy.fft.rfft(window))
        return spectra

    def h2_db(self, recording):
        spectra = self(recording)
        level = [
            np.interp(order * CHECKED_HZ, np.linspace(0.0, RATE / 2.0, one.size), np.abs(one))
            for order, one in enumerate(spectra[:2], start=1)
        ]
        return 20.0 * np.log10(level[1] / level[0])


def timed(action):
    started = time.perf_counter()
    action()
    return time.perf_counter() - started


def ours_h2_db(recording):
    from distort.analysis.sweep.sweeps import (
        Reference,
        Settings,
        SweepTake,
        read_sweep,
        sweep_harmonics,
        sweep_response,
    )

    read = read_sweep([SweepTake(samples=recording, start=float(START))], SWEEP, Settings(smoothing_octaves=0.0))
    response = sweep_response(read, Reference())
    found = sweep_harmonics(read, Reference(), linear=response)
    return np.interp(CHECKED_HZ, found.frequency_hz, found.orders[0].relative_db)


def test_time_and_accuracy_beside_a_script_and_a_library(recording):
    """Target: at least twice as fast as the script, at better accuracy."""
    import pyfar

    script = Script(recording.size)
    sweep, heard = pyfar.Signal(SWEEP.samples(), RATE), pyfar.Signal(recording, RATE)
    n_fft = scipy.fft.next_fast_len(recording.size, real=True)
    sweep = pyfar.dsp.pad_zeros(sweep, n_fft - sweep.n_samples)
    heard = pyfar.dsp.pad_zeros(heard, n_fft - recording.size)
    inverse = pyfar.dsp.RegularizedSpectrumInversion.from_frequency_range(sweep, (20, 19500)).invert
    assert inverse.freq.shape[-1] > 0  # kept as a spectrum from here on, as ours and the script's are
    of_each = {
        "ours": lambda: separate(deconvolve(recording, SWEEP, start=float(START)), orders=10),
        "script": lambda: script(recording),
        "library": lambda: (heard * inverse).time,
    }
    taken: dict[str, list[float]] = {name: [] for name in of_each}
    for number in range(ROUNDS + 1):
        for name, action in of_each.items():
            seconds = timed(action)
            if number:
                taken[name].append(seconds)
    median = {name: statistics.median(seconds) for name, seconds in taken.items()}
    wrong = {
        "ours": float(np.max(np.abs(ours_h2_db(recording) - H2_DB))),
        "script": float(np.max(np.abs(script.h2_db(recording) - H2_DB))),
    }
    print(
        f"\nten orders: ours {1e3 * median['ours']:.0f} ms, script {1e3 * median['script']:.0f} ms "
        f"(ratio {median['script'] / median['ours']:.2f}, target 2), one impulse response of the library "
        f"{1e3 * median['library']:.0f} ms (ratio {median['library'] / median['ours']:.2f})\n"
        f"second order from 20 Hz to 8 kHz, largest error: ours {wrong['ours']:.5f} dB, script {wrong['script']:.5f} dB"
    )
    assert wrong["ours"] < wrong["script"]
