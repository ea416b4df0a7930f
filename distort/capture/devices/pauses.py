"""Whether this computer slept or this program was stopped meanwhile: after that, nothing may sound by itself."""

import threading
import time
from collections.abc import Callable
from functools import cache

from distort import system
from distort.errors import PausedError

LONGEST_GAP_S = 0.5
"""How long nothing may look before that is a pause. Examining a recording of two minutes, on a machine with twice as
much to do as it has processors, held the thread that looks up by 0.05 s; nobody comes near in so short a time."""

BEAT_S = 0.1
"""How often that thread looks."""

LEAST_SLEEP_S = 0.1
"""Of the two clocks' difference: ten times the step of the coarser one (Windows counts in 0.016 s)."""

READINGS = 3
"""Two clocks are read one after the other; a thread that is held up between them sees a sleep too short."""


def suspended_s() -> float:
    """Seconds that this computer has slept since it was switched on: a clock that counts them less one that does not.

    0 where the system has no such pair. No clock that shows the time of day is read, so setting one is no sleep.
    """
    return max(system.clock_with_sleep_s() - system.clock_without_sleep_s() for _ in range(READINGS))


class PauseWatch:
    """Adds up how long nothing looked, and how long the computer slept. Any thread may look.

    clock    seconds that never step back and do not follow the time of day
    asleep   seconds that the computer has slept
    """

    def __init__(
        self, *, clock: Callable[[], float] = time.monotonic, asleep: Callable[[], float] = suspended_s
    ) -> None:
        self._clock, self._asleep = clock, asleep
        self._lock = threading.Lock()
        self._looked_at_s, self._asleep_s = clock(), asleep()
        self._paused_s = 0.0

    def paused_s(self) -> float:
        """Seconds of all pauses until now; what is shorter than `LONGEST_GAP_S` is none, but the least sleep is one."""
        with self._lock:
            gap_s, self._looked_at_s = self._clock() - self._looked_at_s, self._clock()
            slept_s = self._asleep() - self._asleep_s
            if slept_s > LEAST_SLEEP_S:
                self._asleep_s += slept_s
            else:
                slept_s = 0.0
            self._paused_s += max(gap_s if gap_s > LONGEST_GAP_S else 0.0, slept_s)
            return self._paused_s


@cache
def of_this_process() -> PauseWatch:
    """The watch that a thread of this process looks at ten times a second until the process ends."""
    watch = PauseWatch()

    def beat() -> None:
        while True:
            time.sleep(BEAT_S)
            watch.paused_s()

    threading.Thread(target=beat, name="pauses", daemon=True).start()
    return watch


def paused(seconds: float) -> PausedError:
    """What is raised after a pause of `seconds`."""
    return PausedError(
        f"the computer paused: it slept, this program was stopped or the sound card hung, for {seconds:.1f} s. Nothing "
        f"more is played: start again with the same command. What was recorded is kept, and the quiet sweep comes first"
    )
