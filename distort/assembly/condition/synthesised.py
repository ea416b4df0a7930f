"""What a loudspeaker would do to music that was not recorded, from its sweeps, as sounds to be heard; or why not."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from distort.analysis.heard import HeardParts, third_octave_powers
from distort.analysis.synthesis.kernels import ORDERS, Step
from distort.analysis.synthesis.predicted import Prediction
from distort.analysis.synthesis.programme import SynthesisedProgramme, synthesise
from distort.analysis.synthesis.ways import Form
from distort.assembly.condition.curves import curves_of, microphone_limit
from distort.assembly.condition.foreign import foreign_of
from distort.assembly.condition.heard import HeardSounds, with_sounds
from distort.assembly.condition.levels import LevelsRead, Progress, all_read, readings_of
from distort.assembly.condition.prediction import prediction_of, steps_of, turned_db
from distort.assembly.condition.programme import bands_of
from distort.errors import AnalysisError, SessionError
from distort.recording.reading import SweepLevel
from distort.recording.takes import levels_of, settings_of
from distort.session.files.folder import SessionFolder
from distort.session.files.names import format_level
from distort.session.plan.keys import Plan
from distort.session.plan.music import piece_at, read_mixed
from distort.session.recordings.condition import Recorded, read_condition
from distort.session.recordings.pieces import credit_and_licence
from distort.session.results.heard_files import Heard, NamedFile
from signals.levels import db_to_amplitude
from signals.sampled_programme import SampledProgramme


@dataclass(frozen=True, kw_only=True, eq=False)
class _Known:
    """What the sweeps and multitones of a condition say."""

    recorded: Recorded
    sweeps: Mapping[float, SweepLevel]
    steps: tuple[Step, ...]
    prediction: Prediction


def synthesised_sounds(
    folder: SessionFolder, plan: Plan, condition: str, *, level_db_spl: float, music: Path, progress: Progress
) -> HeardSounds:
    """The sounds of the file `music` at a level.

    Raises RecordingError for a file that is no music; SessionError for a condition without sweeps; AnalysisError where
    sweeps and multitones do not allow it, with the reason; and as `read_condition` and `prepare` do.
    """
    read_mixed(music)  # a file that is no music is refused before sweeps are read for half a minute
    known = _known(read_condition(folder, plan, condition), progress)
    reference = known.sweeps[min(known.sweeps)]
    rate = reference.read.sweep.sample_rate
    piece = piece_at(music, sample_rate=rate, lowest_hz=plan.sweep.lowest_hz)
    drive_dbfs = reference.read.sweep.drive_dbfs + level_db_spl - reference.level_db_spl
    played = piece.samples() * float(db_to_amplitude(drive_dbfs - piece.drive_dbfs))
    form = _form(known, condition, level_db_spl)
    try:
        made = synthesise(played, rate, steps=known.steps, form=form, turned_db=turned_db(reference) or 0.0)
    except AnalysisError as error:
        raise AnalysisError(f"music is not synthesised at {format_level(level_db_spl)} dB SPL: {error}") from error
    parts = _parts(made, piece)
    unit = reference.reference
    record = replace(_record(known, plan, condition, piece), level_db_spl=level_db_spl, n_samples=parts.intended.size)
    return with_sounds(
        record,
        parts,
        sounding=slice(piece.n_samples),
        full_scale_db_spl=unit.offset_db if unit.unit == "db_spl" else None,
    )


def _known(recorded: Recorded, progress: Progress) -> _Known:
    settings, levels = settings_of(recorded.plan, recorded.microphone), levels_of(recorded)
    settings = replace(settings, orders=max(settings.orders, max(ORDERS) + 1))
    what = f"reading the sweeps of {recorded.condition}"
    read = LevelsRead(
        levels=all_read(readings_of(levels, settings), what, threads=2, progress=progress), clock=levels.clock
    )
    foreign = foreign_of(read)
    curves = curves_of(read, microphone_limit(recorded), foreign)
    prediction = prediction_of(read, curves, foreign)
    if prediction is None:
        raise AnalysisError(
            f"music is not synthesised in condition {recorded.condition}: there is no multitone to check it by, or "
            f"nobody said how far the volume was turned"
        )
    return _Known(
        recorded=recorded,
        sweeps=read.sweeps,
        steps=steps_of(read.sweeps, curves.harmonics, foreign),
        prediction=prediction,
    )


def _form(known: _Known, condition: str, level_db_spl: float) -> Form:
    """Of the loudspeaker, where it is known up to that level."""
    highest = known.prediction.up_to_db_spl
    more = f"'distort show {known.recorded.root}:{condition} multitone' says why"
    form = known.prediction.form
    if highest is None or form is None:
        raise AnalysisError(
            f"music is not synthesised in condition {condition}: the sweeps do not predict its multitones; {more}"
        )
    if level_db_spl > highest:
        raise AnalysisError(
            f"music is synthesised up to {format_level(highest)} dB SPL in condition {condition}, where the sweeps "
            f"predict the multitones, not at {format_level(level_db_spl)}: {more}"
        )
    lowest = min(known.sweeps)
    if level_db_spl < lowest:
        raise SessionError(
            f"the quietest sweep of condition {condition} is that of {format_level(lowest)} dB SPL: take that level or "
            f"a higher one"
        )
    return form


def _parts(made: SynthesisedProgramme, piece: SampledProgramme) -> HeardParts:
    bands_hz = bands_of(piece)
    silence = np.zeros(made.intended.size)
    return HeardParts(
        sample_rate=piece.sample_rate,
        intended=made.intended,
        linear=silence,
        compression=made.changed - made.intended,
        distortion=made.distortion,
        frequency_hz=bands_hz,
        intended_power=third_octave_powers(made.intended, piece.sample_rate, bands_hz),
        noise_power=np.full(bands_hz.size, math.nan),
    )


def _record(known: _Known, plan: Plan, condition: str, piece: SampledProgramme) -> Heard:
    sweeps = [one for level in known.sweeps.values() for one in level.takes]
    credit, licence = credit_and_licence(plan, piece)
    return Heard(
        source="synthesised",
        simulated=any(one.sidecar.simulated for one in sweeps),
        loudspeaker=sweeps[0].sidecar.loudspeaker.name,
        condition=condition,
        level_db_spl=sweeps[0].sidecar.level_db_spl,
        quiet_db_spl=None,
        credit=credit,
        licence=licence,
        programme_sha256=piece.samples_sha256,
        sample_rate=piece.sample_rate,
        n_samples=piece.n_samples,
        full_scale_db_spl=None,
        recordings=tuple(NamedFile(file=one.files.in_session, sha256=one.sidecar.recording_sha256) for one in sweeps),
        silent=(),
    )
