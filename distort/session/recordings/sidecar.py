"""What stands beside each recording and each stimulus file, so that either can be understood alone."""

import dataclasses
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Literal

from distort.errors import SessionError, shown
from distort.session.audio.kinds import Subtype, begins_as_audio
from distort.session.audio.original import ELSEWHERE, Original
from distort.session.calibration.in_force import LARGEST_DB, CalibrationInForce, check_size
from distort.session.files.hashing import is_sha256, sha256_of_file
from distort.session.files.json_fields import by, later, read_json, write_json
from distort.session.files.names import RecordingName, check_condition
from distort.session.plan import rules
from distort.session.plan.keys import Loudspeaker, Setup
from distort.session.recordings.mended import AppliedAfterwards, Relabelled
from distort.session.recordings.reel_layout import layout_of, reel_of, stimulus_of
from signals import Reel, Stimulus, describe

Verdict = Literal["good", "usable", "refuse"]

_STIMULUS = by(describe, stimulus_of)
_REEL = by(layout_of, reel_of)

FARTHEST_SAMPLE = 1e10
"""Of a recording: a day at 96 kHz."""


@dataclass(frozen=True, kw_only=True)
class Checked:
    """One figure of the recording-quality check, and the threshold it was held against, in `unit` both."""

    name: str
    value: float | None
    """None: could not be measured."""
    unit: str
    threshold: float | None
    """Between this verdict and its neighbour; None: the figure is only told."""
    verdict: Verdict


@dataclass(frozen=True, kw_only=True)
class Quality:
    """Result of the recording-quality check: "good", "usable" or "refuse", and a sentence for each thing found."""

    verdict: Verdict
    findings: tuple[str, ...] = ()
    checks: tuple[Checked, ...] = field(default=(), metadata=later())
    """Every figure, also the good ones."""


@dataclass(frozen=True, kw_only=True)
class Sidecar:
    """All that is known of one recording. Raises ValueError when its parts contradict one another."""

    stimulus_name: str
    """"sweep", "sweep-short", "multitone": the first part of the file name."""
    level_db_spl: float
    """Nominal level, dB SPL at 1 m."""
    condition: str
    take: int
    after: bool
    """The reference level again, after the ladder."""
    drive_dbfs: float
    """r.m.s. of the stimulus's steady part as played (AES17)."""
    stimulus: Stimulus = field(metadata=_STIMULUS)
    reel: Reel = field(metadata=_REEL)
    """What was played, the stimulus in it; `signals.framed(stimulus)` as a rule."""
    stimulus_start_sample: float
    """Where in the recording the stimulus's first sample was found: samples at `sample_rate`, with fraction."""
    sample_rate: int
    """Of the recording, Hz."""
    channel: int
    """Of the recording file, counted from 1."""
    turned_db: float | None
    """By how much the volume was turned up since the first recording; None: nobody said."""
    calibration: CalibrationInForce | None
    loudspeaker: Loudspeaker
    setup: Setup
    date: str
    """When it began to be recorded, by this computer's clock: ISO 8601, UTC. Of a recording that was made elsewhere:
    when it was brought in."""
    rest_s: float | None
    """How long the loudspeaker rested before it, seconds; None: nobody knows."""
    clock_difference_ppm: float | None
    """Recorder's clock against the player's, positive when it is faster; 0: the same within what can be told; None:
    not known, because the recording lacks a chirp."""
    device: str
    simulated: bool
    """True: no real loudspeaker was heard, and everything made from this must say so."""
    stimulus_sha256: str
    """Of the stimulus file played."""
    recording_sha256: str
    """Of the recording file."""
    quality: Quality
    rejected: str | None = None
    """Why the user rejected it; None: they did not."""
    sound_delay_s: float | None = field(default=None, metadata=later())
    """From the output's loopback to the microphone: the loudspeaker's own delay and the way through the air; None
    without a loopback."""
    repositioned: bool = field(default=False, metadata=later())
    """The microphone or the loudspeaker was set up anew since the take before it."""
    original: Original | None = field(default=None, metadata=later())
    """The file that it was brought in from; None: this program recorded it, or an older version brought it in."""
    stimulus_original_sha256: str | None = field(default=None, metadata=later())
    """Of the file of a sweep made elsewhere as it was given, of which stimuli/ keeps the sound; None: of no other."""
    relabelled: tuple[Relabelled, ...] = field(default=(), metadata=later(only_if_said=True))
    """What it was called before, the oldest first."""
    applied_afterwards: AppliedAfterwards | None = field(default=None, metadata=later(only_if_said=True))
    """Its calibration was read after it was made; None: before."""
    stopped: str | None = field(default=None, metadata=later(only_if_said=True))
    """Why nothing louder is played after it until it is rejected, as "came out 5.0 dB louder than foretold"; None:
    it may."""

    def __post_init__(self) -> None:
        try:
            check_condition(self.condition)
            self.name  # noqa: B018 - made to see whether it can be
        except SessionError as error:
            raise ValueError(str(error)) from error
        if self.stimulus not in self.reel.items:
            raise ValueError("the reel does not hold the stimulus")
        if abs(self.drive_dbfs - self.stimulus.drive_dbfs) > 1e-9:  # far below what any converter resolves
            raise ValueError(f"drive_dbfs is {self.drive_dbfs:g}, the stimulus says {self.stimulus.drive_dbfs:g}")
        if self.sample_rate < 1 or self.channel < 1:
            raise ValueError("sample_rate and channel must be at least 1")
        check_size("stimulus_start_sample", self.stimulus_start_sample, FARTHEST_SAMPLE)
        check_size("clock_difference_ppm", self.clock_difference_ppm, 1e6)
        check_size("turned_db", self.turned_db, LARGEST_DB)
        _check_hashes(self.stimulus_sha256, self.recording_sha256)
        if self.stimulus_original_sha256 is not None:
            _check_hashes(self.stimulus_original_sha256)
        _check_date(self.date)

    @property
    def name(self) -> RecordingName:
        """What its file is called."""
        return RecordingName(
            stimulus=self.stimulus_name, level_db_spl=self.level_db_spl, take=self.take, after=self.after
        )

    @property
    def made_elsewhere(self) -> bool:
        """Whether it was brought in: what was played is then the tester's word, and can be mended."""
        return self.device.startswith(ELSEWHERE)

    @property
    def as_played_db_spl(self) -> float:
        """The level that one leads to expect, dB SPL at 1 m, turned volume included. A sweep made elsewhere is one file
        for all levels: there the nominal level is that of the turned volume."""
        turned_db = self.turned_db if self.stimulus_original_sha256 is None else None
        return self.level_db_spl + (turned_db or 0.0)


