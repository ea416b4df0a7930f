"""What the sweeps of a condition hold that the loudspeaker did not make, and which results it touches."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from distort.analysis.sweep.events import Overheard, Sound, not_of_the_loudspeaker
from distort.analysis.sweep.images import touched_by
from distort.analysis.sweep.sweeps import Settings
from distort.analysis.sweep.touched import EventInTime, events_in_time
from distort.assembly.condition.levels import LevelsRead
from distort.errors import AnalysisError, RecordingError, SessionError
from distort.recording.reading import SweepLevel, read_sweep_level, read_sweep_takes
from distort.recording.takes import settings_of
from distort.session.calibration.in_force import reference_of
from distort.session.files.folder import SessionFolder
from distort.session.plan.keys import Plan
from distort.session.plan.kinds import SWEEP, SWEEPS
from distort.session.recordings.stored import Recording, load_recordings
from distort.session.results.foreign_found import EventFound, Foreign, ImageFound, LevelTouched

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
        return self.recording.sidecar.as_played_db_spl


def foreign_of(read: LevelsRead) -> Foreign:
    """What is in the sweeps that were analysed: events by level and take, and images."""
    levels = [one for one in read.levels if isinstance(one, SweepLevel)]
    listened = [
        Listened(take, heard) for one in levels for take, heard in zip(one.takes, one.read.overheard, strict=True)
    ]
    events = []
    for level in levels:
        for one in (each for each in listened if any(each.recording is take for take in level.takes)):
            sounds = foreign_sounds(one, listened)
            touching = level.read.readings if level.name == SWEEP and not level.again else ()
            found = events_in_time(one.heard, sounds, touching, takes=len(level.takes))
            events += [_found(one.recording, event) for event in found]
    return Foreign(events=tuple(events), images=_images(read.highest, tuple(read.sweeps.values())))


def _images(found_in: SweepLevel, levels: Sequence[SweepLevel]) -> tuple[ImageFound, ...]:
    return tuple(
        ImageFound(
            file=found_in.takes[0].files.in_session,
            image=image,
            levels=tuple(
                LevelTouched(
                    level_db_spl=one.level_db_spl, touched=touched_by(image, one.read.readings, one.read.sweep)
                )
                for one in levels
            ),
        )
        for image in found_in.read.images
    )


def foreign_sounds(one: Listened, listened: Iterable[Listened]) -> tuple[Sound, ...]:
    """What sounded in a recording that the loudspeaker did not make, by all that was recorded of the condition."""
    beside = [other.heard.plane for other in listened if other is not one and other.level_db > one.level_db - SAME_DB]
    return not_of_the_loudspeaker(one.heard, beside)


def foreign_among(recordings: Sequence[Recording], plan: Plan, *, only: Recording | None = None) -> dict[str, Foreign]:
    """What is in each sweep among the recordings of one condition that is not rejected, by the name of its file; in one
    `only`, if given. Images are sought in the loudest sweep, where they stand out most.

    Raises as `prepare` and `read_sweep_takes` do.
    """
    sweeps = [one for one in recordings if one.sidecar.rejected is None and one.sidecar.stimulus_name in SWEEPS]
    one_order = replace(Settings(), orders=1)
    listened = [Listened(one, read_sweep_takes([one], one_order).overheard[0]) for one in sweeps]
    asked = [one for one in listened if only is None or one.recording.sidecar.name == only.sidecar.name]
    loudest = max((one for one in asked if _has_curves(one.recording)), key=lambda one: one.level_db, default=None)
    found = {}
    for one in asked:
        sounds = foreign_sounds(one, listened)
        if sounds or one is loudest:
            foreign = _with_what_it_touches(one, sounds, plan, images=one is loudest)
            if foreign.any:
                found[one.recording.sidecar.name.stem] = foreign
    return found


def foreign_in_session(
    folder: SessionFolder, plan: Plan, *, condition: str | None = None
) -> list[tuple[Recording, Foreign]]:
    """What is in the sweeps of all conditions, or of one, each with its recording. A condition of which a recording is
    damaged is left out: what is wrong there is said elsewhere. Raises as `load_recordings` does."""
    found = []
    for name in folder.conditions_recorded():
        if condition not in (None, name):
            continue
        recordings = load_recordings(folder, name)
        try:
            of_each = foreign_among(recordings, plan)
        except (SessionError, RecordingError, AnalysisError):
            continue
        found += [(one, of_each[one.sidecar.name.stem]) for one in recordings if one.sidecar.name.stem in of_each]
    return found


def _has_curves(recording: Recording) -> bool:
    return recording.sidecar.stimulus_name == SWEEP and not recording.sidecar.after


def _with_what_it_touches(one: Listened, sounds: Sequence[Sound], plan: Plan, *, images: bool) -> Foreign:
    recording = one.recording
    if not _has_curves(recording):
        return Foreign(events=tuple(_found(recording, event) for event in events_in_time(one.heard, sounds, ())))
    level = read_sweep_level([recording], replace(settings_of(plan, None), images=images))
    events = events_in_time(one.heard, sounds, level.read.readings)
    return Foreign(events=tuple(_found(recording, event) for event in events), images=_images(level, (level,)))


def _found(recording: Recording, event: EventInTime) -> EventFound:
    """The event with what is known of the recording."""
    at_microphone = reference_of(recording.sidecar.calibration, distance_m=1.0)
    return EventFound(
        file=recording.files.in_session,
        level_db_spl=recording.sidecar.level_db_spl,
        loudest_db_spl=event.level_dbfs + at_microphone.offset_db if at_microphone.unit == "db_spl" else None,
        event=event,
    )
