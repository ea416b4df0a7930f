"""A sweep at several levels through a device, up to what the compression analysis takes."""

from collections.abc import Callable

import numpy as np

from distort.analysis.common.grid import OCTAVE_RATIO, grid_hz
from distort.analysis.compression.change import fundamental_output
from distort.analysis.compression.curves import LevelStep, Output
from distort.analysis.sweep.deconvolution import deconvolve
from distort.analysis.sweep.noise import noise_density
from distort.analysis.sweep.orders import mean_of_takes, separate
from distort.analysis.sweep.readings import readings
from signals.sweep import Sweep

HZ = grid_hz()
OCTAVES = 1.0 / 12.0
FULL_SCALE_DB_SPL = 110.0
"""Nominal level of a drive of 0 dBFS in these tests."""

BEFORE_S, AFTER_S = 0.5, 1.5


def sweep_at(level_db_spl: float, *, seconds: float = 10.0, sample_rate: int = 48000) -> Sweep:
    """The default sweep, up to 0.46 times the sample rate."""
    return Sweep(
        seconds=seconds,
        sample_rate=sample_rate,
        stop_hz=round(sample_rate * 22.0 / 48.0),
        drive_dbfs=level_db_spl - FULL_SCALE_DB_SPL,
    )


def output_of(answer: np.ndarray, sweep: Sweep, *, noise: float = 0.0, seed: int = 0, takes: int = 1) -> Output:
    """The fundamental of `answer` in white noise of r.m.s. `noise`, whose density is read from as much silence.

    Without noise the variance is exactly zero.
    """
    random = np.random.default_rng(seed)
    before, after = round(BEFORE_S * sweep.sample_rate), round(AFTER_S * sweep.sample_rate)
    separated, silences = [], []
    for _ in range(takes):
        recording = np.concatenate([np.zeros(before), answer, np.zeros(after)])
        recording += noise * random.standard_normal(recording.size)
        silences.append(noise * random.standard_normal(2 * sweep.sample_rate))
        deconvolved = deconvolve(recording, sweep, start=float(before), orders=1)
        separated.append(separate(deconvolved, orders=1))
    density = noise_density(silences, sample_rate=sweep.sample_rate)
    found = readings(mean_of_takes(separated), noise=density, excitation_hz=HZ, octaves=OCTAVES)
    return fundamental_output(found[0], drive_dbfs=sweep.drive_dbfs)


def rung_at(
    level_db_spl: float, answer: Callable[[Sweep], np.ndarray], *, short: bool = False, sample_rate: int = 48000
) -> LevelStep:
    """One noiseless rung, whose time is its level; with the sweep of half the length where asked for."""
    outputs = [
        output_of(answer(sweep), sweep)
        for sweep in (
            sweep_at(level_db_spl, seconds=seconds, sample_rate=sample_rate) for seconds in ((10.0, 5.0)[: 1 + short])
        )
    ]
    return LevelStep(
        level_db_spl=level_db_spl, time_s=level_db_spl, output=outputs[0], short=outputs[1] if short else None
    )


def flat_output(level_db_spl: float, change_db: float = 0.0, *, sigma_db: float = 0.0) -> Output:
    """An output made by hand: the same gain at all frequencies, with noise of the standard deviation given."""
    drive_dbfs = level_db_spl - FULL_SCALE_DB_SPL
    relative = sigma_db * np.log(10.0) / 10.0
    return Output(
        drive_dbfs=drive_dbfs,
        level_db=np.full(HZ.size, level_db_spl + change_db),
        variance=np.full(HZ.size, relative**2),
    )


def smoothed_db(level_db: Callable[[np.ndarray], np.ndarray]) -> np.ndarray:
    """A closed form in dB, its power meant over the smoothing band of every row."""
    half = OCTAVE_RATIO ** (OCTAVES / 2)
    share = (np.arange(41) + 0.5) / 41  # fine enough: these curves are smooth over a twelfth of an octave
    around = HZ[:, None] * (1 / half + (half - 1 / half) * share)
    return 10.0 * np.log10(np.mean(10.0 ** (level_db(around) / 10.0), axis=1))
