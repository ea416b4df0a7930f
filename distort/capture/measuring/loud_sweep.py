"""What is expected of a sweep that is played loud, and how its recording is held against the quiet run."""

import numpy as np
import numpy.typing as npt

from distort.analysis.common.log_frequency import over_log_frequency
from distort.analysis.sweep.sweeps import Reference
from distort.capture.measuring.playing_takes import Take
from distort.capture.measuring.quiet_run import QuietRun
from distort.capture.measuring.third_octaves import Louder, ThirdOctaves, answer_of_take, louder
from signals import Stimulus, Sweep
from signals.levels import db_to_amplitude

FloatArray = npt.NDArray[np.float64]

STRETCH_OCTAVES = 1.0 / 20.0


def loudest_dbfs(quiet: QuietRun, stimulus: Stimulus) -> float:
    """r.m.s. at the input, dBFS, where the loudspeaker is loudest: of what passes every frequency, or may hold any."""
    readable = np.isfinite(quiet.heard_db_spl)
    return float(np.max(quiet.heard_db_spl[readable])) + stimulus.drive_dbfs - quiet.offset_db


def stretch_s(sweep: Sweep) -> float:
    """A stretch of a slow sweep is so long that no dip of a room is longer."""
    return STRETCH_OCTAVES * sweep.rate_s * float(np.log(2.0))


def peaks(quiet: QuietRun, sweep: Sweep, moment_s: FloatArray) -> FloatArray:
    """Peak expected at the input at each moment after the first sample; 0 where no reading foretells it."""
    frequency_hz = sweep.start_hz * np.exp(moment_s / sweep.rate_s)
    readable = np.isfinite(quiet.heard_db_spl)
    heard_db = over_log_frequency(
        frequency_hz, quiet.frequency_hz[readable], quiet.heard_db_spl[readable], outside=-np.inf
    )
    drive = db_to_amplitude(sweep.drive_dbfs - quiet.offset_db) * sweep.envelope(frequency_hz)
    return np.asarray(drive * db_to_amplitude(heard_db))


def held_against(
    quiet: QuietRun, sweep: Sweep, take: Take, reference: Reference
) -> tuple[Louder | None, ThirdOctaves | None]:
    """Third octave by third octave: where it is loudest against the quiet run, and the answer itself."""
    answer = answer_of_take(take, sweep, reference)
    return louder(answer, quiet.answer), answer
