"""What is made of the recordings of each kind of stimulus that has a result of its own: one entry a kind.

Sweeps and multitones, which everything else rests on, stand in the main job itself.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from distort.analysis.sweep.sweeps import Settings
from distort.assembly.condition.burst import analysed_bursts
from distort.recording.takes import takes_of_each_level
from distort.session.recordings.stored import Recording
from distort.session.results.condition_results import ConditionResults

Levels = Mapping[float, list[Recording]]
"""Takes of one kind by nominal level, dB SPL, from the lowest up."""

ANALYSED: dict[str, Callable[[Levels, Settings], Any]] = {"burst": analysed_bursts}
"""By the name of the recordings: the result that `session.results.kinds.STORED` writes under the same name. Each raises
AnalysisError when the recordings do not allow it, and as `prepare` does."""


def with_further(found: ConditionResults, recordings: Sequence[Recording], settings: Settings) -> ConditionResults:
    """The results with those of all other kinds that were recorded. Raises as they do."""
    levels = {name: takes_of_each_level(recordings, name) for name in ANALYSED}
    further = {name: ANALYSED[name](of_each_level, settings) for name, of_each_level in levels.items() if of_each_level}
    return replace(found, findings=replace(found.findings, further=tuple(further)), further=further)
