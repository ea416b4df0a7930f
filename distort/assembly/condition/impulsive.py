"""What strikes, rubs or blows in a condition: its sweeps in, the result out."""

from distort.analysis.impulsive.impulsive import ImpulsiveResult, Listening, impulsive
from distort.assembly.condition.levels import LevelsRead
from distort.recording.reading import SweepLevel
from distort.session.plan.kinds import SHORT_SWEEP
from distort.session.results.foreign_found import Foreign

IMPULSIVE = "impulsive"
"""Its name among the results that have a table of their own."""


def impulsive_of(read: LevelsRead, foreign: Foreign) -> ImpulsiveResult | None:
    """The result of all sweeps; None where none of the long ones has a silence that tells the noise, or all of them are
    too short or start too high to show anything.

    foreign   what the recordings hold that the loudspeaker did not make: nothing is looked at meanwhile
    """
    levels = [*read.sweeps.values(), *read.short_sweeps.values()]
    recordings = [one for level in levels for one in _listening(level, foreign)]
    shown = any(not one.short and one.heard.bands.frequency_hz.size for one in recordings)
    return impulsive(recordings) if shown else None


def _listening(level: SweepLevel, foreign: Foreign) -> list[Listening]:
    if not level.cycles:
        return []
    return [
        Listening(
            level_db_spl=level.level_db_spl,
            heard=heard,
            foreign_s=tuple(
                (found.event.start_s - overheard.start_s, found.event.end_s - overheard.start_s)
                for found in foreign.events
                if found.file == take.files.in_session
            ),
            short=level.name == SHORT_SWEEP,
        )
        for take, heard, overheard in zip(level.takes, level.cycles, level.read.overheard, strict=True)
    ]
