"""All results of one condition, there and back: the tables of every level, and findings.json that joins them."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from distort.analysis.anomalies.anomaly import Anomaly
from distort.analysis.common.curves import Harmonics, LevelUnit, Response
from distort.analysis.findings.finding import Finding
from distort.analysis.level_limits import LevelLimit
from distort.analysis.multitone.curves import MultitoneBands
from distort.analysis.sweep.touched import with_touched
from distort.analysis.synthesis.predicted import Prediction
from distort.errors import SessionError, shown
from distort.session.calibration.reference_responses import MicrophoneUsed, ResponseFileUsed
from distort.session.files.atomic import make_folder
from distort.session.files.folder import SessionFolder
from distort.session.files.json_fields import later, read_json, write_json
from distort.session.files.names import check_condition
from distort.session.plan.keys import Loudspeaker, Setup
from distort.session.recordings.mended import AppliedAfterwards, Relabelled
from distort.session.recordings.sidecar import Quality
from distort.session.results.audibility_results import AudibilityFound, audibility_read
from distort.session.results.foreign_found import EventFound, Foreign, ImageFound
from distort.session.results.kinds import STORED, read_kind, write_kind
from distort.session.results.ladder_results import ChangeCurves, CompressionFound, read_changes, write_changes
from distort.session.results.multitone_results import MultitoneFound, read_bands, write_bands
from distort.session.results.result_files import read_harmonics, read_response, write_harmonics, write_response
from distort.session.results.unlike_takes import UnlikeTakes
from distort.system import patiently

_TABLE = re.compile(r"(response|harmonics|multitone)_[0-9.]+dB\.csv|compression_(sweep|multitone)\.csv")
"""Names of the tables that are written here; any other file in the folder is the user's."""


@dataclass(frozen=True, kw_only=True)
class RecordingUsed:
    """A recording as the results know it."""

    file: str
    """Relative to the session."""
    sha256: str
    quality: Quality
    rejected: str | None
    relabelled: tuple[Relabelled, ...] = field(default=(), metadata=later(only_if_said=True))
    """What it was called before it was mended."""
    applied_afterwards: AppliedAfterwards | None = field(default=None, metadata=later(only_if_said=True))
    """Its calibration was read after it was made."""


@dataclass(frozen=True, kw_only=True)
class LevelFound:
    """One rung: what was wanted, played and measured, and what the tables have no column for."""

    level_db_spl: float
    """Nominal."""
    drive_dbfs: float
    measured_db: float | None
    """Power mean of the response over [levels] band_hz, in `unit`; None where nothing could be measured."""
    unit: LevelUnit
    delay_s: float
    lowest_valid_hz: float


@dataclass(frozen=True, kw_only=True)
class Findings:
    """What findings.json holds."""

    loudspeaker: Loudspeaker
    setup: Setup
    condition: str
    simulated: bool
    """True: no real loudspeaker was heard."""
    software: str
    """Name and version of what analysed."""
    smoothing: str
    gate_ms: float | None
    recordings: tuple[RecordingUsed, ...]
    levels: tuple[LevelFound, ...]
    multitones: tuple[MultitoneFound, ...]
    compression: tuple[CompressionFound, ...]
    no_compression: str | None
    """Why there is none from the sweeps, or from the multitones, a sentence each; None where nothing is missing."""
    microphone: MicrophoneUsed | None = None
    """None: session.toml names no response file."""
    response_files: tuple[ResponseFileUsed, ...] = ()
    """Responses measured elsewhere, which tell what the room does."""
    anomalies: tuple[Anomaly, ...] = ()
    """Dips and peaks of the response of the lowest level."""
    findings: tuple[Finding, ...] | None = field(default=None, metadata=later(instead_of="coincidences"))
    """One explanation a place, the strongest first; None: analysed before there were findings."""
    link: str | None = None
    """Why a codec may be in the numbers; None: nothing says so."""
    audibility: tuple[AudibilityFound, ...] = field(default=(), metadata={"read": audibility_read})
    """Margins over the masked threshold, an estimate; empty without a calibration."""
    further: tuple[str, ...] = field(default=(), metadata=later(only_if_said=True))
    """Other kinds of stimuli that have a table, <name>.csv."""
    unlike_takes: tuple[UnlikeTakes, ...] = field(default=(), metadata=later(only_if_said=True))
    """Takes that were averaged although one of them may be another level."""
    events: tuple[EventFound, ...] = field(default=(), metadata=later(only_if_said=True))
    """What sounded at a time while sweeps were recorded; what it touches is used with caution."""
    images: tuple[ImageFound, ...] = field(default=(), metadata=later(only_if_said=True))
    """What a conversion of the sample rate left; likewise."""
    prediction: Prediction | None = field(default=None, metadata=later(only_if_said=True))
    """The multitones, predicted from the sweeps; None: there are none."""
    level_limits: tuple[LevelLimit, ...] = field(default=(), metadata=later(only_if_said=True))
    """Up to which level each stimulus holds the limits of the plan."""


