"""When the recordings of a condition were made and how long the loudspeaker rested between them, all by one clock.

Recordings that this program made carry the computer's time. Files from a recorder carry that recorder's, whose clock
has no zone and may be set to anything: its differences hold, its distance from the computer's clock is not known. So
the recorder's clock counts where every recording of the condition has its time, and the computer's where one has not,
by which a recording that was brought in is as old as its file in the session.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise

from distort.session.recordings.stored import Recording

REST_BEFORE_DRIFT_S = 60.0
"""A voice coil cools in seconds to some tens of seconds; after a minute it is the rest of the chain that differs."""

WHOLE_SECOND_S = 1.0
"""Recorders write their time in whole seconds, so a difference of two is known to within one."""


@dataclass(frozen=True, kw_only=True)
class ConditionClock:
    """The clock that holds for all of `recordings`."""

    recordings: tuple[Recording, ...]
    by_recorder: bool

    def began_s(self, recording: Recording) -> float:
        """When `recording`, by the recorder's clock what was played in it, began: seconds from a fixed origin."""
        return _played_s(recording)[0] if self.by_recorder else recorded_at_s(recording)

    def rest_s(self, recording: Recording) -> float | None:
        """How long the loudspeaker rested before `recording`, seconds; None where nobody knows.

        As its sidecar says; by the recorder's clock, since the end of what any of the recordings played before, to the
        second, as which it is known.
        """
        stated_s = recording.sidecar.rest_s
        if stated_s is not None or not self.by_recorder:
            return stated_s
        began_s = _played_s(recording)[0]
        spans = (_played_s(one) for one in self.recordings)
        ended_s = [end_s for first_s, end_s in spans if first_s < began_s]
        return float(max(round(began_s - max(ended_s)), 0)) if ended_s else None

    def repeats_of(self, reference: Recording) -> list[Recording]:
        """What `reference` plays, again after the level series, in the order of recording; rejected ones are not among
        them. A reference that was recorded anew is not repeated by what was played before it."""
        played, began_s = replace(reference.sidecar.name, take=1, after=True), self.began_s(reference)
        found = [
            one
            for one in self.recordings
            if one.sidecar.rejected is None
            and replace(one.sidecar.name, take=1) == played
            and self.began_s(one) >= began_s
        ]
        return sorted(found, key=self.began_s)


def clock_of(recordings: Sequence[Recording]) -> ConditionClock:
    """The recorder's clock, if each of the recordings has its time and none began while another played; the computer's.

    All recordings of a condition must be among them, rejected ones too: each has heated the loudspeaker.
    """
    originals = [one.sidecar.original for one in recordings]
    dated = [one for one in originals if one is not None and one.began is not None]
    same = bool(dated) and len(dated) == len(originals) and len({one.clock for one in dated}) == 1
    by_recorder = same and _one_after_another([_played_s(one) for one in recordings])
    return ConditionClock(recordings=tuple(recordings), by_recorder=by_recorder)


def recorded_at_s(recording: Recording) -> float:
    """When it began, or was brought in, by the computer's clock: seconds from a fixed origin."""
    return datetime.fromisoformat(recording.sidecar.date).timestamp()


def _one_after_another(spans: Sequence[tuple[float, float]]) -> bool:
    """Two that overlap were not written by one clock, or by one that was set in between, or show the time of a copy."""
    return all(end_s <= next_s + WHOLE_SECOND_S for (_, end_s), (next_s, _) in pairwise(sorted(spans)))


def _played_s(recording: Recording) -> tuple[float, float]:
    """Beginning and end of what was played, by the recorder's clock. Its time is that of the file's first sample."""
    sidecar = recording.sidecar
    assert sidecar.original is not None
    in_file_s = sidecar.stimulus_start_sample / sidecar.sample_rate
    before_s = sidecar.reel.only_stimulus()[0] / sidecar.reel.sample_rate
    began_s = sidecar.original.began_s + in_file_s - before_s
    return began_s, began_s + sidecar.reel.n_samples / sidecar.reel.sample_rate
