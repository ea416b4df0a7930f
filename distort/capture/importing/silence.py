"""Brings in a recording of silence with the loudspeaker switched off, or gives it to the condition it was made in."""

import dataclasses
from pathlib import Path

from distort.capture.importing.relabelling import Label
from distort.errors import SessionError, UsageError
from distort.recording.quality.silent import require_silence
from distort.session.audio.audio_file import read_audio
from distort.session.audio.original import elsewhere, original_of
from distort.session.calibration.calibration_file import read_calibration
from distort.session.files.folder import SessionFolder
from distort.session.files.moments import now_utc
from distort.session.plan.keys import Plan
from distort.session.recordings.silence_off import (
    SilenceOff,
    SilenceSidecar,
    bring_in_silence,
    load_silences,
    move_silence,
)
from distort.session.recordings.stored import load_recordings

SILENCE = "silence"
"""As `distort add --stimulus` knows it."""


def add_silence(
    folder: SessionFolder, plan: Plan, source: Path, *, condition: str, channel: int | None, keep_metadata: bool
) -> SilenceOff:
    """Check that the audio file `source` holds silence alone, and copy its sound into the session.

    channel        of the file, counted from 1; None: it has only one
    keep_metadata  keep the file byte for byte, and its name in the sidecar; else its samples alone

    Raises RecordingError when it holds something else, SessionError when it is in the session already.
    """
    samples, sample_rate = read_audio(source, channel=channel)
    original = original_of(source, kept=keep_metadata)
    _require_new(folder, source, condition, original.sha256)
    require_silence(samples, sample_rate, what=str(source))
    calibration = read_calibration(folder.calibration_path())
    sidecar = SilenceSidecar(
        condition=condition,
        sample_rate=sample_rate,
        channel=channel or 1,
        seconds=samples.size / sample_rate,
        calibration=None if calibration is None else calibration.in_force(),
        distance_m=plan.of(condition).setup.distance_m,
        date=now_utc(),
        device=elsewhere(named=source.name if keep_metadata else None),
        recording_sha256="0" * 64,
        original=original,
    )
    return bring_in_silence(folder, source, sidecar, keep_metadata=keep_metadata)


def _require_new(folder: SessionFolder, source: Path, condition: str, sha256: str) -> None:
    """Raises SessionError for a file that is in use already: it would count as two silences that scatter by nothing, or
    as the silence of a loudspeaker that is on."""
    for silence in load_silences(folder, condition):
        before = {silence.sidecar.recording_sha256, silence.sidecar.original.sha256}
        if sha256 in before and silence.sidecar.rejected is None:
            raise SessionError(f"{source} is in the session already, as {silence.audio_path}")
    for one in load_recordings(folder, condition):
        if sha256 in {one.sidecar.recording_sha256, one.sidecar.original and one.sidecar.original.sha256}:
            raise SessionError(f"{source} is in the session already, as {one.files.audio_path}")


def require_one_of_condition(silence: SilenceOff, label: Label) -> None:
    """Raises UsageError unless `label` says another condition of `silence`, and that alone; SessionError where it is
    rejected."""
    if label != Label(condition=label.condition) or label.condition in (None, silence.sidecar.condition):
        raise UsageError(f"{silence.named} is silence with the loudspeaker off: only its --condition can be mended")
    if silence.sidecar.rejected is not None:
        raise SessionError(
            f"{silence.named} is rejected ({silence.sidecar.rejected}): bring its file in again with `distort add`"
        )


def relabel_silence(folder: SessionFolder, plan: Plan, silence: SilenceOff, label: Label, *, reason: str) -> SilenceOff:
    """Give it to the condition that it was really made in. Raises as `require_one_of_condition` and `move_silence`."""
    require_one_of_condition(silence, label)
    condition = label.condition or silence.sidecar.condition
    distance_m = plan.of(condition).setup.distance_m
    sidecar = dataclasses.replace(silence.sidecar, condition=condition, distance_m=distance_m)
    return move_silence(folder, silence, sidecar, reason)
