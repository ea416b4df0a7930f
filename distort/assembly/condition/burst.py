"""The tone bursts of a condition: its recordings in, the result out."""

from collections.abc import Mapping

from distort.analysis.burst import BurstLevel, BurstResult, BurstTake, burst_result, read_bursts
from distort.analysis.sweep.sweeps import Settings
from distort.errors import AnalysisError
from distort.recording.alignment.prepared import prepare
from distort.recording.takes import Takes, reference_for, require_alike
from distort.session.recordings.stored import Recording
from signals import as_a, kind_of
from signals.burst import BurstSeries


def analysed_bursts(levels: Mapping[float, Takes], settings: Settings) -> BurstResult:
    """What the takes of every level say, from the lowest up. Raises as `read_bursts`, `prepare` and `require_alike`."""
    return burst_result([_level(level, takes, settings) for level, takes in levels.items()])


def _level(level_db_spl: float, takes: Takes, settings: Settings) -> BurstLevel:
    require_alike(takes)
    sidecar = takes[0].sidecar
    series = as_a(BurstSeries, sidecar.stimulus)
    if series is None:
        raise AnalysisError(f"{takes[0].files.audio_path} is a {kind_of(sidecar.stimulus)}, not a series of bursts")
    return BurstLevel(
        level_db_spl=level_db_spl,
        drive_db=None if sidecar.turned_db is None else series.drive_dbfs + sidecar.turned_db,
        reading=read_bursts([_take(one) for one in takes], series, settings.microphone),
        reference=reference_for(takes),
    )


def _take(recording: Recording) -> BurstTake:
    prepared = prepare(recording)
    return BurstTake(
        samples=prepared.samples,
        start=prepared.start,
        silences=prepared.silences,
        recorded_hz=recording.sidecar.sample_rate,
    )
