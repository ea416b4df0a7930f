"""An ordered list of stimuli, silences and clock chirps that plays as one file."""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from signals.checks import (
    MOST_SAMPLES,
    require_below_nyquist,
    require_finite,
    require_length,
    require_positive,
    require_sample_rate,
    require_within_full_scale,
)
from signals.errors import SignalError
from signals.levels import db_to_amplitude
from signals.stimulus import KINDS, Playable, Stimulus
from signals.tapers import rise


@dataclass(frozen=True, kw_only=True)
class Silence:
    """Nothing for `seconds`; noise may be read in it from `settle_s` on, when what came before has died away.

    Raises SignalError when the length is not above zero.
    """

    seconds: float
    settle_s: float = 0.0
    sample_rate: int = 48000

    def __post_init__(self) -> None:
        require_positive(seconds=self.seconds)
        require_sample_rate(self.sample_rate)
        require_finite(settle_s=self.settle_s)
        require_length(self.seconds * self.sample_rate)

    @property
    def n_samples(self) -> int:
        """Length in samples."""
        return round(self.seconds * self.sample_rate)

    def samples(self) -> npt.NDArray[np.float64]:
        """Zeros, float64 `(n_samples,)`."""
        return np.zeros(self.n_samples)


FloatArray = npt.NDArray[np.float64]

FADE_SHARE = 0.1
"""Share of the chirp's length that either fade takes."""


@dataclass(frozen=True, kw_only=True)
class Chirp:
    """A linear sweep from `low_hz` to `high_hz` in `seconds`, faded at both ends.

    Two of them, one before and one after the stimulus, tell by how much the recorder's clock differs from the player's.
    Raises SignalError when the fields do not make a chirp.
    """

    low_hz: float = 500.0
    high_hz: float = 12000.0
    seconds: float = 0.1
    sample_rate: int = 48000
    drive_dbfs: float = -20.0

    def __post_init__(self) -> None:
        require_positive(low_hz=self.low_hz, high_hz=self.high_hz, seconds=self.seconds)
        require_sample_rate(self.sample_rate)
        require_length(self.seconds * self.sample_rate)
        require_within_full_scale(self.drive_dbfs)
        require_below_nyquist(self.high_hz, self.sample_rate, "high_hz")

    @property
    def n_samples(self) -> int:
        """Length in samples."""
        return round(self.seconds * self.sample_rate)

    def samples(self) -> FloatArray:
        """The chirp as float64 `(n_samples,)`, digital full scale = 1."""
        share = np.arange(self.n_samples) / self.n_samples
        turns = self.seconds * (self.low_hz * share + 0.5 * (self.high_hz - self.low_hz) * share**2)
        fades = rise(share / FADE_SHARE) * rise((1.0 - share) / FADE_SHARE)
        return np.asarray(db_to_amplitude(self.drive_dbfs) * fades * np.sin(2.0 * np.pi * turns))


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

    def chirps(self) -> tuple[tuple[int, Chirp], ...]:
        """(first sample, chirp) of each clock chirp."""
        return tuple(
            (start, item) for start, item in zip(self.starts, self.items, strict=True) if isinstance(item, Chirp)
        )

    def chirp_starts(self) -> tuple[int, ...]:
        """First sample of each clock chirp."""
        return tuple(start for start, _ in self.chirps())

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
