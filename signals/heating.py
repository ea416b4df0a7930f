"""Long heating: a multitone that repeats for minutes, with the same multitone played quietly before it and after it.

The quiet stretches are pilots. They heat a hundredth of what the loud multitone does, so the first tells how loud the
cold loudspeaker is, and those after the end tell how it recovers.
"""

from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from signals.checks import require_finite, require_length, require_positive
from signals.errors import SignalError
from signals.levels import db_to_amplitude
from signals.multitone import FADE_IN_S, FADE_OUT_S, Multitone
from signals.tapers import rise

FloatArray = npt.NDArray[np.float64]

PILOT_SETTLING, PILOT_PERIODS = 1, 2
"""Periods of a pilot that are not read, in which the room forgets what sounded before, and that are."""

PAUSE_S = 2.0
"""Between the first pilot and the loud multitone: the pilot is found and judged before it is loud."""

LEAST_PERIODS = 8
"""Of the loud multitone: fewer show no course. The first is not read either, as the room fills in it."""

_TONE: dict[str, Any] = {"settling_periods": 0, "periods": 1}
"""Fields of the tone that mean nothing here: how often it repeats is said by `loud_periods`."""


@dataclass(frozen=True, kw_only=True)
class Heating:
    """A pilot, the loud multitone without a break, and pilots after it; silence between those.

    tone            one period of what is played loud; its own number of periods is not used
    loud_periods    how often it is played
    asked_periods   how often it was to be: more, where playing ended before
    pilot_below_db  how far the drive of the pilots lies below
    pilots_after_s  when each pilot after it begins, seconds from the end of the last loud period, rising; the first
                    at 0, so that nothing breaks off; none where playing was broken off

    Raises SignalError when the fields do not fit together.
    """

    tone: Multitone = field(default_factory=lambda: Multitone(**_TONE))
    loud_periods: int = 300
    asked_periods: int = 300
    pilot_below_db: float = 20.0
    pilots_after_s: tuple[float, ...] = (0.0, 15.0, 40.0, 90.0, 180.0)

    def __post_init__(self) -> None:
        if isinstance(self.tone, dict):  # as it comes out of JSON
            object.__setattr__(self, "tone", Multitone(**self.tone))
        object.__setattr__(self, "tone", replace(self.tone, **_TONE))
        object.__setattr__(self, "pilots_after_s", tuple(self.pilots_after_s))
        for name in ("loud_periods", "asked_periods"):
            value = getattr(self, name)
            if not isinstance(value, int) or value < LEAST_PERIODS:
                raise SignalError(f"{name} must be a whole number, at least {LEAST_PERIODS}, not {value!r:.80}")
        if self.loud_periods > self.asked_periods:
            raise SignalError(f"{self.loud_periods} periods were played, more than the {self.asked_periods} asked for")
        require_positive(pilot_below_db=self.pilot_below_db)
        for after_s in self.pilots_after_s:
            require_finite(pilots_after_s=after_s)
        ends_s = (0.0, *(after_s + self.pilot.n_samples / self.sample_rate for after_s in self.pilots_after_s))
        if any(after_s < end_s for after_s, end_s in zip(self.pilots_after_s, ends_s, strict=False)):
            raise SignalError("each of pilots_after_s must lie after the end of the pilot before it")
        require_length(self.n_samples)

    @cached_property
    def pilot(self) -> Multitone:
        """One pilot."""
        quiet_dbfs = self.tone.drive_dbfs - self.pilot_below_db
        return replace(self.tone, drive_dbfs=quiet_dbfs, settling_periods=PILOT_SETTLING, periods=PILOT_PERIODS)

    @property
    def sample_rate(self) -> int:
        """Samples a second."""
        return self.tone.sample_rate

    @property
    def drive_dbfs(self) -> float:
        """r.m.s. of the loud multitone (AES17)."""
        return self.tone.drive_dbfs

    @property
    def highest_hz(self) -> float:
        """Of the highest line."""
        return self.tone.highest_hz

    @property
    def loud_start(self) -> int:
        """Sample at which the loud multitone begins, a pause after the first pilot."""
        return self.pilot.n_samples + round(PAUSE_S * self.sample_rate)

    @property
    def loud_end(self) -> int:
        """Sample at which its last period has ended."""
        return self.loud_start + self.loud_periods * self.tone.period_samples

    @property
    def pilot_starts(self) -> tuple[int, ...]:
        """Samples at which the pilots after it begin."""
        return tuple(self.loud_end + round(after_s * self.sample_rate) for after_s in self.pilots_after_s)

    @property
    def n_samples(self) -> int:
        """Length in samples."""
        ends = [start + self.pilot.n_samples for start in self.pilot_starts]
        return max(ends, default=self.loud_end + self._fade_out.size)

    @property
    def loud_s(self) -> float:
        """How long the loud multitone sounds."""
        return self.loud_periods * self.tone.period_s

    def ended_after(self, periods: int, *, pilots: int) -> "Heating":
        """What was really played where the loud multitone ended after `periods`, with the first `pilots` after it."""
        return replace(self, loud_periods=periods, pilots_after_s=self.pilots_after_s[:pilots])

    def samples(self) -> FloatArray:
        """All of it, float64 `(n_samples,)`, digital full scale = 1: some hundred megabytes. `part` gives a stretch."""
        return self.part(0, self.n_samples)

    def part(self, first: int, end: int) -> FloatArray:
        """Samples from `first` to before `end`, `(end - first,)`; zeros outside."""
        found = np.zeros(end - first)
        _add(found, first, 0, self._pilot_samples)
        begin, stop = max(first, self.loud_start), min(end, self.loud_end)
        if stop > begin:
            at = np.arange(begin - self.loud_start, stop - self.loud_start)
            found[begin - first : stop - first] += np.take(self._period, at, mode="wrap")
        _add(found, first, self.loud_start, self._fade_in)
        _add(found, first, self.loud_end, self._fade_out)
        for pilot in self.pilot_starts:
            _add(found, first, pilot, self._pilot_samples)
        return found

    @cached_property
    def _period(self) -> FloatArray:
        return self.tone.period()

    @cached_property
    def _pilot_samples(self) -> FloatArray:
        return self.pilot.samples()

    @cached_property
    def _fade_in(self) -> FloatArray:
        """What the fade takes from the beginning of the first period."""
        fade = round(FADE_IN_S * self.sample_rate)
        return np.asarray(self._period[:fade] * (rise(np.arange(fade) / fade) - 1.0))

    @cached_property
    def _fade_out(self) -> FloatArray:
        """After the last period: with the pilot that sets in at the same time it comes to no more than the fade."""
        fade = round(FADE_OUT_S * self.sample_rate)
        gain = rise(np.arange(fade, 0, -1) / fade)
        if self.pilots_after_s and self.pilots_after_s[0] == 0.0:
            sets_in = rise(np.minimum(np.arange(fade) / round(FADE_IN_S * self.sample_rate), 1.0))
            gain = np.maximum(gain - sets_in * db_to_amplitude(-self.pilot_below_db), 0.0)
        return np.asarray(np.resize(self._period, fade) * gain)


def _add(found: FloatArray, first: int, start: int, what: FloatArray) -> None:
    """Add `what`, which begins at sample `start`, to `found`, which begins at `first`."""
    begin, stop = max(first, start), min(first + found.size, start + what.size)
    if stop > begin:
        found[begin - first : stop - first] += what[begin - start : stop - start]
