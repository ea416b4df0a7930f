"""What is expected of a multitone that is played loud, and how its recording is held against the quiet run."""

import numpy as np

from distort.analysis.common.log_frequency import over_log_frequency
from distort.analysis.sweep.sweeps import Reference
from distort.capture.measuring.playing_takes import Take
from distort.capture.measuring.quiet_run import QuietRun
from distort.capture.measuring.third_octaves import Louder, ThirdOctaves
from signals import Multitone
from signals.levels import FULL_SCALE_SINE_RMS, db_to_power
from signals.levels import power_to_db as to_db

CREST_DB = 10.0
"""Peak of many tones at the microphone over a sine of the same r.m.s.: the loudspeaker's phase makes any phases random,
and those give a crest factor of 4.2 as a rule; 10 dB stands for 4.5."""

NOISE_BELOW_DB = 6.0
"""Noise that low must grow by 6 dB and more before the sum with the multitone rises by the 3 dB that are allowed."""


def expected_rms_dbfs(quiet: QuietRun, tone: Multitone) -> float:
    """r.m.s. at the input, dBFS: the sum over the lines of their power times the response at them."""
    readable = np.isfinite(quiet.heard_db_spl)
    heard_db = over_log_frequency(tone.line_hz, quiet.frequency_hz[readable], quiet.heard_db_spl[readable])
    power = np.square(tone.line_amplitudes) / 2.0 / FULL_SCALE_SINE_RMS**2  # of each line re a full-scale sine
    return float(to_db(np.sum(power * db_to_power(heard_db)))) - quiet.offset_db


def crest_db(quiet: QuietRun, tone: Multitone) -> float:
    """Of any multitone."""
    return CREST_DB


def held_against(
    quiet: QuietRun, tone: Multitone, take: Take, reference: Reference
) -> tuple[Louder | None, ThirdOctaves | None]:
    """By how much its r.m.s., the noise of the quiet run taken off, passes what was expected; nothing where noise may
    do that. It is no answer in third octaves."""
    first = max(round(take.examined.alignment.stimulus_start), 0)
    heard = take.samples[first : first + tone.n_samples]
    noise = float(np.sum(quiet.noise.density)) * float(quiet.noise.frequency_hz[1])
    expected_dbfs = expected_rms_dbfs(quiet, tone)
    if float(to_db(noise / FULL_SCALE_SINE_RMS**2)) > expected_dbfs - NOISE_BELOW_DB:
        return None, None
    power = max(float(np.mean(np.square(heard - np.mean(heard)))) - noise, 0.0)
    return Louder(by_db=float(to_db(power / FULL_SCALE_SINE_RMS**2)) - expected_dbfs), None
