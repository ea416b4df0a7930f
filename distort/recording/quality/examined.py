"""One recording made ready to be saved: found, checked, and described by its sidecar."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.common.grid import grid_hz
from distort.errors import RecordingError, WrongStimulusError
from distort.recording.alignment.locating import Alignment, find_reel
from distort.recording.quality.check import CLOCK_SAME_PPM, Quality, check_recording
from distort.recording.quality.check_result import CheckResult
from distort.session.audio.audio_file import require_sound
from distort.session.audio.resampling import resample
from distort.session.recordings import sidecar as on_disk
from signals import Reel

FloatArray = npt.NDArray[np.float64]

USUAL_RATES_HZ = (48_000, 44_100, 96_000, 88_200, 192_000)
"""Rates that sound cards and recorders offer, the likeliest first (common practice, no source)."""


def likely_rate(as_stored: FloatArray, reel: Reel, *, stated_hz: int) -> int | None:
    """The usual sample rate, Hz, at which `reel` is found in the samples `(n,)` of a file that states `stated_hz`.

    None when it is found at none of them. Takes a search for each rate: to be asked only after `find_reel` has failed.
    """
    for rate_hz in USUAL_RATES_HZ:
        if rate_hz == stated_hz:
            continue
        try:
            find_reel(resample(as_stored, from_rate=rate_hz, to_rate=reel.sample_rate), reel)
        except RecordingError:
            continue  # not found at this rate either: the answer to the question, not a fault
        return rate_hz
    return None


@dataclass(frozen=True, kw_only=True)
class Examined:
    """A recording in which the stimulus was found, and what the check says of it."""

    alignment: Alignment
    quality: Quality

    def clock_difference_ppm(self) -> float | None:
        """What the sidecar states: 0 where it may be noise or is too small to matter, None without two chirps.

        The interval of the alignment is one of 95 %; three standard deviations are half as much again.
        """
        difference, interval = self.alignment.clock_difference_ppm, self.alignment.clock_uncertainty_ppm
        if math.isnan(difference):
            return None
        return difference if abs(difference) > max(1.5 * interval, CLOCK_SAME_PPM) else 0.0

    def for_sidecar(self) -> on_disk.Quality:
        """The verdict, a sentence for everything that is not good, and every figure."""
        sentences = tuple(finding.sentence for finding in self.quality.troubles())
        return on_disk.Quality(
            verdict=self.quality.verdict, findings=sentences, checks=tuple(map(_checked, self.quality.findings))
        )


def _checked(finding: CheckResult) -> on_disk.Checked:
    return on_disk.Checked(
        name=finding.name,
        value=finding.value if math.isfinite(finding.value) else None,
        unit=finding.unit,
        threshold=finding.threshold if math.isfinite(finding.threshold) else None,
        verdict=finding.verdict,
    )


def examine(
    samples: FloatArray,
    reel: Reel,
    *,
    what: str,
    as_stored: FloatArray | None = None,
    stated_hz: int | None = None,
    microphone: bool = True,
) -> Examined:
    """Find `reel` in `samples` `(n,)`, at the reel's rate, and check the recording.

    what        names the recording in the error
    as_stored   the samples before any change of sample rate
    stated_hz   the sample rate that their file states; with it, a file that states a wrong one is told
    microphone  False for the electronics alone, or a near field: where a channel may be as flat as a wire

    Raises RecordingError with the first reason when the recording must be refused, WrongStimulusError when that is that
    it holds another stimulus.
    """
    if samples.size == 0:
        raise RecordingError(f"{what} is empty: export it again, or record again")
    require_sound(samples, what=what)
    try:
        alignment = find_reel(samples, reel)
    except RecordingError as error:
        quality = check_recording(samples, reel=reel, alignment=error, as_stored=as_stored)
        refused = _refusals(quality)
        another = [one.name for one in quality.findings if one.verdict == "refuse"] == ["stimulus"]
        too_low = stated_hz is not None and stated_hz < least_rate_hz(reel)
        if (too_low or another) and as_stored is not None and stated_hz is not None:
            _require_right_rate(as_stored, reel, what=what, stated_hz=stated_hz)
        _require_band(reel, what=what, stated_hz=stated_hz)
        kind = WrongStimulusError if another else RecordingError
        raise kind(f"{what}: {refused[0] if refused else error}") from error
    _require_band(reel, what=what, stated_hz=stated_hz)
    quality = check_recording(samples, reel=reel, alignment=alignment, as_stored=as_stored, microphone=microphone)
    if quality.finding("stimulus").verdict == "refuse":
        raise WrongStimulusError(f"{what}: {quality.finding('stimulus').sentence}")
    if refused := _refusals(quality):
        raise RecordingError(f"{what}: {refused[0]}")
    return Examined(alignment=alignment, quality=quality)


def least_rate_hz(reel: Reel) -> float:
    """The lowest sample rate, Hz, that holds the stimulus of `reel` as far up as results go."""
    _, stimulus = reel.only_stimulus()
    return 2.0 * min(float(stimulus.highest_hz), float(grid_hz()[-1]))


def _require_band(reel: Reel, *, what: str, stated_hz: int | None) -> None:
    """Above half its rate a recording holds nothing, which must not be read as a result."""
    if stated_hz is not None and stated_hz < least_rate_hz(reel):
        raise RecordingError(
            f"{what} was recorded at {stated_hz} Hz and holds nothing above {stated_hz / 2:g} Hz, but the stimulus "
            f"goes on to {least_rate_hz(reel) / 2:.0f} Hz: record at {reel.sample_rate} Hz, or let the stimulus end "
            f"lower"
        )


def _require_right_rate(as_stored: FloatArray, reel: Reel, *, what: str, stated_hz: int) -> None:
    likely_hz = likely_rate(as_stored, reel, stated_hz=stated_hz)
    if likely_hz is not None:
        raise RecordingError(
            f"{what} has the wrong sample rate in its header: it states {stated_hz} Hz, but holds the stimulus as "
            f"recorded at {likely_hz} Hz. Export it again with the rate that it was recorded at."
        )


def _refusals(quality: Quality) -> list[str]:
    return [finding.sentence for finding in quality.findings if finding.verdict == "refuse"]
