"""The level meter: what is being done, how far, and how loud the microphone's channel, in the line of the bar."""

from collections.abc import Callable


class Meter:
    """Puts what is being done and the newest input level into one line of the progress bar."""

    def __init__(self) -> None:
        self.moved: Callable[[str, int, int], None] = lambda what, done, total: None
        self._step = ("", 0, 1)

    def progress(self, what: str, done: int, total: int) -> None:
        """A new step has begun."""
        self._step = (what, done, total)
        self.moved(what, done, total)

    def watch(self, share: float, peak_dbfs: float) -> None:
        """How far the step is, 0 to 1, and how loud the microphone's channel."""
        what, done, total = self._step
        self.moved(f"{what}, {100.0 * share:.0f} %, input peak {max(peak_dbfs, -144.0):.0f} dBFS", done, total)
