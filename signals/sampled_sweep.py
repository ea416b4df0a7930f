"""An exponential sweep that another program made: known by its samples, described by what was fitted to them.

The samples themselves are no part of the description, which names their SHA-256. Whoever has them says so once
(`hold_samples`); they are kept for as long as the program runs.
"""

import hashlib
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from signals.checks import require_positive
from signals.errors import SignalError
from signals.levels import db_to_amplitude
from signals.sweep import Sweep

FloatArray = npt.NDArray[np.float64]

_held: dict[str, FloatArray] = {}  # by their own hash, so that it can never hold anything else than what is asked for


def hold_samples(samples: npt.ArrayLike) -> str:
    """Keep `samples` `(n,)` for the sweeps that are described by them, and return their SHA-256 (64-bit floats)."""
    kept = np.array(samples, dtype="<f8")
    kept.setflags(write=False)
    digest = hashlib.sha256(kept.tobytes()).hexdigest()
    _held[digest] = kept
    return digest


@dataclass(frozen=True, kw_only=True)
class SampledSweep(Sweep):
    """A sweep made elsewhere. `start_hz`, `stop_hz`, `full_level_hz` and the fade-out were fitted; it is not
    synchronised, so the phases of its orders mean nothing; their levels do.

    n_given           its length in samples
    fitted_rate_s     L: seconds in which the frequency grows e-fold
    filed_dbfs        drive of its samples as they stand in the file (AES17)
    samples_sha256    of those samples as 64-bit floats

    Raises SignalError when the fields do not make a sweep.
    """

    n_given: int
    fitted_rate_s: float
    filed_dbfs: float
    samples_sha256: str

    def __post_init__(self) -> None:
        super().__post_init__()
        require_positive(n_given=self.n_given, fitted_rate_s=self.fitted_rate_s)

    @property
    def rate_s(self) -> float:
        """L, as fitted."""
        return self.fitted_rate_s

    @property
    def n_samples(self) -> int:
        """Length in samples."""
        return self.n_given

    @property
    def held(self) -> bool:
        """Whether somebody has given its samples."""
        return self.samples_sha256 in _held

    def samples(self) -> FloatArray:
        """The samples of the file, at `drive_dbfs`. Raises SignalError when nobody has given them (`hold_samples`)."""
        if not self.held:
            raise SignalError(f"the samples of the sweep with SHA-256 {self.samples_sha256[:16]} were not given")
        return np.asarray(_held[self.samples_sha256] * float(db_to_amplitude(self.drive_dbfs - self.filed_dbfs)))
