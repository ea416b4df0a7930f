"""What the analysis makes of the recordings of a condition: every level of every stimulus, read once."""

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from distort.analysis.sweep.sweeps import Settings
from distort.recording.clocks import ConditionClock
from distort.recording.reading import (
    ELECTRONICS,
    Electronics,
    LevelRead,
    MultitoneLevel,
    SweepLevel,
    read_electronics,
    read_multitone_takes,
    read_sweep_level,
)
from distort.recording.takes import Levels, Takes
from distort.session.plan.kinds import MULTITONE, SHORT_SWEEP, SWEEP

Progress = Callable[[str, int, int], None]
"""Told what is being done, how many steps of it are done, and how many there are."""

READERS: Mapping[str, Callable[[Takes, Settings], LevelRead]] = {
    SWEEP: read_sweep_level,
    SHORT_SWEEP: read_sweep_level,
    MULTITONE: read_multitone_takes,
}
"""By name of the stimulus: what reads its takes at one level. Stimuli on which nothing else rests are not among them:
`assembly.kinds` has an entry for each."""


@dataclass(frozen=True, kw_only=True)
class LevelsRead:
    """What the recordings of a condition say: every level of every stimulus, from the lowest up."""

    levels: tuple[LevelRead, ...]
    """What the readers gave; the reference, played again later, is among them, and so is the chain by itself."""
    clock: ConditionClock
    """Tells when they were played."""

    def of(self, name: str) -> dict[float, Any]:
        """What was read of the stimulus `name`, by nominal level; perhaps nothing."""
        return {one.level_db_spl: one for one in self.levels if one.name == name and not one.again}

    @property
    def sweeps(self) -> Mapping[float, SweepLevel]:
        """By level; at least one."""
        return self.of(SWEEP)

    @property
    def lowest(self) -> SweepLevel:
        """The sweep of the reference level."""
        return self.sweeps[min(self.sweeps)]

    @property
    def highest(self) -> SweepLevel:
        """The sweep of the highest level."""
        return self.sweeps[max(self.sweeps)]

    @property
    def short_sweeps(self) -> Mapping[float, SweepLevel]:
        """Those of half the length, where they were played."""
        return self.of(SHORT_SWEEP)

    @property
    def multitones(self) -> Mapping[float, MultitoneLevel]:
        """By level; perhaps none."""
        return self.of(MULTITONE)

    @property
    def electronics(self) -> Mapping[float, Electronics]:
        """The chain without a loudspeaker, where that is known."""
        return self.of(ELECTRONICS)

    @property
    def repeats(self) -> tuple[SweepLevel, ...]:
        """The fundamental of the reference, played again later, in the order of recording."""
        return tuple(one for one in self.levels if isinstance(one, SweepLevel) and one.again)


def readings_of(levels: Levels, settings: Settings) -> list[Callable[[], LevelRead]]:
    """Everything that is to be read of a condition; each call reads one of them.

    A call raises RecordingError for audio that cannot be read, SessionError for a file that is not the one that was
    recorded, AnalysisError when the recordings do not allow the result.
    """
    highest = max(levels.sweeps)
    return [
        *(
            # images of a conversion stand out most in the loudest sweep, and tell for all
            partial(reader, takes, replace(settings, images=(name, level) == (SWEEP, highest), beyond=True))
            for name, reader in READERS.items()
            for level, takes in levels.takes.get(name, {}).items()
        ),
        *(partial(read_sweep_level, [one], replace(settings, orders=1)) for one in levels.repeats),
        *(
            partial(read_electronics, levels.loopbacks.get(level, ()), levels.chain.get(level, ()), settings)
            for level in levels.sweeps
            if level in levels.loopbacks or level in levels.chain
        ),
    ]


def all_read(
    readings: Sequence[Callable[[], LevelRead]], what: str, *, threads: int, progress: Progress
) -> tuple[LevelRead, ...]:
    """What the calls give, in their order; several threads gain something because Fourier transforms let others on.

    what   how `progress` calls it

    The first that fails stops those that have not begun, and its error is raised.
    """
    found: list[LevelRead] = []
    with ThreadPoolExecutor(max_workers=threads) as pool:
        for one in map(_called, readings) if threads == 1 else pool.map(_called, readings):
            found.append(one)
            progress(what, len(found), len(readings))
    return tuple(found)


def _called(reading: Callable[[], LevelRead]) -> LevelRead:
    return reading()
