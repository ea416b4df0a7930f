"""The pieces of music of a condition: its recordings in, the result out."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from distort.analysis.hearing.over_masked import margins_of_moments_db
from distort.analysis.programme import ProgrammeLevel, ProgrammeResult, ProgrammeTake, against_quiet, most_of_moments_db
from distort.analysis.sweep.sweeps import Settings
from distort.errors import AnalysisError
from distort.recording.alignment.prepared import prepare
from distort.recording.takes import Takes, reference_for, require_alike
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
    by_excitation_db, by_schroeder_db = _over_masked_db(power, bands_of(piece), full_scale_db_spl(takes))
    return ProgrammeLevel(
        level_db_spl=level_db_spl,
        change_db=power_to_db(power["left"] / power["quiet"]) - (drive_of(takes) - drive_of(quiet)),
        coherence=power["left"] / whole,
        remainder_db=power_to_db(power["added"] / power["left"]),
        floor_db=power_to_db(power["noise"] / power["left"]),
        excitation_db=by_excitation_db,
        schroeder_db=by_schroeder_db,
    )


def _over_masked_db(
    power: Mapping[str, FloatArray], bands_hz: FloatArray, full_scale_db_spl: float | None
) -> tuple[FloatArray, FloatArray]:
    """By how much what was added stands above what the music masks, `(bands,)`, by either model."""
    if full_scale_db_spl is None:
        return np.full(bands_hz.size, np.nan), np.full(bands_hz.size, np.nan)
    noise = power["noise"]
    by_excitation_db, by_schroeder_db = margins_of_moments_db(
        power["left_then"],
        np.maximum(power["added_then"] - noise[:, None], 0.0),
        bands_hz=bands_hz,
        noise_power=np.nan_to_num(noise, nan=np.inf),  # where it is not known, it may be all there is
        full_scale_db_spl=full_scale_db_spl,
    )
    return most_of_moments_db(by_excitation_db), most_of_moments_db(by_schroeder_db)


def full_scale_db_spl(takes: Takes) -> float | None:
    """SPL at 1 m that a sine at full scale stands for; None without a calibration."""
    reference = reference_for(takes)
    return reference.offset_db if reference.unit == "db_spl" else None


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
