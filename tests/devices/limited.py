"""A limiter on one band of known threshold, ratio, attack and release, and what it does to a steady tone.

The band is cut out by a zero-phase filter `B(f)` whose edges fall as those of a fourth-order crossover, 24 dB an
octave: `B = 1 / (1 + (f / high)^4) / (1 + (low / f)^4)`. A peak detector follows the square of the band's signal: time
constant `attack_s` where the square is above what it holds, `release_s` where it is below. The gain is the static curve
of what it holds; the rest of the band passes beside it, so a steady tone leaves as `(1 - B) + g B` of itself.
"""

import math
from dataclasses import dataclass

import numpy as np
import scipy.fft
import scipy.optimize

from signals.levels import power_to_db
from signals.sweep import Sweep


@dataclass(frozen=True, kw_only=True)
class BandLimiter:
    """Levels are those of a sine in dBFS (AES17)."""

    threshold_dbfs: float
    ratio: float
    attack_s: float = 0.005
    release_s: float = 0.1
    low_hz: float = 300.0
    high_hz: float = 3000.0

    def band(self, frequency_hz: np.ndarray) -> np.ndarray:
        """B(f), elementwise."""
        above_zero = np.maximum(frequency_hz, 1e-3)
        return 1.0 / (1.0 + (above_zero / self.high_hz) ** 4) / (1.0 + (self.low_hz / above_zero) ** 4)

    def held_share(self) -> float:
        """What the detector holds of a steady sine's squared amplitude, once settled.

        With h that share, the rise while sin^2 is above it and the fall while it is below cancel over a cycle:
        `int (sin^2 - h)+ / attack = int (h - sin^2)+ / release`. Both integrals are elementary: with a = asin sqrt(h),
        the second is `(h - 1/2) a + sin(2 a) / 4` over a quarter cycle, the first that plus `(1/2 - h) pi / 2`.
        Holds for frequencies whose cycle is short against the attack.
        """

        def balance(h: float) -> float:
            a = math.asin(math.sqrt(h))
            below = (h - 0.5) * a + math.sin(2 * a) / 4
            above = below + (0.5 - h) * math.pi / 2
            return above / self.attack_s - below / self.release_s

        return float(scipy.optimize.brentq(balance, 0.01, 0.999999))

    def gain(self, held: np.ndarray) -> np.ndarray:
        """Gain for what the detector holds: above the threshold `(1 - 1/ratio)` dB are taken off per dB."""
        over_db = power_to_db(held / self.held_share()) - self.threshold_dbfs
        return 10.0 ** (-(1.0 - 1.0 / self.ratio) * np.maximum(over_db, 0.0) / 20.0)

    def steady_change_db(self, frequency_hz: np.ndarray, *, drive_dbfs: float) -> np.ndarray:
        """What happens to a steady tone, dB, closed form."""
        band = self.band(frequency_hz)
        gain = self.gain(self.held_share() * np.square(10.0 ** (drive_dbfs / 20.0) * band))
        return 20.0 * np.log10(1.0 - band + gain * band)

    def answer(self, sweep: Sweep, *, silence_s: float) -> np.ndarray:
        """The answer to a sweep and `silence_s` of silence after it."""
        played = np.concatenate([sweep.samples(), np.zeros(round(silence_s * sweep.sample_rate))])
        n_fft = int(scipy.fft.next_fast_len(2 * played.size, real=True))
        bins_hz = np.arange(n_fft // 2 + 1) * (sweep.sample_rate / n_fft)
        inside = scipy.fft.irfft(scipy.fft.rfft(played, n_fft) * self.band(bins_hz), n_fft)[: played.size]
        attack = -math.expm1(-1.0 / (self.attack_s * sweep.sample_rate))
        release = -math.expm1(-1.0 / (self.release_s * sweep.sample_rate))
        held, follows = 0.0, []
        for power in np.square(inside).tolist():
            held += (attack if power > held else release) * (power - held)
            follows.append(held)
        return played + (self.gain(np.array(follows)) - 1.0) * inside
