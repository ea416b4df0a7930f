"""Voice coil heating: two first-order stages, each `T' = (R P - T) / tau`, whose temperatures add."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.capture.simulated.parameters import COPPER_PER_K, Coil

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Heat:
    """Rise above 20 degC: of the coil above its magnet, and of the magnet above the air."""

    coil_k: float = 0.0
    magnet_k: float = 0.0

    @property
    def total_k(self) -> float:
        """Rise of the coil above the air."""
        return self.coil_k + self.magnet_k


COLD = Heat()


def resistance_ohm(coil: Coil, rise_k: FloatArray) -> FloatArray:
    """Resistance of a copper coil that is `rise_k` warmer than 20 degC, same shape, in ohm."""
    return np.asarray(coil.resistance_ohm * (1.0 + COPPER_PER_K * rise_k))


def cooled(heat: Heat, coil: Coil, seconds: float) -> Heat:
    """`heat` after `seconds` without power."""
    return Heat(
        coil_k=heat.coil_k * float(np.exp(-seconds / coil.coil_s)),
        magnet_k=heat.magnet_k * float(np.exp(-seconds / coil.magnet_s)),
    )


def heated(power_w: FloatArray, coil: Coil, *, start: Heat, rate_hz: float) -> tuple[FloatArray, FloatArray]:
    """Rise in kelvin of coil above magnet and of magnet above air, each `(n,)`, at the end of every sample.

    `power_w` `(n,)` is held over each sample, so each step is exact: `T+ = a T + (1 - a) R P`, a = exp(-1/(tau rate)).
    """

    def stage(k_per_w: float, tau_s: float, start_k: float) -> FloatArray:
        decay = float(np.exp(-1.0 / (tau_s * rate_hz)))
        rise, _ = scipy.signal.lfilter([(1.0 - decay) * k_per_w], [1.0, -decay], power_w, zi=[decay * start_k])
        return np.asarray(rise)

    return (
        stage(coil.coil_k_per_w, coil.coil_s, start.coil_k),
        stage(coil.magnet_k_per_w, coil.magnet_s, start.magnet_k),
    )
