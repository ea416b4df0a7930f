"""A quick made loudspeaker in a room, for studies of thousands of recordings: it stands for no real one.

Two ways with a crossover of second order. In the woofer the force grows and falls with a displacement of its own (so
that its orders fall with frequency), a soft limit compresses, and a coil heats over seconds; the tweeter's curve is of
second order. Then a delay, a room of decaying noise, and pink and white noise at the microphone.
"""

from dataclasses import dataclass

import numpy as np
import scipy.fft
import scipy.signal

from distort.recording.alignment.clock import repair_clock
from tests.made_recordings import made_room

FloatArray = np.ndarray
RATE = 48000
HEAT_BLOCK = 480


@dataclass(frozen=True, kw_only=True)
class QuickLoudspeaker:
    """One loudspeaker in one room, and how hard it is driven."""

    resonance_hz: float
    q: float
    crossover_hz: float
    loud: float
    """Amplitude that a stimulus of full r.m.s. level has inside; 1 is where curvature and limit are strong."""
    second: float
    third: float
    tweeter_second: float
    heat_db: float
    """Of a steady stimulus at `loud` = 1, after a long time."""
    heat_s: float
    rt60_s: float
    drr_db: float
    seed: int

    def answer(self, played: FloatArray, *, drive_rms: float) -> FloatArray:
        """What arrives at the microphone, noiseless, re the stimulus as played, `(samples + room,)`."""
        inside = played * (self.loud / drive_rms)
        woofer = _second_order(inside, self.resonance_hz, self.q, "highpass")
        woofer = _second_order(woofer, self.crossover_hz, 0.5, "lowpass")
        moved = _second_order(woofer, 1.5 * self.resonance_hz, 0.7, "lowpass")
        woofer = woofer * (1.0 + self.second * moved - self.third * np.square(moved))
        woofer = 4.0 * np.tanh(woofer / 4.0) * self._cooled(woofer)
        tweeter = -_second_order(inside, self.crossover_hz, 0.5, "highpass")
        tweeter = tweeter + self.tweeter_second * (np.square(tweeter) - np.mean(np.square(tweeter)))
        room = made_room(np.random.default_rng(self.seed), rt60_s=self.rt60_s, drr_db=self.drr_db, sample_rate=RATE)
        return np.asarray(scipy.signal.oaconvolve(woofer + tweeter, room) * (drive_rms / self.loud))

    def _cooled(self, woofer: FloatArray) -> FloatArray:
        """Gain of the heated coil: its temperature follows the power with one time constant."""
        blocks = -(-woofer.size // HEAT_BLOCK)
        power = np.square(np.pad(woofer, (0, blocks * HEAT_BLOCK - woofer.size))).reshape(blocks, -1).mean(axis=1)
        step = HEAT_BLOCK / RATE / self.heat_s
        warm = scipy.signal.lfilter([step], [1.0, step - 1.0], power)
        gain = 1.0 / (1.0 + warm * (10.0 ** (self.heat_db / 20.0) - 1.0))
        return np.interp(np.arange(woofer.size), (np.arange(blocks) + 0.5) * HEAT_BLOCK, gain)


def _second_order(signal: FloatArray, at_hz: float, q: float, kind: str) -> FloatArray:
    omega = 2.0 * np.pi * at_hz
    top = [1.0, 0.0, 0.0] if kind == "highpass" else [omega**2]
    b, a = scipy.signal.bilinear(top, [1.0, omega / q, omega**2], RATE)
    return np.asarray(scipy.signal.lfilter(b, a, signal))


def room_noise(random: np.random.Generator, n: int, *, pink_share: float) -> FloatArray:
    """Noise of r.m.s. 1: white, and a share of the power falling by 3 dB an octave above 20 Hz."""
    fast = int(scipy.fft.next_fast_len(n, real=True))
    spectrum = scipy.fft.rfft(random.standard_normal(fast))
    frequency = scipy.fft.rfftfreq(fast, 1.0 / RATE)
    pink = np.sqrt(1.0 / np.maximum(frequency, 20.0))
    pink /= np.sqrt(np.mean(np.square(pink)))
    noise = scipy.fft.irfft(spectrum * np.sqrt(pink_share * np.square(pink) + 1.0 - pink_share), fast)[:n]
    return np.asarray(noise)


def by_another_clock(samples: FloatArray, ppm: float) -> FloatArray:
    """`samples` as a recorder whose clock is `ppm` fast writes them (128-tap interpolation, exact to -110 dB)."""
    return samples if ppm == 0.0 else repair_clock(samples, 1e6 * (1.0 / (1.0 + 1e-6 * ppm) - 1.0), RATE)
