"""What was found of a condition, put together as it is written and shown."""

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from distort.analysis.common.curves import Response
from distort.analysis.findings.find import find
from distort.analysis.findings.finding import Finding
from distort.analysis.programme import ProgrammeResult
from distort.analysis.sweep.response import band_mean_db
from distort.assembly.condition.audible import audibility, told_audible
from distort.assembly.condition.curves import Curves
from distort.assembly.condition.evidence import evidence_of
from distort.assembly.condition.level_limits import PROGRAMME, level_limits
from distort.assembly.condition.level_series import LevelSeries
from distort.assembly.condition.levels import LevelsRead
from distort.assembly.condition.prediction import prediction_of
from distort.recording.reading import MultitoneLevel, SweepLevel
from distort.recording.take_levels import unlike_takes
from distort.session.recordings.condition import Recorded
from distort.session.recordings.stored import Recording
from distort.session.results.audibility_results import AudibilityFound
from distort.session.results.condition_results import ConditionResults, Findings, LevelFound, RecordingUsed
from distort.session.results.foreign_found import Foreign
from distort.session.results.multitone_results import MultitoneFound, multitone_found
from distort.version import __version__


def put_together(
    recorded: Recorded,
    read: LevelsRead,
    *,
    curves: Curves,
    series: LevelSeries,
    foreign: Foreign,
    further: Mapping[str, Any],
) -> ConditionResults:
    """The results of a condition, with its dips and peaks and its findings.

    further   results of other stimuli, by name
    """
    first = recorded.recordings[0].sidecar
    levels = tuple(
        _level_found(sweep, response, recorded.plan.levels.band_hz)
        for sweep, response in zip(read.sweeps.values(), curves.responses, strict=True)
    )
    multitones = {level: tone.result.bands for level, tone in read.multitones.items()}
    prediction = prediction_of(read, curves, foreign)
    evidence = evidence_of(recorded, read, curves=curves, series=series, foreign=foreign, further=further)
    evidence = replace(evidence, prediction=prediction)
    found, margins = _heard(find(evidence), recorded, read, curves, music=further.get(PROGRAMME))
    return ConditionResults(
        findings=Findings(
            loudspeaker=first.loudspeaker,
            setup=first.setup,
            condition=recorded.condition,
            simulated=any(one.sidecar.simulated for one in recorded.recordings),
            software=f"distort {__version__}",
            smoothing=recorded.plan.analysis.smoothing,
            gate_ms=recorded.plan.analysis.gate_ms,
            microphone=None if recorded.microphone is None else recorded.microphone.used,
            response_files=recorded.elsewhere.used,
            link=recorded.link,
            recordings=tuple(map(_used, recorded.recordings)),
            levels=levels,
            multitones=tuple(map(_multitone_found, read.multitones.values())),
            compression=tuple(ladder.found for ladder in series.ladders),
            no_compression=series.missing,
            anomalies=evidence.anomalies,
            findings=found,
            audibility=margins,
            further=tuple(further),
            unlike_takes=unlike_takes(recorded.kept, recorded.plan.levels.band_hz),
            events=foreign.events,
            images=foreign.images,
            prediction=prediction,
            level_limits=level_limits(read, further, response=curves.responses[0], plan=recorded.plan.limits),
        ),
        responses=curves.responses,
        harmonics=curves.harmonics,
        multitones=tuple(multitones.values()),
        changes=tuple(ladder.curves for ladder in series.ladders),
        further=further,
    )


def _heard(
    found: tuple[Finding, ...],
    recorded: Recorded,
    read: LevelsRead,
    curves: Curves,
    *,
    music: ProgrammeResult | None,
) -> tuple[tuple[Finding, ...], tuple[AudibilityFound, ...]]:
    """What somebody would hear of it; nobody listens in the near field."""
    if recorded.plan.near_field_of is not None:
        return found, ()
    told = told_audible(found, dict(zip(read.sweeps, curves.harmonics, strict=True)), music)
    return tuple(told), audibility(read, curves.harmonics)


def _level_found(sweep: SweepLevel, response: Response, band_hz: tuple[float, float]) -> LevelFound:
    measured_db = band_mean_db(response, band_hz)
    return LevelFound(
        level_db_spl=sweep.level_db_spl,
        drive_dbfs=sweep.takes[0].sidecar.drive_dbfs,
        measured_db=None if math.isnan(measured_db) else measured_db,
        unit=response.unit,
        delay_s=response.delay_s,
        lowest_valid_hz=response.lowest_valid_hz,
    )


def _multitone_found(one: MultitoneLevel) -> MultitoneFound:
    return multitone_found(one.tone, one.level_db_spl, one.result, warm_up=one.warm_up, attack=one.attack)


def _used(recording: Recording) -> RecordingUsed:
    return RecordingUsed(
        file=recording.files.in_session,
        sha256=recording.sidecar.recording_sha256,
        quality=replace(recording.sidecar.quality, checks=()),  # its figures stand in the sidecar
        rejected=recording.sidecar.rejected,
        relabelled=recording.sidecar.relabelled,
        applied_afterwards=recording.sidecar.applied_afterwards,
    )
