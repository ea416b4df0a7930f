"""A ladder of levels and its multitones as an analysis would hand them on, from curves that are known at every row.

An invented monitor: full bass down to 45 Hz, a limiter from about 60 Hz to 2 kHz that holds the output at
`LIMIT_DB_SPL`, and a voice coil whose heat takes a little more from every louder level. Words, onsets and octaves are
those of the analysis itself, because here only printing and drawing are looked at.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from distort.analysis.common.curves import FloatArray, LevelUnit
from distort.analysis.common.grid import midbands_hz
from distort.analysis.compression.change import compression
from distort.analysis.compression.curves import BandRange, Compression, LevelStep, Output, Repeat
from distort.analysis.compression.octaves import input_output
from distort.analysis.compression.operating_range import operating_ranges
from distort.analysis.compression.sweep_lag import SweepLag
from distort.analysis.multitone.curves import MultitoneBands
from distort.analysis.multitone.settling import Settling
from distort.session.results.ladder_results import ChangeCurves, CompressionFound, Source, compression_found, curves_of
from distort.session.results.multitone_results import MultitoneFound
from tests.report_examples import FREQUENCY_HZ

LADDER = (76.0, 86.0, 96.0, 102.0)
LIMIT_DB_SPL = 97.0
LINES_HZ: FloatArray = 20.0 * 10.0 ** (np.arange(60) / 20.0 * 1.0169)


def shape_db(frequency_hz: FloatArray) -> FloatArray:
    """The response re its level: rolled off below 45 Hz and above 18 kHz, with two ripples."""
    bass = -10.0 * np.log10(1.0 + (45.0 / frequency_hz) ** 8)
    treble = -10.0 * np.log10(1.0 + (frequency_hz / 18000.0) ** 6)
    ripple = 1.2 * np.sin(3.0 * np.log2(frequency_hz / 300.0)) * np.exp(-(np.log2(frequency_hz / 900.0) ** 2) / 6.0)
    return np.asarray(bass + treble + ripple)


def true_change_db(level_db_spl: float, frequency_hz: FloatArray, *, reference_db_spl: float) -> FloatArray:
    """Limiter and heat, 0 at the reference level."""
    inside = 1.0 / (1.0 + (55.0 / frequency_hz) ** 6) / (1.0 + (frequency_hz / 2200.0) ** 6)
    limited = -max(level_db_spl - LIMIT_DB_SPL, 0.0) * inside
    heat = -0.25 * 10.0 ** ((level_db_spl - 96.0) / 10.0) / (1.0 + (frequency_hz / 2500.0) ** 2)
    cold = -0.25 * 10.0 ** ((reference_db_spl - 96.0) / 10.0) / (1.0 + (frequency_hz / 2500.0) ** 2)
    return np.asarray(np.maximum(limited + heat - cold, -20.0))


def analysed(
    levels: Sequence[float] = LADDER,
    *,
    source: Source = "sweep",
    noise: float = 1e-6,
    drift_db: float | None = 0.15,
    extra_db: float = 0.0,
) -> Compression:
    """The ladder analysed. `noise`: relative variance at 96 dB SPL; `drift_db`: None plays the reference but once."""
    frequency_hz = FREQUENCY_HZ if source == "sweep" else LINES_HZ
    random = np.random.default_rng(7)

    def output(level: float, moved_db: float = 0.0) -> Output:
        variance = noise * 10.0 ** ((96.0 - level) / 10.0) * (1.0 + (40.0 / frequency_hz) ** 4)
        change_db = true_change_db(level, frequency_hz, reference_db_spl=levels[0]) * (1.0 + extra_db)
        scatter_db = 4.34 * np.sqrt(variance) * random.standard_normal(frequency_hz.size)
        level_db = level + shape_db(frequency_hz) + change_db + moved_db + scatter_db
        return Output(drive_dbfs=level - 110.0, level_db=level_db, variance=variance)

    rungs = [
        LevelStep(level_db_spl=level, time_s=30.0 * place, output=output(level)) for place, level in enumerate(levels)
    ]
    repeats = (
        []
        if drift_db is None
        else [Repeat(time_s=30.0 * len(levels) + 120.0, rested=True, output=output(levels[0], drift_db))]
    )
    return compression(frequency_hz, rungs, repeats)


def lag(level_db_spl: float, lag_db: float, *, needed_s: float = 10.0, other_db: float = 0.0) -> SweepLag:
    """One level's lag at 2 kHz, and another difference at 80 Hz."""
    return SweepLag(
        level_db_spl=level_db_spl,
        frequency_hz=2000.0 if lag_db else None,
        lag_db=lag_db,
        uncertainty_db=0.02,
        needed_s=needed_s,
        other_hz=80.0 if other_db else None,
        other_db=other_db,
    )


