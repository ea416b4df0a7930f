"""What sounded at a time while the sweeps of a condition were recorded, and which results it touches."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from distort.analysis.sweep.events import Overheard, Sound, not_of_the_loudspeaker
from distort.analysis.sweep.sweeps import Settings
from distort.analysis.sweep.touched import EventInTime, Touched, events_in_time
from distort.assembly.condition.levels import LevelsRead
from distort.errors import AnalysisError, RecordingError, SessionError
from distort.recording.reading import SweepLevel, read_sweep_takes
from distort.recording.takes import settings_of
from distort.session.calibration.in_force import reference_of
from distort.session.files.folder import SessionFolder
from distort.session.plan.keys import Plan
from distort.session.plan.kinds import SWEEP, SWEEPS
from distort.session.recordings.stored import Recording, load_recordings
from distort.session.results.events_found import EventFound

SAME_DB = 0.05
"""Levels nearer to one another are one level: plans state tenths of a decibel."""


@dataclass(frozen=True)
class Listened:
    """A recording and what it holds apart from its sweep."""

    recording: Recording
    heard: Overheard

    @property
    def level_db(self) -> float:
        """How loud it was played, volume included."""
        return self.recording.sidecar.level_db_spl + (self.recording.sidecar.turned_db or 0.0)


def events_of(read: LevelsRead) -> tuple[EventFound, ...]:
    """The events in all sweeps that were analysed, by level and take."""
    levels = [one for one in read.levels if isinstance(one, SweepLevel)]
    listened = [
        Listened(take, heard) for one in levels for take, heard in zip(one.takes, one.read.overheard, strict=True)
    ]
    found = []
    for level in levels:
        for one in (each for each in listened if any(each.recording is take for take in level.takes)):
            sounds = foreign_sounds(one, listened)
            touching = level.read.readings if level.name == SWEEP and not level.again else ()
            events = events_in_time(one.heard, sounds, touching, takes=len(level.takes))
            found += [_found(one.recording, event) for event in events]
    return tuple(found)


def foreign_sounds(one: Listened, listened: Iterable[Listened]) -> tuple[Sound, ...]:
    """What sounded in a recording that the loudspeaker did not make, by all that was recorded of the condition."""
    beside = [other.heard.plane for other in listened if other is not one and other.level_db > one.level_db - SAME_DB]
    return not_of_the_loudspeaker(one.heard, beside)


def events_among(
    recordings: Sequence[Recording], plan: Plan, *, only: Recording | None = None
) -> dict[str, tuple[EventFound, ...]]:
    """The events in each sweep among the recordings of one condition that is not rejected, by the name of its file; in
    one `only`, if given. Raises as `prepare` and `read_sweep_takes` do."""
    sweeps = [one for one in recordings if one.sidecar.rejected is None and one.sidecar.stimulus_name in SWEEPS]
    one_order = replace(Settings(), orders=1)
    listened = [Listened(one, read_sweep_takes([one], one_order).overheard[0]) for one in sweeps]
    found = {}
    for one in listened:
        if only is not None and one.recording.sidecar.name != only.sidecar.name:
            continue
        if sounds := foreign_sounds(one, listened):
            events = _with_what_they_touch(one, sounds, plan)
            found[one.recording.sidecar.name.stem] = tuple(_found(one.recording, event) for event in events)
    return found


def events_in_session(
    folder: SessionFolder, plan: Plan, *, condition: str | None = None
) -> list[tuple[Recording, EventFound]]:
    """The events of all conditions, or of one, each with its recording. A condition of which a recording is damaged
    is left out: what is wrong there is said elsewhere. Raises as `load_recordings` does."""
    found = []
    for name in folder.conditions_recorded():
        if condition not in (None, name):
            continue
        recordings = load_recordings(folder, name)
        try:
            of_each = events_among(recordings, plan)
        except (SessionError, RecordingError, AnalysisError):
            continue
        found += [(one, event) for one in recordings for event in of_each.get(one.sidecar.name.stem, ())]
    return found


def _with_what_they_touch(one: Listened, sounds: Sequence[Sound], plan: Plan) -> tuple[EventInTime, ...]:
    sidecar = one.recording.sidecar
    if sidecar.stimulus_name != SWEEP or sidecar.after:
        return events_in_time(one.heard, sounds, ())
    read = read_sweep_takes([one.recording], settings_of(plan, None))
    return events_in_time(one.heard, sounds, read.readings)


def touched_at(events: Iterable[EventFound], level_db_spl: float) -> tuple[Touched, ...]:
    """What the events touch of the curves of one nominal level."""
    return tuple(touched for one in events if one.level_db_spl == level_db_spl for touched in one.event.touched)


def _found(recording: Recording, event: EventInTime) -> EventFound:
    """The event with what is known of the recording."""
    at_microphone = reference_of(recording.sidecar.calibration, distance_m=1.0)
    return EventFound(
        file=recording.files.in_session,
        level_db_spl=recording.sidecar.level_db_spl,
        loudest_db_spl=event.level_dbfs + at_microphone.offset_db if at_microphone.unit == "db_spl" else None,
        event=event,
    )
