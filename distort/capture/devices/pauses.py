"""Whether this computer slept or this program was stopped meanwhile: after that, nothing may sound by itself."""

import sys
import threading
import time
from collections.abc import Callable
from functools import cache

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
    return max(_counting_s() - _not_counting_s() for _ in range(READINGS))


def _counting_s() -> float:
    if sys.platform == "win32":
        import ctypes

        ctypes.windll.kernel32.GetTickCount64.restype = ctypes.c_uint64
        return float(ctypes.windll.kernel32.GetTickCount64()) * 1e-3
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    if boot is None and sys.platform == "darwin":
        boot = time.CLOCK_MONOTONIC  # there it goes on while the machine sleeps
    return time.monotonic() if boot is None else time.clock_gettime(boot)


def _not_counting_s() -> float:
    if sys.platform == "win32":
        import ctypes

        passed = ctypes.c_uint64()
        ctypes.windll.kernel32.QueryUnbiasedInterruptTime(ctypes.byref(passed))
        return passed.value * 1e-7
    awake = getattr(time, "CLOCK_UPTIME_RAW", None) if sys.platform == "darwin" else None
    if awake is None and hasattr(time, "CLOCK_BOOTTIME"):
        awake = time.CLOCK_MONOTONIC
    return time.monotonic() if awake is None else time.clock_gettime(awake)


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
