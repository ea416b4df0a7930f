"""What is expected of a piece of music that is played loud, and how its recording is held against the quiet run."""

import numpy as np
import numpy.typing as npt

from distort.analysis.common.log_frequency import over_log_frequency
from distort.analysis.sweep.sweeps import Reference
from distort.capture.measuring.playing_takes import Take
from distort.capture.measuring.quiet_run import QuietRun
from distort.capture.measuring.third_octaves import Louder, ThirdOctaves
from signals.levels import FULL_SCALE_SINE_RMS, db_to_amplitude
from signals.levels import power_to_db as to_db
from signals.programme import Programme, loudest_db

FloatArray = npt.NDArray[np.float64]

CREST_DB = 3.0
"""Peaks at the microphone over those of the piece through the amplitude response alone: the phase of loudspeaker and
room moves them. Of 200 random phases and 40 rooms none moved them by more (tests/test_programme_session.py)."""

NOISE_BELOW_DB = 6.0
"""Noise that low must grow by 6 dB and more before its sum with the music rises by the 3 dB that are allowed."""


def expected_rms_dbfs(quiet: QuietRun, piece: Programme) -> float:
    """r.m.s. at the input, dBFS, of the loudest 125 ms of the piece through the response as heard."""
    heard = _through(quiet, piece)
    rms_dbfs = float(to_db(np.mean(np.square(heard)) / FULL_SCALE_SINE_RMS**2))
    return rms_dbfs + loudest_db(heard, piece.sample_rate)


def crest_db(quiet: QuietRun, piece: Programme) -> float:
    """Peak over that of a sine of this r.m.s., with what the phase may add."""
    peak_dbfs = float(to_db(np.max(np.square(_through(quiet, piece)))))
    return peak_dbfs - expected_rms_dbfs(quiet, piece) + CREST_DB


def peaks(quiet: QuietRun, piece: Programme, moment_s: FloatArray) -> FloatArray:
    """Nothing must be heard at any moment: between two hits the music may be as quiet as the room."""
    return np.zeros(moment_s.size)


def held_against(
    quiet: QuietRun, piece: Programme, take: Take, reference: Reference
) -> tuple[Louder | None, ThirdOctaves | None]:
    """By how much its r.m.s., the noise of the quiet run taken off, passes what was expected; nothing where noise may
    do that. It is no answer in third octaves."""
    first = max(round(take.examined.alignment.stimulus_start), 0)
    heard = take.samples[first : first + piece.n_samples]
    noise = float(np.sum(quiet.noise.density)) * float(quiet.noise.frequency_hz[1])
    expected_dbfs = float(to_db(np.mean(np.square(_through(quiet, piece))) / FULL_SCALE_SINE_RMS**2))
    if float(to_db(noise / FULL_SCALE_SINE_RMS**2)) > expected_dbfs - NOISE_BELOW_DB:
        return None, None
    power = max(float(np.mean(np.square(heard - np.mean(heard)))) - noise, 0.0)
    return Louder(by_db=float(to_db(power / FULL_SCALE_SINE_RMS**2)) - expected_dbfs), None


def _through(quiet: QuietRun, piece: Programme) -> FloatArray:
    """The piece through the amplitude response as the microphone heard it, full scale 1; beyond what could be read of
    it, through the nearest that could."""
    readable = np.isfinite(quiet.heard_db_spl)
    played = piece.samples()
    frequency_hz = np.maximum(np.fft.rfftfreq(played.size, 1.0 / piece.sample_rate), 1.0)
    heard_db = over_log_frequency(frequency_hz, quiet.frequency_hz[readable], quiet.heard_db_spl[readable])
    return np.fft.irfft(np.fft.rfft(played) * db_to_amplitude(heard_db - quiet.offset_db), played.size)
