"""An ordered list of stimuli, silences and clock chirps that plays as one file."""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from signals.checks import MOST_SAMPLES
from signals.chirp import Chirp
from signals.errors import SignalError
from signals.silence import Silence
from signals.stimulus import KINDS, Playable, Stimulus

CHIRP_BELOW_STIMULUS_DB = 10.0
"""How far a chirp's drive lies below its stimulus: well above any noise, and gentle on a tweeter."""


@dataclass(frozen=True)
class Reel:
    """Items that play one after another without a gap, all at one sample rate.

    Raises SignalError when there are none, or their sample rates differ.
    """

    items: tuple[Playable, ...]

    def __post_init__(self) -> None:
        rates = sorted({item.sample_rate for item in self.items})
        if sum(item.n_samples for item in self.items) > MOST_SAMPLES:
            raise SignalError(f"a reel of more than {MOST_SAMPLES} samples is not played: make several")
        if len(rates) != 1:
            raise SignalError(f"a reel needs items of one sample rate, not {rates or 'none at all'}")

    @property
    def sample_rate(self) -> int:
        """Samples a second."""
        return self.items[0].sample_rate

    @cached_property
    def starts(self) -> tuple[int, ...]:
        """First sample of each item."""
        lengths = [item.n_samples for item in self.items]
        return tuple(int(start) for start in np.cumsum([0, *lengths[:-1]]))

    @property
    def n_samples(self) -> int:
        """Length in samples."""
        return sum(item.n_samples for item in self.items)

    def samples(self) -> npt.NDArray[np.float64]:
        """The whole reel as float64 `(n_samples,)`, digital full scale = 1."""
        return np.concatenate([item.samples() for item in self.items])

    def chirp_starts(self) -> tuple[int, ...]:
        """First sample of each clock chirp."""
        return tuple(s for s, item in zip(self.starts, self.items, strict=True) if isinstance(item, Chirp))

    def quiet_spans(self) -> tuple[tuple[int, int], ...]:
        """(first, end) samples of each stretch in which noise may be read."""
        spans = [
            (start + round(item.settle_s * self.sample_rate), start + item.n_samples)
            for start, item in zip(self.starts, self.items, strict=True)
            if isinstance(item, Silence)
        ]
        return tuple((first, end) for first, end in spans if end > first)

    def only_stimulus(self) -> tuple[int, Any]:
        """(first sample, stimulus) of a reel with a single stimulus. Raises SignalError when it has none or several."""
        found = [
            (start, item)
            for start, item in zip(self.starts, self.items, strict=True)
            if isinstance(item, tuple(KINDS.values()))
        ]
        if len(found) != 1:
            raise SignalError(f"this reel holds {len(found)} stimuli, where one was expected")
        return found[0]


def clock_chirp(drive_dbfs: float, sample_rate: int) -> Chirp:
    """The chirp that marks a moment: 0.5 to 12 kHz, or to 0.45 of a low sample rate."""
    return Chirp(drive_dbfs=drive_dbfs, high_hz=min(12000.0, 0.45 * sample_rate), sample_rate=sample_rate)


def framed(stimulus: Stimulus, *, chirp_drive_dbfs: float | None = None) -> Reel:
    """`stimulus` as it is always played: lead-in, chirp, silence, stimulus, silence, chirp, tail.

    The lead-in may be swallowed by a device that wakes; noise is read in the silences, 2 s before and 2 s after the
    stimulus, once what sounded before has died away.

    chirp_drive_dbfs   of the chirps; None: 10 dB below the stimulus
    """
    rate = stimulus.sample_rate
    if chirp_drive_dbfs is None:
        chirp_drive_dbfs = stimulus.drive_dbfs - CHIRP_BELOW_STIMULUS_DB
    chirp = clock_chirp(chirp_drive_dbfs, rate)

    def silence(seconds: float, settle_s: float) -> Silence:
        return Silence(seconds=seconds, settle_s=settle_s, sample_rate=rate)

    return Reel(
        (
            silence(0.5, 0.5),
            chirp,
            silence(2.75, 0.7),
            stimulus,
            silence(3.0, 0.95),
            chirp,
            silence(0.5, 0.5),
        )
    )
