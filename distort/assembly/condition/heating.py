"""The long heatings of a condition: their recordings in, stretch by stretch, the result out."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from distort.analysis.heating.following import powers_of
from distort.analysis.heating.periods import third_octaves
from distort.analysis.heating.places import Place
from distort.analysis.heating.result import HeatingBand, HeatingLevel, HeatingResult, heating_level, not_heard
from distort.analysis.sweep.sweeps import Settings
from distort.errors import AnalysisError
from distort.recording.takes import Takes
from distort.session.audio.long_recording import open_long
from distort.session.recordings.sidecar import require_same_file
from distort.session.recordings.stored import Recording
from signals import as_a, kind_of
from signals.heating import Heating


def analysed_heating(levels: Mapping[float, Takes], settings: Settings) -> HeatingResult:
    """What the newest take of every level says: takes are not averaged, since the loudspeaker was not as cold before
    each.

    Raises AnalysisError for a recording of something else or with a gap, SessionError for a file that is not the one
    that was recorded, RecordingError for one that cannot be read.
    """
    read = {level: _read(takes[-1]) for level, takes in levels.items()}
    every_hz = sorted({at_hz for bands, _ in read.values() for at_hz in bands})
    return HeatingResult(
        frequency_hz=np.array(every_hz),
        levels=tuple(
            replace(level, bands=tuple(bands.get(at_hz) or not_heard(level) for at_hz in every_hz))
            for _, (bands, level) in sorted(read.items())
        ),
    )


def _read(recording: Recording) -> tuple[dict[float, HeatingBand], HeatingLevel]:
    sidecar, files = recording.sidecar, recording.files
    heating = as_a(Heating, sidecar.stimulus)
    if heating is None or sidecar.sample_rate != sidecar.stimulus.sample_rate:
        raise AnalysisError(
            f"{files.audio_path} is a {kind_of(sidecar.stimulus)} at {sidecar.sample_rate} Hz, not a long heating as "
            f"this program records it"
        )
    require_same_file(files.audio_path, sidecar.recording_sha256, files.sidecar_path)
    with open_long(files.audio_path, channel=sidecar.channel) as file:
        try:
            powers = powers_of(file.part, heating, Place(start=sidecar.stimulus_start_sample))
        except AnalysisError as error:
            raise AnalysisError(
                f"{files.audio_path}: {error}. A noise in the room that lasts, or comes as it begins, does the same. "
                f"To go on without it, reject {sidecar.condition}/{sidecar.name.stem}"
            ) from error
    level = heating_level(powers, heating, level_db_spl=sidecar.level_db_spl)
    at_hz, _ = third_octaves(heating.tone)
    return dict(zip(map(float, at_hz), level.bands, strict=True)), level
