"""Plays a burst series, recording by recording; each is judged before the next."""

from dataclasses import dataclass

from distort.analysis.burst_series.steps import Band
from distort.capture.bursts.duration import fits
from distort.capture.bursts.replaceable import require_replaceable
from distort.capture.bursts.so_far import so_far
from distort.capture.bursts.starting import BurstsReady, as_step
from distort.capture.devices.device import Device
from distort.capture.measuring.playing import Progress, record_step
from distort.session.files.folder import SessionFolder
from distort.session.plan.keys import Plan
from distort.session.recordings.stored import Recording, load_recordings


@dataclass(frozen=True, kw_only=True)
class BurstsPlayed:
    """What was recorded now."""

    recordings: tuple[Recording, ...]
    bands: tuple[Band, ...]
    """How far each has come."""
    out_of_time: bool
    """Recordings had to be repeated, so that the series ended before its bands did."""


def play_bursts(
    folder: SessionFolder, plan: Plan, device: Device, ready: BurstsReady, *, progress: Progress
) -> BurstsPlayed:
    """Record step by step until every band has ended, resting after each as long as its energy asks for.

    Raises RecordingError when a take is no good twice, TooLoudError when a burst is over 3 dB louder than the quiet run
    foretold, DeafError and PausedError as `play` does, AnalysisError when a recording cannot be judged, SessionError
    where a file for a player would be replaced that may have been played. What was recorded until then is kept.
    """
    plan = plan.of(ready.ready.choice.condition)
    most, state = ready.most, ready.state
    recorded: list[Recording] = []
    if ready.ready.quiet is None or most is None:
        return BurstsPlayed(recordings=(), bands=state.bands, out_of_time=False)
    condition, began, rest_s = ready.ready.choice.condition, device.now(), 0.0
    while (step := state.next()) is not None:
        elapsed_s = (device.now() - began).total_seconds()
        if not fits(ready.series, step, rest_s=rest_s, elapsed_s=elapsed_s, most_s=most.seconds):
            return BurstsPlayed(recordings=tuple(recorded), bands=state.bands, out_of_time=True)
        asked = as_step(folder, ready.series, step, condition=condition, rest_s=rest_s)
        require_replaceable(folder, asked.item, otherwise="move it away, and its .json with it")
        progress(f"recording {condition}/{asked.name.stem}", len(recorded), max(most.recordings, len(recorded) + 1))
        if recorded:
            device.rest(rest_s)
        rested_s = rest_s if recorded else None
        rest_s = ready.series.rest_after_s(step)
        recording, _ = record_step(
            folder,
            plan,
            device,
            asked,
            ready=ready.ready,
            lower={},
            rested_s=rested_s,
            rest_after_s=rest_s,
            repositioned=False,
        )
        recorded.append(recording)
        levels = ready.reader.levels(load_recordings(folder, condition))
        state = so_far(levels, ready.bands, plan)
    return BurstsPlayed(recordings=tuple(recorded), bands=state.bands, out_of_time=False)
