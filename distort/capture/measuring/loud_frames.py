"""What is expected of frames that are played loud, and how their recording is held against their own quiet sine."""

import numpy as np
import numpy.typing as npt

from distort.analysis.common.log_frequency import over_log_frequency
from distort.analysis.frames.baseband import baseband, cut
from distort.analysis.sweep.sweeps import Reference
from distort.capture.measuring.playing_takes import Take
from distort.capture.measuring.quiet_run import QuietRun
from distort.capture.measuring.third_octaves import Louder, ThirdOctaves
from signals.frames import Frames

FloatArray = npt.NDArray[np.float64]

CLEAR_NOISE = 0.2
"""Noise of a probe re its amplitude, at most: what is louder than it by 3 dB is then no noise."""

LATE_SHARE = 0.5
"""Of the loud stretch, its end: the room has answered by then."""


def expected_rms_dbfs(quiet: QuietRun, frames: Frames) -> float:
    """r.m.s. at the input, dBFS, of the loudest sine: by the response at each frequency, never by its mean."""
    readable = np.isfinite(quiet.heard_db_spl)
    at_hz = np.array(frames.frequencies_hz)
    heard_db = over_log_frequency(at_hz, quiet.frequency_hz[readable], quiet.heard_db_spl[readable])
    return float(np.max(heard_db)) + frames.drive_dbfs - quiet.offset_db


def peaks(quiet: QuietRun, frames: Frames, moment_s: FloatArray) -> FloatArray:
    """Nothing must be heard at any moment: the silences between frames are longer than the frames."""
    return np.zeros(moment_s.size)


def held_against(
    quiet: QuietRun, frames: Frames, take: Take, reference: Reference
) -> tuple[Louder | None, ThirdOctaves | None]:
    """Frame by frame: where the loud stretch passes most what the quiet sine before it foretells, of those whose quiet
    sine is clear of noise. A lone sine says nothing against a response that is smoothed, and gives no third octaves."""
    by_db: list[tuple[float, float]] = []
    for index, frame in enumerate(frames.frames):
        base = baseband([cut(take.samples, take.examined.alignment.stimulus_start, frames, index)], frame)
        late = base.envelope[round(LATE_SHARE * base.hold_steps) : base.hold_steps]
        if base.noise <= CLEAR_NOISE:
            by_db.append((20.0 * float(np.log10(np.mean(np.abs(late)) / base.loud)), frame.frequency_hz))
    if not by_db:
        return None, None
    most_db, at_hz = max(by_db)
    return Louder(by_db=most_db, at_hz=at_hz), None
