"""Silence: what a recording's noise is read from."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from signals.checks import require_finite, require_length, require_positive


@dataclass(frozen=True, kw_only=True)
class Silence:
    """Nothing for `seconds`; noise may be read in it from `settle_s` on, when what came before has died away.

    Raises SignalError when the length is not above zero.
    """

    seconds: float
    settle_s: float = 0.0
    sample_rate: int = 48000

    def __post_init__(self) -> None:
        require_positive(seconds=self.seconds, sample_rate=self.sample_rate)
        require_finite(settle_s=self.settle_s)
        require_length(self.seconds * self.sample_rate)

    @property
    def n_samples(self) -> int:
        """Length in samples."""
        return round(self.seconds * self.sample_rate)

    def samples(self) -> npt.NDArray[np.float64]:
        """Zeros, float64 `(n_samples,)`."""
        return np.zeros(self.n_samples)
