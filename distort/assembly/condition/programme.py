"""The pieces of music of a condition: its recordings in, the result out."""

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from distort.analysis.programme import ProgrammeLevel, ProgrammeResult, ProgrammeTake, against_quiet
from distort.analysis.sweep.sweeps import Settings
from distort.errors import AnalysisError
from distort.recording.alignment.prepared import prepare
from distort.recording.takes import Takes, require_alike
from distort.session.recordings.stored import Recording
from signals import as_a, kind_of
from signals.burst import third_octaves_hz
from signals.levels import power_to_db
from signals.programme import Programme

FloatArray = npt.NDArray[np.float64]

EDGE = 10.0**0.05
"""Of a third octave, re its middle."""


def analysed_programme(levels: Mapping[float, Takes], settings: Settings) -> ProgrammeResult:
    """What the takes of every level say beside the first of the lowest: so there is a row of levels above that, empty
    where only one was recorded. Raises AnalysisError for recordings of something else, and as `prepare` and
    `require_alike`."""
    lowest, *others = sorted(levels)
    quiet = levels[lowest]
    return ProgrammeResult(
        frequency_hz=_bands_hz(_piece(quiet)),
        levels=tuple(_level(level, levels[level], quiet) for level in others),
    )


def _bands_hz(piece: Programme) -> FloatArray:
    """Third octaves that the piece fills."""
    return np.array(third_octaves_hz(piece.begins_hz * EDGE, piece.highest_hz / EDGE))


def _level(level_db_spl: float, takes: Takes, quiet: Takes) -> ProgrammeLevel:
    piece = _piece(takes)
    power = against_quiet(
        _take(quiet[0]),
        [_take(one) for one in takes],
        n_samples=piece.n_samples,
        sample_rate=piece.sample_rate,
        bands_hz=_bands_hz(piece),
    )
    whole = power["left"] + power["added"] + power["noise"]
    return ProgrammeLevel(
        level_db_spl=level_db_spl,
        change_db=power_to_db(power["left"] / power["quiet"]) - (_drive(takes) - _drive(quiet)),
        coherence=power["left"] / whole,
        remainder_db=power_to_db(power["added"] / power["left"]),
        floor_db=power_to_db(power["noise"] / power["left"]),
    )


def _piece(takes: Takes) -> Programme:
    require_alike(takes)
    stimulus = takes[0].sidecar.stimulus
    piece = as_a(Programme, stimulus)
    if piece is None:
        raise AnalysisError(f"{takes[0].files.audio_path} is a {kind_of(stimulus)}, not a piece of music")
    return piece


def _drive(takes: Takes) -> float:
    """dBFS, with what the volume was turned up; NaN: nobody knows how far it was turned."""
    sidecar = takes[0].sidecar
    return np.nan if sidecar.turned_db is None else sidecar.drive_dbfs + sidecar.turned_db


def _take(recording: Recording) -> ProgrammeTake:
    prepared = prepare(recording)
    return ProgrammeTake(samples=prepared.samples, start=prepared.start, silences=prepared.silences)
