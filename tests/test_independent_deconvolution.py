"""Orders 2 to 5 against a deconvolution by numpy alone, of recordings with reverberation and noise.

Two recordings made here, one through a room of decaying noise, one through a room that was measured
(`tests/data/README.md`); a real one is in `tests/test_synth_chip.py`. The stimulus is a bare sweep with silence behind.
"""

from pathlib import Path

import numpy as np
import pytest
import scipy.signal
import soundfile

from distort.analysis.sweep.sweeps import Reference, Settings, SweepTake, read_sweep, sweep_harmonics
from distort.capture.importing.sweep_fitting import fit_sweep
from distort.recording.alignment.locating import find_reel
from distort.recording.alignment.prepared import prepare_samples
from tests.plain_deconvolution import impulse_response, order_powers

RATE = 16000
SECONDS, LOW_HZ, HIGH_HZ = 10.0, 20.0, 7600.0
GROWTH_S = SECONDS / np.log(HIGH_HZ / LOW_HZ)
OCTAVES = 1.0 / 3.0
NOISE = 1e-5


def sweep() -> np.ndarray:
    """Farina's (AES 108th Convention, 2000), at full scale, faded over a fortieth of a second."""
    time_s = np.arange(round(SECONDS * RATE)) / RATE
    made = np.sin(2.0 * np.pi * LOW_HZ * GROWTH_S * np.expm1(time_s / GROWTH_S))
    fade = np.sin(0.5 * np.pi * np.arange(400) / 400) ** 2
    made[:400] *= fade
    made[-400:] *= fade[::-1]
    return made


def decaying_noise() -> np.ndarray:
    """0.4 s of reverberation time, its power 3 dB under that of the direct sound."""
    time_s = np.arange(round(0.6 * RATE)) / RATE
    tail = np.random.default_rng(4).standard_normal(time_s.size) * np.exp(-3.0 * np.log(10.0) * time_s / 0.4)
    tail *= np.sqrt(0.5 / np.sum(tail**2))
    tail[0] += 1.0
    return tail


def living_room() -> np.ndarray:
    samples, rate = soundfile.read(Path(__file__).parent / "data" / "living_room.wav")
    room = scipy.signal.resample_poly(samples, RATE, rate)
    return room / np.max(np.abs(room))


ROOMS = {"decaying noise": decaying_noise, "living room": living_room}


@pytest.mark.parametrize("room", ROOMS)
def test_orders_in_a_room_are_those_of_an_independent_deconvolution(room):
    """Within 0.05 dB in the median of the rows that stand 20 dB above their floor. Single rows beside deep dips of the
    room differ by more: the edges of a third octave are cut otherwise there."""
    stimulus = sweep()
    bent = 0.25 * stimulus + 0.02 * stimulus**2 + 0.015 * stimulus**3 + 0.01 * stimulus**4 + 0.008 * stimulus**5
    heard = scipy.signal.fftconvolve(np.pad(bent, (0, 3 * RATE)), ROOMS[room]())[: bent.size + 3 * RATE]
    heard += NOISE * np.random.default_rng(5).standard_normal(heard.size)
    fitted = fit_sweep(stimulus, RATE, what="sweep.wav")
    prepared = prepare_samples(heard, fitted.reel, start=find_reel(heard, fitted.reel).stimulus_start)
    take = SweepTake(samples=prepared.samples, start=prepared.start, silences=prepared.silences)
    read = read_sweep([take], fitted.sweep, Settings(orders=5, smoothing_octaves=OCTAVES))
    found = sweep_harmonics(read, Reference())
    response = impulse_response(heard, stimulus)
    start = int(np.argmax(np.abs(response[: 3 * RATE])))
    for one in found.orders:
        rows = (found.frequency_hz > 60.0) & (one.order * found.frequency_hz < 6500.0)
        rows &= one.relative_db > one.noise_db + 20.0
        own, tone = order_powers(
            response,
            one.order,
            found.frequency_hz[rows],
            start=start,
            rate=RATE,
            growth_s=GROWTH_S,
            octaves=OCTAVES,
        )
        off_db = one.relative_db[rows] - 10.0 * np.log10(own / tone)
        assert np.count_nonzero(rows) > 100
        assert np.median(np.abs(off_db)) < 0.05