@dataclass(frozen=True, kw_only=True)
class ConditionResults:
    """Findings, and the curves of every level in the order of `findings.levels`."""

    findings: Findings
    responses: tuple[Response, ...]
    harmonics: tuple[Harmonics, ...]
    multitones: tuple[MultitoneBands, ...] = ()
    """In the order of `findings.multitones`."""
    changes: tuple[ChangeCurves, ...] = ()
    """In the order of `findings.compression`."""
    further: Mapping[str, Any] = field(default_factory=dict)
    """What the kinds of `findings.further` say, as `kinds.STORED` writes and reads it."""

    def __post_init__(self) -> None:
        if not len(self.findings.levels) == len(self.responses) == len(self.harmonics):
            raise ValueError("every level needs one response and one set of harmonics")
        if len(self.findings.multitones) != len(self.multitones) or len(self.findings.compression) != len(self.changes):
            raise ValueError("every multitone and every compression needs its table")
        if set(self.findings.further) != set(self.further):
            raise ValueError("every other kind needs its table")

    @property
    def levels_db_spl(self) -> tuple[float, ...]:
        """Nominal levels, in the order of the curves."""
        return tuple(level.level_db_spl for level in self.findings.levels)


def write_results(folder: SessionFolder, results: ConditionResults) -> None:
    """Write the tables of every level and then findings.json, so that findings never name a table that is not there.

    Tables of an earlier analysis that this one does not have (a level that was rejected) are removed last: they would
    be taken for results of today. Raises SessionError when the folder does not allow it.
    """
    condition = results.findings.condition
    make_folder(folder.results_folder(condition))
    written = set()
    for level, response, harmonics in zip(results.levels_db_spl, results.responses, results.harmonics, strict=True):
        write_response(path := folder.level_result_path(condition, "response", level), response)
        write_harmonics(other := folder.level_result_path(condition, "harmonics", level), harmonics)
        written |= {path, other}
    for multitone, bands in zip(results.findings.multitones, results.multitones, strict=True):
        write_bands(path := folder.level_result_path(condition, "multitone", multitone.level_db_spl), bands)
        written.add(path)
    for changes in results.changes:
        write_changes(path := folder.compression_path(condition, changes.source), changes)
        written.add(path)
    for name, result in results.further.items():
        write_kind(path := _further_path(folder, condition, name), name, result)
        written.add(path)
    write_json(folder.findings_path(condition), results.findings)
    for path in folder.results_folder(condition).glob("*.csv"):
        ours = _TABLE.fullmatch(path.name) or path.stem in STORED
        if path not in written and ours and not path.is_dir():
            patiently(path.unlink)


def read_results(folder: SessionFolder, condition: str) -> ConditionResults:
    """What `write_results` wrote. Raises SessionError when nothing was analysed yet, or a file cannot be trusted."""
    path = folder.findings_path(condition)
    if not path.exists():
        raise SessionError(f"{condition} of {folder.root} has no results yet: run `distort analyze {folder.root}`")
    findings = read_findings(folder, condition)
    responses = tuple(
        read_response(
            folder.level_result_path(condition, "response", level.level_db_spl),
            delay_s=level.delay_s,
            lowest_valid_hz=level.lowest_valid_hz,
        )
        for level in findings.levels
    )
    harmonics = tuple(_harmonics(folder, findings, level) for level in findings.levels)
    return ConditionResults(
        findings=findings,
        responses=responses,
        harmonics=harmonics,
        multitones=tuple(
            read_bands(folder.level_result_path(condition, "multitone", one.level_db_spl))
            for one in findings.multitones
        ),
        changes=tuple(
            read_changes(folder.compression_path(condition, one.source), one) for one in findings.compression
        ),
        further={name: read_kind(_further_path(folder, condition, name), name) for name in findings.further},
    )


def _harmonics(folder: SessionFolder, findings: Findings, level: LevelFound) -> Harmonics:
    path = folder.level_result_path(findings.condition, "harmonics", level.level_db_spl)
    touched = Foreign(events=findings.events, images=findings.images).touched_at(level.level_db_spl)
    return with_touched(read_harmonics(path, lowest_valid_hz=level.lowest_valid_hz), touched)


def _further_path(folder: SessionFolder, condition: str, name: str) -> Path:
    return folder.inside("results", check_condition(condition), f"{name}.csv")


def result_paths(folder: SessionFolder, findings: Findings) -> tuple[Path, ...]:
    """The files that hold these results, by name: what an analysis wrote, and nothing that stands beside it.

    Raises SessionError when one leads out of the session.
    """
    condition = findings.condition
    tables = [
        folder.level_result_path(condition, kind, level.level_db_spl)
        for kind in ("response", "harmonics")
        for level in findings.levels
    ]
    tables += [folder.level_result_path(condition, "multitone", one.level_db_spl) for one in findings.multitones]
    tables += [folder.compression_path(condition, one.source) for one in findings.compression]
    tables += [_further_path(folder, condition, name) for name in findings.further]
    return tuple(sorted((*tables, folder.findings_path(condition))))


def result_paths_of(folder: SessionFolder, condition: str) -> tuple[Path, ...]:
    """The same for the results of a condition; none where there are none. Raises SessionError for bad findings."""
    if not folder.findings_path(condition).exists():
        return ()
    return result_paths(folder, read_findings(folder, condition))


def read_findings(folder: SessionFolder, condition: str) -> Findings:
    """findings.json of a condition, without its tables. Raises SessionError when it is missing or cannot be trusted."""
    path = folder.findings_path(condition)
    try:
        findings = read_json(path, Findings)
    except SessionError as error:
        raise SessionError(f"{error}. Or write it anew: `distort analyze {folder.root}`") from error
    if unknown := [name for name in findings.further if name not in STORED]:
        raise SessionError(f"{path} speaks of a table {shown(unknown[0])}: run `distort analyze {folder.root}` again")
    if findings.condition != condition:
        raise SessionError(f"{path} speaks of condition {findings.condition!r}: move {path.parent} away, it is a copy")
    return findings
