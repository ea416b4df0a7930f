"""The pieces of music of a condition: its recordings in, the result out."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from distort.analysis.programme import ProgrammeLevel, ProgrammeResult, ProgrammeTake, against_quiet
from distort.analysis.sweep.sweeps import Settings
from distort.errors import AnalysisError
from distort.recording.alignment.prepared import prepare
from distort.recording.takes import Takes, require_alike
from distort.session.plan.kinds import TRIAL_DRIVE_DBFS
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
    where only one was recorded. Raises AnalysisError for recordings of something else or of different pieces, and as
    `prepare` and `require_alike`."""
    lowest, *others = sorted(levels)
    quiet = levels[lowest]
    for level in others:
        require_same_piece(quiet, levels[level])
    return ProgrammeResult(
        frequency_hz=bands_of(piece_of(quiet)),
        levels=tuple(_level(level, levels[level], quiet) for level in others),
    )


def bands_of(piece: Programme) -> FloatArray:
    """Third octaves that the piece fills."""
    return np.array(third_octaves_hz(piece.begins_hz * EDGE, piece.highest_hz / EDGE))


def _level(level_db_spl: float, takes: Takes, quiet: Takes) -> ProgrammeLevel:
    piece = piece_of(takes)
    power = against_quiet(
        take_of(quiet[0]),
        [take_of(one) for one in takes],
        n_samples=piece.n_samples,
        sample_rate=piece.sample_rate,
        bands_hz=bands_of(piece),
    )
    whole = power["left"] + power["added"] + power["noise"]
    return ProgrammeLevel(
        level_db_spl=level_db_spl,
        change_db=power_to_db(power["left"] / power["quiet"]) - (drive_of(takes) - drive_of(quiet)),
        coherence=power["left"] / whole,
        remainder_db=power_to_db(power["added"] / power["left"]),
        floor_db=power_to_db(power["noise"] / power["left"]),
    )


def piece_of(takes: Takes) -> Programme:
    """What the takes of a level hold. Raises AnalysisError for what is no music, and as `require_alike`."""
    require_alike(takes)
    stimulus = takes[0].sidecar.stimulus
    piece = as_a(Programme, stimulus)
    if piece is None:
        raise AnalysisError(f"{takes[0].files.audio_path} is a {kind_of(stimulus)}, not a piece of music")
    return piece


def require_same_piece(quiet: Takes, loud: Takes) -> None:
    """Raise AnalysisError when two levels hold different music: their difference would say nothing."""
    pieces = [replace(piece_of(takes), drive_dbfs=TRIAL_DRIVE_DBFS) for takes in (quiet, loud)]
    if pieces[0] != pieces[1]:
        raise AnalysisError(
            f"{quiet[0].files.audio_path} and {loud[0].files.audio_path} hold different music: reject one of them and "
            f"record it again"
        )


def drive_of(takes: Takes) -> float:
    """dBFS, with what the volume was turned up; NaN: nobody knows how far it was turned."""
    sidecar = takes[0].sidecar
    return np.nan if sidecar.turned_db is None else sidecar.drive_dbfs + sidecar.turned_db


def take_of(recording: Recording) -> ProgrammeTake:
    """A recording as the analysis wants it. Raises as `prepare`."""
    prepared = prepare(recording)
    return ProgrammeTake(samples=prepared.samples, start=prepared.start, silences=prepared.silences)