def ladder(
    levels: Sequence[float] = LADDER, *, source: Source = "sweep", lags: tuple[SweepLag, ...] = (), **how: float | None
) -> tuple[CompressionFound, ChangeCurves]:
    """What a condition's results hold of one source; `how` as for `analysed`."""
    found = analysed(levels, source=source, **how)  # type: ignore[arg-type]
    table = input_output(found, lowest_valid_hz=25.0)
    distortion_db = np.array([np.full(table.midband_hz.size, level - 136.0) for level in levels])
    ranges: tuple[BandRange, ...] = operating_ranges(table, distortion_db=distortion_db if source == "sweep" else None)
    return compression_found(found, source, table=table, ranges=ranges, lags=lags), curves_of(found, source)


def multitone_bands(level_db_spl: float, *, unit: LevelUnit = "db_spl") -> MultitoneBands:
    """Pink lines; even falls with frequency, odd is strongest where the limiter acts; both rise with level."""
    frequency_hz = midbands_hz(bands_per_octave=3)
    level_db = level_db_spl - 15.0 + shape_db(frequency_hz)
    even_db = -46.0 + (level_db_spl - 96.0) - 6.0 * np.log2(frequency_hz / 100.0) * (frequency_hz > 100.0)
    hump = np.exp(-(np.log2(frequency_hz / 350.0) ** 2) / 5.0)
    odd_db = -68.0 + 1.6 * (level_db_spl - 96.0) + 28.0 * hump
    noise_db = 16.0 - level_db + 6.0 * np.log2(np.maximum(80.0 / frequency_hz, 1.0))
    even_db, odd_db = np.maximum(even_db, noise_db - 14.0), np.maximum(odd_db, noise_db - 14.0)
    total = 10.0 ** (even_db / 10.0) + 10.0 ** (odd_db / 10.0)
    return MultitoneBands(
        frequency_hz=frequency_hz,
        unit=unit,
        level_db=level_db,
        distortion_db=10.0 * np.log10(total),
        even_db=even_db,
        odd_db=odd_db,
        noise_db=noise_db,
        even_floor_db=noise_db - 12.0,
        odd_floor_db=noise_db - 12.0,
        even_uncertainty_db=np.full_like(frequency_hz, 0.1),
        odd_uncertainty_db=np.full_like(frequency_hz, 0.2),
        even_noise_uncertainty_db=np.full_like(frequency_hz, 0.05),
        odd_noise_uncertainty_db=np.full_like(frequency_hz, 0.1),
    )


def multitone_found(level_db_spl: float, *, fast_wander: bool = False) -> MultitoneFound:
    """Totals of the bands above; warm from 96 dB on."""
    bands = multitone_bands(level_db_spl)
    lines = 10.0 ** (bands.level_db / 10.0)

    def total_db(values_db: FloatArray) -> float:
        return float(10.0 * np.log10(np.sum(lines * 10.0 ** (values_db / 10.0)) / np.sum(lines)))

    warm = Settling(low_hz=40.0, high_hz=80.0, depth_db=-0.6, uncertainty_db=0.1, time_constant_s=9.0)
    quick = Settling(low_hz=89.1, high_hz=1413.0, depth_db=-2.4, uncertainty_db=0.3, time_constant_s=0.12)
    return MultitoneFound(
        level_db_spl=level_db_spl,
        drive_dbfs=level_db_spl - 110.0,
        measured_db=float(10.0 * np.log10(np.sum(lines))),
        distortion_db=total_db(bands.distortion_db),
        even_db=total_db(bands.even_db),
        odd_db=total_db(bands.odd_db),
        noise_db=total_db(bands.noise_db),
        floor_db=total_db(10.0 * np.log10(10.0 ** (bands.even_floor_db / 10.0) + 10.0 ** (bands.odd_floor_db / 10.0))),
        lines=31,
        crest_factor_db=12.4,
        phases="random",
        spectrum="pink",
        realisations=1,
        clock_difference_ppm=0.3,
        wander_ppm=0.02,
        fast_wander=fast_wander,
        warm_up=(warm,) if level_db_spl >= 96.0 else (),
        attack=(quick,) if level_db_spl > LIMIT_DB_SPL else (),
    )


def linear_ladder(levels: Sequence[float] = LADDER) -> tuple[CompressionFound, ChangeCurves]:
    """A loudspeaker that gives what is asked for at every level."""
    found, curves = ladder(levels)
    changes = tuple(replace(one, change_db=np.zeros_like(one.change_db)) for one in curves.levels)
    octaves = tuple(replace(one, change_db=(0.0,) * len(levels)) for one in found.octaves)
    words = ("reference", *("linear",) * (len(levels) - 1))
    ranges = tuple(replace(one, words=words, word="linear", onset=None) for one in found.ranges)
    return replace(found, octaves=octaves, ranges=ranges), replace(curves, levels=changes)
