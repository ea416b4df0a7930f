"""A coil that warms while it plays: two stages that add, 10 s and 60 s, and copper's resistance; nothing else."""

import numpy as np
import scipy.signal

COPPER_PER_K = 0.00393
"""Relative rise of copper's resistance per kelvin (common practice)."""

STEP_S = 0.001


class HeatedCoil:
    """On a voltage source the current, and so the output, is `1 / (1 + alpha rise)` of the cold coil's.

    Each stage obeys `tau dT/dt = R P - T`. The power is that of the signal's running mean square over a millisecond,
    so it is the rise of a coil that the music of the past heats, not that of a moment.
    """

    def __init__(self, sample_rate: int, *, k_per_full_scale: tuple[float, float] = (300.0, 200.0)) -> None:
        self.sample_rate = sample_rate
        self.stages = list(zip((10.0, 60.0), k_per_full_scale, strict=True))
        self.rise_k = [0.0, 0.0]

    def play(self, signal: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Output and gain in dB for every sample; the coil stays as warm as it ends."""
        block = round(STEP_S * self.sample_rate)
        padded = np.concatenate([signal, np.zeros(-signal.size % block)])
        power = 2.0 * np.mean(np.square(padded).reshape(-1, block), axis=1)  # 1 for a full-scale sine
        rise = np.zeros(power.size)
        for index, (tau_s, k_per_power) in enumerate(self.stages):
            keep = float(np.exp(-STEP_S / tau_s))
            stage, _ = scipy.signal.lfilter(
                [(1.0 - keep) * k_per_power], [1.0, -keep], power, zi=[keep * self.rise_k[index]]
            )
            rise += stage
            self.rise_k[index] = float(stage[-1])
        at = np.arange(signal.size) / block
        warm = 1.0 + COPPER_PER_K * np.interp(at, np.arange(1, power.size + 1), rise)
        return signal / warm, -20.0 * np.log10(warm)

    def rest(self, seconds: float) -> None:
        """Cool without signal."""
        self.rise_k = [
            rise * float(np.exp(-seconds / tau_s)) for rise, (tau_s, _) in zip(self.rise_k, self.stages, strict=True)
        ]
