"""What is made of the recordings of each kind of stimulus that has a result of its own: one entry a kind.

Sweeps and multitones, which everything else rests on, stand in the main job itself.
"""

from collections.abc import Callable, Mapping
from typing import Any

from distort.analysis.sweep.sweeps import Settings
from distort.assembly.condition.burst import analysed_bursts
from distort.assembly.condition.frames import FRAMES, analysed_frames
from distort.assembly.condition.heating import analysed_heating
from distort.assembly.condition.programme import analysed_programme
from distort.recording.takes import Takes
from distort.session.plan.kinds import HEATING

Levels = Mapping[float, Takes]
"""Takes of one kind by nominal level, dB SPL, from the lowest up."""

ANALYSED: dict[str, Callable[[Levels, Settings], Any]] = {
    "burst": analysed_bursts,
    FRAMES: analysed_frames,
    HEATING: analysed_heating,
    "programme": analysed_programme,
}
"""By the name of the recordings: the result that `session.results.kinds.STORED` writes under the same name. Each raises
AnalysisError when the recordings do not allow it, and as `prepare` does."""


def further_of(levels: Mapping[str, Levels], settings: Settings) -> dict[str, Any]:
    """The results of all these kinds that were recorded; `levels` and results by name. Raises as they do."""
    return {name: made(levels[name], settings) for name, made in ANALYSED.items() if levels.get(name)}
