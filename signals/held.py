"""Samples that are no part of a stimulus's description, because they come from a file: given here by whoever read it.

They are kept by their own hash, so that nothing else than what is asked for can ever be found.
"""

import hashlib

import numpy as np
import numpy.typing as npt

from signals.errors import SignalError

FloatArray = npt.NDArray[np.float64]

_held: dict[str, FloatArray] = {}


def hold_samples(samples: npt.ArrayLike) -> str:
    """Keep `samples` `(n,)` for the stimuli that are described by them, and return their SHA-256 (64-bit floats)."""
    kept = np.array(samples, dtype="<f8")
    kept.setflags(write=False)
    digest = hashlib.sha256(kept.tobytes()).hexdigest()
    _held[digest] = kept
    return digest


def is_held(samples_sha256: str) -> bool:
    """Whether somebody has given these samples."""
    return samples_sha256 in _held


def held_samples(samples_sha256: str, *, what: str) -> FloatArray:
    """Those samples, read-only. Raises SignalError, naming `what` they are of, when nobody has given them."""
    if samples_sha256 not in _held:
        raise SignalError(f"the samples of the {what} with SHA-256 {samples_sha256[:16]} were not given")
    return _held[samples_sha256]
