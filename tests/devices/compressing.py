"""A loudspeaker that loses level for up to three reasons, each known: a soft curve, a limiter, a coil that warms.

The signal passes the limiter, then the coil, then the curve `y = x / (1 + (x / knee)^2)^(1/2)`. The gains of limiter
and coil are known sample by sample, so what each takes at any moment is read from them and not from the sound.
"""

import math
from dataclasses import dataclass

import numpy as np
import scipy.signal


@dataclass(frozen=True, kw_only=True)
class Limiter:
    """Levels of a sine, dBFS (AES17). `detector`: "power" follows the square, "decibels" smooths the reduction."""

    threshold_dbfs: float
    ratio: float
    attack_s: float
    release_s: float
    detector: str = "power"

    def gain_db(self, signal: np.ndarray, rate: int) -> np.ndarray:
        """Of every sample, at most 0."""
        rise = -math.expm1(-1.0 / (self.attack_s * rate))
        fall = -math.expm1(-1.0 / (self.release_s * rate))
        if self.detector == "power":
            held, follows = 0.0, []
            for power in np.square(signal).tolist():
                held += (rise if power > held else fall) * (power - held)
                follows.append(held)
            return self._static(np.array(follows) / self._share())
        wanted = self._static(2.0 * _mean_square(signal, rate))
        held, follows = 0.0, []
        for reduction in wanted.tolist():
            held += (rise if reduction < held else fall) * (reduction - held)
            follows.append(held)
        return np.array(follows)

    def _static(self, power: np.ndarray) -> np.ndarray:
        over_db = 10.0 * np.log10(np.maximum(power, 1e-20)) - self.threshold_dbfs
        return -(1.0 - 1.0 / self.ratio) * np.maximum(over_db, 0.0)

    def _share(self) -> float:
        """What a detector of these times holds of a steady sine's squared amplitude (see `limited.BandLimiter`)."""
        from tests.devices.limited import BandLimiter

        return BandLimiter(threshold_dbfs=0.0, ratio=2.0, attack_s=self.attack_s, release_s=self.release_s).held_share()


def _mean_square(signal: np.ndarray, rate: int) -> np.ndarray:
    """Over 10 ms before each sample."""
    width = round(0.01 * rate)
    summed = np.cumsum(np.concatenate([np.zeros(width), np.square(signal)]))
    return (summed[width:] - summed[:-width]) / width


@dataclass(frozen=True, kw_only=True)
class Coil:
    """Two stages in degrees of loss: for a full-scale sine each would lose `db` in the long run, after `tau_s`."""

    db: tuple[float, float]
    tau_s: tuple[float, float] = (1.0, 20.0)

    def gain_db(self, signal: np.ndarray, rate: int) -> np.ndarray:
        """Of every sample, at most 0: in proportion to the energy, as long as that is little."""
        power = 2.0 * np.square(signal)
        lost = np.zeros(signal.size)
        for db, tau_s in zip(self.db, self.tau_s, strict=True):
            keep = math.exp(-1.0 / (tau_s * rate))
            lost += scipy.signal.lfilter([(1.0 - keep) * db], [1.0, -keep], power)
        return -lost


@dataclass(frozen=True, kw_only=True)
class Compressing:
    """`knee` of the curve: full scale 1; infinite for none."""

    knee: float = math.inf
    limiter: Limiter | None = None
    coil: Coil | None = None

    def answer(self, signal: np.ndarray, rate: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """What it makes of `signal`, and the gains of its limiter and its coil, dB, sample by sample."""
        limited = np.zeros(signal.size) if self.limiter is None else self.limiter.gain_db(signal, rate)
        driven = signal * 10.0 ** (limited / 20.0)
        warm = np.zeros(signal.size) if self.coil is None else self.coil.gain_db(driven, rate)
        driven = driven * 10.0 ** (warm / 20.0)
        return driven / np.sqrt(1.0 + np.square(driven / self.knee)), limited, warm
