"""The tone bursts of a condition, read level by level."""

from collections.abc import Iterator, Mapping

from distort.analysis.burst import BurstTake, read_bursts
from distort.analysis.burst_series.judged import BurstLevel
from distort.analysis.sweep.sweeps import Settings
from distort.errors import AnalysisError
from distort.recording.alignment.prepared import prepare
from distort.recording.takes import Takes, reference_for, require_alike
from distort.session.recordings.stored import Recording
from signals import as_a, kind_of
from signals.burst import BurstSeries


def burst_levels(levels: Mapping[float, Takes], settings: Settings) -> Iterator[BurstLevel]:
    """What the takes of every level say, from the lowest up; those of one level that hold other bands by themselves.

    Raises AnalysisError for recordings of something else, and as `read_bursts`, `prepare` and `require_alike`.
    """
    for level_db_spl, takes in levels.items():
        for alike in alike_bursts(takes):
            yield burst_level(level_db_spl, alike, settings)


def alike_bursts(takes: Takes) -> list[list[Recording]]:
    """Those that hold the same bursts together: as bands end, a level may be played again with the bands that are
    left."""
    found: dict[BurstSeries, list[Recording]] = {}
    for one in takes:
        found.setdefault(_series(one), []).append(one)
    return list(found.values())


def burst_level(level_db_spl: float, takes: Takes, settings: Settings) -> BurstLevel:
    """What takes of one series at one level say. Raises as `burst_levels`."""
    require_alike(takes)
    series, turned_db = _series(takes[0]), takes[0].sidecar.turned_db
    return BurstLevel(
        level_db_spl=level_db_spl,
        drive_db=None if turned_db is None else series.drive_dbfs + turned_db,
        played_dbfs=series.drive_dbfs,
        reading=read_bursts([_take(one) for one in takes], series, settings.microphone),
        reference=reference_for(takes),
        takes=len(takes),
    )


def _series(recording: Recording) -> BurstSeries:
    stimulus = recording.sidecar.stimulus
    series = as_a(BurstSeries, stimulus)
    if series is None:
        raise AnalysisError(f"{recording.files.audio_path} is a {kind_of(stimulus)}, not a series of bursts")
    return series


def _take(recording: Recording) -> BurstTake:
    prepared = prepare(recording)
    return BurstTake(
        samples=prepared.samples,
        start=prepared.start,
        silences=prepared.silences,
        recorded_hz=recording.sidecar.sample_rate,
    )
