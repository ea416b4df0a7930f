"""Clipped crests of a multitone, one sample wide and below full scale; what only the loudspeaker does is left alone."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import scipy.signal

from distort.recording.alignment.locating import find_reel
from distort.recording.quality.check import check_recording
from distort.recording.quality.clipping import held_crests
from signals import Multitone, framed
from tests.made_recordings import FloatArray

TONE = Multitone(period_s=0.25, low_hz=80.0, seed=3)
PERIODS = TONE.settling_periods + TONE.periods
NOISE = 1e-4
STEP = 2.0**-23
"""Of a converter of 24 bits."""


@cache
def lines(*, ppm: float = 0.0) -> FloatArray:
    """The multitone's closed form, as a recorder reads it whose clock is `ppm` fast; peak 0.3."""
    time_s = np.arange(PERIODS * TONE.period_samples + 100) / TONE.sample_rate / (1.0 + 1e-6 * ppm)
    wave = np.zeros(time_s.size)
    for hz, amplitude, phase in zip(TONE.line_hz, TONE.line_amplitudes, TONE.line_phases_rad, strict=True):
        wave += amplitude * np.cos(2.0 * np.pi * hz * time_s + phase)
    return wave * (0.3 / np.max(np.abs(wave)))


def noise(seed: int, size: int, sigma: float = NOISE) -> FloatArray:
    return sigma * np.random.default_rng(seed).standard_normal(size)


def written(samples: FloatArray) -> FloatArray:
    """With the converter's own noise of ten steps, rounded."""
    return np.round((samples + noise(9, samples.size, 10.0 * STEP)) / STEP) * STEP


def held(samples: FloatArray, *, ppm: float = 0.0) -> int:
    return held_crests(samples, first=0.0, period=TONE.period_samples * (1.0 + 1e-6 * ppm), periods=PERIODS).size


@pytest.mark.parametrize("ppm", [0.0, 12.0, -60.0])
@pytest.mark.parametrize("share", [0.6, 0.93])
def test_every_clipped_sample_is_told_and_no_other(ppm: float, share: float) -> None:
    """Counted by the formula: what lies beyond the ceiling. A tenth of it: what noise carried to either side of it."""
    heard = lines(ppm=ppm) + noise(1, lines().size)
    assert held(written(heard), ppm=ppm) == 0
    ceiling = share * 0.3
    beyond = np.count_nonzero(np.abs(heard) > ceiling)
    assert held(written(np.clip(heard, -ceiling, ceiling)), ppm=ppm) == pytest.approx(beyond, rel=0.1)


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_one_side_is_enough(side: float) -> None:
    heard = lines() + noise(2, lines().size)
    ceiling = 0.9 * np.max(heard)
    assert held(written(side * np.minimum(heard, ceiling))) == np.count_nonzero(heard > ceiling) == PERIODS


def test_a_loudspeaker_that_clips_or_compresses_is_not_the_recorder() -> None:
    """The room's noise comes after it, and rides on its flat tops."""
    for driven in (np.clip(lines(), -0.2, 0.2), 0.2 * np.tanh(lines() / 0.2)):
        assert held(written(driven + noise(3, driven.size))) == 0


def test_without_noise_nothing_tells() -> None:
    whole = np.tile(lines()[: TONE.period_samples], PERIODS)
    for samples in (whole, lines(), np.round(whole / STEP) * STEP, np.zeros(whole.size)):
        assert held(samples) == 0


def test_of_twenty_noises_none_looks_clipped() -> None:
    clean = lines()
    assert [seed for seed in range(20) if held(written(clean + noise(100 + seed, clean.size)))] == []


def test_periods_that_do_not_lie_where_they_should_are_not_clipped() -> None:
    heard = written(lines() + noise(4, lines().size))
    assert held(np.delete(heard, slice(90000, 90082))) == 0
    for ppm in (150.0, 220.0, 500.0):
        assert held(heard, ppm=ppm) == 0
    assert held(heard[: 5 * TONE.period_samples]) == 0
    assert held(heard[:10]) == 0


def test_the_check_refuses_it_also_where_the_recording_has_another_rate() -> None:
    """Stored at 44.1 kHz, clipped there, and brought to the multitone's rate."""
    reel = framed(replace(TONE, drive_dbfs=-26.0))
    played = np.pad(reel.samples(), 4800)
    stored = scipy.signal.resample_poly(played, 147, 160)
    stored = stored + noise(5, stored.size)
    ceiling = 0.95 * np.max(np.abs(stored))
    for as_stored, verdict in ((stored, "good"), (np.clip(stored, -ceiling, ceiling), "refuse")):
        samples = scipy.signal.resample_poly(as_stored, 160, 147)
        alignment = find_reel(samples, reel)
        quality = check_recording(samples, reel=reel, alignment=alignment, as_stored=written(as_stored))
        assert quality.finding("clipping").verdict == verdict