@dataclass(frozen=True, kw_only=True)
class StimulusSidecar:
    """What a file in stimuli/ holds and how to make it again exactly. Raises ValueError for contradictions."""

    stimulus_name: str
    level_db_spl: float
    drive_dbfs: float
    stimulus: Stimulus = field(metadata=_STIMULUS)
    reel: Reel = field(metadata=_REEL)
    """All that the file plays."""
    sample_rate: int
    subtype: Subtype
    """"PCM_24": 24 bits with triangular dither; "FLOAT": 32-bit floating point."""
    dither_seed: int | None
    """What makes the dither again; None: no dither."""
    file: str
    """Name of the audio file, beside this one."""
    sha256: str
    """Of the audio file."""

    def __post_init__(self) -> None:
        if self.stimulus not in self.reel.items:
            raise ValueError("the reel does not hold the stimulus")
        if self.sample_rate != self.reel.sample_rate:
            raise ValueError(f"sample_rate is {self.sample_rate}, the reel says {self.reel.sample_rate}")
        _check_hashes(self.sha256)


def write_sidecar(path: Path, sidecar: Sidecar) -> None:
    """Write the sidecar of a recording. Raises SessionError when the folder does not allow it."""
    write_json(path, sidecar)


def read_sidecar(path: Path) -> Sidecar:
    """The sidecar of a recording. Raises SessionError, naming the file, when it cannot be read or trusted."""
    return read_json(path, Sidecar)


def write_stimulus_sidecar(path: Path, sidecar: StimulusSidecar) -> None:
    """Write the sidecar of a stimulus file. Raises SessionError when the folder does not allow it."""
    write_json(path, sidecar)


def read_stimulus_sidecar(path: Path) -> StimulusSidecar:
    """The sidecar of a stimulus file. Raises SessionError, naming the file, when it cannot be read or trusted."""
    return read_json(path, StimulusSidecar)


def reject(path: Path, reason: str) -> Sidecar:
    """Mark the recording whose sidecar is at `path` as rejected and return the new sidecar. Raises SessionError."""
    sidecar = dataclasses.replace(read_sidecar(path), rejected=reason_words(path, reason, what="rejected"))
    write_sidecar(path, sidecar)
    return sidecar


def reason_words(path: Path, reason: str, *, what: str) -> str:
    """`reason` as a sidecar keeps it. Raises SessionError, naming the sidecar at `path`, for one that says nothing.

    what   is done to the recording, "rejected"
    """
    if not reason.strip():
        raise SessionError(f"{path}: say in a few words why the recording is {what}")
    try:
        return rules.text(reason.strip())
    except ValueError as error:
        raise SessionError(f"{path}: the reason must be {error}") from error


def require_same_file(path: Path, sha256: str, sidecar_path: Path) -> None:
    """Raises SessionError when the audio file `path` is no longer the one that the sidecar speaks of."""
    if not begins_as_audio(path) or sha256_of_file(path) != sha256:
        raise SessionError(f"{path} is not the file that {sidecar_path.name} was written for: its SHA-256 differs")


def _check_hashes(*digests: str) -> None:
    for digest in digests:
        if not is_sha256(digest):
            raise ValueError(f"{shown(digest)} is not a SHA-256")


def _check_date(date: Any) -> None:
    try:
        moment = datetime.fromisoformat(date)
    except ValueError as error:
        raise ValueError(f"date {shown(date)} is none") from error
    if moment.utcoffset() != timedelta(0):
        raise ValueError(f"date {shown(date)} is not UTC")
