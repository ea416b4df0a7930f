"""One run of a sound card: what its callback plays and hears, block by block, until it is done or told to stop."""

import threading
import time
from collections.abc import Callable

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
Block = npt.NDArray[np.float32]

FADE_S = 0.02
"""Length of the fade when playback is broken off: too short to wait for, too long to click."""


HOLD_S = 0.15
"""Silence played after that fade: what is still buffered when a stream is closed may never sound, and the fade must."""


class Run:
    """Playback of one channel and a recording of several, moved on by `step` in the device's own thread.

    playback   `(samples,)` float32, full scale 1
    lead_in    samples of silence before it, in which nothing is heard: a device that wakes swallows some, and a stream
               that begins hands over blocks that were never filled
    tail       samples that are heard on after it

    After `stop`, the playback fades out, and `done` is set once nothing more will sound.
    """

    def __init__(
        self, playback: npt.NDArray[np.float32], *, lead_in: int, tail: int, channels: int, sample_rate: int
    ) -> None:
        self._playback = np.concatenate([np.zeros(lead_in, np.float32), playback])
        sounding = np.flatnonzero(playback)
        self._first_sound = lead_in + int(sounding[0]) if sounding.size else lead_in
        self._lead_in = lead_in
        self._hold = round(HOLD_S * sample_rate)
        self._fade = round(FADE_S * sample_rate)
        self._heard = np.zeros((self._playback.size + tail, channels), np.float32)
        self._position = 0
        self._stop_asked = False
        self._fade_from: int | None = None
        self._stop_above: tuple[int, float] | None = None
        self._too_loud = False
        self._troubles: list[str] = []
        self.done = threading.Event()

    @property
    def position(self) -> int:
        """Samples done."""
        return self._position

    @property
    def length(self) -> int:
        """Samples of the whole run."""
        return len(self._heard)

    @property
    def troubles(self) -> tuple[str, ...]:
        """Each over- or underflow since the playback began to sound, in the words of the device library."""
        return tuple(self._troubles)

    @property
    def too_loud(self) -> bool:
        """It was stopped because a channel passed the peak that `stop_above` set."""
        return self._too_loud

    def stop(self) -> None:
        """Fade out and be done."""
        self._stop_asked = True

    def stop_above(self, channel: int, peak: float) -> None:
        """Stop as soon as a channel (counted from 0) is heard to pass a peak, full scale 1."""
        self._stop_above = channel, peak

    def step(self, heard: Block, played: Block, channel: int, trouble: str) -> None:
        """Take `heard` `(frames, channels)`, and fill column `channel` of `played` `(frames, channels)`.

        trouble   what the device says went wrong with this block, "" as a rule
        """
        first, end = self._position, self._position + len(played)
        if trouble and end > self._first_sound and not self.done.is_set():
            self._troubles.append(trouble)
        played.fill(0.0)
        there = self._playback[first:end]
        played[: len(there), channel] = there
        kept = self._heard[first:end]
        kept[:] = heard[: len(kept)]
        if self._stop_above is not None and end > self._lead_in and kept.size:
            listened, peak = self._stop_above
            if float(np.max(np.abs(kept[:, listened]))) > peak:
                self._too_loud = self._stop_asked = True
        self._fade_out(played, first)
        self._position = end
        if end >= self.length:
            self.done.set()

    def _fade_out(self, played: Block, first: int) -> None:
        if not self._stop_asked:
            return
        if self._fade_from is None:
            self._fade_from = first
        since = first - self._fade_from + np.arange(len(played))
        gain = 0.5 + 0.5 * np.cos(np.pi * np.minimum(since / self._fade, 1.0))
        played *= gain[:, np.newaxis].astype(np.float32)
        if since[-1] >= self._fade + self._hold:
            self.done.set()

    def heard(self, channel: int) -> FloatArray:
        """What channel `channel` (counted from 0) heard since the lead-in, `(samples,)`."""
        return np.asarray(self._heard[self._lead_in : self._position, channel], dtype=np.float64)

    def latest_peak(self, channel: int, samples: int) -> float:
        """Largest magnitude in the newest `samples` of a channel (counted from 0); 0 before there are any."""
        end = min(self._position, self.length)
        newest = self._heard[max(self._lead_in, end - samples) : end, channel]
        return float(np.max(np.abs(newest))) if newest.size else 0.0


class Watchdog:
    """Sees a callback that comes too late: the buffers ran out then, and some hosts raise no flag.

    longest_s   how long after the block before it, and a block's own length, a callback may come
    """

    def __init__(self, sample_rate: int, *, longest_s: float, clock: Callable[[], float] = time.monotonic) -> None:
        self._sample_rate = sample_rate
        self._longest_s = longest_s
        self._clock = clock
        self._last_s: float | None = None

    def late(self, frames: int) -> str:
        """What to say of the callback that begins now, with `frames` samples; "" when it is in time."""
        now_s = self._clock()
        gap_s = 0.0 if self._last_s is None else now_s - self._last_s
        self._last_s = now_s
        return "a block that came too late" if gap_s > self._longest_s + frames / self._sample_rate else ""
