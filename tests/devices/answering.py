"""A loudspeaker that answers as it is played to, block by block, and whose answer is known in closed form.

What is played bends in a curve without memory, `v = x + b x^2 + c x^3`, may be held by a limiter, and reaches the
microphone twice: directly, and by a reflection `r` later by `T`. For a sine of amplitude A at f, with the path
`H(f) = g (1 + r exp(-i 2 pi f T))`, the microphone hears

    order 1:  (A + 3/4 c A^3) H(f)        order 2:  b A^2 / 2 H(2 f)        order 3:  c A^3 / 4 H(3 f)

(power formulas of the sine).
"""

from dataclasses import dataclass

import numpy as np

RATE = 48000


@dataclass(frozen=True, kw_only=True)
class Answering:
    """Amplitudes re digital full scale, of what is played and of what the microphone's input reads."""

    gain_db: float = -14.0
    second: float = 0.1
    third: float = -0.5
    direct_samples: int = 140
    """The direct sound's way of 1 m, 2.9 ms."""
    reflection: float = 0.3
    reflection_samples: int = 48
    noise_dbfs: float = -100.0
    """r.m.s., of white noise at the microphone."""
    limit: float | None = None
    """Amplitude above which the limiter holds a steady tone; None: no limiter."""
    turned_db: float = 0.0
    """By how much somebody turns its volume up while it plays."""
    turned_after_s: float = 0.0
    """When: after so much time beyond `LOUD`."""

    def path_db(self, frequency_hz: np.ndarray) -> np.ndarray:
        """`20 log10 |H(f)|`, elementwise."""
        turn = np.exp(-2j * np.pi * np.asarray(frequency_hz) * self.reflection_samples / RATE)
        return self.gain_db + _db(np.abs(1.0 + self.reflection * turn))

    def change_db(self, drive_dbfs: float) -> float:
        """What the curve does to the level of a tone, without a limiter."""
        amplitude = 10.0 ** (drive_dbfs / 20.0)
        return float(_db(1.0 + 0.75 * self.third * amplitude**2))

    def order_db(self, order: int, frequency_hz: np.ndarray, *, drive_dbfs: float) -> np.ndarray:
        """Second or third order re the fundamental, without a limiter."""
        amplitude = 10.0 ** (drive_dbfs / 20.0)
        product = {2: abs(self.second) * amplitude / 2.0, 3: abs(self.third) * amplitude**2 / 4.0}[order]
        path = self.path_db(order * np.asarray(frequency_hz)) - self.path_db(frequency_hz)
        return _db(product) - self.change_db(drive_dbfs) + path


def _db(ratio: np.ndarray | float) -> np.ndarray:
    return np.asarray(20.0 * np.log10(ratio))


ATTACK_S, RELEASE_S = 0.002, 0.2

LOUD = 0.02
"""An amplitude that no quiet run reaches: its noise has an r.m.s. of 0.0035, and no peak is six times that."""


class Playing:
    """An `Answering` while it plays: what it remembers from block to block."""

    def __init__(self, device: Answering, *, seed: int = 1) -> None:
        self._device = device
        self._random = np.random.default_rng(seed)
        path = np.zeros(device.direct_samples + device.reflection_samples + 1)
        path[device.direct_samples] = 1.0
        path[-1] = device.reflection
        self._path = 10.0 ** (device.gain_db / 20.0) * path
        self._on_its_way = np.zeros(path.size - 1)
        self._held = 0.0
        self._loud_samples = 0

    def __call__(self, played: np.ndarray) -> np.ndarray:
        """The answer to the next block `(samples,)`."""
        device = self._device
        bent = played + device.second * np.square(played) + device.third * played**3
        if device.limit is not None:
            bent = bent * self._limiter_gain(bent, device.limit)
        self._loud_samples += int(np.count_nonzero(np.abs(played) > LOUD))
        if self._loud_samples > device.turned_after_s * RATE:
            bent = bent * 10.0 ** (device.turned_db / 20.0)
        spread = np.convolve(bent, self._path)
        spread[: self._on_its_way.size] += self._on_its_way
        heard, self._on_its_way = spread[: played.size], spread[played.size :]
        noise = 10.0 ** (device.noise_dbfs / 20.0) / np.sqrt(2.0) * self._random.standard_normal(played.size)
        return np.asarray(heard + noise)

    def _limiter_gain(self, bent: np.ndarray, limit: float) -> np.ndarray:
        """A peak detector: what it holds above `limit` is taken off."""
        attack = -np.expm1(-1.0 / (ATTACK_S * RATE))
        release = -np.expm1(-1.0 / (RELEASE_S * RATE))
        held, follows = self._held, []
        for size in np.abs(bent).tolist():
            held += (attack if size > held else release) * (size - held)
            follows.append(held)
        self._held = held
        return np.minimum(1.0, limit / np.maximum(follows, limit))
