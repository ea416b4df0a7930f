"""Playing for minutes: what is played is asked for piece by piece, what is heard handed on piece by piece."""

from collections import deque
from collections.abc import Callable
from typing import Protocol

import numpy as np
import numpy.typing as npt

from distort.capture.devices.device import Device
from distort.capture.devices.guard import Guard
from distort.capture.devices.playing import Block, Run

FloatArray = npt.NDArray[np.float64]

Hear = Callable[[FloatArray], None]
"""Given each piece of the recording, `(samples,)`, full scale 1, in their order."""


class LongPlayback(Protocol):
    """What is played, full scale 1. Its end may be moved while it plays, but nothing that has been asked for."""

    @property
    def n_samples(self) -> int:
        """Length as it stands."""
        ...

    @property
    def first_sound(self) -> int:
        """Its first sample that is not zero."""
        ...

    def part(self, first: int, end: int) -> FloatArray:
        """Samples from `first` to before `end`; zeros outside."""
        ...


class LongDevice(Device, Protocol):
    """A device that can play for minutes."""

    def play_long(self, playback: LongPlayback, *, sample_rate: int, hear: Hear, guard: Guard | None = None) -> None:
        """Play `playback` to its end and give `hear` what the microphone hears, from its first sample on.

        What `hear` raises fades the sound out and is raised; so does Ctrl-C. `hear` has been given all that was heard
        whole when this returns or raises. Raises as `play_and_record`; at the first samples that are lost it ends.
        """
        ...


class LongRun(Run):
    """A run that holds nothing of what it plays and hears: `pieces` are taken from it as they come.

    column   of the input that is kept, counted from 0
    """

    def __init__(
        self, playback: LongPlayback, *, lead_in: int, tail: int, channels: int, column: int, sample_rate: int
    ) -> None:
        super().__init__(
            np.zeros(0, np.float32), lead_in=lead_in, tail=tail, channels=channels, sample_rate=sample_rate
        )
        self._source, self._tail, self._column = playback, tail, column
        self._first_sound = lead_in + playback.first_sound
        self._pieces: deque[Block] = deque()
        self._latest: Block = np.zeros(1, np.float32)

    @property
    def length(self) -> int:
        """Samples of the whole run, as it stands."""
        return self._lead_in + self._source.n_samples + self._tail

    def step(self, heard: Block, played: Block, channel: int, trouble: str) -> None:
        """As that of any run; where samples were lost it fades out, and what is heard from then on is not handed on."""
        super().step(heard, played, channel, trouble)
        if self._troubles:
            self.stop()

    def _sent(self, first: int, end: int) -> Block:
        stop = min(end, self._lead_in + self._source.n_samples)
        return self._source.part(first - self._lead_in, max(stop, first) - self._lead_in).astype(np.float32)

    def _kept(self, heard: Block, first: int) -> Block:
        kept = heard[: max(self.length - first, 0)]
        before = max(self._lead_in - first, 0)
        own = np.array(kept[before:, self._column])
        if own.size and not self._troubles:
            self._pieces.append(own)
            self._latest = own
        return kept

    def pieces(self, hear: Hear) -> None:
        """Hand on what has been heard since."""
        while self._pieces:
            hear(self._pieces.popleft().astype(np.float64))

    def latest_peak(self, channel: int, samples: int) -> float:
        """Largest magnitude of the newest piece that is kept."""
        return float(np.max(np.abs(self._latest)))


class Followed:
    """Hands on what a long run hears whenever its stream is looked at; what goes wrong there fades the sound out."""

    def __init__(self, run: LongRun, hear: Hear, watch: Callable[[float, float], None] | None) -> None:
        self._run, self._hear, self._watch = run, hear, watch
        self.failed: Exception | None = None

    def __call__(self, share: float, peak_dbfs: float) -> None:
        """What a stream tells a watch."""
        self.hand_on()
        if self._watch is not None:
            self._watch(share, peak_dbfs)

    def hand_on(self) -> None:
        """All that was heard until now."""
        if self.failed is not None:
            return
        try:
            self._run.pieces(self._hear)
        except Exception as error:  # noqa: BLE001 - raised once it is silent: the sound must fade out first
            self.failed = error
            self._run.stop()
