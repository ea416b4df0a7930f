"""What a microphone may hear while something is played, and what it must: followed block by block."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.errors import DeafError, StoppedError, TooLoudError
from signals.levels import amplitude_to_db

FloatArray = npt.NDArray[np.float64]

FULL_SCALE = 0.999
"""Beyond it an input is clipped, and nobody knows how loud it is."""

OFFSET_CUTOFF_HZ = 2.0
"""A first-order high-pass takes the input's offset off: it has forgotten an offset to 0.2 % after the lead-in of 0.5 s,
and takes 0.17 dB from a tone of 10 Hz, `-10 log10(1 + (2/10)^2)`, the lowest that is played."""


@dataclass(frozen=True, kw_only=True)
class Expected:
    """Between two samples of the recording the microphone must hear some peak; its sample 0 is heard as that of the
    playback is sent."""

    first: int
    end: int
    lowest: float
    """That peak, full scale 1, the input's offset taken off."""


@dataclass(frozen=True, kw_only=True)
class Guard:
    """When the sound is stopped."""

    highest: float
    """Peak above which it is, full scale 1, the input's offset taken off; full scale itself always stops it."""
    expected: tuple[Expected, ...] = ()
    """Peaks below which it is, by the end of their stretch."""


class Listening:
    """Holds what a microphone hears against a guard.

    n_samples   length of the whole recording
    """

    def __init__(self, guard: Guard, *, n_samples: int, sample_rate: int) -> None:
        self._guard = guard
        self._waiting = sorted(guard.expected, key=lambda one: -one.end)  # the earliest last
        held = min(n_samples, max((one.end for one in guard.expected), default=0))  # half an hour would fill memory
        self._size = np.zeros(max(held, 0), np.float32)
        self._position = 0
        self._sample_rate = sample_rate
        pole = np.exp(-2.0 * np.pi * OFFSET_CUTOFF_HZ / sample_rate)
        self._filter = np.array([1.0, -1.0]) * (1.0 + pole) / 2.0, np.array([1.0, -pole])
        self._state: FloatArray | None = None

    def settle(self, heard: npt.NDArray[np.float32]) -> None:
        """Learn the input's offset from `(samples,)` that were heard before the recording begins."""
        self._without_offset(heard)

    def hear(self, heard: npt.NDArray[np.float32]) -> StoppedError | None:
        """Why the sound must stop, now that the next `(samples,)` of the recording were heard; None: it may go on."""
        if heard.size == 0:
            return None
        size = np.abs(self._without_offset(heard))
        end = self._position + heard.size
        kept = self._size[self._position : end]
        kept[:] = size[: kept.size]
        self._position = end
        peak, raw = float(np.max(size)), float(np.max(np.abs(heard)))
        if not np.isfinite(raw):  # compared with a limit, it would pass
            return TooLoudError(
                "the input delivered values that are no numbers, so nobody knows how loud it was, and the sound was "
                "stopped: look at the sound card's driver"
            )
        if raw > FULL_SCALE or peak > self._guard.highest:
            limit_dbfs = float(amplitude_to_db(min(self._guard.highest, FULL_SCALE)))
            return TooLoudError(
                f"the microphone heard a peak above {limit_dbfs:.1f} dBFS, more than this can be, so the sound was "
                f"stopped"
            )
        return self._deaf()

    def _deaf(self) -> DeafError | None:
        while self._waiting and self._waiting[-1].end <= self._position:
            one = self._waiting.pop()
            stretch = self._size[max(one.first, 0) : max(one.end, 0)]
            if stretch.size and float(np.max(stretch)) < one.lowest:
                return DeafError(
                    f"{one.end / self._sample_rate:.1f} s after the start the microphone heard nothing of what was "
                    f"played: no peak above {float(amplitude_to_db(np.max(stretch))):.0f} dBFS, where even a "
                    f"loudspeaker that limits gives {float(amplitude_to_db(one.lowest)):.0f}. The sound was stopped, "
                    f"because a deaf microphone hears nothing that is too loud"
                )
        return None

    def _without_offset(self, heard: npt.NDArray[np.float32]) -> FloatArray:
        numerator, denominator = self._filter
        samples = heard.astype(np.float64)
        if self._state is None:  # settled to the first block's mean, so that an offset is no step
            self._state = -numerator[:1] * np.mean(samples)
        filtered, self._state = scipy.signal.lfilter(numerator, denominator, samples, zi=self._state)
        return np.asarray(filtered)


def require_allowed(recording: FloatArray, guard: Guard | None, *, sample_rate: int) -> None:
    """Raises what `guard` stops `recording` `(samples,)` for, on a device that plays in no real time."""
    if guard is None:
        return
    trouble = Listening(guard, n_samples=recording.size, sample_rate=sample_rate).hear(recording.astype(np.float32))
    if trouble is not None:
        raise trouble
