"""The silences of a condition with the loudspeaker off, each with what it is worth."""

from collections.abc import Sequence
from dataclasses import dataclass

from distort.errors import RecordingError, SessionError
from distort.recording.quality.check_result import CheckResult
from distort.recording.quality.silence_check import check_silence
from distort.session.recordings.silence_off import SilenceOff
from distort.session.recordings.stored import Recording

SIDES = ("noise_before_", "noise_after_")
"""As checks of recordings name the octaves of their silences."""


@dataclass(frozen=True)
class SilenceChecked:
    """One of them, and its findings; where it cannot be read, one finding says why."""

    silence: SilenceOff
    findings: tuple[CheckResult, ...]


def silences_checked(silences: Sequence[SilenceOff], recordings: Sequence[Recording]) -> tuple[SilenceChecked, ...]:
    """All of them but those that were rejected, held against the silences of `recordings` of the same gain and place,
    as their sidecars keep these."""
    return tuple(SilenceChecked(one, _findings(one, recordings)) for one in silences if one.sidecar.rejected is None)


def _findings(silence: SilenceOff, recordings: Sequence[Recording]) -> tuple[CheckResult, ...]:
    sidecar = silence.sidecar
    alike = [
        one
        for one in recordings
        if one.sidecar.rejected is None
        and (one.sidecar.calibration, one.sidecar.setup.distance_m) == (sidecar.calibration, sidecar.distance_m)
    ]
    try:
        samples = silence.samples()
    except (SessionError, RecordingError) as error:
        return (
            CheckResult(
                name="read",
                value=0.0,
                unit="files",
                threshold=1.0,
                verdict="refuse",
                sentence=f"It is damaged: {error}.",
            ),
        )
    beside = [octaves for one in alike for side in SIDES if (octaves := _octaves(one, side))]
    return check_silence(samples, sidecar.sample_rate, beside=beside)


def _octaves(recording: Recording, side: str) -> dict[str, float]:
    return {
        one.name.removeprefix(side): one.value
        for one in recording.sidecar.quality.checks
        if one.name.startswith(side) and one.value is not None
    }
