"""The tone bursts of a condition: its recordings in, the result out."""

from collections.abc import Mapping

from distort.analysis.burst_series.result import BurstResult, burst_result
from distort.analysis.sweep.sweeps import Settings
from distort.recording.bursts import burst_levels
from distort.recording.takes import Takes


def analysed_bursts(levels: Mapping[float, Takes], settings: Settings) -> BurstResult:
    """What the takes of every level say, from the lowest up. Raises as `burst_levels`."""
    return burst_result(list(burst_levels(levels, settings)), settings.burst_limits)
