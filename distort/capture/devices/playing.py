"""One run of a sound card: what its callback plays and hears, block by block, until it is done or told to stop."""

import threading
import time
from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from distort.capture.devices.guard import Guard, Listening
from distort.capture.devices.pauses import LONGEST_GAP_S, paused
from distort.errors import StoppedError

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
        self._listening: tuple[int, Listening] | None = None
        self._sample_rate = sample_rate
        self._stopped: StoppedError | None = None
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
    def sounded(self) -> bool:
        """The playback has begun to sound."""
        return self._position > self._first_sound

    @property
    def troubles(self) -> tuple[str, ...]:
        """Each over- or underflow since the playback began to sound, in the device library's words."""
        return tuple(self._troubles)

    @property
    def stopped(self) -> StoppedError | None:
        """Why it stopped by itself; None where it did not."""
        return self._stopped

    def stop(self) -> None:
        """Fade out and be done."""
        self._stop_asked = True

    def pause(self, seconds: float) -> None:
        """Fade out and be done, because everything stood still for `seconds`."""
        self._stop_for(paused(seconds))

    def guard(self, channel: int, guard: Guard) -> None:
        """Stop as soon as a channel (counted from 0) hears what `guard` does not allow."""
        length = self.length - self._lead_in
        self._listening = channel, Listening(guard, n_samples=length, sample_rate=self._sample_rate)

    def step(self, heard: Block, played: Block, channel: int, trouble: str) -> None:
        """Take `heard` `(frames, channels)`, and fill column `channel` of `played` `(frames, channels)`.

        trouble   what the device says went wrong with this block, "" as a rule
        """
        first, end = self._position, self._position + len(played)
        if trouble and end > self._first_sound and not self.done.is_set():
            self._troubles.append(trouble)
        played.fill(0.0)
        there = self._sent(first, end)
        played[: len(there), channel] = there
        self._listen(self._kept(heard, first), first)
        self._fade_out(played, first)
        self._position = end
        if end >= self.length:
            self.done.set()

    def _sent(self, first: int, end: int) -> Block:
        """What is to be played of these samples, lead-in included: fewer at the end."""
        return self._playback[first:end]

    def _kept(self, heard: Block, first: int) -> Block:
        """What belongs to the recording of `heard`, which begins at sample `first`; it is kept."""
        kept = self._heard[first : first + len(heard)]
        kept[:] = heard[: len(kept)]
        return kept

    def _listen(self, kept: Block, first: int) -> None:
        if self._listening is None or self._stop_asked:
            return
        channel, listening = self._listening
        before = max(self._lead_in - first, 0)
        if kept[:before].size:
            listening.settle(kept[:before, channel])
        if trouble := listening.hear(kept[before:, channel]):
            self._stop_for(trouble)

    def _stop_for(self, why: StoppedError) -> None:
        self._stopped, self._stop_asked = self._stopped or why, True

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
    paused_s    seconds that computer and program have stood still since they started (`pauses.PauseWatch`)
    """

    def __init__(
        self,
        sample_rate: int,
        *,
        longest_s: float,
        paused_s: Callable[[], float] = lambda: 0.0,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._sample_rate = sample_rate
        self._longest_s = longest_s
        self._clock, self._paused_s = clock, paused_s
        self._last_s: float | None = None
        self._last_paused_s = paused_s()  # a pause while the stream opens counts, too

    def late(self, frames: int, *, sounding: bool = True) -> tuple[str, float]:
        """What to say of the callback that begins now with `frames` samples, "" when it is in time; and the seconds of
        a pause before it, 0 where there was none.

        sounding   False before the playback has begun to sound: a stream that opens may take a second over its first
                   blocks, which is no pause unless the computer slept or the program was stopped
        """
        now_s, paused_s = self._clock(), self._paused_s()
        late_s = 0.0 if self._last_s is None else now_s - self._last_s - frames / self._sample_rate
        hung_s = late_s if sounding and late_s > LONGEST_GAP_S else 0.0
        pause_s = max(hung_s, paused_s - self._last_paused_s)
        self._last_s, self._last_paused_s = now_s, paused_s
        return "a block that came too late" if late_s > self._longest_s else "", pause_s
