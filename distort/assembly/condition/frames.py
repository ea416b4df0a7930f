"""The frames of a condition: its recordings in, the result out."""

from collections.abc import Mapping

import numpy as np

from distort.analysis.frames.baseband import cut
from distort.analysis.frames.causes import read_frame
from distort.analysis.frames.reading import FrameReading, FramesLevel, FramesResult
from distort.analysis.sweep.sweeps import Settings
from distort.errors import AnalysisError
from distort.recording.alignment.prepared import prepare
from distort.recording.takes import Takes, require_alike
from signals import as_a, kind_of
from signals.frames import Frames

FRAMES = "frames"
"""Its name among the results that have a table of their own."""


def analysed_frames(levels: Mapping[float, Takes], settings: Settings) -> FramesResult:
    """What the takes of every level say, from the lowest up; a frequency that a level lacks is not known there. Raises
    AnalysisError for recordings of something else, and as `prepare` and `require_alike`."""
    read = {level: _readings(takes) for level, takes in levels.items()}
    every_hz = sorted({at_hz for readings in read.values() for at_hz in readings})
    return FramesResult(
        frequency_hz=np.array(every_hz),
        levels=tuple(
            FramesLevel(
                level_db_spl=level, readings=tuple(readings.get(at_hz, FrameReading.nothing()) for at_hz in every_hz)
            )
            for level, readings in sorted(read.items())
        ),
    )


def _readings(takes: Takes) -> dict[float, FrameReading]:
    """By frequency."""
    require_alike(takes)
    stimulus = takes[0].sidecar.stimulus
    frames = as_a(Frames, stimulus)
    if frames is None:
        raise AnalysisError(f"{takes[0].files.audio_path} is a {kind_of(stimulus)}, not a series of frames")
    prepared = [prepare(one) for one in takes]
    return {
        frame.frequency_hz: read_frame([cut(one.samples, one.start, frames, index) for one in prepared], frame)
        for index, frame in enumerate(frames.frames)
    }
